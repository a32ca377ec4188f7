"""The limits that the forecaster keeps to, collected: what, how much, where to change it, what is said beyond.

Each limit is named and applied in a room of its own; here they are only gathered. Ranges of columns, settings, beliefs
and options are read from what applies them, so that a new one stands in the table by itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Literal, get_args

from forecaster.command_line import Commands, NumberOf
from forecaster.number_cells import parse_numbers, plain_number
from forecaster.plan_changes import MOST_NAME, MOST_NOTE
from forecaster.priors import (
    AGES_H,
    BETWEEN_FLEETS,
    EXPONENTS,
    MOST_AGES,
    PLACES,
    RANGES,
    SHARES,
    SPREADS,
    TESTED_PPM,
)
from forecaster.ranges import FIRST_DAY, LAST_DAY, UPLOAD_MEMORY, UPLOAD_TIME, NumberRange
from forecaster.reading import MAX_CSV_BYTES, MAX_WORKBOOK_BYTES
from forecaster.reading_apart import READ_AT_ONCE, UPLOAD_MEMORY_MB, UPLOAD_SECONDS
from forecaster.received_files import LONGEST_NAME
from forecaster.records import TABLES, Column
from forecaster.serving import FIRST_PORT, LAST_PORT, SAFE_START, START_SECONDS
from forecaster.settings import FleetSettings
from forecaster.small_files import MOST_BYTES, MOST_POINTS
from forecaster.text_files import MOST_OPEN_QUOTES
from forecaster.workbook_xml import MAX_PARTS
from forecaster.workbook_xml import MAX_UNPACKED_BYTES as MAX_UNPACKED_BOOK_BYTES
from forecaster.workbooks import MAX_SHEET_CELLS, MOST_MERGED_ROWS
from forecaster.zip_folders import MAX_MEMBERS
from forecaster.zip_folders import MAX_UNPACKED_BYTES as MAX_UNPACKED_ZIP_BYTES

Group = Literal["files", "uploads", "records", "settings", "beliefs", "options", "dashboard"]
Change = Literal["fixed", "option", "environment", "fleet.toml"]
End = float | date | None
MB = 1_000_000


@dataclass(frozen=True)
class Limit:
    """One limit. `least` and `most`: both still allowed, in `unit`; None where there is no such end.

    `of`: the file, section or command that `what` belongs to. `change`: how another value is set, and `by`: under which
    name. `beyond`: what is said, or a part of it.
    """

    group: Group
    what: str
    least: End
    most: End
    unit: str = ""
    of: str = ""
    change: Change = "fixed"
    by: str = ""
    beyond: str = ""


def limits(commands: Commands) -> tuple[Limit, ...]:
    """All limits, group by group; those of options are read from `commands`."""
    return (*_files(), *_uploads(), *_records(), *_settings(), *_beliefs(), *_options(commands), *_dashboard())


# Sizes and counts -----------------------------------------------------------------------------------------------------


def _megabytes(most: int) -> str:
    return f"at most {most / MB:,.0f} MB are read"


def _files() -> Iterator[Limit]:
    def fixed(what: str, most: float, unit: str, beyond: str) -> Limit:
        return Limit("files", what, None, most, unit, beyond=beyond)

    yield fixed("a CSV file", MAX_CSV_BYTES / MB, "MB", _megabytes(MAX_CSV_BYTES))
    small = "fleet.toml, priors.toml or an experience file"
    yield fixed(small, MOST_BYTES, "bytes", f"more than {MOST_BYTES:,} bytes")
    yield fixed(f"points on a line of {small}", MOST_POINTS, "points", f"has more than {MOST_POINTS} points")
    yield fixed("a workbook", MAX_WORKBOOK_BYTES / MB, "MB", _megabytes(MAX_WORKBOOK_BYTES))
    unpacked = f"at most {MAX_UNPACKED_BOOK_BYTES / MB:,.0f} MB in {MAX_PARTS:,} parts are read"
    yield fixed("a workbook, unpacked", MAX_UNPACKED_BOOK_BYTES / MB, "MB", unpacked)
    yield fixed("parts of a workbook", MAX_PARTS, "parts", unpacked)
    sprawl = f"at most {MAX_SHEET_CELLS:,} cells are read"
    yield fixed("a sheet, from A1 to its last cell", MAX_SHEET_CELLS, "cells", sprawl)
    yield fixed("merged rows of a sheet", MOST_MERGED_ROWS, "rows", "the sheet has more merged cells than rows")
    quotes = f"more than {MOST_OPEN_QUOTES} quotation marks are opened and not closed in their line"
    yield fixed("quotation marks left open in a CSV file", MOST_OPEN_QUOTES, "lines", quotes)
    yield fixed("a note in a file of changes", MOST_NOTE, "characters", f"at most {MOST_NOTE} are kept")


def _uploads() -> Iterator[Limit]:
    size = SAFE_START["server.maxUploadSize"]
    assert isinstance(size, int)
    yield Limit("uploads", "one file", None, size, "MB", beyond=f"File must be {size}MB or smaller")
    zipped = f"at most {MAX_UNPACKED_ZIP_BYTES / MB:,.0f} MB are read"
    yield Limit("uploads", "a ZIP, unpacked", None, MAX_UNPACKED_ZIP_BYTES / MB, "MB", beyond=zipped)
    yield Limit(
        "uploads", "files in a ZIP", None, MAX_MEMBERS, "files", beyond=f"at most {MAX_MEMBERS:,} are looked at"
    )
    for what, usual, ends, by in (
        ("memory for reading an upload", f"{UPLOAD_MEMORY_MB:,} MB", UPLOAD_MEMORY, "--upload-memory"),
        ("time for reading an upload", f"{UPLOAD_SECONDS} s", UPLOAD_TIME, "--upload-seconds"),
    ):
        said = f"could not be read within {usual}"
        yield Limit("uploads", f"{what} ({usual} unless set)", ends.least, ends.most, "", "", "option", by, said)
    yield Limit("uploads", "uploads read at once", None, READ_AT_ONCE, "uploads", beyond="other uploads are being read")
    yield Limit("uploads", "a fleet's name", None, LONGEST_NAME, "characters", beyond="nothing: the name is cut")


def _dashboard() -> Iterator[Limit]:
    taken = f"Every port from {FIRST_PORT} to {LAST_PORT} is in use"
    ports = Limit("dashboard", "port, one after the other", FIRST_PORT, LAST_PORT, change="option", by="--port")
    yield replace(ports, beyond=taken)
    yield Limit("dashboard", "wait for the server to answer", None, START_SECONDS, "s", beyond="nothing: no address")


# Columns of the records -----------------------------------------------------------------------------------------------


def _records() -> Iterator[Limit]:
    yield Limit(
        "records", "every day", FIRST_DAY, LAST_DAY, beyond=f"the days that are read, {FIRST_DAY} to {LAST_DAY}"
    )
    yield Limit("records", "craft_id, unit_id", 1, MOST_NAME, "characters", beyond=f"at most {MOST_NAME} are kept")
    for table in TABLES.values():
        for column in table.columns.values():
            if (column.minimum, column.maximum) != (None, None):
                ends = column.minimum, column.maximum
                yield Limit("records", column.name, *ends, column.unit, table.file, beyond=_said_of(column))


def _said_of(column: Column) -> str:
    """What is said of a number beyond a column's limits."""
    outside = column.minimum - 1 if column.maximum is None and column.minimum is not None else (column.maximum or 0) + 1
    return parse_numbers([plain_number(outside)], column).faults[0].reason


