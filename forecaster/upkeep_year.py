"""A year of upkeep, solved backwards for many upkeeps at once: what the average-cost programme turns over and over.

``forecaster.policy`` says what a year is. All upkeeps here have the same grid of ages, so that each of their numbers is
a row of one array, and an array's work is done in one go. Their seasons may differ: a year is worked out from the close
back, step by step, and each season opens where it begins, between two steps as a rule.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np

from forecaster.fresh_life import FreshLife
from forecaster.prices import Prices

Action = Literal["none", "check", "rebuild"]
ACTIONS: tuple[Action, ...] = ("none", "check", "rebuild")


class States(NamedTuple):
    """The states that can be, age i and age at the last quiet check j <= i, in a row: by j, then by i, (s,) each.

    So the state one step older follows at once, but for the `oldest` (n,), which stay as old as the grid goes and come
    to `oldest_then` (n,): a step longer since their last check. `just` (n,): the state of a unit just checked, by age.
    The first of all is a fresh unit.
    """

    age: np.ndarray
    checked: np.ndarray
    oldest: np.ndarray
    oldest_then: np.ndarray
    just: np.ndarray

    @property
    def n(self) -> int:
        """How many ages there are."""
        return len(self.just)

    def row(self, table: np.ndarray) -> np.ndarray:
        """A table by age and last check, (n, n), as a row of states, (s,)."""
        row: np.ndarray = table[self.age, self.checked]
        return row

    def tables(self, rows: np.ndarray, impossible: float) -> np.ndarray:
        """Rows of states (..., s) back as tables by age and last check, (..., n, n)."""
        tables = np.full((*rows.shape[:-1], self.n, self.n), impossible, dtype=rows.dtype)
        tables[..., self.age, self.checked] = rows
        return tables


def steps_of(season: np.ndarray) -> np.ndarray:
    """Whole steps that hold a season of so many steps, > 0."""
    whole: np.ndarray = np.ceil(season).astype(int)
    return whole


@lru_cache(maxsize=8)
def states_of(n: int) -> States:
    """The states of a grid of `n` ages."""
    checked, age = np.triu_indices(n)  # by row j, the columns i >= j
    oldest = np.flatnonzero(age == n - 1)
    then = np.maximum(np.arange(n) - 1, np.minimum(np.arange(n), 1))  # one never checked stays so
    return States(age, checked, oldest, oldest[then], np.flatnonzero(age == checked))


class Fixed(NamedTuple):
    """What a given policy does at a stage: whether it checks and whether it rebuilds in each state, (s,) bool."""

    checks: np.ndarray
    rebuilds: np.ndarray

    @classmethod
    def of(cls, action: np.ndarray) -> Fixed:
        """`action` (s,): index into ACTIONS."""
        return cls(action == ACTIONS.index("check"), action == ACTIONS.index("rebuild"))


class Stage(NamedTuple):
    """One stage of u upkeeps: `cost` (u, s) beside a fresh unit's, `fresh` (u, 1).

    `to_close`: steps left in the season; 0: the off-season that follows. `going_on`, `check` (u, s), `rebuild` (u, 1):
    what each costs, beside a fresh unit's at the stage that follows.
    """

    to_close: int
    cost: np.ndarray
    fresh: np.ndarray
    going_on: np.ndarray
    check: np.ndarray
    rebuild: np.ndarray

    def done(self) -> tuple[np.ndarray, np.ndarray]:
        """Whether checking, and whether rebuilding, costs less than all before it, (u, s) each."""
        return self.check < self.going_on, self.rebuild < np.minimum(self.going_on, self.check)


@dataclass(frozen=True)
class Year:
    """A year of u upkeeps at once, solved backwards: a season of `season` (u,) steps, > 0, then the off-season.

    Costs are kept beside a fresh unit's at the same moment, so that running a step from any state costs what ends the
    life in it, `ends` (u, s), plus the chance of running on, `runs_on`, times what the older state costs, and a fresh
    unit's for all alike; a unit fitted amid a step runs half of it. `quiet` (u, s): chance that a check says nothing.
    Prices (u, 1), off season and in season. `fixed`: a given policy, by steps to the close; None: the best.
    """

    states: States
    season: np.ndarray
    runs_on: np.ndarray
    ends: np.ndarray
    quiet: np.ndarray
    planned: tuple[np.ndarray, np.ndarray]
    looked_at: tuple[np.ndarray, np.ndarray]
    fixed: Sequence[Fixed] | None

    @classmethod
    def of(
        cls, lives: Sequence[FreshLife], prices: Sequence[Prices], season: np.ndarray, fixed: Sequence[Fixed] | None
    ) -> Year:
        """Years of units with these `lives` at these `prices` and seasons (u,), one of each an upkeep."""
        states = states_of(lives[0].n)
        fails, noticed, defective = (
            np.stack([states.row(getattr(life, name)) for life in lives]) for name in ("fails", "noticed", "defective")
        )

        def each(values: Iterable[float]) -> np.ndarray:
            return np.array(list(values))[:, None]

        sensitivity, specificity = each(life.sensitivity for life in lives), each(life.specificity for life in lives)
        return cls(
            states,
            season,
            1 - fails - noticed,
            fails * each(p.failure() for p in prices) + noticed * each(p.noticed() for p in prices),
            1 - (sensitivity * defective + (1 - specificity) * (1 - defective)),
            (each(p.planned(False) for p in prices), each(p.planned(True) for p in prices)),
            (each(p.looked_at(False) for p in prices), each(p.looked_at(True) for p in prices)),
            fixed,
        )

    def of_these(self, which: np.ndarray) -> Year:
        """Only some of the upkeeps, (u,) bool."""
        pairs = [tuple(price[which] for price in pair) for pair in (self.planned, self.looked_at)]
        parts = (self.runs_on[which], self.ends[which], self.quiet[which])
        return Year(self.states, self.season[which], *parts, pairs[0], pairs[1], self.fixed)

    @property
    def steps(self) -> np.ndarray:
        """Steps that each upkeep is worked out for: the season's, its first counted whole where it is but a part."""
        return steps_of(self.season)

    def cost(self, worth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Cost of a year from each state (u, s), beside a fresh unit's, and the fresh unit's (u,).

        `worth` (u, s): what each state is worth at the year's end, a fresh unit's being 0.
        """
        cost, fresh = np.zeros_like(worth), np.zeros(len(worth))
        for stage in self.stages(worth):
            share = np.maximum(1 - np.abs(stage.to_close - self.season), 0.0)  # of the two stages about the opening
            opens = np.flatnonzero(share)
            cost[opens] += share[opens, None] * stage.cost[opens]
            fresh[opens] += share[opens] * stage.fresh[opens, 0]
        return cost, fresh

    def laid_out(self, worth: np.ndarray, seasons: float) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """By upkeep: cost ahead and action at each stage, (stages + 1, n, n) each; as ``policy.Upkeep`` has them.

        And the cost ahead of a fresh unit with so many whole steps to the close, (m,), up to `seasons` seasons of them:
        more than one in a single year that runs more than the others.
        """
        last, most = int(self.steps.max()), steps_of(self.season * seasons)
        shape = (len(worth), last + 1, len(self.states.age))
        ahead, action = np.empty(shape), np.zeros(shape, dtype=np.int8)
        fresh = []
        for stage in self.stages(worth, int(most.max())):
            fresh.append(stage.fresh[:, 0].copy())
            if stage.to_close > last:
                continue
            ahead[:, stage.to_close] = stage.cost + stage.fresh
            checks, rebuilds = stage.done() if self.fixed is None else self.fixed[stage.to_close]
            action[:, stage.to_close][np.broadcast_to(checks, stage.cost.shape)] = ACTIONS.index("check")
            action[:, stage.to_close][np.broadcast_to(rebuilds, stage.cost.shape)] = ACTIONS.index("rebuild")
        by_steps = np.array(fresh)
        return [
            (
                self.states.tables(ahead[u, steps::-1], np.nan),
                self.states.tables(action[u, steps::-1], 0),
                by_steps[: most[u] + 1, u],
            )
            for u, steps in enumerate(self.steps)
        ]

    def stages(self, worth: np.ndarray, most: int | None = None) -> Iterator[Stage]:
        """From the off-season back to the longest season's first step, or to `most` steps from the close.

        Each is overwritten when the next comes.
        """
        cost, going_on, check = worth.copy(), np.empty_like(worth), np.empty_like(worth)
        fresh = np.zeros((len(worth), 1))
        for to_close in range((int(self.steps.max()) if most is None else most) + 1):
            in_season = to_close > 0
            if in_season:
                self._run_a_step(cost, going_on)
            else:
                np.copyto(going_on, worth)
            rebuild = self.planned[in_season] + going_on[:, :1]
            self._check(going_on, rebuild, self.looked_at[in_season], check)
            self._choose(to_close, going_on, check, rebuild, cost)
            least = cost[:, :1].copy()
            cost -= least
            fresh = fresh + least
            yield Stage(to_close, cost, fresh, going_on, check, rebuild)

    def _run_a_step(self, then: np.ndarray, out: np.ndarray) -> None:
        """Cost of running one step from each state, given the cost `then` after it, (u, s) each."""
        # All rows as one, which is faster than row by row: where a row ends, the next state is none of its own, but
        # there stands one of the oldest, who are put right below.
        np.multiply(self.runs_on.ravel()[:-1], then.ravel()[1:], out=out.reshape(-1)[:-1])
        oldest = self.states.oldest
        out[:, oldest] = self.runs_on[:, oldest] * then[:, self.states.oldest_then]
        out += self.ends
        # Where a life ends, amid the step on average, a fresh unit runs the rest of it: half of what it would cost a
        # fresh unit to run all of it, which itself is so.
        out += out[:, :1] / (1 + self.runs_on[:, :1]) * (1 - self.runs_on)

    def _check(self, going_on: np.ndarray, rebuild: np.ndarray, looked_at: np.ndarray, out: np.ndarray) -> None:
        """Cost of checking in each state (u, s): a rebuild (u, 1) if it rattles, else going on as just checked."""
        saved_if_quiet = going_on[:, self.states.just] - rebuild
        np.take(saved_if_quiet, self.states.age, axis=1, out=out, mode="clip")
        out *= self.quiet
        out += looked_at + rebuild

    def _choose(
        self, to_close: int, going_on: np.ndarray, check: np.ndarray, rebuild: np.ndarray, out: np.ndarray
    ) -> None:
        """The cost of what is done in each state: what costs least, or what the given policy does, (u, s)."""
        if self.fixed is None:
            np.minimum(going_on, check, out=out)
            np.minimum(out, rebuild, out=out)
        else:
            np.copyto(out, going_on)
            np.copyto(out, check, where=self.fixed[to_close].checks)
            np.copyto(out, rebuild, where=self.fixed[to_close].rebuilds)
