"""A small good fleet for the tests of reading: four craft, five units, every table, no problem in any row."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from datetime import date, timedelta
from pathlib import Path

import pandas as pd

from forecaster.records import TABLES, FleetRecords, empty_frame
from forecaster.settings import FleetSettings
from forecaster.writing import write_fleet

TODAY = date(2026, 1, 15)


def frame_of(table: str, rows: Iterable[dict[str, object]]) -> pd.DataFrame:
    """A table's frame from rows given as the contract's record takes them."""
    records = [TABLES[table].record(**row).model_dump() for row in rows]
    blank = empty_frame(table)
    frame = pd.DataFrame(records, columns=list(blank.columns)).astype(blank.dtypes.to_dict())
    frame.index = pd.Index(range(2, len(frame) + 2), name="row", dtype="int64")
    return frame


def readings(craft: str, first: date, meter: float, hours_a_week: float, weeks: int) -> list[dict[str, object]]:
    """Weekly readings of one craft that never ran more than a few hours a day."""
    return [
        {"craft_id": craft, "read_on": first + timedelta(weeks=n), "meter": round(meter + n * hours_a_week, 1)}
        for n in range(weeks)
    ]


def small_fleet() -> FleetRecords:
    """S1 was rebuilt and put back, S2 and S3 changed craft, S4 was scrapped and S5 took its place."""
    hours = [
        *readings("C001", date(2025, 5, 5), 120.3, 6.4, 20),
        *readings("C002", date(2025, 5, 5), 48.0, 5.1, 20),
        *readings("C003", date(2025, 5, 6), 900.5, 7.2, 10),
        {"craft_id": "C003", "read_on": date(2025, 7, 16), "meter": 0.0, "new_meter": "yes"},
        *readings("C003", date(2025, 7, 22), 5.5, 6.6, 9),
        *readings("C004", date(2025, 5, 7), 10.0, 4.0, 20),
    ]
    return FleetRecords(
        craft=frame_of(
            "craft",
            [
                {"craft_id": "C001", "name": "Otter", "base": "North", "owner": "Ødegård Boats", "model_year": 2022}
                | {"water": "salt", "tune": "stock", "in_service_on": date(2025, 4, 1), "day_rate": 310.5},
                {"craft_id": "C002", "name": "Heron, the old one", "water": "fresh", "cooling": "closed"},
                {"craft_id": "C003", "name": 'Gull "Two"', "water": "brackish", "catch_can": "yes"},
                {"craft_id": "C004", "name": "Tern", "tune": "tuned", "retired_on": date(2025, 12, 1)},
            ],
        ),
        fittings=frame_of(
            "fittings",
            [
                {"unit_id": "S1", "craft_id": "C001", "fitted_on": date(2025, 4, 10), "hours_at_fitting": 0.0}
                | {"removed_on": date(2025, 7, 1), "parts": "oem"},
                {"unit_id": "S1", "craft_id": "C001", "fitted_on": date(2025, 7, 4)},
                {"unit_id": "S2", "craft_id": "C002", "fitted_on": date(2025, 4, 12), "hours_at_fitting": 35.5}
                | {"removed_on": date(2025, 8, 2)},
                {"unit_id": "S3", "craft_id": "C003", "fitted_on": date(2025, 4, 12), "parts": "aftermarket"}
                | {"removed_on": date(2025, 8, 2)},
                {"unit_id": "S3", "craft_id": "C002", "fitted_on": date(2025, 8, 3)},
                {"unit_id": "S2", "craft_id": "C003", "fitted_on": date(2025, 8, 3)},
                {"unit_id": "S4", "craft_id": "C004", "fitted_on": date(2025, 4, 20)}
                | {"removed_on": date(2025, 6, 20)},
                {"unit_id": "S5", "craft_id": "C004", "fitted_on": date(2025, 6, 25), "hours_at_fitting": 0.0},
            ],
        ),
        hours=frame_of("hours", hours),
        water=frame_of(
            "water",
            [
                {"craft_id": "C001", "happened_on": date(2025, 6, 14), "kind": "swamped", "oil": "milky"}
                | {"treated": "yes", "treated_within_h": 3.5},
                {"craft_id": "C003", "happened_on": date(2025, 7, 9), "kind": "capsized", "water": "brackish"},
                {"craft_id": "C004", "happened_on": date(2025, 6, 11), "kind": "submerged", "treated": "no"},
            ],
        ),
        rebuilds=frame_of(
            "rebuilds",
            [
                {"unit_id": "S1", "opened_on": date(2025, 7, 2), "reason": "water", "bearing": "rusted"}
                | {"outcome": "rebuilt", "parts": "oem", "hours": 49.5, "slip_found": 12.0, "slip_set": 14.0}
                | {"impeller": "good", "front_housing": "corroded", "cost": 655.25},
                {"unit_id": "S2", "opened_on": date(2025, 8, 2), "reason": "scheduled", "bearing": "sound"}
                | {"outcome": "closed"},
                {"unit_id": "S4", "opened_on": date(2025, 6, 21), "reason": "failure", "bearing": "failed"}
                | {"outcome": "scrapped", "impeller": "scored", "front_housing": "destroyed"},
            ],
        ),
        checks=frame_of(
            "checks",
            [
                {"unit_id": "S3", "checked_on": date(2025, 8, 2), "spin": "quiet", "shaft_play_mm": 0.05},
                {"unit_id": "S5", "checked_on": date(2025, 9, 1), "spin": "slight", "oil": "clear"}
                | {"boost_kpa": 61.0, "slip": 13.5, "oil_water_ppm": 40.0},
            ],
        ),
        settings=FleetSettings.model_validate(
            {"currency": "EUR", "costs": {"rebuild": 700}, "bench": {"budget": 9000}}
        ),
        name="small_fleet",
    )


def small_fleet_folder(folder: Path) -> Path:
    """The small fleet as a fleet folder."""
    write_fleet(small_fleet(), folder)
    return folder


# --- damaging a file the way people do -----------------------------------------------------------------------------


def rows_of(file: Path) -> list[list[str]]:
    """The records of a CSV file, header first: record n is the spreadsheet's row n + 1."""
    with file.open(newline="", encoding="utf-8") as lines:
        return list(csv.reader(lines))


def write_rows(file: Path, rows: Iterable[Iterable[str]]) -> None:
    """The records back into the file."""
    with file.open("w", newline="", encoding="utf-8") as lines:
        csv.writer(lines, lineterminator="\n").writerows(rows)


def set_cell(file: Path, row: int, column: str, text: str) -> None:
    """Type `text` into the cell of a spreadsheet's row."""
    rows = rows_of(file)
    rows[row - 1][rows[0].index(column)] = text
    write_rows(file, rows)


def cell(file: Path, row: int, column: str) -> str:
    """What the cell of a spreadsheet's row holds."""
    rows = rows_of(file)
    return rows[row - 1][rows[0].index(column)]


def add_row(file: Path, **cells: str) -> int:
    """Append a row, other cells blank; its number."""
    rows = rows_of(file)
    rows.append([cells.get(name, "") for name in rows[0]])
    write_rows(file, rows)
    return len(rows)
