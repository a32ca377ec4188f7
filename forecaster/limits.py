"""The limits that the forecaster keeps to, collected: what, how much, where to change it, what is said beyond.

Each limit is named and applied in a room of its own; here they are only gathered. Ranges of columns, settings, beliefs
and options are read from what applies them, so that a new one stands in the table by itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Literal, get_args

from forecaster.cells import MOST_TEXT_CHARACTERS, MOST_VALUE_CHARACTERS
from forecaster.command_line import Commands
from forecaster.meters import HOURS_OF_A_DAY, MOST_LIKELY_HOURS_A_DAY
from forecaster.number_cells import parse_numbers, plain_number
from forecaster.packed_sizes import ALWAYS_READ_BYTES, MOST_TIMES
from forecaster.plan_changes import MOST_BYTES as MOST_CHANGES_BYTES
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
from forecaster.problems import MOST_ALIKE
from forecaster.ranges import DAYS_BACK, FIRST_DAY, LAST_DAY, NEAREST_TO_0, UPLOAD_MEMORY, UPLOAD_TIME, NumberRange
from forecaster.raw_tables import MAX_COLUMNS
from forecaster.reading import MAX_CSV_BYTES, MAX_WORKBOOK_BYTES
from forecaster.reading_apart import READ_AT_ONCE, UPLOAD_MEMORY_MB, UPLOAD_SECONDS
from forecaster.received_files import LONGEST_NAME
from forecaster.records import TABLES, Column
from forecaster.regular_files import written_size
from forecaster.serving import FIRST_PORT, LAST_PORT, SAFE_START, START_SECONDS
from forecaster.settings import FleetSettings
from forecaster.sheet_extents import MAX_SHARED_BYTES, MAX_SHARED_TEXTS, MAX_SHEET_CELLS, MAX_SHEET_TEXT
from forecaster.small_files import MOST_BYTES, MOST_POINTS
from forecaster.text_files import MAX_CELLS, MOST_OPEN_QUOTES, MOST_SEVERAL_LINES
from forecaster.workbook_xml import MAX_HIDDEN_CELLS, MAX_PARTS, MAX_SHEETS
from forecaster.workbook_xml import MAX_UNPACKED_BYTES as MAX_UNPACKED_BOOK_BYTES
from forecaster.workbooks import MOST_MERGED_ROWS
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


def _in_size(group: Group, what: str, most: int) -> Limit:
    """A limit in bytes, written as its refusal writes it."""
    written, unit = written_size(most).split(" ")
    return Limit(group, what, None, float(written.replace(",", "")), unit, beyond=f"at most {written} {unit} are read")


def _files() -> Iterator[Limit]:
    def fixed(what: str, most: float, unit: str, beyond: str) -> Limit:
        return Limit("files", what, None, most, unit, beyond=beyond)

    yield _in_size("files", "a CSV file", MAX_CSV_BYTES)
    yield _in_size("files", "a workbook", MAX_WORKBOOK_BYTES)
    yield _in_size("files", "a file of changes of a plan", MOST_CHANGES_BYTES)
    small = "fleet.toml, priors.toml or an experience file"
    yield _in_size("files", small, MOST_BYTES)
    yield fixed(f"points on a line of {small}", MOST_POINTS, "points", f"has more than {MOST_POINTS} points")
    unpacked = f"at most {MAX_UNPACKED_BOOK_BYTES / MB:,.0f} MB in {MAX_PARTS:,} parts are read"
    yield fixed("a workbook, unpacked", MAX_UNPACKED_BOOK_BYTES / MB, "MB", unpacked)
    yield fixed("parts of a workbook", MAX_PARTS, "parts", unpacked)
    always = written_size(ALWAYS_READ_BYTES)
    bomb = "are read of a file of this size"
    yield fixed(f"what is packed, unpacked beyond {always}", MOST_TIMES, "times its packed size", bomb)
    yield fixed("sheets of a workbook", MAX_SHEETS, "sheets", f"at most {MAX_SHEETS:,} are looked at")
    sprawl = f"and at most {MAX_SHEET_CELLS:,}"
    yield fixed("a sheet, from A1 to its last cell", MAX_SHEET_CELLS, "cells", sprawl)
    long = f"the cells of the sheet hold more than {MAX_SHEET_TEXT:,} characters"
    yield fixed("all texts of a sheet", MAX_SHEET_TEXT, "characters", long)
    texts = f"the workbook holds more than {MAX_SHARED_TEXTS:,} different texts"
    yield fixed("different texts of a workbook", MAX_SHARED_TEXTS, "texts", texts)
    yield fixed("one text of a workbook", MAX_SHARED_BYTES, "characters", "the workbook holds a text of")
    hidden = f"the sheet has more than {MAX_HIDDEN_CELLS:,}"
    yield fixed("formulas without a value, error values of a sheet", MAX_HIDDEN_CELLS, "cells", hidden)
    yield fixed("merged rows of a sheet", MOST_MERGED_ROWS, "rows", "the sheet has more merged cells than rows")
    yield fixed("columns of a CSV file or sheet", MAX_COLUMNS, "columns", f"at most {MAX_COLUMNS:,} are read")
    yield fixed("cells of a CSV file, lines by columns", MAX_CELLS, "cells", f"at most {MAX_CELLS:,} cells are read")
    open_quote = "a quotation mark is opened in this line and not closed in it"
    yield fixed("a row of a CSV file over several lines", MOST_SEVERAL_LINES, "characters", open_quote)
    quotes = f"more than {MOST_OPEN_QUOTES} quotation marks are opened and not closed in their line"
    yield fixed("quotation marks left open in a CSV file", MOST_OPEN_QUOTES, "lines", quotes)
    yield fixed("a note in a file of changes", MOST_NOTE, "characters", f"at most {MOST_NOTE} are kept")


def _uploads() -> Iterator[Limit]:
    size = SAFE_START["server.maxUploadSize"]
    assert isinstance(size, int)
    yield Limit("uploads", "one file", None, size, "MB", beyond=f"File must be {size}MB or smaller")
    yield _in_size("uploads", "a ZIP, unpacked", MAX_UNPACKED_ZIP_BYTES)
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
    beyond = f"the days that are read, {FIRST_DAY} to {LAST_DAY}"
    yield Limit("records", "every day", FIRST_DAY, LAST_DAY, beyond=beyond)
    near = f"nearer to 0 than anything that is measured ({NEAREST_TO_0:f})"
    yield Limit("records", "every number but 0", NEAREST_TO_0, None, beyond=near)
    for what, most in (("every text", MOST_TEXT_CHARACTERS), ("every day, number and word", MOST_VALUE_CHARACTERS)):
        yield Limit("records", what, None, most, "characters", beyond=f"at most {most:,} are read")
    more = "more problems in this column are not listed"
    yield Limit("records", "problems of a column that are listed", None, MOST_ALIKE, "problems", beyond=more)
    yield Limit("records", "craft_id, unit_id", 1, MOST_NAME, "characters", beyond=f"at most {MOST_NAME} are kept")
    run = "engine hours a day between two readings"
    day = f"are more than {HOURS_OF_A_DAY:g} h a day"
    yield Limit("records", run, 0, HOURS_OF_A_DAY, "h", "hours.csv", beyond=day)
    likely = "which is more than anybody rents out; it is used"
    yield Limit("records", f"{run}, without a notice", 0, MOST_LIKELY_HOURS_A_DAY, "h", "hours.csv", beyond=likely)
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
            found = next(_ranges([*field.metadata, field.annotation]), None)
            if found is not None:
                yield Limit(
                    "settings", key, found.least, found.most, of=f"[{section}]", beyond=f"must be {found.words}"
                )


def _ranges(marks: Iterable[Any]) -> Iterator[NumberRange]:
    """The ranges in what a field or an option says of its values, also inside "or nothing".

    What applies a range is a method of it, a reader of it, or a function that was made for it and holds it.
    """
    for mark in marks:
        applies = getattr(mark, "func", mark)
        held = [cell.cell_contents for cell in getattr(applies, "__closure__", None) or ()]
        yield from (
            found
            for found in (getattr(applies, "__self__", None), getattr(applies, "limits", None), *held)
            if isinstance(found, NumberRange)
        )
        yield from _ranges([*getattr(mark, "metadata", ()), *get_args(mark)])


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
    """Ranges of all options, each told once with the commands that have it."""
    found: dict[tuple[str, NumberRange], list[str]] = {}
    for command in commands.by_name.values():
        for argument in command.arguments:
            for within in _ranges([argument.options.get("type")]):
                found.setdefault((argument.names[0], within), []).append(command.name)
    for (name, within), names in found.items():
        yield Limit("options", name, within.least, within.most, of=", ".join(names), beyond=f"is not {within.words}")
    days = f"is not a day from {FIRST_DAY} to {LAST_DAY}"
    yield Limit("options", "every day", FIRST_DAY, LAST_DAY, beyond=days)
    yield Limit("options", "days since the water", 0, DAYS_BACK, "days", "flooded", beyond="over three years before")
