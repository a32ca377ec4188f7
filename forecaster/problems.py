"""What is wrong with a source, row by row, and what a reading of it gives.

A `Problem` says where, what came, why it cannot be used and what to do. A refused row is never lost: the reading
keeps it as it was given. A problem that refuses nothing is a notice: the row is used, and the reader should know.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import pandas as pd

from forecaster.records import TABLES, FleetRecords
from forecaster.visible_texts import visible


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, or that the reader should know: where, what came, why, and the remedy.

    ``row`` is the line as a spreadsheet numbers it (header: row 1); None for a whole file or a whole column.
    ``value`` is the cell as it was given; in all else, characters that nobody sees are written out. ``stops_answer``:
    whatever is asked, the answer would be wrong.
    ``held_back``: a notice that asks about the row; it is used for its own unit, and nothing is learned from it about
    others.
    """

    file: str
    row: int | None
    column: str | None
    value: str | None
    reason: str
    remedy: str
    refused: bool
    stops_answer: bool = False
    held_back: bool = False

    def __post_init__(self) -> None:
        """Names of files, sheets and columns come from the user, and reasons quote them."""
        for name in ("file", "column", "reason", "remedy"):
            given = getattr(self, name)
            if given is not None and (told := visible(given)) != given:
                object.__setattr__(self, name, told)

    @property
    def table(self) -> str:
        """The table that ``file`` is, in small letters: "hours" of HOURS.csv and of a workbook's sheet hours."""
        return self.file.casefold().removesuffix(".csv").rpartition(", sheet ")[2].strip()

    def __str__(self) -> str:
        """The problem as one sentence or two, as every face says it."""
        row = "" if self.row is None else f" row {self.row}"
        column = "" if self.column is None else f", {self.column}"
        value = "" if self.value is None else f" {self.value!r}"
        return f"{self.file}{row}{column}{value}: {self.reason}. {self.remedy}"


def sort_problems(problems: Iterable[Problem], files: Sequence[str] = ()) -> tuple[Problem, ...]:
    """Problems in the order of `files` (others after them, by name), then whole files first, then by row."""
    rank = {visible(file): position for position, file in enumerate(files)}

    def order(problem: Problem) -> tuple[int, str, int]:
        return rank.get(problem.file, len(rank)), problem.file, problem.row or 0

    return tuple(sorted(problems, key=order))


@dataclass(frozen=True)
class Reading:
    """What was read from a source: the accepted records, every problem, and all that was not accepted.

    ``refused``: by table, the refused rows as they were given (raw text, index ``row``) plus the column ``reason``,
    which says why they are refused; a column ``reason`` of their own is called ``reason (given)`` there.
    ``kept_aside``: by table, the columns that the contract does not know, as given (index ``row``).
    ``doubtful_units``: units whose answer may be wrong because of what was refused or is asked about, with the reason.
    """

    records: FleetRecords
    problems: tuple[Problem, ...] = ()
    refused: dict[str, pd.DataFrame] = field(default_factory=dict)
    kept_aside: dict[str, pd.DataFrame] = field(default_factory=dict)
    doubtful_units: dict[str, str] = field(default_factory=dict)

    @property
    def read(self) -> dict[str, int]:
        """Accepted rows by table, in the contract's order."""
        return {name: len(self.records.table(name)) for name in TABLES}

    @property
    def refused_counts(self) -> dict[str, int]:
        """Refused rows by table, in the contract's order; 0 where none."""
        return {name: len(self.refused[name]) if name in self.refused else 0 for name in TABLES}

    @property
    def notices(self) -> tuple[Problem, ...]:
        """Problems that refuse nothing and stop nothing."""
        return tuple(p for p in self.problems if not p.refused and not p.stops_answer)

    @property
    def stops_answer(self) -> tuple[Problem, ...]:
        """Problems that make any answer wrong; empty where the fleet can be asked."""
        return tuple(p for p in self.problems if p.stops_answer)
