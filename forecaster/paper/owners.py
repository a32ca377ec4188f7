"""Whose craft are whose: owners as craft.csv groups them, and what a paper for one of them may tell.

A rebuilder keeps the records of all customers in one fleet, and learns from all of them; on one customer's paper no
other customer's unit, craft or name may stand.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from functools import cached_property

import pandas as pd

from forecaster.errors import WrongUsage
from forecaster.problems import Problem, Reading
from forecaster.records import TABLES, FleetRecords
from forecaster.report.figures import counted

ALL_OWNERS = "all"  # the word for "each owner's own"
OWNERS_TOLD = 20


def owners_of(records: FleetRecords) -> tuple[str, ...]:
    """The owners that craft.csv names, sorted; craft without one belong to none of them."""
    return tuple(sorted(set(records.craft["owner"].dropna().astype(str)) - {""}))


def refuse_unknown_owner(records: FleetRecords, owner: str) -> None:
    """Raises WrongUsage where craft.csv does not name that owner, with the owners that it does name."""
    known = owners_of(records)
    if owner in known:
        return
    if not known:
        raise WrongUsage(
            f"craft.csv names no owner, so there is no report for {owner!r}. Fill in its column owner, or ask for the "
            "report of the whole fleet."
        )
    near = get_close_matches(owner.casefold(), [name.casefold() for name in known], n=1, cutoff=0.6)
    hint = "".join(f" Did you mean {name!r}?" for name in known if near and name.casefold() == near[0])
    told = "; ".join(known[:OWNERS_TOLD]) + (
        f"; and {len(known) - OWNERS_TOLD} more" if len(known) > OWNERS_TOLD else ""
    )
    raise WrongUsage(f"craft.csv names no owner {owner!r}.{hint} Its owners: {told}.")


@dataclass(frozen=True)
class Readership:
    """Who will read a paper, and with it which craft and units it may name; `owner` None: the fleet, all of them.

    A unit belongs to whoever's craft it sat on last, up to the day; one that sat nowhere yet to nobody.
    """

    records: FleetRecords
    as_of: date
    owner: str | None = None

    @cached_property
    def craft(self) -> frozenset[str]:
        """Craft that may be named."""
        table = self.records.craft
        own = table if self.owner is None else table[table["owner"] == self.owner]
        return frozenset(own["craft_id"])

    @cached_property
    def units(self) -> frozenset[str]:
        """Units that may be named."""
        fittings = self.records.fittings
        if self.owner is None:
            return frozenset(fittings["unit_id"])
        known = fittings[fittings["fitted_on"] <= pd.Timestamp(self.as_of)].sort_values("fitted_on", kind="stable")
        last = known.drop_duplicates("unit_id", keep="last")
        return frozenset(last.loc[last["craft_id"].isin(self.craft), "unit_id"])

    @cached_property
    def _of_others(self) -> re.Pattern[str] | None:
        """Any name that is not this reader's own: units, craft by id and name, owners."""
        craft = self.records.craft
        others = craft[~craft["craft_id"].isin(self.craft)]
        own = craft[craft["craft_id"].isin(self.craft)]
        names = {*self.records.fittings["unit_id"], *self.records.rebuilds["unit_id"], *self.records.checks["unit_id"]}
        names |= {*self.records.fittings["craft_id"], *others["craft_id"], *others["name"].dropna()}
        names |= set(others["owner"].dropna())
        names -= {*self.units, *self.craft, *own["name"].dropna(), str(self.owner), ""}
        if self.owner is None or not names:
            return None
        longest_first = sorted(map(str, names), key=lambda name: (-len(name), name))
        return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, longest_first))})(?!\w)", re.IGNORECASE)

    def may_read(self, text: str) -> bool:
        """Whether a text names nobody else's unit, craft or owner."""
        return self._of_others is None or self._of_others.search(text) is None

    def readable(self, texts: Iterable[str]) -> tuple[str, ...]:
        """Of some texts those that may be read, and how many more there are, where there are any."""
        given = list(texts)
        kept = [text for text in given if self.may_read(text)]
        held = len(given) - len(kept)
        if held:
            kept.append(f"Not shown here, since other customers' craft are named in them: {counted(held, 'remark')}.")
        return tuple(kept)

    def problems(self, reading: Reading) -> tuple[Problem, ...]:
        """The problems of the records that touch this reader: all, or those of rows about the owner's own."""
        if self.owner is None:
            return reading.problems
        return tuple(p for p in reading.problems if self._is_own(p, reading) and self.may_read(str(p)))

    def _is_own(self, problem: Problem, reading: Reading) -> bool:
        names = _names_in_row(problem, reading)
        return bool(names) and names <= {*self.craft, *self.units}


def _names_in_row(problem: Problem, reading: Reading) -> set[str]:
    """Craft and unit of the row that a problem is about; empty where it is about no row, or the row names neither."""
    if problem.table not in TABLES or problem.row is None:
        return set()
    for table in (reading.refused.get(problem.table), reading.records.table(problem.table)):
        if table is not None and problem.row in table.index:
            row = table.loc[[problem.row]]
            cells = row[[column for column in ("craft_id", "unit_id") if column in row]].to_numpy().ravel()
            return {str(cell).strip() for cell in cells if not pd.isna(cell)} - {""}
    return set()
