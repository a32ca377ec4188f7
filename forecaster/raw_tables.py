"""A file as text, before anything is checked: the same for a CSV file and for a sheet of a workbook."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from forecaster.errors import SourceError
from forecaster.problems import Problem
from forecaster.refusals import NOTHING_REFUSED, Refusals
from forecaster.safe_cells import as_given

# Columns of a file or sheet: the contract has 12 at most, and a fleet's own beside them are some dozens.
MAX_COLUMNS = 1_000
# Day 0 of the spreadsheets' serial dates: day 1 is 1900-01-01, and 1900 wrongly counts as a leap year (ECMA-376
# part 1, 18.17.4.1, from memory), so that from 1900-03-01 on the days count from here.
SERIAL_EPOCH_1900 = date(1899, 12, 30)
SERIAL_EPOCH_1904 = date(1904, 1, 1)


class UnreadableFile(SourceError):
    """One file or sheet cannot be read at all: why, and what to do."""

    def __init__(self, reason: str, remedy: str) -> None:
        """Keep both parts, for the problem that the reader is shown."""
        super().__init__(f"{reason}. {remedy}")
        self.reason = reason
        self.remedy = remedy


class EmptyFile(UnreadableFile):
    """There is a file or sheet, and nothing in it."""


@dataclass(frozen=True)
class RawTable:
    """The cells of one table as text, one categorical column a header, index ``row`` as a spreadsheet numbers it.

    Each distinct text is stored once, and later parsed once, which is what makes a million rows quick. Blank rows
    are left out, except those with a problem of their own. ``problems`` were met while reading; those that are
    refused spoil their row, or the cell of it that they name. ``refusals``: all rows that are spoilt as a whole,
    where so many are that not every problem of theirs is listed. Marks that keep a text from being taken for a formula
    are no part of it (``safe_cells``): a row that this program wrote out is what it was.
    """

    table: str
    file: str
    cells: pd.DataFrame
    headers: tuple[str, ...]  # as given, one for each column of cells (whose own names are 0, 1, 2 ...)
    header_row: int = 1
    problems: tuple[Problem, ...] = ()
    refusals: Refusals = NOTHING_REFUSED
    decimal_comma: bool = False  # whether numbers may have been written with a decimal comma
    serial_epoch: date = SERIAL_EPOCH_1900
    looks_like_header: int | None = None  # a later row that looks more like the header

    def __post_init__(self) -> None:
        """Take the marks away, whatever kind of file it was."""
        object.__setattr__(self, "headers", tuple(map(as_given, self.headers)))
        marked = {at: given for at in self.cells if (given := _without_marks(self.cells[at])) is not None}
        if marked:
            object.__setattr__(self, "cells", pd.DataFrame({at: marked.get(at, self.cells[at]) for at in self.cells}))


def _without_marks(column: pd.Series) -> pd.Series | None:
    """The texts of a column as they were given; None where none has a mark."""
    texts = column.cat.categories
    given = [as_given(text) for text in texts]
    if given == texts.tolist():
        return None
    known = list(dict.fromkeys(given))  # a text may be there with its mark and without
    codes = column.cat.codes.to_numpy()
    place = {text: at for at, text in enumerate(known)}
    moved = np.array([*(place[text] for text in given), -1])
    return pd.Series(pd.Categorical.from_codes(moved[codes], pd.Index(known)), column.index)


def is_blank(text: str) -> bool:
    """Whether a cell holds nothing that can be seen."""
    return not text or text.isspace()


def without_blank_rows(cells: pd.DataFrame, keep: Sequence[int] | np.ndarray = ()) -> pd.DataFrame:
    """The rows of categorical `cells` that hold something, and those whose row number is in `keep`."""
    filled = np.isin(cells.index.to_numpy(), np.asarray(keep, dtype=np.int64))
    for name in cells.columns:
        seen = np.array([not is_blank(text) for text in cells[name].cat.categories], dtype=bool)
        if seen.any():
            filled |= seen[cells[name].cat.codes.to_numpy()]
    return cells if filled.all() else cells[filled]


def column_letter(position: int) -> str:
    """The spreadsheet's letters of a column counted from 0: 0 is A, 26 is AA."""
    letters = ""
    number = position + 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
