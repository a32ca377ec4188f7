"""Texts and codes of one column: each distinct text is looked at once.

Every parser takes the distinct texts of a column and gives `ParsedTexts`: the values, the faults by position, and
notices that concern the whole column.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

import numpy as np

from forecaster.raw_tables import is_blank
from forecaster.visible_texts import hidden_in_name, visible

# Looking for the nearest known word costs time; past this many different strange words the list of codes must do.
MAX_SUGGESTIONS = 50
# Known names that the strange ones of a column are compared with, all together: 8 microseconds each for short names,
# 100 for the longest.
MAX_COMPARISONS = 30_000
# A longer word is no slip of the pen, and the time goes with the square of its length.
LONGEST_WORD = 40
# Characters of a cell: of a text what a spreadsheet's cell holds at most; of a day, number or word the longest that a
# number can be written with, 5e-324 in full, which is far more than anybody types.
MOST_TEXT_CHARACTERS = 32_767
MOST_VALUE_CHARACTERS = 400
# A suggestion less alike than this (0 to 1, difflib's ratio) would only mislead.
LEAST_LIKENESS = 0.5


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a text cannot be used, and what to do."""

    reason: str
    remedy: str


@dataclass(frozen=True, slots=True)
class ColumnNotice:
    """Something about how a whole column was read, with one of its texts as the example."""

    example: str
    reason: str
    remedy: str


@dataclass
class ParsedTexts:
    """The values of distinct texts (blank where blank or at fault), the faults by position, the column's notices."""

    values: np.ndarray
    blank: np.ndarray  # bool: the cell holds nothing
    faults: dict[int, Fault] = field(default_factory=dict)
    notices: list[ColumnNotice] = field(default_factory=list)


def blanks(texts: Sequence[str]) -> np.ndarray:
    """Which of the texts are blank."""
    return np.array([is_blank(text) for text in texts], dtype=bool)


def without_overlong(texts: Sequence[str], most: int, parse: Callable[[list[str]], ParsedTexts]) -> ParsedTexts:
    """What `parse` gives of the texts of `most` characters or fewer; the others are faults, whatever they say."""
    if max(map(len, texts), default=0) <= most:
        return parse(list(texts))
    overlong = [position for position, text in enumerate(texts) if len(text) > most]
    parsed = parse([text if len(text) <= most else "" for text in texts])
    parsed.blank[overlong] = False
    for position in overlong:
        parsed.faults[position] = Fault(
            f"the cell has {len(texts[position]):,} characters; at most {most:,} are read",
            "Shorten it; if a quotation mark is missing, the cell may have swallowed its neighbours.",
        )
    return parsed


def parse_texts(texts: Sequence[str], longest: int | None = None) -> ParsedTexts:
    """Texts without the blanks around them; None where blank.

    `longest`: these are names that other rows refer to; refused beyond so many characters, and where a character in
    them cannot be seen, since two such names look like one. In any other text it is written out, with a notice.
    """
    values = np.empty(len(texts), dtype=object)
    parsed = ParsedTexts(values, blanks(texts))
    for position, text in enumerate(texts):
        stripped = text.strip()
        if longest is None:
            values[position] = visible(stripped) or None
            if values[position] != (stripped or None) and not parsed.notices:
                parsed.notices.append(_written_out(text))
            continue
        fault = _name_fault(stripped, longest)
        if fault is None:
            values[position] = stripped or None
        else:
            parsed.faults[position] = fault
    return parsed


def _name_fault(name: str, longest: int) -> Fault | None:
    if len(name) > longest:
        return Fault(
            f"this name has {len(name)} characters; at most {longest} are kept",
            "Use a shorter name; if a quotation mark is missing, the cell may have swallowed its neighbours.",
        )
    hidden = hidden_in_name(name)
    if hidden is None:
        return None
    return Fault(
        f"this name holds a character that nobody sees ({hidden}), so that it looks like another name",
        "Delete the cell and type the name anew.",
    )


def _written_out(example: str) -> ColumnNotice:
    return ColumnNotice(
        visible(example),
        "some of these texts hold characters that nobody sees; they are read as their codes",
        "Type such a text anew to be rid of them.",
    )


def parse_codes(texts: Sequence[str], codes: Sequence[str], blank_means: Any) -> ParsedTexts:
    """Known codes, whatever their case and the blanks around or in them; refused with the nearest known one."""
    values = np.empty(len(texts), dtype=object)
    values[:] = blank_means
    parsed = ParsedTexts(values, blanks(texts))
    known = {code.casefold(): code for code in codes}
    known_words = f"Type one of: {', '.join(codes)}."
    strange = Fault("this is not one of the known words", known_words)
    suggestions = 0
    for position, text in enumerate(texts):
        if parsed.blank[position]:
            continue
        word = text.strip().casefold()
        code = known.get(word) or known.get("_".join(word.replace("-", " ").split()))
        if code is not None:
            values[position] = code
            continue
        near = nearest(word, codes) if suggestions < MAX_SUGGESTIONS else None
        suggestions += 1
        parsed.faults[position] = Fault(strange.reason, f"{known_words} The nearest is {near}.") if near else strange
    return parsed


def nearest(word: str, known: Sequence[str]) -> str | None:
    """The known word most like `word`, None where none is much like it.

    None too where that would take long: for a long word, or very many known ones.
    """
    if len(word) > LONGEST_WORD or len(known) > MAX_COMPARISONS:
        return None
    alike = {name.casefold(): name for name in known if len(name) <= LONGEST_WORD}
    found = get_close_matches(word.casefold(), list(alike), n=1, cutoff=LEAST_LIKENESS)
    return alike[found[0]] if found else None
