"""A workbook's sheets as tables of texts, with a problem for each cell whose value a workbook does not show.

Values come from python-calamine, which is quick but shows a formula without a stored value, an error value and a
merged neighbour as blank cells; these are found in the sheet's own XML, named by cell, and refused. It also lays a
sheet out in full, so that one stray cell at the far corner would ask for gigabytes: the extent is measured first.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

import numpy as np
import pandas as pd
from python_calamine import CalamineError, CalamineWorkbook

from forecaster.headers import looks_like_header
from forecaster.number_cells import plain_number
from forecaster.problems import Problem, cut_short
from forecaster.raw_tables import (
    MAX_COLUMNS,
    EmptyFile,
    RawTable,
    UnreadableFile,
    column_letter,
    is_blank,
    without_blank_rows,
)
from forecaster.records import Table
from forecaster.sheet_extents import SAVE_AGAIN, refuse_oversized, shared_lengths
from forecaster.workbook_xml import ONE_SHEET, HiddenCells, hidden_cells, one_sheet, sheet_list, unpack

_ROWS_SEARCHED_FOR_HEADER = 20
MOST_MERGED_ROWS = 100_000  # each is a refused row


class Workbook:
    """The sheets of an .xlsx file given as bytes. UnreadableFile where it is damaged, locked or far too large."""

    def __init__(self, content: bytes, packed_bytes: int | None = None) -> None:
        """Unpack the parts that are needed, within the size limits, and find the sheets.

        `packed_bytes`: the size of what was handed over, where the workbook came packed in it.
        """
        self._parts = unpack(content, packed_bytes)
        self._listed = sheet_list(self._parts)
        self._shared = shared_lengths(self._parts.get(self._listed.shared_texts, b""))
        self.serial_epoch = self._listed.serial_epoch
        self.sheet_names = tuple(self._listed.sheets)

    def rows(self, sheet: str) -> list[list[Any]]:
        """All cells of a sheet from A1 on, as Python values; blank cells are empty texts."""
        xml = self._xml(sheet)
        refuse_oversized(xml, self._shared)
        book = io.BytesIO(one_sheet(self._parts, self._listed, sheet))
        try:
            return CalamineWorkbook.from_filelike(book).get_sheet_by_name(ONE_SHEET).to_python(skip_empty_area=False)
        except CalamineError as error:
            raise UnreadableFile(f"sheet {cut_short(sheet)} is damaged ({error})", SAVE_AGAIN) from error

    def table(self, sheet: str, table: Table, file: str) -> RawTable:
        """One sheet as the texts of a table, with a refused row for each cell that hides something."""
        rows = self.rows(sheet)
        hidden = hidden_cells(self._xml(sheet))
        header_row = next((n for n, row in enumerate(rows) if any(_shows(cell) for cell in row)), None)
        if header_row is None:
            raise EmptyFile("the sheet is empty", f"It should start with the header {', '.join(table.columns)}.")
        headers = tuple(cell_text(cell) for cell in rows[header_row])
        if len(headers) > MAX_COLUMNS:
            reason = f"the sheet has {len(headers):,} columns; at most {MAX_COLUMNS:,} are read"
            raise UnreadableFile(reason, f"Delete all but the fleet's own: {', '.join(table.columns)}.")
        cells = _text_frame(rows[header_row + 1 :], headers, header_row + 2)
        problems = _hidden_problems(hidden, headers, header_row, len(rows), file)
        spoilt = [p.row for p in problems if p.row is not None]
        return RawTable(
            table=table.name,
            file=file,
            cells=without_blank_rows(_with_rows(cells, spoilt), keep=spoilt),
            headers=headers,
            header_row=header_row + 1,
            problems=tuple(problems),
            serial_epoch=self.serial_epoch,
            looks_like_header=_later_header(rows, header_row, table),
        )

    def _xml(self, sheet: str) -> bytes:
        part = self._parts.get(self._listed.sheets.get(sheet, ""))
        if part is None:
            raise UnreadableFile(f"sheet {cut_short(sheet)} is not in the workbook's list of parts", SAVE_AGAIN)
        return part


def cell_text(value: object) -> str:
    """A workbook's cell as the text that its user would type: ISO dates, plain numbers, TRUE and FALSE."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, (int, float)):
        return plain_number(float(value))
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(sep=" ", timespec="seconds")
    if isinstance(value, timedelta):
        minutes, seconds = divmod(round(value.total_seconds()), 60)
        return f"{minutes // 60}:{minutes % 60:02d}:{seconds:02d}"
    return value.isoformat() if isinstance(value, (date, time)) else str(value)


