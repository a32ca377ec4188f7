"""A CSV file's bytes as a table of texts: encodings, what parts the columns, rows that do not fit the header.

Read in silence: UTF-8, with or without a byte order mark, parted by commas. Read with a notice: UTF-16 with a byte
order mark, Windows-1252, semicolons or tabs. Refused as a whole: anything that is not text. A row with more cells
than the header is refused, since there is no telling which cell is the surplus one; missing cells at its end are
blank. A quotation mark that is opened and not closed in its line spoils that line, not those after it, unless the
cell is one that may hold several lines (free text, or a column that the contract does not know).

Whatever the file holds, the time goes with its length, and the room with its rows and columns, which have limits.
"""

from __future__ import annotations

import csv
import io
import re
from array import array
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecaster.headers import contract_word, known_headers, looks_like_header
from forecaster.problems import Problem
from forecaster.raw_tables import MAX_COLUMNS, EmptyFile, RawTable, UnreadableFile, is_blank, without_blank_rows
from forecaster.records import Table
from forecaster.refusals import Refusals, sorted_out

_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "vertical bars"}
_SIGNATURES = {
    b"PK\x03\x04": "a workbook or another packed file",
    b"\xd0\xcf\x11\xe0": "an old-style or locked workbook",
    b"%PDF": "a PDF",
    b"\x1f\x8b": "a packed file",
    b"SQLite format 3": "a database",
}
_SAVE_AS_CSV = "Open it in the program it came from and save it as CSV (UTF-8)."
# The header stands in the first lines: enough to see it, and quick on a long file.
_HEAD_CHARACTERS = 65_536
_ROWS_SEARCHED_FOR_HEADER = 20
# More quotation marks left open than this, and it is no longer a slip of the pen.
MOST_OPEN_QUOTES = 100
# Characters of a row that goes over several lines: more than a note of any length. What follows a quotation mark left
# open is looked at so far, and then anew from the next line on.
MOST_SEVERAL_LINES = 200_000
# Cells of a file, lines by columns: 5,000,000 readings of four columns, which are 5,000 craft read weekly for 19 years.
MAX_CELLS = 20_000_000
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")
_END = "\x01"  # a control character, which no text file that is accepted here holds


def read_text_table(content: bytes, table: Table, file: str) -> RawTable:
    """The cells of one CSV file; UnreadableFile where it is no text, EmptyFile where it is blank."""
    text, problems = _decode(content, file)
    text, declared = _without_declaration(text)
    delimiter = declared or _delimiter(text, table)
    header_position, headers = _header(text, delimiter)
    if not headers:
        raise _without_header(text, table)
    if delimiter != ",":
        reason = f"columns are parted by {_DELIMITERS[delimiter]}; the file was read so"
        remedy = "Nothing to do; saved as CSV with commas it is read without this notice."
        problems.append(Problem(file, None, None, None, reason, remedy, refused=False))
    headers = _within_limits(headers, text, delimiter, table)
    layout = _Layout(delimiter, header_position, len(headers), _single_line(headers, table))
    cells, surplus, spoilt = _parse(text, layout, file)
    return RawTable(
        table=table.name,
        file=file,
        cells=without_blank_rows(cells, keep=spoilt.rows),
        headers=headers,
        header_row=header_position + 1,
        problems=(*problems, *surplus),
        refusals=spoilt,
        decimal_comma=delimiter != ",",
        looks_like_header=_later_header(text, delimiter, header_position, table),
    )


def _decode(content: bytes, file: str) -> tuple[str, list[Problem]]:
    for signature, what in _SIGNATURES.items():
        if content.startswith(signature):
            raise UnreadableFile(f"this is {what}, not a CSV file", _SAVE_AS_CSV)
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _plain_text(_decoded(content, "utf-16")), [_encoding_notice(file, "UTF-16", "")]
    try:
        return _plain_text(content.decode("utf-8-sig")), []
    except UnicodeDecodeError:
        text = _plain_text(_decoded(content, "cp1252"))
    strange = next(_BEYOND_ASCII.finditer(text)).start()
    begins = max(text.rfind("\n", 0, strange), text.rfind("\r", 0, strange)) + 1
    line = next(_LINE.finditer(text, begins))[0].strip()
    return text, [_encoding_notice(file, "Windows-1252", f"; for example: {line[:60]}")]


