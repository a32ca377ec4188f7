"""Fittings that cannot all be true: one unit on two craft, or two units on one craft, at the same time.

A period runs from the day of fitting to the day of removal, which it leaves to the next one; without a removal it
goes on. Where one row alone contradicts all the others of its group, that row is refused; where the blame cannot be
told, every row of the contradiction is refused.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise

import numpy as np
import pandas as pd

from forecaster.problems import Problem

_STILL_FITTED = np.datetime64("2262-01-01")  # later than any day that is read
# Beyond so many rows in one contradiction no single row is looked for.
_LARGEST_SEARCH = 200


def check_overlaps(fittings: pd.DataFrame, file: str = "fittings.csv") -> list[Problem]:
    """Refused rows of `fittings` (columns of fittings.csv, index ``row``) whose periods overlap."""
    clashes: dict[int, set[int]] = {}  # row -> rows that it cannot stand beside
    for owner in ("unit_id", "craft_id"):
        for periods in _touching(fittings, owner):
            for one, other in _clashing(periods):
                clashes.setdefault(one, set()).add(other)
                clashes.setdefault(other, set()).add(one)
    problems = []
    for group in _connected(clashes):
        culprits = _culprits(group, clashes)
        for row in sorted(culprits):
            problems.append(_overlap(fittings, row, sorted(clashes[row]), alone=len(culprits) == 1, file=file))
    return problems


def _touching(fittings: pd.DataFrame, owner: str) -> Iterator[pd.DataFrame]:
    """Runs of rows of one unit or craft in which each period begins before those before it have all ended."""
    periods = pd.DataFrame(
        {
            "owner": pd.factorize(fittings[owner])[0],
            "begins": fittings["fitted_on"],
            "ends": fittings["removed_on"].fillna(pd.Timestamp(_STILL_FITTED)),
        },
        index=fittings.index,
    ).sort_values(["owner", "begins", "ends"], kind="stable")
    latest_end = periods.groupby("owner")["ends"].cummax().groupby(periods["owner"]).shift()
    apart = (latest_end.isna() | (periods["begins"] >= latest_end)).to_numpy()
    run = np.cumsum(apart)
    sizes = np.bincount(run)
    for _, group in periods[sizes[run] > 1].groupby(run[sizes[run] > 1]):
        yield group


def _clashing(group: pd.DataFrame) -> Iterator[tuple[int, int]]:
    """Pairs of rows whose periods overlap; in a very large group each row with its neighbour only."""
    rows = list(zip(group.index.tolist(), group["begins"], group["ends"], strict=True))
    pairs = combinations(rows, 2) if len(rows) <= _LARGEST_SEARCH else pairwise(rows)
    for (one, one_begins, one_ends), (other, other_begins, other_ends) in pairs:
        if (one_begins < other_ends and other_begins < one_ends) or len(rows) > _LARGEST_SEARCH:
            yield one, other


def _connected(clashes: dict[int, set[int]]) -> Iterator[set[int]]:
    """Groups of rows that contradict each other, directly or through others."""
    seen: set[int] = set()
    for start in clashes:
        if start in seen:
            continue
        group, open_rows = {start}, [start]
        while open_rows:
            new = clashes[open_rows.pop()] - group
            group |= new
            open_rows += new
        seen |= group
        yield group


def _culprits(group: set[int], clashes: dict[int, set[int]]) -> set[int]:
    """The one row without which nothing clashes any more; the whole group where there is no such row, or several."""
    pairs = sum(len(clashes[row]) for row in group) // 2
    alone = {row for row in group if len(clashes[row]) == pairs}
    return alone if len(alone) == 1 else group


def _overlap(fittings: pd.DataFrame, row: int, others: list[int], alone: bool, file: str) -> Problem:
    this, other = (fittings.loc[[number]].iloc[0] for number in (row, others[0]))
    if this["unit_id"] == other["unit_id"]:
        what = f"unit {this['unit_id']} is on {other['craft_id']} at that time"
        column = "unit_id"
    else:
        what = f"{this['craft_id']} has unit {other['unit_id']} at that time"
        column = "craft_id"
    more = f" (also rows {', '.join(map(str, others[1:4]))})" if len(others) > 1 else ""
    blame = "" if alone else "; which row is wrong cannot be known"
    reason = f"{what}: row {others[0]} says {_period(other)}, this row {_period(this)}{more}{blame}"
    remedy = "Correct the days; most often removed_on is missing in the earlier row."
    return Problem(file, row, column, str(this[column]), reason, remedy, refused=True)


def _period(fitting: pd.Series) -> str:
    removed = fitting["removed_on"]
    until = "still fitted" if pd.isna(removed) else f"to {removed.date()}"
    return f"{fitting['fitted_on'].date()} {until}"
