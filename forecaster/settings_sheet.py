"""The sheet ``fleet`` of a workbook as the keys of fleet.toml: two columns, key and value.

A key names its section: ``costs.rebuild``, ``season.opens``. Spreadsheets turn a typed 05-01 into a date of this
year; it is read as month and day, with a notice that says so.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import Any

from forecaster.raw_tables import UnreadableFile
from forecaster.shown_values import shortened
from forecaster.workbooks import cell_text

_KEY = re.compile(r"[A-Za-z0-9_]+(?:\.[A-Za-z0-9_]+)?")
_NUMBER = re.compile(r"[+-]?[0-9]{1,15}(?:\.[0-9]{1,15})?")
_DATES = frozenset({"season.opens", "season.closes"})
_TEXTS = _DATES | {"currency", "date_format"}


def settings_in_rows(rows: Sequence[Sequence[Any]]) -> tuple[dict[str, Any], list[tuple[int, str, str, str]]]:
    """Keys and sections of a settings sheet, and notices (row, key, value, reason) about dates read as month-day.

    Rows without a key are passed over, and so is the header; a key without a value takes its default. A number typed as
    a text is that number. UnreadableFile for a key that cannot be one, that is there twice, or that is also a section.
    """
    given: dict[str, Any] = {}
    notices = []
    for number, row in enumerate(rows, 1):
        cells = [*row, "", ""]
        key = cell_text(cells[0]).strip()
        value = cells[1]
        if not key or key.casefold() == "key" or value is None or (isinstance(value, str) and not value.strip()):
            continue
        if not _KEY.fullmatch(key):
            raise UnreadableFile(
                f"row {number}: {shortened(key)} is not a key", "Write it as section.name: costs.rebuild."
            )
        if key in _DATES and isinstance(value, date):
            text = f"{value:%m-%d}"
            notices.append((number, key, cell_text(value), f"the date in the cell was read as month-day {text}"))
            value = text
        _put(given, key, _meant(key, value), number)
    return given, notices


def _meant(key: str, value: Any) -> Any:
    """A cell's value as fleet.toml would have it."""
    if isinstance(value, (int, float)) and key not in _TEXTS:
        return value
    text = cell_text(value).strip()
    if key not in _TEXTS and _NUMBER.fullmatch(text):
        return float(text)
    return text


def _put(given: dict[str, Any], key: str, value: Any, row: int) -> None:
    section, _, name = key.rpartition(".")
    keys = given.setdefault(section, {}) if section else given
    told = shortened(key)
    if not isinstance(keys, dict) or (not section and isinstance(given.get(name), dict)):
        both = shortened(section or name)
        raise UnreadableFile(f"row {row}: {told}: {both} is a section and a key of its own", "Keep one of the rows.")
    if name in keys:
        raise UnreadableFile(f"row {row}: {told} is there twice", "Keep one of the rows.")
    keys[name] = value
