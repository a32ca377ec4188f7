"""Records small enough for paper, row by row; what a test does not name is blank, as in a real book."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

import pandas as pd

from forecaster.lives import Histories
from forecaster.records import TABLES, FleetRecords, empty_frame
from forecaster.settings import FleetSettings

Row = dict[str, Any]


def table(name: str, rows: Iterable[Row]) -> pd.DataFrame:
    """Rows of one file as accepted records: the contract's columns and dtypes, line numbers from 2."""
    rows, empty = list(rows), empty_frame(name)
    columns = {}
    for column in TABLES[name].columns.values():
        cells = [row.get(column.name, column.blank) for row in rows]
        cells = pd.to_datetime(cells) if column.kind == "date" else cells
        index = pd.RangeIndex(2, len(rows) + 2, name="row")
        columns[column.name] = pd.Series(cells, index=index, dtype=empty[column.name].dtype)
    unknown = {name for row in rows for name in row} - set(columns)
    assert not unknown, f"{name} has no columns {unknown}"
    return pd.DataFrame(columns)


def paper_fleet(
    craft: Iterable[Row | str],
    fittings: Iterable[Row] = (),
    hours: dict[str, list[tuple[Any, ...]]] | None = None,
    water: Iterable[Row] = (),
    rebuilds: Iterable[Row] = (),
    checks: Iterable[Row] = (),
) -> FleetRecords:
    """A fleet's records. `hours`: by craft, readings as (day, meter) or (day, meter, "new") for a new meter."""
    readings = [
        {"craft_id": craft_id, "read_on": day, "meter": meter, "new_meter": "yes" if new else "no"}
        for craft_id, rows in (hours or {}).items()
        for day, meter, *new in rows
    ]
    return FleetRecords(
        craft=table("craft", ({"craft_id": one} if isinstance(one, str) else one for one in craft)),
        fittings=table("fittings", fittings),
        hours=table("hours", readings),
        water=table("water", water),
        rebuilds=table("rebuilds", rebuilds),
        checks=table("checks", checks),
        settings=FleetSettings(),
    )


def fitted(
    unit_id: str, craft_id: str, fitted_on: str, removed_on: str | None = None, hours: float | None = None
) -> Row:
    """A row of fittings.csv."""
    row: Row = {"unit_id": unit_id, "craft_id": craft_id, "fitted_on": fitted_on, "removed_on": removed_on}
    return row | {"hours_at_fitting": hours}


def opened(unit_id: str, opened_on: str, reason: str, bearing: str, outcome: str, **more: Any) -> Row:
    """A row of rebuilds.csv."""
    row: Row = {"unit_id": unit_id, "opened_on": opened_on, "reason": reason, "bearing": bearing, "outcome": outcome}
    return row | more


def life(histories: Histories, life_id: str) -> pd.Series:
    """One row of ``lives``."""
    rows: pd.Series = histories.lives.set_index("life_id").loc[life_id]
    return rows


def span(histories: Histories, life_id: str) -> tuple[float, float, float]:
    """Hours observed of one life: best, low, high, rounded against the last binary digits."""
    row = life(histories, life_id)
    names = ("hours_observed", "hours_observed_low", "hours_observed_high")
    return tuple(round(float(row[name]), 9) for name in names)  # type: ignore[return-value]


def said(histories: Histories, about: str) -> str:
    """All remarks about a unit or craft."""
    return "\n".join(remark.text for remark in histories.remarks if remark.about == about)


def same(left: Histories, right: Histories) -> None:
    """Assert that two histories are identical, remarks and all."""
    assert left.as_of == right.as_of
    for name in ("lives", "incidents", "checks", "stretches"):
        pd.testing.assert_frame_equal(getattr(left, name), getattr(right, name), check_exact=True)
    assert left.remarks == right.remarks
    assert left.craft_without_unit == right.craft_without_unit


def day(text: str) -> date:
    """A date."""
    return date.fromisoformat(text)
