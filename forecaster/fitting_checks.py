"""Fittings that cannot all be true: one unit on two craft, or two units on one craft, at the same time.

A period runs from the day of fitting to the day of removal, which it leaves to the next one; without a removal it
goes on. Where one row alone contradicts all the others of its group, that row is refused; where the blame cannot be
told, every row of the contradiction is refused.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations, pairwise

import numpy as np
import pandas as pd

from forecaster.problems import Problem

_STILL_FITTED = np.datetime64("2262-01-01")  # later than any day that is read
# Beyond so many rows in one contradiction, or pairs of rows in all, no single row is looked for.
_LARGEST_SEARCH = 200
_MOST_PAIRS = 300_000

_Period = tuple[str, str, pd.Timestamp, pd.Timestamp]  # unit, craft, fitted, removed


def check_overlaps(fittings: pd.DataFrame, file: str = "fittings.csv") -> Iterator[Problem]:
    """Refused rows of `fittings` (columns of fittings.csv, index ``row``) whose periods overlap."""
    clashes: dict[int, set[int]] = {}  # row -> rows that it cannot stand beside
    pairs = 0
    for owner in ("unit_id", "craft_id"):
        for periods in _touching(fittings, owner):
            for one, other in _clashing(periods, thorough=pairs < _MOST_PAIRS and len(periods) <= _LARGEST_SEARCH):
                clashes.setdefault(one, set()).add(other)
                clashes.setdefault(other, set()).add(one)
                pairs += 1
    told = fittings.loc[list(clashes), ["unit_id", "craft_id", "fitted_on", "removed_on"]]
    cells = dict(zip(told.index.tolist(), told.itertuples(index=False, name=None), strict=True))
    for group in _connected(clashes):
        culprits = _culprits(group, clashes)
        for row in sorted(culprits):
            yield _overlap(cells, row, sorted(clashes[row]), alone=len(culprits) == 1, file=file)


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


def _clashing(group: pd.DataFrame, thorough: bool) -> Iterator[tuple[int, int]]:
    """Pairs of rows whose periods overlap; where not `thorough`, each row with its neighbour only."""
    rows = list(zip(group.index.tolist(), group["begins"], group["ends"], strict=True))
    pairs = combinations(rows, 2) if thorough else pairwise(rows)
    for (one, one_begins, one_ends), (other, other_begins, other_ends) in pairs:
        if not thorough or (one_begins < other_ends and other_begins < one_ends):
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


def _overlap(cells: Mapping[int, _Period], row: int, others: list[int], alone: bool, file: str) -> Problem:
    unit, craft, *this = cells[row]
    other_unit, other_craft, *other = cells[others[0]]
    if unit == other_unit:
        what, column, value = f"unit {unit} is on {other_craft} at that time", "unit_id", unit
    else:
        what, column, value = f"{craft} has unit {other_unit} at that time", "craft_id", craft
    more = f" (also rows {', '.join(map(str, others[1:4]))})" if len(others) > 1 else ""
    blame = "" if alone else "; which row is wrong cannot be known"
    reason = f"{what}: row {others[0]} says {_period(*other)}, this row {_period(*this)}{more}{blame}"
    remedy = "Correct the days; most often removed_on is missing in the earlier row."
    return Problem(file, row, column, str(value), reason, remedy, refused=True)


def _period(fitted: pd.Timestamp, removed: pd.Timestamp) -> str:
    return f"{fitted.date()} {'still fitted' if pd.isna(removed) else f'to {removed.date()}'}"