def _decoded(content: bytes, encoding: str) -> str:
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        reason = f"line {line} holds a byte (0x{content[error.start]:02x}) that is no text in any encoding that is read"
        raise UnreadableFile(reason, _SAVE_AS_CSV) from error


def _plain_text(text: str) -> str:
    """The text, refused where it holds control characters, which no spreadsheet writes into a CSV file."""
    strange = _CONTROL_CHARACTER.search(text)
    if strange:
        line = text.count("\n", 0, strange.start()) + 1
        reason = f"line {line} holds the control character {ord(strange[0])}: this is no text file, or it is damaged"
        raise UnreadableFile(reason, _SAVE_AS_CSV)
    return text


_BEYOND_ASCII = re.compile(r"[^\x00-\x7f]")
_CONTROL_CHARACTER = re.compile("[\x00-\x08\x0e-\x1f\x7f]")


def _encoding_notice(file: str, encoding: str, example: str) -> Problem:
    return Problem(
        file,
        None,
        None,
        None,
        f"the file is not UTF-8; it was read as {encoding}{example}",
        "If letters look wrong, save the file as CSV (UTF-8).",
        refused=False,
    )


def _without_declaration(text: str) -> tuple[str, str | None]:
    """Some spreadsheets put ``sep=;`` on a line before the header, and do not count that line as a row."""
    first, _, rest = text.partition("\n")
    first = first.rstrip("\r")
    if len(first) == 5 and first[:4].casefold() == "sep=" and first[4] in _DELIMITERS:
        return rest, first[4]
    return text, None


def _delimiter(text: str, table: Table) -> str:
    """What parts the columns: whatever makes most headers known; commas where nothing decides."""
    return max(_DELIMITERS, key=lambda delimiter: known_headers(_header(text, delimiter)[1], table))


def _header(text: str, delimiter: str) -> tuple[int, tuple[str, ...]]:
    """Position (from 0) and cells of the first record that is not blank; no cells where there is none."""
    for position, cells in _first_records(text, delimiter):
        if not all(map(is_blank, cells)):
            return position, tuple(cells)
    return 0, ()


def _without_header(text: str, table: Table) -> UnreadableFile:
    should = f"It should start with the header {','.join(table.columns)}."
    if len(text) > _HEAD_CHARACTERS:
        return UnreadableFile(f"there is no header in the first {_HEAD_CHARACTERS:,} characters", should)
    return EmptyFile("the file is empty", should)


def _within_limits(headers: tuple[str, ...], text: str, delimiter: str, table: Table) -> tuple[str, ...]:
    """The headers, those far out left away that stand over nothing; UnreadableFile where too much is left."""
    if len(text) > _HEAD_CHARACTERS and _goes_beyond_head(text, delimiter):
        reason = f"the header has more than {_HEAD_CHARACTERS:,} characters"
        remedy = f"It should be {','.join(table.columns)}; look for a quotation mark that is left open."
        raise UnreadableFile(reason, remedy)
    lines = text.count("\n") + text.count("\r") - text.count("\r\n") + 1
    if lines * len(headers) > MAX_CELLS:
        reason = f"the file has {lines:,} lines by {len(headers):,} columns; at most {MAX_CELLS:,} cells are read"
        raise UnreadableFile(reason, "Delete empty lines and columns, or keep fewer rows in it.")
    if len(headers) > MAX_COLUMNS:
        headers = headers[: _columns_in_use(headers, text, delimiter)]
    if len(headers) > MAX_COLUMNS:
        reason = f"the file has {len(headers):,} columns; at most {MAX_COLUMNS:,} are read"
        raise UnreadableFile(reason, f"Delete all but the fleet's own: {', '.join(table.columns)}.")
    return headers


def _goes_beyond_head(text: str, delimiter: str) -> bool:
    """Whether the first record that is not blank is also the last of the head."""
    records = _first_records(text, delimiter)
    return all(all(map(is_blank, cells)) for _, cells in records) or next(records, None) is None


