"""Checks between rows and between tables: names that are nowhere, and facts that contradict each other.

A row that points to nothing is refused. Where the row that it points to was itself refused, the reason says so, so
that one mistake is seen as one mistake. Facts that are odd but possible are notices: the row is used.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

import pandas as pd

from forecaster.cells import MAX_COMPARISONS, MAX_SUGGESTIONS, nearest
from forecaster.fitting_checks import check_overlaps
from forecaster.incident_checks import incidents_told_twice
from forecaster.meters import check_meters
from forecaster.odd_numbers import AGES, beyond_range, odd_ages, odd_prices
from forecaster.problems import Problem
from forecaster.renewal_checks import renewed_without_opening
from forecaster.row_checks import CheckedTable, each
from forecaster.service_checks import (
    fitted_after_retirement,
    fitted_long_before,
    incidents_out_of_service,
    ran_out_of_service,
)

Tables = dict[str, CheckedTable]
_MOST_NAMED = 10  # other rows that a reason names


def cross_check(tables: Mapping[str, CheckedTable]) -> Tables:
    """The same tables, checked against each other; every table of the contract must be there.

    Tables are checked in the order in which rows point to rows: craft, fittings, then all others.
    """
    checked = dict(tables)

    def add(name: str, problems: Iterable[Problem]) -> None:
        checked[name] = checked[name].with_problems(problems)

    for name in ("fittings", "hours", "water"):
        add(name, unknown_names(checked[name], "craft_id", checked["craft"]))
    add("fittings", check_overlaps(checked["fittings"].accepted, checked["fittings"].file))
    for name in ("rebuilds", "checks"):
        add(name, unknown_names(checked[name], "unit_id", checked["fittings"]))
    add("hours", check_meters(checked["hours"].accepted, checked["hours"].file))
    add("rebuilds", opened_twice(checked["rebuilds"]))
    add("rebuilds", ended_before_fitted(checked["rebuilds"], checked["fittings"]))
    for name, day in (("rebuilds", "opened_on"), ("checks", "checked_on"), ("fittings", "fitted_on")):
        add(name, after_the_end(checked[name], day, checked["rebuilds"]))
    for name, day in (("rebuilds", "opened_on"), ("checks", "checked_on")):
        add(name, unknown_names(checked[name], "unit_id", checked["fittings"]))  # fittings were refused since
        add(name, before_first_fitting(checked[name], day, checked["fittings"]))
    add("water", incidents_out_of_service(checked["water"], checked["craft"], checked["fittings"]))
    add("water", incidents_told_twice(checked["water"], checked["hours"]))
    add("fittings", fitted_after_retirement(checked["fittings"], checked["craft"]))
    for name, oddities in ODDITIES.items():
        add(name, contradictions(checked[name], oddities))
    add("fittings", renewed_without_opening(checked["fittings"], checked["rebuilds"], checked["hours"]))
    add("fittings", fitted_long_before(checked["fittings"], checked["craft"], checked["hours"]))
    add("craft", ran_out_of_service(checked["craft"], checked["hours"]))
    for name in AGES:
        add(name, odd_ages(checked[name], checked["fittings"], checked["rebuilds"], checked["hours"]))
    for name in checked:
        add(name, beyond_range(checked[name]))
    for name, column in (("craft", "day_rate"), ("rebuilds", "cost")):
        add(name, odd_prices(checked[name], column))
    return checked


# --- names --------------------------------------------------------------------------------------------------------


def unknown_names(pointing: CheckedTable, column: str, known: CheckedTable) -> Iterator[Problem]:
    """Refused rows whose craft or unit is nowhere in the table that should hold it.

    Nothing is said where that table holds no row at all: that is one mistake, and it stops the answer by itself.
    """
    names = set(known.accepted[column])
    if not names:
        return
    rows = pointing.accepted
    strangers = rows[~rows[column].isin(names)]
    refused = _first_row(known.rows[known.rows.index.isin(known.refused_rows)], column)
    explained: dict[str, tuple[str, str]] = {}
    in_order = sorted(names) if len(strangers) else []
    suggested = min(MAX_SUGGESTIONS, MAX_COMPARISONS // len(names))
    for row, name in each(strangers, column):
        if name not in explained:
            explained[name] = _why_unknown(name, column, known, refused, in_order if len(explained) < suggested else [])
        reason, remedy = explained[name]
        yield Problem(pointing.file, row, column, name, reason, remedy, refused=True)


def _first_row(rows: pd.DataFrame, column: str) -> dict[str, int]:
    first = rows[column].dropna().drop_duplicates()
    return dict(zip(first, first.index.tolist(), strict=True))


def _why_unknown(
    name: str, column: str, known: CheckedTable, refused: Mapping[str, int], names: list[str]
) -> tuple[str, str]:
    noun = column.removesuffix("_id")
    if name in refused:
        row = refused[name]
        return f"{noun} {name} was refused in {known.file} row {row}", f"Mend row {row} of {known.file} first."
    near = nearest(name, names)
    hint = f"The nearest name there is {near}." if near else f"Add it to {known.file}."
    return f"{noun} {name} is nowhere in {known.file}", f"Correct the name, or add the {noun}. {hint}"


# --- the life of a unit -------------------------------------------------------------------------------------------


def opened_twice(rebuilds: CheckedTable) -> Iterator[Problem]:
    """Refused rows: one unit opened twice on one day with two different stories."""
    rows = rebuilds.accepted
    twice = rows[rows.duplicated(["unit_id", "opened_on"], keep=False)]
    of_the_day: dict[tuple[str, pd.Timestamp], list[int]] = {}
    for row, unit, day in each(twice, "unit_id", "opened_on"):
        of_the_day.setdefault((unit, day), []).append(row)
    for row, unit, day in each(twice, "unit_id", "opened_on"):
        rows_of_it = of_the_day[unit, day]
        named = [str(other) for other in rows_of_it[: _MOST_NAMED + 1] if other != row][:_MOST_NAMED]
        more = len(rows_of_it) - 1 - len(named)
        others = ", ".join(named) + (f" and {more:,} more" if more else "")
        reason = f"unit {unit} was opened twice on {day.date()} with different facts (also row {others})"
        remedy = "Keep the row that is right, or correct the day of the other."
        yield Problem(rebuilds.file, row, "opened_on", str(day.date()), reason, remedy, refused=True)


def ended_before_fitted(rebuilds: CheckedTable, fittings: CheckedTable) -> Iterator[Problem]:
    """Refused rows: a unit replaced or scrapped before the log first has it on a craft."""
    first = fittings.accepted.groupby("unit_id")["fitted_on"].min()
    rows = _endings(rebuilds)
    rows = rows.assign(begins=rows["unit_id"].map(first))
    early = rows[rows["opened_on"] < rows["begins"]]
    for row, unit, when, outcome, begins in each(early, "unit_id", "opened_on", "outcome", "begins"):
        reason = f"unit {unit} cannot have been {outcome} before it was first fitted, on {begins.date()}"
        remedy = f"Correct the day or the outcome, or the fittings of {unit} in {fittings.file}."
        yield Problem(rebuilds.file, row, "opened_on", str(when.date()), reason, remedy, refused=True)


def after_the_end(table: CheckedTable, day: str, rebuilds: CheckedTable) -> Iterator[Problem]:
    """Refused rows about a unit after it was replaced or scrapped. A fitting on the very day comes after it, too."""
    ends = _endings(rebuilds).sort_values("opened_on", kind="stable")
    ends = ends.assign(end_row=ends.index).drop_duplicates("unit_id").set_index("unit_id")
    rows = table.accepted
    rows = rows.assign(
        ended_on=rows["unit_id"].map(ends["opened_on"]),
        ended_as=rows["unit_id"].map(ends["outcome"]),
        end_row=rows["unit_id"].map(ends["end_row"]),
    )
    late = rows[day] >= rows["ended_on"] if day == "fitted_on" else rows[day] > rows["ended_on"]
    for row, unit, when, ended_on, ended_as, end_row in each(
        rows[late], "unit_id", day, "ended_on", "ended_as", "end_row"
    ):
        reason = (
            f"unit {unit} was {ended_as} on {ended_on.date()} ({rebuilds.file} row {int(end_row)}) "
            f"and cannot be {_DONE[day]} on {when.date()}"
        )
        remedy = "Give the unit that took its place a name of its own, or correct the day or the outcome."
        yield Problem(table.file, row, day, str(when.date()), reason, remedy, refused=True)


def _endings(rebuilds: CheckedTable) -> pd.DataFrame:
    rows = rebuilds.accepted
    return rows[rows["outcome"].isin(["replaced", "scrapped"])]


_DONE = {"fitted_on": "fitted", "opened_on": "opened", "checked_on": "checked"}


def before_first_fitting(table: CheckedTable, day: str, fittings: CheckedTable) -> Iterator[Problem]:
    """Notices: a unit opened or checked before the log knows it on any craft.

    Possible, and useful where it was rebuilt and then fitted; but a wrong year looks the same.
    """
    first = fittings.accepted.groupby("unit_id")["fitted_on"].min()
    rows = table.accepted
    rows = rows.assign(begins=rows["unit_id"].map(first))
    for row, unit, when, begins in each(rows[rows[day] < rows["begins"]], "unit_id", day, "begins"):
        reason = (
            f"unit {unit} was {_DONE[day]} on {when.date()}, before it was first fitted ({begins.date()}): "
            "the log knows no hours of it until then; the row is used"
        )
        remedy = f"Correct the day if it is wrong, or add the earlier fitting to {fittings.file}."
        yield Problem(table.file, row, day, str(when.date()), reason, remedy, refused=False)


# --- facts within a row that contradict each other ----------------------------------------------------------------


@dataclass(frozen=True)
class Oddity:
    """Two facts of one row that hardly go together: a notice."""

    column: str
    holds: Callable[[pd.DataFrame], pd.Series]
    reason: str
    remedy: str


ODDITIES: dict[str, tuple[Oddity, ...]] = {
    "rebuilds": (
        Oddity(
            "bearing",
            lambda rows: (rows["reason"] == "failure") & rows["bearing"].isin(["sound", "rough", "rusted"]),
            "the unit is said to have failed in use, yet its bearing was not found failed",
            "reason = failure means that the shaft lost its support; noise noticed in use is reason = symptom.",
        ),
        Oddity(
            "bearing",
            lambda rows: (rows["outcome"] == "closed") & (rows["bearing"] == "failed"),
            "the unit is said to have been put back as it was with a failed bearing",
            "Correct bearing or outcome.",
        ),
        Oddity(
            "outcome",
            lambda rows: (rows["outcome"] == "rebuilt") & (rows["front_housing"] == "destroyed"),
            "the unit is said to have been rebuilt although its front housing was destroyed",
            "outcome = replaced if a new unit took its place; else nothing, if another housing was found.",
        ),
        Oddity(
            "parts",
            lambda rows: (rows["outcome"] != "rebuilt") & (rows["parts"] != "unknown"),
            "parts are stated although none were renewed",
            "Leave parts blank unless outcome = rebuilt.",
        ),
    ),
    "water": (
        Oddity(
            "treated_within_h",
            lambda rows: (rows["treated"] == "no") & rows["treated_within_h"].notna(),
            "a time to the treatment is stated although the craft was not treated",
            "Correct treated or treated_within_h.",
        ),
        Oddity(
            "happened_on",
            lambda rows: rows.duplicated(["craft_id", "happened_on"], keep=False),
            "the craft has more than one incident on this day; each counts",
            "Keep one row if it was one incident.",
        ),
    ),
}


def contradictions(table: CheckedTable, oddities: tuple[Oddity, ...]) -> Iterator[Problem]:
    """Notices for rows in which an oddity holds; the rows are used as they are."""
    rows = table.accepted
    for oddity in oddities:
        for row, value in each(rows[oddity.holds(rows)], oddity.column):
            said = None if pd.isna(value) else str(value.date() if isinstance(value, pd.Timestamp) else value)
            yield Problem(table.file, row, oddity.column, said, oddity.reason, oddity.remedy, refused=False)
