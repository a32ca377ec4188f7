"""How far a sheet reaches and how much text it shows, at most, told from its bytes before anything lays it out.

What reads a workbook's values lays out all cells from the first to the last one used, and a text once for each cell
that refers to it: a few bytes can ask for gigabytes. All here goes through the bytes once, so that the time goes with
their number whatever they hold, and errs on the side of too much where a sheet is written as no spreadsheet does.
"""

from __future__ import annotations

import re

import numpy as np

from forecaster.raw_tables import UnreadableFile, column_letter

# Cells of the rectangle from A1 to the last cell used: all rows that a sheet has (1,048,576) by seven columns, where
# readings have four.
MAX_SHEET_CELLS = 8_000_000
# Characters of all cells of a sheet together: each may fill 16, and there is room for longer ones.
MAX_SHEET_TEXT = 200_000_000
_USUAL_TEXT = 16
# Distinct texts of a workbook: a million rows, each with a name and a note of its own.
MAX_SHARED_TEXTS = 2_000_000
MAX_SHARED_BYTES = 1_000_000  # of one of them: a cell's 32,767 characters, each with a format of its own
SAVE_AGAIN = "Open it in a spreadsheet and save it again as .xlsx."
_LETTERS, _DIGITS = 3, 7  # of a cell's place: beyond XFD1048576, the last one of a sheet

# Only cells and rows that name a far place, or none, can make a sheet sprawl: all others stand in the file one by one.
# The patterns begin with plain letters, which is what makes them quick; `_spelt_plainly` sees to it that they fit.
_NOT_NEAR = re.compile(rb' r="(?![A-Za-z]?[0-9]{1,4}")')
_NEAR_ROWS, _NEAR_COLUMNS = 9_999, 26  # Z9999
_PLACED_CELL = re.compile(rb'<c (?:[^<>]*? )?r="')
_ROW_OR_CELL = re.compile(rb'<(row|c)(?=[ />])(?:[^<>]*? r=")?')
_PREFIXED = re.compile(rb"<[^<>\s:/=\"']+:(?=(?:c|row)[ />])")
_SPACES = bytes.maketrans(b"\t\r\n", b"   ")
_SHARED = re.compile(rb"<(?:[^<>\s:/=\"']+:)?si[\s/>]")
_WHOLE_NUMBER = re.compile(rb">\s*\+?0*([0-9]{1,9})\s*<")
_BLOCK = 8_000_000  # bytes looked at in one go


def refuse_oversized(xml: bytes, shared: np.ndarray) -> None:
    """UnreadableFile where the cells of a sheet span too many rows and columns from A1 on, or hold too much text.

    `shared`: the length of each of the workbook's shared texts, as `shared_lengths` tells it.
    """
    xml = _spelt_plainly(xml)
    cells = sum(xml.count(b"<c" + end) for end in (b" ", b">", b"/"))
    if cells > MAX_SHEET_CELLS:
        raise UnreadableFile(
            f"the sheet holds {cells:,} cells, and at most {MAX_SHEET_CELLS:,} are read",
            "Keep fewer rows in it, and no columns that are only formatted.",
        )
    rows, columns = _extent(xml, cells)
    if rows * columns > MAX_SHEET_CELLS:
        raise UnreadableFile(
            f"the sheet reaches to cell {column_letter(columns - 1)}{rows}: {rows:,} rows by {columns:,} columns, "
            f"and at most {MAX_SHEET_CELLS:,} cells are read",
            "Delete the rows below and the columns right of the table, also those that look empty.",
        )
    _refuse_texts(xml, cells, shared)


def _extent(xml: bytes, cells: int) -> tuple[int, int]:
    """At least the rows and columns that the `cells` of a sheet span from A1 on."""
    rows, columns = _NEAR_ROWS, _NEAR_COLUMNS
    if _NOT_NEAR.search(xml):
        rows, columns = _furthest_place(xml)
    if xml.count(b'<c r="') < cells and len(_PLACED_CELL.findall(xml)) < cells:
        more_rows, more_columns = _without_place(xml)
        rows, columns = rows + more_rows, columns + more_columns
    return rows, columns


def _refuse_texts(xml: bytes, cells: int, shared: np.ndarray) -> None:
    longer = np.maximum(shared - _USUAL_TEXT, 0)
    room = MAX_SHEET_TEXT - cells * _USUAL_TEXT
    most = cells * int(longer.max(initial=0))
    if most <= room:
        return
    if b"&#" in xml or b"<![CDATA[" in xml:  # a text's number may be written so that it is not found here
        room -= most
    beyond = longer.tolist()
    for number in _WHOLE_NUMBER.finditer(xml):
        room -= beyond[int(number[1])] if int(number[1]) < len(beyond) else 0
        if room < 0:
            reason = f"the cells of the sheet hold more than {MAX_SHEET_TEXT:,} characters"
            raise UnreadableFile(reason, "Keep long texts elsewhere, or save the sheet as a CSV file.")