def _columns_in_use(headers: tuple[str, ...], text: str, delimiter: str) -> int:
    """Columns up to the last that has a header or holds anything; all where that cannot be told at once."""
    used = max(position for position, header in enumerate(headers, 1) if not is_blank(header))
    try:
        for cells in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            if any(cells[used:]):
                beyond = (position for position, cell in enumerate(cells, 1) if position > used and not is_blank(cell))
                used = max(beyond, default=used)
    except csv.Error:
        return len(headers)
    return min(used, len(headers))


def _first_records(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Records of the head of the file, as far as they can be parsed."""
    records = csv.reader(io.StringIO(text[:_HEAD_CHARACTERS], newline=""), delimiter=delimiter)
    position = 0
    while True:
        try:
            cells = next(records, None)
        except csv.Error:  # a cell beyond the parser's limit
            return
        if cells is None:
            return
        yield position, cells
        position += 1


def _later_header(text: str, delimiter: str, header_position: int, table: Table) -> int | None:
    """The row of a later record that holds all required columns where the first one does not."""
    for position, cells in _first_records(text, delimiter):
        if position > header_position + _ROWS_SEARCHED_FOR_HEADER:
            return None
        if looks_like_header(cells, table):
            return position + 1 if position != header_position else None
    return None


@dataclass(frozen=True)
class _Layout:
    """How the lines below the header are to be cut into cells."""

    delimiter: str
    header_position: int
    width: int
    single_line: frozenset[int]  # columns whose cells cannot hold a line break

    def breaks_off(self, cells: list[str]) -> bool:
        """Whether a line break stands where none can, so that a quotation mark must have been left open."""
        return any(
            ("\n" in cell or "\r" in cell) and (position in self.single_line or position >= self.width)
            for position, cell in enumerate(cells)
        )


def _single_line(headers: tuple[str, ...], table: Table) -> frozenset[int]:
    known = ((position, table.columns.get(contract_word(header))) for position, header in enumerate(headers))
    return frozenset(n for n, column in known if column is not None and (column.kind != "text" or column.required))


_Parsed = tuple[pd.DataFrame, list[Problem], Refusals]


def _parse(text: str, layout: _Layout, file: str) -> _Parsed:
    """Cells below the header by the quick parser, or, where rows do not fit the header, record by record."""
    width = layout.width
    first = next(_first_records(text, layout.delimiter), (0, []))[1]
    if len(first) > width + 1:  # a blank record above the header: the quick parser lets the first one be too long
        return _parse_by_record(text, layout, file)
    try:
        cells = pd.read_csv(
            io.BytesIO(text.encode()),
            sep=layout.delimiter,
            header=None,
            names=list(range(width + 1)),  # one more than the header has: it must stay blank
            index_col=False,
            dtype="category",
            na_filter=False,
            skip_blank_lines=False,
            low_memory=False,
        )
    except pd.errors.ParserError:
        return _parse_by_record(text, layout, file)
    cells.index = pd.Index(np.arange(1, len(cells) + 1, dtype=np.int64), name="row")
    cells = cells.iloc[layout.header_position + 1 :]
    cells = pd.DataFrame({name: cells[name].cat.remove_unused_categories() for name in cells}, index=cells.index)
    if layout.breaks_off(["".join(cells[position].cat.categories) for position in range(width + 1)]):
        return _parse_by_record(text, layout, file)
    filled = np.array([not is_blank(word) for word in cells[width].cat.categories], dtype=bool)
    too_long = filled[cells[width].cat.codes.to_numpy()]
    surplus, spoilt = sorted_out(
        _surplus(file, row, [str(text)])
        for row, text in zip(cells.index[too_long].tolist(), cells.loc[too_long, width], strict=True)
    )
    return cells.drop(columns=width), surplus, spoilt


def _parse_by_record(text: str, layout: _Layout, file: str) -> _Parsed:
    columns = [_Texts() for _ in range(layout.width)]
    count = 0

    def problems() -> Iterator[Problem]:
        nonlocal count
        for position, (cells, is_open) in enumerate(_records(text, layout)):
            if position <= layout.header_position:
                continue
            for column, cell in zip(columns, cells, strict=False):
                column.add(count, cell)
            count += 1
            if is_open:
                yield _open_quote(file, position + 1, layout.delimiter.join(cells))
            elif len(cells) > layout.width:
                beyond = [cell for cell in cells[layout.width :] if not is_blank(cell)]
                if beyond:
                    yield _surplus(file, position + 1, beyond)

    surplus, spoilt = sorted_out(problems())
    first_row = layout.header_position + 2
    index = pd.Index(np.arange(first_row, first_row + count, dtype=np.int64), name="row")
    return pd.DataFrame({n: column.all(count) for n, column in enumerate(columns)}, index=index), surplus, spoilt


class _Texts:
    """The cells of one column, each distinct text kept once; where a row has none, it is blank."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {"": 0}
        self._codes = array("i")

    def add(self, row: int, text: str) -> None:
        """The text of a row, counted from 0, after all rows before it."""
        if row > len(self._codes):
            self._codes.frombytes(bytes(self._codes.itemsize * (row - len(self._codes))))
        self._codes.append(self._numbers.setdefault(text, len(self._numbers)))

    def all(self, rows: int) -> pd.Categorical:
        """The column down to so many rows, its texts in their order."""
        codes = np.zeros(rows, dtype=np.int32)
        codes[: len(self._codes)] = self._codes
        words = sorted(self._numbers)
        place = np.empty(len(words), dtype=np.int32)
        place[[self._numbers[word] for word in words]] = np.arange(len(words))
        return pd.Categorical.from_codes(place[codes], pd.Index(words, dtype=object)).remove_unused_categories()


class _Lines:
    """The lines of a text from a place on, one by one, and a mark after the last, for a parser of records.

    A csv.Error where a record goes on over more lines than any does that is meant so.
    """

    def __init__(self, text: str, start: int) -> None:
        self._text = text
        self._at = start
        self.record_starts = start
        self.lines = 0  # of the record at hand

    def begin_record(self) -> None:
        """What comes next begins a record."""
        self.record_starts = self._at
        self.lines = 0

    @property
    def at_end(self) -> bool:
        """Whether the mark was given."""
        return self._at > len(self._text)

    def __iter__(self) -> Iterator[str]:
        for line in _LINE.finditer(self._text, self._at):
            if self.lines and line.end() - self.record_starts > MOST_SEVERAL_LINES:
                raise csv.Error("a record of too many lines")
            self.lines += 1
            self._at = line.end()
            yield line[0]
        self._at = len(self._text) + 1
        yield _END


def _records(text: str, layout: _Layout) -> Iterator[tuple[list[str], bool]]:
    """Every record's cells, and whether it is a line spoilt by a quotation mark that is left open."""
    start = 0
    for _ in range(MOST_OPEN_QUOTES):
        lines = _Lines(text, start)
        records = csv.reader(lines, delimiter=layout.delimiter)
        while (cells := _closed_record(records, lines, layout)) is not None:
            if cells == [_END]:
                return
            yield cells, False
        spoilt = next(_LINE.finditer(text, lines.record_starts))
        yield spoilt[0].rstrip("\r\n").split(layout.delimiter), True
        start = spoilt.end()
    reason = f"more than {MOST_OPEN_QUOTES} quotation marks are opened and not closed in their line"
    raise UnreadableFile(reason, "Remove the stray quotation marks, or save the file again as CSV from a spreadsheet.")


def _closed_record(records: Iterator[list[str]], lines: _Lines, layout: _Layout) -> list[str] | None:
    """The next record; None where a quotation mark left it open."""
    lines.begin_record()
    try:
        cells = next(records)
    except csv.Error:  # a cell beyond the parser's limit, or one that swallows line after line
        return None
    swallows_the_end = lines.at_end and cells != [_END]
    return None if swallows_the_end or (lines.lines > 1 and layout.breaks_off(cells)) else cells


def _surplus(file: str, row: int, beyond: list[str]) -> Problem:
    reason = "the row has more cells than the header, so that there is no telling which belongs where"
    remedy = "Remove the surplus cell; a cell that itself holds the parting sign must stand in quotation marks."
    return Problem(file, row, None, " | ".join(beyond), reason, remedy, refused=True)


def _open_quote(file: str, row: int, line: str) -> Problem:
    reason = "a quotation mark is opened in this line and not closed in it"
    remedy = 'Remove it, or close it; inside a quoted cell write "".'
    return Problem(file, row, None, line, reason, remedy, refused=True)
