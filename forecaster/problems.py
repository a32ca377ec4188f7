"""What is wrong with a source, row by row, and what a reading of it gives.

A `Problem` says where, what came, why it cannot be used and what to do. A refused row is never lost: the reading
keeps it as it was given. A problem that refuses nothing is a notice: the row is used, and the reader should know. Of
problems that are alike so many are listed as somebody may read, and one that stands for the others counts them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import pandas as pd

from forecaster.records import TABLES, FleetRecords
from forecaster.visible_texts import visible

# Problems of one file, column and consequence that are listed one by one: more than anybody mends by hand. A log of a
# million readings can hold five times as many.
MOST_ALIKE = 1_000
# Characters of a cell that a problem shows: to find it again. The refused rows keep it whole.
MOST_SHOWN = 200
_MOST_TOLD = 2_000  # characters of a reason and a remedy, which may quote several names
_MOST_NAMED, _MOST_OF_NAME = 8, 60  # names that a refusal lists, and characters of each

_MOST_OF_EACH = {"value": MOST_SHOWN, "column": MOST_SHOWN, "reason": _MOST_TOLD, "remedy": _MOST_TOLD}
Kind = tuple[str, str | None, bool, bool, bool]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, or that the reader should know: where, what came, why, and the remedy.

    ``row`` is the line as a spreadsheet numbers it (header: row 1); None for a whole file or a whole column.
    ``value`` is the cell as it was given, a long one cut short; in all else, characters that nobody sees are written
    out. ``stops_answer``: whatever is asked, the answer would be wrong. ``held_back``: a notice that asks about the
    row; it is used for its own unit, and nothing is learned from it about others. ``more`` is 0, or how many problems
    of its file and column that are not listed this one stands for.
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
    more: int = 0

    def __post_init__(self) -> None:
        """Names of files, sheets and columns come from the user, cells may be of any length, and reasons quote them."""
        if len(self.reason) + len(self.remedy) + len(self.value or "") + len(self.column or "") > MOST_SHOWN:
            for name, most in _MOST_OF_EACH.items():
                text = getattr(self, name)
                if text is not None and len(text) > most:
                    object.__setattr__(self, name, cut_short(text, most))
        for name in ("file", "column", "reason", "remedy"):
            given = getattr(self, name)
            if given is not None and (told := visible(given)) != given:
                object.__setattr__(self, name, told)

    @property
    def kind(self) -> Kind:
        """What makes problems alike: their file, column and consequence."""
        return self.file, self.column, self.refused, self.stops_answer, self.held_back

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


def cut_short(text: str, most: int = MOST_SHOWN) -> str:
    """The beginning of a long text, and how long it is."""
    return text if len(text) <= most else f"{text[:most]}... ({len(text):,} characters)"


def first_of(names: Sequence[str]) -> str:
    """The first few of some names, each cut short, and how many more there are; "nothing" where there is none."""
    more = f" and {len(names) - _MOST_NAMED:,} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(cut_short(name, _MOST_OF_NAME) for name in names[:_MOST_NAMED]) + more or "nothing"


def unlisted(
    file: str, column: str | None, count: int, refused: bool, stops_answer: bool = False, held_back: bool = False
) -> Problem:
    """The problem that stands for `count` more of its kind."""
    where = "of this file" if column is None else "in this column"
    reason = (
        f"{count:,} more {'problem' if count == 1 else 'problems'} {where} {'is' if count == 1 else 'are'} not listed"
    )
    remedy = (
        "Mend those above first. All refused rows are kept, each with its reasons."
        if refused
        else "Look at those above first: they are most likely of one cause."
    )
    return Problem(file, None, column, None, reason, remedy, refused, stops_answer, held_back, count)


def listed(problems: Iterable[Problem]) -> list[Problem]:
    """Problems in their order, of each kind `MOST_ALIKE` at most, and one that stands for the others of its kind."""
    kept: list[Problem] = []
    seen: Counter[Kind] = Counter()
    more: Counter[Kind] = Counter()
    for problem in problems:
        kind = problem.kind
        if problem.more or seen[kind] >= MOST_ALIKE:
            more[kind] += problem.more or 1
        else:
            seen[kind] += 1
            kept.append(problem)
    return kept + [unlisted(file, column, n, *consequence) for (file, column, *consequence), n in more.items()]


def how_many(problems: Iterable[Problem]) -> int:
    """How many problems there are, with those that are not listed."""
    return sum(problem.more or 1 for problem in problems)


def sort_problems(problems: Iterable[Problem], files: Sequence[str] = ()) -> tuple[Problem, ...]:
    """Problems in the order of `files` (others after them, by name), then whole files first, then by row.

    What stands for problems that are not listed comes last of its file.
    """
    rank = {visible(file): position for position, file in enumerate(files)}

    def order(problem: Problem) -> tuple[int, str, bool, int]:
        return rank.get(problem.file, len(rank)), problem.file, problem.more > 0, problem.row or 0

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
    def problems_not_listed(self) -> int:
        """How many problems are counted only, since there are so many like them."""
        return sum(problem.more for problem in self.problems)

    @property
    def notices(self) -> tuple[Problem, ...]:
        """Problems that refuse nothing and stop nothing."""
        return tuple(p for p in self.problems if not p.refused and not p.stops_answer)

    @property
    def stops_answer(self) -> tuple[Problem, ...]:
        """Problems that make any answer wrong; empty where the fleet can be asked."""
        return tuple(p for p in self.problems if p.stops_answer)
