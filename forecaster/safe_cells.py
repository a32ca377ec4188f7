"""Texts in files that people open in a spreadsheet: none is taken for a formula, and each is read back as it was.

A spreadsheet takes a cell of a CSV file that begins with =, +, - or @ for a formula, whoever wrote it: a craft's name
could start a program on the manager's computer. Such a text is written after an apostrophe, as spreadsheets themselves
mark a text, and read without it; plain numbers stay as they are. Where columns are parted by semicolons, tabs or
vertical bars, as much of the world's spreadsheets part them, a comma file falls apart at those signs: what stands
between them is treated as a cell of its own.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import pandas as pd

from forecaster.visible_texts import visible

MARK = "'"
# What begins a formula, with the full-width signs of East Asian keyboards, after blanks and quotation marks, which some
# programs take away. (Common practice, no source.)
_FORMULA = re.compile("['\"\\s\u200b-\u200f\u2060\ufeff]*[=+\\-@\uff1d\uff0b\uff0d\uff20]")
_SUSPECT = re.compile("[=+\\-@\uff1d\uff0b\uff0d\uff20\t\r\n]")
_NUMBER = re.compile(r"\s*[+-]?(?:\d+(?:[.,]\d+)*|[.,]\d+)(?:[eE][+-]?\d{1,3})?\s*", re.ASCII)
_BREAKS = "\t\r\n"  # a cell that begins with one is taken for what follows it
_SIGNS = re.compile(f"([;|{_BREAKS}])")


def neutral(text: str) -> str:
    """The text as it is written into a file for people; ``as_given`` gives it back."""
    return _by_part(text, _marked) if _SUSPECT.search(text) else text


def as_given(text: str) -> str:
    """The text that ``neutral`` made this of; any other as it is."""
    return _by_part(text, _unmarked) if MARK in text else text


def begins_a_formula(text: str) -> bool:
    """Whether a spreadsheet could take a cell of this text for a formula; a plain number is none."""
    return neutral(text) != text


def neutral_table(rows: pd.DataFrame) -> pd.DataFrame:
    """A table with its texts and its headers neutral; numbers and days are as they were."""
    return _with_texts(rows, neutral)


def shown_table(rows: pd.DataFrame) -> pd.DataFrame:
    """A table for a screen, from which it may be copied or saved: neutral, and with nothing in it that nobody sees."""
    return _with_texts(rows, lambda text: neutral(visible(text)))


def csv_for_people(rows: pd.DataFrame, index: bool = False) -> bytes:
    """A table as a CSV file that a spreadsheet opens safely: UTF-8 with the mark that lets it read accents.

    Lines end as RFC 4180 has them, which is also what has a cell with either sign in it written within quotation marks.
    """
    text: str = neutral_table(rows).to_csv(index=index, lineterminator="\r\n")
    return text.encode("utf-8-sig")


def _with_texts(rows: pd.DataFrame, change: Callable[[str], str]) -> pd.DataFrame:
    def changed(cell: object) -> object:
        return change(cell) if isinstance(cell, str) else cell

    told = rows.rename(columns=changed)
    for at in range(len(rows.columns)):
        column = rows.iloc[:, at]
        if column.dtype == object or isinstance(column.dtype, pd.CategoricalDtype | pd.StringDtype):
            told.isetitem(at, column.astype(object).map(changed).to_numpy(dtype=object))
    return told


def _by_part(text: str, change: Callable[[str, bool], str]) -> str:
    """The text with each part between the signs that part columns changed; the first is told if a break follows it."""
    pieces = _SIGNS.split(text)
    breaks = len(pieces) > 1 and pieces[1] in _BREAKS
    pieces[::2] = [change(part, breaks and not at) for at, part in enumerate(pieces[::2])]
    return "".join(pieces)


def _marked(part: str, breaks: bool) -> str:
    return MARK + part if _is_taken(part, breaks) else part


def _unmarked(part: str, breaks: bool) -> str:
    return part[1:] if part.startswith(MARK) and _is_taken(part[1:], breaks) else part


def _is_taken(part: str, breaks: bool) -> bool:
    """Whether a part is taken for a formula, or for what follows the break after it.

    With marks before it as without: so what was marked would be marked again, and nothing else is ever unmarked.
    """
    if breaks and not part.strip(MARK):
        return True
    return _FORMULA.match(part) is not None and _NUMBER.fullmatch(part) is None
