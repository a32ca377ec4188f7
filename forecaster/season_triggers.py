"""When to act in a season: hours at which a rebuild or a check pays, by optimal stopping backwards from its close.

A unit that nobody has opened has one path: its hours. All that is decided along it is when to leave it, so that the
best stopping rule (Puterman 1994, Markov Decision Processes, ch. 4) compares acting in a week with the best of all
later weeks and of the close.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from forecaster.counted_looks import SAME_HOURS

Due = Literal["rebuild", "check"]


@dataclass(frozen=True)
class Triggers:
    """Hours since rebuild at which to act in a season, if it still runs then; None: not this season.

    `..._until`: the last day on which that pays; a unit that gets to those hours later waits for the season's close.
    """

    check_at_hours: float | None
    rebuild_at_hours: float | None
    check_until: date | None = None
    rebuild_until: date | None = None

    def at(self, due: Due) -> tuple[float | None, date | None]:
        """The hours at which that is due, and the last day on which it pays."""
        if due == "rebuild":
            return self.rebuild_at_hours, self.rebuild_until
        return self.check_at_hours, self.check_until

    def reached(self, age_h: float, on: date) -> Due | None:
        """What is due at an age, engine hours since rebuild, on an in-season day; None: nothing pays then."""
        dues: tuple[Due, ...] = ("rebuild", "check")
        for due in dues:
            at, until = self.at(due)
            if at is not None and age_h >= at - SAME_HOURS and (until is None or on <= until):
                return due
        return None


NO_TRIGGERS = Triggers(None, None)


@dataclass(frozen=True)
class SeasonAct:
    """What is done first in a season to a unit that still runs by then, and in which of the weeks ahead."""

    action: Due
    week: int


@dataclass(frozen=True)
class Stopped:
    """A season's triggers, what is done first in it, and the expected cost of doing so; `first` None: nothing."""

    triggers: Triggers
    first: SeasonAct | None
    expected_cost: float


def stopped(
    weeks: np.ndarray,
    days: Sequence[date],
    ages_h: np.ndarray,
    rebuild: np.ndarray,
    check: np.ndarray,
    at_close: float,
) -> Stopped:
    """Act or go on, in each of a season's `weeks` (n,), numbers among the weeks ahead.

    `days`, `ages_h` (n,): first day of each and the unit's age then, engine hours since rebuild; `rebuild`, `check`
    (n,): expected cost from today of acting in each, if nothing is done before; `at_close`: the same of doing nothing
    until the season's close.
    """
    act = np.minimum(rebuild, check)
    best_from = np.minimum.accumulate(np.append(act, at_close)[::-1])[::-1]
    pays, opens = act < best_from[1:], rebuild <= check

    def when(chosen: np.ndarray) -> tuple[float, date] | tuple[None, None]:
        places = np.flatnonzero(pays & chosen)
        return (float(ages_h[places[0]]), days[places[-1]]) if len(places) else (None, None)

    (look, look_until), (open_it, open_until) = when(~opens), when(opens)
    if look is not None and open_it is not None and look > open_it:
        look = look_until = None  # a check after the hours at which it would be opened anyway is none
    first = None
    if pays.any():
        at = int(pays.argmax())
        first = SeasonAct("rebuild" if opens[at] else "check", int(weeks[at]))
    return Stopped(Triggers(look, open_it, look_until, open_until), first, float(best_from[0]))
