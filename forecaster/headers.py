"""Which column of the contract each header of a file is.

Headers are matched whatever their case, with blanks or hyphens for underscores; where a header was not written as
in the contract, a notice says how it was read. Headers that the contract does not know are kept aside, never an
error; a required column that is nowhere names the header that may have been meant.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from forecaster.cells import nearest
from forecaster.problems import MOST_SHOWN, Problem, cut_short
from forecaster.records import Table

_MOST_NAMED = 30  # headers that a refusal names: those of any table, and a fleet's own


def contract_word(header: str) -> str:
    """A header as the contract would write it: no outer blanks, lower case, underscores between words."""
    return "_".join(header.replace("-", " ").replace("_", " ").casefold().split())


def known_headers(headers: Sequence[str], table: Table) -> int:
    """How many of the headers the contract knows."""
    return sum(contract_word(header) in table.columns for header in headers)


def looks_like_header(headers: Sequence[str], table: Table) -> bool:
    """Whether these cells hold every required column of the table."""
    words = {contract_word(header) for header in headers}
    return all(column.name in words for column in table.columns.values() if column.required)


@dataclass
class Headers:
    """Positions of the contract's columns (more than one where a header is there twice), and of the others."""

    known: dict[str, list[int]] = field(default_factory=dict)
    unknown: dict[str, int] = field(default_factory=dict)  # unique name to keep them aside under -> position
    missing: tuple[str, ...] = ()  # required columns that are nowhere
    problems: list[Problem] = field(default_factory=list)


def recognise_headers(
    headers: Sequence[str], table: Table, file: str, filled: Sequence[bool], header_row: int = 1
) -> Headers:
    """What each header is; `filled` says which columns hold anything, since an empty nameless one is no news."""
    found = Headers()
    times: Counter[str] = Counter()
    for position, header in enumerate(headers):
        word = contract_word(header)
        if word in table.columns:
            found.known.setdefault(word, []).append(position)
            if header != word:
                found.problems.append(_read_as(file, header_row, header, word))
        elif header.strip() or filled[position]:
            name = header.strip() or f"column {position + 1}"
            times[name] += 1
            found.unknown[_unique(name, times, found.unknown)] = position
    found.missing = tuple(c.name for c in table.columns.values() if c.required and c.name not in found.known)
    found.problems += [_kept_aside(file, header_row, name, table, found) for name in found.unknown]
    return found


def _unique(name: str, times: Counter[str], taken: dict[str, int]) -> str:
    """A name that is not taken; `times` says how often the header was there so far, or where to go on counting."""
    unique = name
    while unique in taken:
        times[name] = max(times[name], 2)
        unique = f"{name} ({times[name]})"
        times[name] += unique in taken
    return unique


def _read_as(file: str, row: int, header: str, word: str) -> Problem:
    return Problem(
        file,
        row,
        word,
        header,
        f"the header {cut_short(header)!r} was read as {word}",
        f"Write it as {word}.",
        refused=False,
    )


def _kept_aside(file: str, row: int, name: str, table: Table, found: Headers) -> Problem:
    absent = [column for column in table.columns if column not in found.known]
    near = nearest(contract_word(name), absent)
    remedy = f"If {near} is meant, rename the header to {near}." if near else "Nothing to do if it is only for you."
    reason = f"{table.file} has no column of this name; its cells are kept aside and not used"
    return Problem(file, row, name, None, reason, remedy, refused=False)


def missing_columns(headers: Headers, names: Sequence[str], table: Table, file: str, hint: str) -> list[Problem]:
    """One problem of the whole file for each required column that is nowhere."""
    problems = []
    for column in headers.missing:
        near = nearest(column, list(headers.unknown))
        named = [cut_short(name.strip(), MOST_SHOWN // 4) for name in names if name.strip()]
        more = f" and {len(named) - _MOST_NAMED:,} more" if len(named) > _MOST_NAMED else ""
        shown = ", ".join(named[:_MOST_NAMED]) + more or "none"
        rename, add = f"Rename the header {near!r} to {column}.", f"Add a column {column}; headers found: {shown}."
        remedy = rename if near else add
        reason = f"the required column {column} is missing, so that no row of this file can be used"
        problems.append(Problem(file, None, column, None, reason, f"{remedy}{hint}", refused=True, stops_answer=True))
    return problems
