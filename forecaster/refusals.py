"""Which rows of a table are refused, and why: in arrays, since all of a million rows can be at fault."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from forecaster.problems import Problem, listed


@dataclass(frozen=True)
class Refusals:
    """Row numbers and reasons, (n,) each, in the order in which the faults were found; a row may be there often."""

    rows: np.ndarray
    reasons: np.ndarray

    @classmethod
    def none(cls) -> Refusals:
        """Nothing is refused."""
        return cls(np.empty(0, dtype=np.int64), np.empty(0, dtype=object))

    @classmethod
    def for_one(cls, rows: np.ndarray, reason: str) -> Refusals:
        """All of these rows for one reason."""
        return cls(rows, _objects([reason] * len(rows)))

    def __len__(self) -> int:
        """How many faults there are; 0 where no row is refused."""
        return len(self.rows)

    def __add__(self, other: Refusals) -> Refusals:
        """These and then those of `other`."""
        if not len(other):
            return self
        return Refusals(np.concatenate([self.rows, other.rows]), np.concatenate([self.reasons, other.reasons]))

    @cached_property
    def refused(self) -> np.ndarray:
        """The refused rows, each once, in order."""
        return np.unique(self.rows)

    def texts(self) -> np.ndarray:
        """Why each row of ``refused`` is: its reasons in one text, each once. What is the same for many is one text."""
        codes, said = pd.factorize(self.reasons)
        told = pd.DataFrame({"row": np.searchsorted(self.refused, self.rows), "code": codes}).drop_duplicates()
        told["place"] = told.groupby("row").cumcount()  # of a reason among those of its row
        texts = [""]
        which = np.zeros(len(self.refused), dtype=np.int64)  # of the texts so far
        for _, here in told.groupby("place"):
            rows = here["row"].to_numpy()
            pairs, new = np.unique(which[rows] * len(said) + here["code"].to_numpy(), return_inverse=True)
            which[rows] = len(texts) + new
            begun = ((texts[was], said[code]) for was, code in zip(*divmod(pairs, len(said)), strict=True))
            texts += [f"{before}. {reason}" if before else reason for before, reason in begun]
        return _objects(texts)[which]


def sorted_out(problems: Iterable[Problem]) -> tuple[list[Problem], Refusals]:
    """Problems as they are listed, and the rows that any of them refuses, each for the problem's reason.

    Taken one by one: those that are not listed take no room.
    """
    rows: list[int] = []
    reasons: list[str] = []

    def noted() -> Iterator[Problem]:
        for problem in problems:
            if problem.refused and problem.row is not None:
                rows.append(problem.row)
                reasons.append(problem.reason)
            yield problem

    kept = listed(noted())
    return kept, Refusals(np.array(rows, dtype=np.int64), _objects(reasons))


def _objects(texts: list[str]) -> np.ndarray:
    objects = np.empty(len(texts), dtype=object)
    objects[:] = texts
    return objects
