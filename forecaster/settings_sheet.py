"""The sheet ``fleet`` of a workbook as the text of fleet.toml: two columns, key and value.

A key names its section: ``costs.rebuild``, ``season.opens``. Spreadsheets turn a typed 05-01 into a date of this
year; it is read as month and day, with a notice that says so.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import date
from typing import Any

from forecaster.raw_tables import UnreadableFile
from forecaster.workbooks import cell_text

_KEY = re.compile(r"[A-Za-z0-9_]+(?:\.[A-Za-z0-9_]+)?")
_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?")
_DATES = frozenset({"season.opens", "season.closes"})


def settings_text(rows: Sequence[Sequence[Any]]) -> tuple[str, list[tuple[int, str, str, str]]]:
    """TOML text of a settings sheet, and notices (row, key, value, reason) about dates read as month-day.

    Rows without a key are passed over, and so is the header; a key without a value takes its default.
    UnreadableFile for a key that cannot be one, or that is there twice.
    """
    lines: dict[str, str] = {}
    notices = []
    for number, row in enumerate(rows, 1):
        cells = [*row, "", ""]
        key = cell_text(cells[0]).strip()
        value = cells[1]
        if not key or key.casefold() == "key" or (isinstance(value, str) and not value.strip()):
            continue
        if not _KEY.fullmatch(key):
            raise UnreadableFile(f"row {number}: {key!r} is not a key", "Write it as section.name: costs.rebuild.")
        if key in lines:
            raise UnreadableFile(f"row {number}: {key} is there twice", "Keep one of the rows.")
        text = cell_text(value).strip()
        if key in _DATES and isinstance(value, date):
            text = f"{value:%m-%d}"
            notices.append((number, key, cell_text(value), f"the date in the cell was read as month-day {text}"))
        lines[key] = text if _NUMBER.fullmatch(text) and isinstance(value, (int, float)) else json.dumps(text)
    return "\n".join(f"{key} = {text}" for key, text in lines.items()), notices
