"""Now or later laid out as frames: nothing is worked out here, only put in order."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

import forecaster
from now_or_later_words import NAME_OF_PRICE
from words import SPACE, day_words, money, percent, signed, span

COLUMNS_OF_FILE = {
    "first_day": "week_of",
    "in_season": "in_season",
    "rebuild": "rebuild_then_expected",
    "rebuild_low": "rebuild_then_low_90",
    "rebuild_high": "rebuild_then_high_90",
    "check": "check_then_expected",
    "check_low": "check_then_low_90",
    "check_high": "check_then_high_90",
    "runs": "chance_still_runs",
    "rattles": "chance_rattles_then",
}


def week_rows(told: forecaster.NowOrLater) -> pd.DataFrame:
    """The table behind the curve, one row a week; chances in percent."""
    weeks = told.weeks[list(COLUMNS_OF_FILE)]
    return weeks.assign(runs=100 * weeks["runs"], rattles=100 * weeks["rattles"])


def week_file(told: forecaster.NowOrLater, currency: str) -> bytes:
    """The same as a CSV file that a spreadsheet reads: with "never" and the currency in columns of their own."""
    rows = told.weeks[list(COLUMNS_OF_FILE)].rename(columns=COLUMNS_OF_FILE)
    never = told.never
    rows = rows.assign(
        week_of=rows["week_of"].dt.strftime("%Y-%m-%d"),
        in_season=rows["in_season"].map({True: "yes", False: "no"}),
        never_expected=never.expected_cost,
        never_low_90=never.low,
        never_high_90=never.high,
        currency=currency,
        unit_id=told.unit_id,
    )
    return forecaster.csv_for_people(rows.round(4))


def month_rows(told: forecaster.NowOrLater, currency: str) -> pd.DataFrame:
    """What each month of putting the rebuild off costs; months in which nothing changes share a row."""
    rows: list[dict[str, str]] = []
    months = told.by_month
    same = (months["extra"].diff().abs() < 0.5) & (months["runs"].diff().abs() < 0.0005)
    for _, block in months.groupby((~same).cumsum()):
        first, last = block.iloc[0], block.iloc[-1]
        until = day_words(first["until"])
        rows.append(
            {
                "Put off to": until if len(block) == 1 else f"{until} to {day_words(last['until'])}",
                f"Costs more than now, {currency}": f"{signed(first['extra'])} ({span(*_ends(first))})".replace(
                    " ", SPACE
                ),
                "Still runs by then": percent(first["runs"]),
            }
        )
    return pd.DataFrame(rows)


def _ends(row: pd.Series) -> tuple[float, float]:
    return float(row["extra_low"]), float(row["extra_high"])


def swing_rows(swings: Sequence[forecaster.Swing], currency: str) -> pd.DataFrame:
    """The rows of the picture of what moves the answer; see ``now_or_later_charts.what_moves_it``."""
    return pd.DataFrame(
        [
            {
                "label": NAME_OF_PRICE[swing.what],
                "low": swing.low,
                "high": swing.high,
                "hover": f"{NAME_OF_PRICE[swing.what]}<br>a quarter lower: a rebuild now saves "
                f"{money(swing.low, currency)}<br>a quarter higher: {money(swing.high, currency)}",
            }
            for swing in swings
        ]
    )


def swing_table(swings: Sequence[forecaster.Swing], currency: str) -> pd.DataFrame:
    """The table behind that picture."""
    return pd.DataFrame(
        [
            {
                "Price or chance": NAME_OF_PRICE[swing.what],
                f"A quarter lower, {currency}": signed(swing.low),
                f"A quarter higher, {currency}": signed(swing.high),
            }
            for swing in swings
        ]
    )
