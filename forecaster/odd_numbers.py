"""Numbers that are hardly meant so: beyond what such a number is, or beside the fleet's own off by a decimal point.

Each is used as it stands, and its row is asked about, so that a slip of the pen is seen. What a row says of how far a
bearing has run goes further than its own unit, since all units' risk is learned from it: until it is mended such a row
is *held back*, its life teaches nothing about other units (``lives.Histories.taught``), and its own unit is doubtful
(``doubts``). Its own answer goes by the row as it stands.

An age that is right needs no word from anybody: a unit that is no older than some meter of the fleet shows is not asked
about, nor one that is like others of the fleet, nor a long life where the fleet states too few to tell.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from forecaster.column_ranges import BEARING_HOURS, ColumnRange
from forecaster.number_cells import plain_number
from forecaster.problems import Problem
from forecaster.records import Column
from forecaster.row_checks import CheckedTable

# Columns that say how far a bearing has run, beside the meters.
AGES = {"fittings": ("hours_at_fitting", "fitted_on"), "rebuilds": ("hours", "opened_on")}
# Up to the first no life is asked about where `MANY_AGES` ages of other units tell what is usual in the fleet; up to
# the second none where they do not: units that were never rebuilt reach it. Common practice, no source.
LONG_BESIDE_OTHERS_H, LONG_LIFE_H = 400.0, 1_000.0
MANY_AGES = 5
# A slip of the decimal point is a factor of 10; lives of one fleet differ by less than this from its longest.
TIMES_LONGEST = 3.0
# A meter is read so many days later at the latest to tell how far its engine had run by a fitting.
SOON_DAYS = 31
# Prices of one fleet differ by less than this from their median; a slip of the decimal point is this at least.
TIMES_USUAL_PRICE = 10.0
FEW_PRICES = 5  # of fewer the median tells nothing


def beyond_range(table: CheckedTable) -> Iterator[Problem]:
    """Notices: numbers that can be so, but seldom are. Ages are left to ``odd_ages``."""
    rows = table.accepted
    for column in table.table.columns.values():
        limits = column.limits
        if limits is None or column.name in AGES.get(table.table.name, ()):
            continue
        values = rows[column.name].to_numpy(dtype=float)
        for place in np.flatnonzero((values < limits.low) | (values > limits.high)).tolist():
            yield _beyond(table, int(rows.index[place]), column, float(values[place]), limits)


def _beyond(table: CheckedTable, row: int, column: Column, value: float, limits: ColumnRange) -> Problem:
    side = f"less than {plain_number(limits.low)}" if value < limits.low else f"more than {plain_number(limits.high)}"
    unit = f" {column.unit}" if column.unit else ""
    reason = f"this is {side}{unit}: {limits.means}; it is used"
    blank = "" if column.required else ", or leave the cell blank if it is not known"
    remedy = f"Look for a typing error or another unit of measure, and correct it{blank}; if it is right, leave it."
    return Problem(table.file, row, column.name, plain_number(value), reason, remedy, refused=False)


def odd_ages(
    table: CheckedTable, fittings: CheckedTable, rebuilds: CheckedTable, hours: CheckedTable
) -> Iterator[Problem]:
    """Notices that hold a row back: a unit said to have run far longer than the fleet's units and engines do."""
    column, day = AGES[table.table.name]
    rows = table.accepted
    rows = rows[rows[column] > LONG_BESIDE_OTHERS_H]
    if rows.empty:
        return
    longest, others = _of_other_units(rows["unit_id"], pd.concat([_stated(fittings), _stated(rebuilds)]))
    shown = _highest_shown(hours.accepted, rows[day] + pd.Timedelta(days=SOON_DAYS))
    least = np.where(others >= MANY_AGES, LONG_BESIDE_OTHERS_H, LONG_LIFE_H)
    usual = np.minimum(BEARING_HOURS.high, np.maximum(least, TIMES_LONGEST * longest))
    ages = rows[column].to_numpy(dtype=float)
    for at in np.flatnonzero(ages > np.maximum(shown, usual)).tolist():
        row, age, meter, other = int(rows.index[at]), float(ages[at]), float(shown[at]), float(longest[at])
        yield _odd_age(table, row, column, age, meter, other)


def _stated(table: CheckedTable) -> pd.DataFrame:
    """Ages above 0 that a table states, with their units."""
    column, _ = AGES[table.table.name]
    rows = table.accepted[["unit_id", column]].rename(columns={column: "age"})
    return rows[rows["age"] > 0]


def _of_other_units(units: pd.Series, stated: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """The longest age stated of any other unit than each of `units`, 0 where there is none, and how many there are."""
    by_unit = stated.groupby("unit_id")["age"].agg(["max", "size"]).sort_values("max", ascending=False)
    first, second = ([*by_unit["max"].tolist(), 0.0, 0.0][place] for place in (0, 1))
    own = units.map(by_unit["size"]).fillna(0).to_numpy(dtype=float)
    of_longest = (units == by_unit.index[0]).to_numpy() if len(by_unit) else np.zeros(len(units), dtype=bool)
    return np.where(of_longest, second, first), len(stated) - own


def _highest_shown(readings: pd.DataFrame, by: pd.Series) -> np.ndarray:
    """The most that any meter of the fleet showed by each day, (n,); 0 where none had been read."""
    in_time = readings.sort_values("read_on", kind="stable")
    highest = np.append(0.0, in_time["meter"].cummax().to_numpy(dtype=float))
    shown: np.ndarray = highest[np.searchsorted(in_time["read_on"].to_numpy(), by.to_numpy(), side="right")]
    return shown


def _odd_age(table: CheckedTable, row: int, column: str, age: float, meter: float, others: float) -> Problem:
    told = "no meter tells of it"
    if meter:
        told = f"no meter of the fleet had shown more than {plain_number(meter)} h by then"
    beside = f", and no other unit is said to have run more than {plain_number(others)} h" if others else ""
    limit = f" ({BEARING_HOURS.means})" if age > BEARING_HOURS.high else ""
    reason = (
        f"{plain_number(age)} h since new or rebuilt are far more than usual{limit}: {told}{beside}; the row is used "
        "for its own unit, and nothing about others is learned from that life"
    )
    meant = round(age / 10.0, 3)  # the decimal point one place further
    hint = f": was it {plain_number(meant)}?" if others == 0 or meant <= TIMES_LONGEST * others else "."
    remedy = f"Correct {column}{hint} Leave the cell blank if it is not known; if it is right, leave the row."
    return Problem(table.file, row, column, plain_number(age), reason, remedy, refused=False, held_back=True)


def odd_prices(table: CheckedTable, column: str) -> Iterator[Problem]:
    """Notices: amounts of money ten times and more what the fleet's median says, or a tenth and less. 0 is a price."""
    amounts = table.accepted[column]
    amounts = amounts[amounts > 0]
    if len(amounts) < FEW_PRICES:
        return
    usual = float(amounts.median())
    odd = amounts[(amounts >= TIMES_USUAL_PRICE * usual) | (amounts <= usual / TIMES_USUAL_PRICE)]
    for row, amount in odd.items():
        side = "ten times or more" if amount > usual else "a tenth or less of"
        median = plain_number(round(usual, 2))
        reason = f"this is {side} what such amounts are in {table.file}, {median} at the median; it is used"
        remedy = f"Correct {column}, or leave the cell blank if it is not known; if it is right, leave it."
        yield Problem(table.file, int(str(row)), column, plain_number(float(amount)), reason, remedy, refused=False)
