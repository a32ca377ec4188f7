"""Which rows of a table are refused, and why: in arrays, since all of a million rows can be at fault."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from forecaster.problems import Problem, listed


@dataclass(frozen=True)
class Refused:
    """Row numbers (n,), for each the place of its reason in ``reasons``; a row may be there more than once."""

    rows: np.ndarray
    which: np.ndarray
    reasons: Sequence[str]

    @classmethod
    def for_one(cls, rows: np.ndarray, reason: str) -> Refused:
        """All of these rows for one reason."""
        return cls(rows, np.zeros(len(rows), dtype=np.int32), [reason])


@dataclass(frozen=True)
class Refusals:
    """The refused rows of a table, in the order in which their faults were found."""

    found: tuple[Refused, ...] = ()

    def __bool__(self) -> bool:
        """Whether any row is refused."""
        return any(len(refused.rows) for refused in self.found)

    def __add__(self, other: Refusals) -> Refusals:
        """These and then those of `other`."""
        return Refusals(self.found + other.found)

    @cached_property
    def rows(self) -> np.ndarray:
        """The refused rows, each once, in order."""
        return np.flatnonzero(self._is_refused)

    @cached_property
    def _is_refused(self) -> np.ndarray:
        """Whether each number up to the last refused row is one: far quicker than looking for distinct numbers."""
        told = np.zeros(1 + max((int(refused.rows.max(initial=-1)) for refused in self.found), default=-1), dtype=bool)
        for refused in self.found:
            told[refused.rows] = True
        return told

    def texts(self) -> np.ndarray:
        """Why each of ``rows`` is refused: its reasons in one text, each once."""
        place = np.cumsum(self._is_refused, dtype=np.int32) - 1  # of a row among ``rows``
        texts = _Texts()
        which = np.zeros(len(self.rows), dtype=np.int32)  # text of each row, so far
        for refused in self.found:
            for rows, reasons in _once_each(refused):
                at = place[rows]
                pairs = which[at].astype(np.int64) * len(refused.reasons) + reasons
                codes, distinct = pd.factorize(pairs)
                longer = [texts.with_reason(was, refused.reasons[n]) for was, n in _parted(distinct, refused.reasons)]
                which[at] = np.array(longer, dtype=np.int32)[codes]
        return _objects(texts.all)[which]


NOTHING_REFUSED = Refusals()


class _Texts:
    """Reasons put together, each combination once, by number; number 0 is none yet."""

    def __init__(self) -> None:
        self.all = [""]
        self._reasons: list[frozenset[str]] = [frozenset()]

    def with_reason(self, number: int, reason: str) -> int:
        """The number of a text with one more reason; the same where it has it."""
        reasons = self._reasons[number]
        if reason in reasons:
            return number
        self.all.append(f"{self.all[number]}. {reason}" if number else reason)
        self._reasons.append(reasons | {reason})
        return len(self.all) - 1


def _parted(pairs: np.ndarray, reasons: Sequence[str]) -> Iterator[tuple[int, int]]:
    return zip(*(part.tolist() for part in divmod(pairs, len(reasons))), strict=True)


def _once_each(refused: Refused) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Rows and reasons in as many parts as are needed for no row to be in one part twice."""
    if (np.diff(refused.rows) > 0).all():
        yield refused.rows, refused.which
        return
    times = pd.Series(refused.rows).groupby(refused.rows).cumcount().to_numpy()
    for time in range(int(times.max()) + 1):
        yield refused.rows[times == time], refused.which[times == time]


def sorted_out(problems: Iterable[Problem]) -> tuple[list[Problem], Refusals]:
    """Problems as they are listed, and the rows that any of them refuses, each for the problem's reason.

    Taken one by one: those that are not listed take no room.
    """
    rows: list[int] = []
    which: list[int] = []
    reasons: dict[str, int] = {}

    def noted() -> Iterator[Problem]:
        for problem in problems:
            if problem.refused and problem.row is not None:
                rows.append(problem.row)
                which.append(reasons.setdefault(problem.reason, len(reasons)))
            yield problem

    kept = listed(noted())
    if not rows:
        return kept, NOTHING_REFUSED
    refused = Refused(np.array(rows, dtype=np.int32), np.array(which, dtype=np.int32), list(reasons))
    return kept, Refusals((refused,))


def _objects(texts: list[str]) -> np.ndarray:
    objects = np.empty(len(texts), dtype=object)
    objects[:] = texts
    return objects
