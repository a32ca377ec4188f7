"""A CSV file's bytes as a table of texts: encodings, what parts the columns, rows that do not fit the header.

Read in silence: UTF-8, with or without a byte order mark, parted by commas. Read with a notice: UTF-16 with a byte
order mark, Windows-1252, semicolons or tabs. Refused as a whole: anything that is not text. A row with more cells
than the header is refused, since there is no telling which cell is the surplus one; missing cells at its end are
blank. A quotation mark that is opened and not closed in its line spoils that line, not those after it, unless the
cell is one that may hold several lines (free text, or a column that the contract does not know).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice, zip_longest

import numpy as np
import pandas as pd

from forecaster.headers import contract_word, known_headers, looks_like_header
from forecaster.problems import Problem
from forecaster.raw_tables import EmptyFile, RawTable, UnreadableFile, is_blank, without_blank_rows
from forecaster.records import Table

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
_END = "\x01"  # a control character, which no text file that is accepted here holds


def read_text_table(content: bytes, table: Table, file: str) -> RawTable:
    """The cells of one CSV file; UnreadableFile where it is no text, EmptyFile where it is blank."""
    text, problems = _decode(content, file)
    text, declared = _without_declaration(text)
    delimiter = declared or _delimiter(text, table)
    header_position, headers = _header(text, delimiter)
    if not headers:
        raise EmptyFile("the file is empty", f"It should start with the header {','.join(table.columns)}.")
    if delimiter != ",":
        reason = f"columns are parted by {_DELIMITERS[delimiter]}; the file was read so"
        remedy = "Nothing to do; saved as CSV with commas it is read without this notice."
        problems.append(Problem(file, None, None, None, reason, remedy, refused=False))
    layout = _Layout(delimiter, header_position, len(headers), _single_line(headers, table))
    cells, surplus = _parse(text, layout, file)
    return RawTable(
        table=table.name,
        file=file,
        cells=without_blank_rows(cells, keep=[p.row for p in surplus if p.row is not None]),
        headers=headers,
        header_row=header_position + 1,
        problems=(*problems, *surplus),
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
    strange = next(line for line in text.splitlines() if not line.isascii()).strip()
    return text, [_encoding_notice(file, "Windows-1252", f"; for example: {strange[:60]}")]


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


def _parse(text: str, layout: _Layout, file: str) -> tuple[pd.DataFrame, list[Problem]]:
    """Cells below the header by the quick parser, or, where rows do not fit the header, record by record."""
    width = layout.width
    first = next(_first_records(text, layout.delimiter), (0, []))[1]
    if len(first) > width + 1:  # a blank record above the header: the quick parser lets the first one be too long
        return _parse_by_record(text, layout, file)
    try:
        cells = pd.read_csv(
            io.StringIO(text, newline=""),
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
    surplus = [
        _surplus(file, row, [str(text)])
        for row, text in zip(cells.index[too_long].tolist(), cells.loc[too_long, width], strict=True)
    ]
    return cells.drop(columns=width), surplus


def _parse_by_record(text: str, layout: _Layout, file: str) -> tuple[pd.DataFrame, list[Problem]]:
    rows: list[list[str]] = []
    problems: list[Problem] = []
    for position, (cells, is_open) in enumerate(_records(text, layout)):
        if position > layout.header_position:
            rows.append(cells[: layout.width])
            beyond = [cell for cell in cells[layout.width :] if not is_blank(cell)]
            if is_open:
                problems.append(_open_quote(file, position + 1, layout.delimiter.join(cells)))
            elif beyond:
                problems.append(_surplus(file, position + 1, beyond))
    columns = list(zip_longest(*rows, [""] * layout.width, fillvalue=""))
    first_row = layout.header_position + 2
    index = pd.Index(np.arange(first_row, first_row + len(rows), dtype=np.int64), name="row")
    return pd.DataFrame({n: pd.Categorical(column[:-1]) for n, column in enumerate(columns)}, index=index), problems


def _records(text: str, layout: _Layout) -> Iterator[tuple[list[str], bool]]:
    """Every record's cells, and whether it is a line spoilt by a quotation mark that is left open."""
    lines = [*io.StringIO(text, newline=""), _END]
    start = 0
    for _ in range(MOST_OPEN_QUOTES):
        complete, used = _closed_records(lines, start, layout)
        yield from ((cells, False) for cells in complete)
        if used == len(lines) - 1:
            return
        yield lines[used].rstrip("\r\n").split(layout.delimiter), True
        start = used + 1
    reason = f"more than {MOST_OPEN_QUOTES} quotation marks are opened and not closed in their line"
    raise UnreadableFile(reason, "Remove the stray quotation marks, or save the file again as CSV from a spreadsheet.")


def _closed_records(lines: list[str], start: int, layout: _Layout) -> tuple[list[list[str]], int]:
    """Records from line `start` on, up to the end or to one that a quotation mark left open; and where that is."""
    records = csv.reader(islice(lines, start, None), delimiter=layout.delimiter)
    complete: list[list[str]] = []
    used = start
    while True:
        try:
            cells = next(records)
        except csv.Error:  # a cell beyond the parser's limit: a quotation mark that swallows line after line
            return complete, used
        if cells == [_END]:
            return complete, len(lines) - 1
        swallows_the_end = records.line_num + start == len(lines)
        if swallows_the_end or (records.line_num + start > used + 1 and layout.breaks_off(cells)):
            return complete, used
        complete.append(cells)
        used = start + records.line_num


def _surplus(file: str, row: int, beyond: list[str]) -> Problem:
    reason = "the row has more cells than the header, so that there is no telling which belongs where"
    remedy = "Remove the surplus cell; a cell that itself holds the parting sign must stand in quotation marks."
    return Problem(file, row, None, " | ".join(beyond), reason, remedy, refused=True)


def _open_quote(file: str, row: int, line: str) -> Problem:
    reason = "a quotation mark is opened in this line and not closed in it"
    remedy = 'Remove it, or close it; inside a quoted cell write "".'
    return Problem(file, row, None, line, reason, remedy, refused=True)