def _shows(value: object) -> bool:
    return not isinstance(value, str) or not is_blank(value)


def _text_frame(rows: list[list[Any]], headers: Sequence[str], first_row: int) -> pd.DataFrame:
    """Categorical texts; each distinct value of a column is turned into text once."""
    columns: list[tuple[Any, ...]] = list(zip(*rows, strict=True)) if rows else [()] * len(headers)
    index = pd.Index(np.arange(first_row, first_row + len(rows), dtype=np.int64), name="row")
    return pd.DataFrame({n: _texts(column) for n, column in enumerate(columns)}, index=index)


def _texts(column: Sequence[Any]) -> pd.Categorical:
    if bool in set(map(type, column)):  # True equals 1.0, so that they would be taken for one value
        return _categorical([cell_text(cell) for cell in column])
    values = np.empty(len(column), dtype=object)
    values[:] = column
    codes, distinct = pd.factorize(values)
    words = [cell_text(cell) for cell in distinct]
    if len(set(words)) < len(words):  # the text 12 beside the number 12
        return _categorical([words[code] for code in codes])
    return pd.Categorical.from_codes(codes, pd.Index(words, dtype=object))


def _categorical(words: list[str]) -> pd.Categorical:
    codes, distinct = pd.factorize(np.array(words, dtype=object))
    return pd.Categorical.from_codes(codes, pd.Index(distinct, dtype=object))


def _with_rows(cells: pd.DataFrame, rows: Iterable[int]) -> pd.DataFrame:
    """The same cells with blank rows added where a hidden cell stands below all values."""
    more = sorted(set(rows) - set(cells.index))
    if not more:
        return cells
    index = pd.Index(more, name="row", dtype="int64")
    blank = pd.DataFrame({name: pd.Categorical([""] * len(more)) for name in cells}, index=index)
    joined = {name: pd.api.types.union_categoricals([cells[name].array, blank[name].array]) for name in cells}
    return pd.DataFrame(joined, index=cells.index.append(index).rename("row"))


def _later_header(rows: list[list[Any]], header_row: int, table: Table) -> int | None:
    for number, row in enumerate(rows[header_row : header_row + _ROWS_SEARCHED_FOR_HEADER], header_row):
        if looks_like_header([cell_text(cell) for cell in row], table):
            return number + 1 if number != header_row else None
    return None


def _hidden_problems(
    hidden: HiddenCells, headers: Sequence[str], header_row: int, height: int, file: str
) -> list[Problem]:
    """A refused row for every hidden cell below the header and under one of its columns."""
    problems = []

    def refuse(row: int, column: int, value: str | None, reason: str, remedy: str) -> None:
        if row > header_row and column < len(headers):
            cell = f"cell {column_letter(column)}{row + 1}"
            name = headers[column].strip() or None
            problems.append(Problem(file, row + 1, name, value, f"{cell} {reason}", remedy, refused=True))

    for (row, column), formula in hidden.formulas.items():
        why = "holds a formula whose value is not stored in the workbook"
        refuse(row, column, f"={formula}", why, "Open and save the workbook in a spreadsheet, or type the value.")
    for (row, column), error in hidden.errors.items():
        refuse(row, column, error, "holds an error value", "Mend the formula, or type the value.")
    if sum(min(bottom + 1, height) - min(top, height) for (top, _), (bottom, _) in hidden.merged) > MOST_MERGED_ROWS:
        raise UnreadableFile("the sheet has more merged cells than rows", "Unmerge all cells of the sheet.")
    for (top, left), (bottom, right) in hidden.merged:
        name = f"{column_letter(left)}{top + 1}:{column_letter(right)}{bottom + 1}"
        # A merged range holds one value, in its first cell. That row keeps it where the range is one column wide.
        for row in range(max(top + (left == right), header_row + 1), min(bottom + 1, height)):
            why = f"is merged into {name}, so that its value cannot be known"
            refuse(row, left, None, why, "Unmerge the cells and type a value into each.")
    return problems
