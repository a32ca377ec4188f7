"""Empty files of a fleet to begin with: every header of the contract, and one invented example row in each.

Headers come from ``records.TABLES`` and settings from ``settings.FleetSettings``, so that a template is never behind
the contract; it reads back without a problem.
"""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import date, datetime
from typing import Any

from pydantic import BaseModel

from forecaster.records import TABLES, Column
from forecaster.settings import SETTINGS_FILE, FleetSettings
from forecaster.writing import cell_text, settings_toml

FOLDER = "my_fleet"
CREATED = datetime(2025, 1, 1)
CRAFT, UNIT = "EXAMPLE-CRAFT", "EXAMPLE-UNIT"
# The invented row of each table. What stands for nothing here is blank; a required column must be here.
EXAMPLES: dict[str, dict[str, str | float | date]] = {
    "craft": {
        "craft_id": CRAFT,
        "name": "invented: delete this row",
        "base": "north jetty",
        "owner": "an owner",
        "model_year": 2024,
        "water": "salt",
        "cooling": "open",
        "catch_can": "no",
        "tune": "stock",
        "in_service_on": date(2025, 5, 1),
        "day_rate": 280,
    },
    "fittings": {
        "unit_id": UNIT,
        "craft_id": CRAFT,
        "fitted_on": date(2025, 5, 1),
        "hours_at_fitting": 0,
        "parts": "oem",
    },
    "hours": {"craft_id": CRAFT, "read_on": date(2025, 6, 1), "meter": 38.5, "new_meter": "no"},
    "water": {
        "craft_id": CRAFT,
        "happened_on": date(2025, 6, 14),
        "kind": "swamped",
        "water": "salt",
        "oil": "clear",
        "treated": "yes",
        "treated_within_h": 3,
    },
    "rebuilds": {
        "unit_id": UNIT,
        "opened_on": date(2025, 11, 10),
        "reason": "scheduled",
        "bearing": "sound",
        "impeller": "good",
        "front_housing": "good",
        "outcome": "rebuilt",
        "parts": "oem",
        "hours": 96,
        "slip_found": 12.5,
        "slip_set": 14,
        "cost": 650,
    },
    "checks": {
        "unit_id": UNIT,
        "checked_on": date(2025, 7, 20),
        "spin": "quiet",
        "shaft_play_mm": 0.02,
        "boost_kpa": 70,
        "slip": 13,
        "oil": "clear",
        "oil_water_ppm": 80,
    },
}


def template_table(name: str) -> bytes:
    """One file of a fleet folder as a CSV file: its header and the invented row; UTF-8, marked for spreadsheets."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(TABLES[name].columns)
    rows.writerow(cell_text(EXAMPLES[name].get(column, "")) for column in TABLES[name].columns)
    return text.getvalue().encode("utf-8-sig")


def template_folder() -> bytes:
    """A whole fleet folder as a ZIP: a template of each file, and fleet.toml with the defaults."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as folder:
        for name, content in _folder_files().items():
            # A fixed day, so that the same contract gives the same bytes.
            folder.writestr(zipfile.ZipInfo(f"{FOLDER}/{name}", CREATED.timetuple()[:6]), content)
    return packed.getvalue()


def template_workbook() -> bytes:
    """A workbook with a sheet for each file, what each column means as a note on its header, and the settings."""
    import xlsxwriter

    packed = io.BytesIO()
    with xlsxwriter.Workbook(packed, {"in_memory": True}) as book:
        book.set_properties({"created": CREATED})  # not the time of day: the same template is the same bytes
        heading, needed = book.add_format({"bold": True}), book.add_format({"bold": True, "underline": 1})
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        for name, table in TABLES.items():
            sheet = book.add_worksheet(name)
            sheet.freeze_panes(1, 0)
            for at, column in enumerate(table.columns.values()):
                sheet.write_string(0, at, column.name, needed if column.required else heading)
                sheet.write_comment(0, at, _meaning(column))
                sheet.set_column(at, at, max(len(column.name) + 2, 11), day if column.kind == "date" else None)
                _write_cell(sheet, 1, at, EXAMPLES[name].get(column.name), day)
        _write_settings(book.add_worksheet("fleet"), heading)
    return packed.getvalue()


def _folder_files() -> dict[str, bytes]:
    tables = {table.file: template_table(name) for name, table in TABLES.items()}
    return {**tables, SETTINGS_FILE: settings_toml(FleetSettings()).encode()}


def _meaning(column: Column) -> str:
    written = {"date": "a day, 2026-05-01", "number": "a number", "whole": "a whole number", "text": "a text"}
    holds = " or ".join(column.codes) or written[column.kind]
    unit = f", {column.unit}" if column.unit else ""
    needed = "Needed." if column.required else "Blank: not recorded."
    return f"{column.meaning}. Write {holds}{unit}. {needed}"


def _write_cell(sheet: Any, row: int, at: int, value: str | float | date | None, day: Any) -> None:
    if isinstance(value, date):
        sheet.write_datetime(row, at, value, day)
    elif isinstance(value, (int, float)):
        sheet.write_number(row, at, value)
    elif value is not None:
        sheet.write_string(row, at, value)


def _write_settings(sheet: Any, heading: Any) -> None:
    """The sheet of settings: keys with their section, the defaults, and what each means in a third column."""
    for at, word in enumerate(("key", "value", "meaning")):
        sheet.write_string(0, at, word, heading)
    row = 0
    for name, section in FleetSettings.model_fields.items():
        default = getattr(FleetSettings(), name)
        fields = {name: (default, section)}
        if isinstance(default, BaseModel):
            inner = type(default).model_fields
            fields = {f"{name}.{key}": (getattr(default, key), info) for key, info in inner.items()}
        for key, (value, info) in fields.items():
            row += 1
            sheet.write_string(row, 0, key)
            if isinstance(value, (int, float)):
                sheet.write_number(row, 1, value)
            elif value is not None:
                sheet.write_string(row, 1, str(value))
            sheet.write_string(row, 2, info.description or "")
    sheet.set_column(0, 0, 34)
    sheet.set_column(1, 1, 12)
    sheet.set_column(2, 2, 60)