# Ranges of settings, beliefs and options ------------------------------------------------------------------------------


def _settings() -> Iterator[Limit]:
    for section, info in FleetSettings.model_fields.items():
        for key, field in getattr(info.annotation, "model_fields", {}).items():
            for ends in _ranges([*field.metadata, *_marks(field.annotation)]):
                yield _of_range("settings", key, ends, f"[{section}]", f"must be {ends.words}")


def _of_range(group: Group, what: str, ends: NumberRange, of: str, beyond: str) -> Limit:
    """`ends.noun` says the unit: "a number of weeks"."""
    return Limit(group, what, ends.least, ends.most, of=of, beyond=beyond)


def _marks(annotation: Any) -> Iterator[Any]:
    """What an annotation says of its values beside their type, also inside "or nothing"."""
    for inner in get_args(annotation):
        if hasattr(inner, "metadata"):
            yield from inner.metadata
        yield from _marks(inner)


def _ranges(marks: Iterable[Any]) -> Iterator[NumberRange]:
    """The ranges that the marks of a field name."""
    for mark in marks:
        checker = getattr(getattr(mark, "func", None), "__self__", None)
        if isinstance(checker, NumberRange):
            yield checker


def _beliefs() -> Iterator[Limit]:
    def said(ends: tuple[float, float]) -> str:
        return f"must be between {ends[0]:g} and {ends[1]:g}"

    def limit(section: str, key: str, ends: tuple[float, float], unit: str = "") -> Limit:
        return Limit("beliefs", key, *ends, unit, section, beyond=said(ends))

    for name, ends in RANGES.items():
        section, key, scale = PLACES[name]
        yield limit(f"[{section}]", f"{'mean' if scale == 'plain' else 'median'} of {key}", ends)
    yield limit("", "spread or sd of each", SPREADS)
    yield limit("[between_fleets]", "spread", BETWEEN_FLEETS)
    yield limit("[unknown_start]", "ages_h", AGES_H, "h")
    many = f"must be a list of numbers, 1 to {MOST_AGES} of them"
    yield Limit("beliefs", "how many ages_h", 1, MOST_AGES, "numbers", "[unknown_start]", beyond=many)
    yield limit("[water], [unknown_covariate]", "each share", SHARES)
    yield limit("[water]", "exponent of oil_water", EXPONENTS)
    yield limit("[water]", "reference_ppm and tested_ppm of oil_water", TESTED_PPM, "ppm")


def _options(commands: Commands) -> Iterator[Limit]:
    """An option once, though several commands take it, where its range is the same in all of them."""
    known: dict[tuple[str, NumberRange], list[str]] = {}
    for command in commands.by_name.values():
        for each in command.arguments:
            reader = each.options.get("type")
            if isinstance(reader, NumberOf):
                known.setdefault((each.names[-1], reader.limits), []).append(command.name)
    for (name, ends), of in known.items():
        yield _of_range("options", name, ends, ", ".join(of), f"is not {ends.words}")
    yield Limit("options", "every day", FIRST_DAY, LAST_DAY, beyond=f"is not a day from {FIRST_DAY} to {LAST_DAY}")