def shared_lengths(xml: bytes) -> np.ndarray:
    """At least the characters of each of a workbook's shared texts, by its number.

    UnreadableFile where they are too many, or one is longer than any cell can show.
    """
    count = sum(1 for _ in zip(range(MAX_SHARED_TEXTS + 1), _SHARED.finditer(xml), strict=False))
    if count > MAX_SHARED_TEXTS:
        reason = f"the workbook holds more than {MAX_SHARED_TEXTS:,} different texts"
        raise UnreadableFile(reason, "Keep fewer rows in it, or save each sheet as a CSV file.")
    starts = np.fromiter((found.start() for found in _SHARED.finditer(xml)), dtype=np.int64, count=count)
    lengths = np.diff(starts, append=len(xml))
    if lengths.max(initial=0) > MAX_SHARED_BYTES:
        reason = f"the workbook holds a text of {lengths.max():,} characters"
        raise UnreadableFile(reason, "Shorten it; a spreadsheet's cell holds 32,767.")
    return lengths


def _spelt_plainly(xml: bytes) -> bytes:
    """The same XML with places written as `` r="C5"`` throughout, as all spreadsheets do and XML does not demand."""
    if xml[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\0" in xml:
        raise UnreadableFile("the sheet is not written in UTF-8", SAVE_AGAIN)
    if any(white in xml for white in (b"\t", b"\n", b"\r")):
        xml = xml.translate(_SPACES)
    if any(close in xml for close in (b'"r=', b"'r=", b'"r ', b"'r ")):
        xml = re.sub(rb"(?<=[\"'])r(?= *=)", b" r", xml)
    if any(odd in xml for odd in (b" r ", b" r= ", b" r='")):
        xml = re.sub(rb""" r *= *["']([A-Za-z]*[0-9]+)["']""", rb' r="\1"', xml)
    prefixed = (b":c" in xml or b":row" in xml) and _PREFIXED.search(xml)
    return _PREFIXED.sub(b"<", xml) if prefixed else xml


def _furthest_place(xml: bytes) -> tuple[int, int]:
    """The greatest row and column, from 1, that any place of the sheet names; 1 where none names one."""
    rows = columns = 1
    span = _LETTERS + _DIGITS + 1  # with the closing quotation mark
    content = np.frombuffer(xml + b" " * (span + 4), dtype=np.uint8)
    for start in range(0, len(xml), _BLOCK):
        block = content[start : start + _BLOCK + 3]
        opens = np.flatnonzero(
            (block[:-3] == ord(" ")) & (block[1:-2] == ord("r")) & (block[2:-1] == ord("=")) & (block[3:] == ord('"'))
        )
        signs = content[(start + 4 + opens)[:, None] + np.arange(span)]
        row, column = _places(signs)
        rows, columns = max(rows, int(row.max(initial=1))), max(columns, int(column.max(initial=1)))
    return rows, columns


def _places(signs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows and columns, (n,), of places written as letters, digits and a closing quotation mark; signs (n, 11).

    Either may be left out, and is then 0. UnreadableFile where one is written in another way.
    """
    row, column = (np.zeros(len(signs), dtype=np.int64) for _ in range(2))
    letters, digits = (np.zeros(len(signs), dtype=np.int64) for _ in range(2))
    closed = np.zeros(len(signs), dtype=bool)
    for sign in signs.T:
        letter, digit = (sign | 0x20) - np.int64(ord("a")), sign - np.int64(ord("0"))
        is_letter = ~closed & (digits == 0) & (letter >= 0) & (letter < 26) & (sign >= ord("A"))
        is_digit = ~closed & (digit >= 0) & (digit < 10)
        column = np.where(is_letter, column * 26 + letter + 1, column)
        row = np.where(is_digit, row * 10 + digit, row)
        letters, digits = letters + is_letter, digits + is_digit
        closes = ~closed & (sign == ord('"'))
        if not (closed | is_letter | is_digit | closes).all():
            break
        closed |= closes
    if not closed.all() or (letters > _LETTERS).any() or (digits > _DIGITS).any():
        raise UnreadableFile("the sheet names a place that no sheet has", SAVE_AGAIN)
    return row, column


def _without_place(xml: bytes) -> tuple[int, int]:
    """How many rows, and cells of one row, do not say where they are: each may stand one further than the last."""
    rows = widest = here = 0
    for found in _ROW_OR_CELL.finditer(xml):
        placed = found[0].endswith(b'"')
        if found[1] == b"row":
            rows += not placed
            here = 0
        else:
            here += not placed
            widest = max(widest, here)
    return rows, widest
