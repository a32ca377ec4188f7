"""Running units followed ahead, week by week of their craft's use: defects they have now, and those to come.

The same two stages as everywhere, with water incidents to come at the fleet's rate and noticing in use ending a life.
Everything is a joint chance: of being so at that time *and* not having failed, been noticed or opened before.

What a unit is today, and how long it stays sound, is worked out for many units in one go (`UnitsToFollow`); what
becomes of its defects then unit by unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from forecaster.counted_looks import QUIET, SAME_HOURS, heard_already
from forecaster.integrand import log_sigmoid
from forecaster.learning import TwoStageFit
from forecaster.lives import Histories
from forecaster.outlook import PAST_NODES, stage_2_hazard
from forecaster.pieces import cut
from forecaster.priors import INDEX
from forecaster.service_life import IncidentRate, chances_sound
from forecaster.stages import TwoStageLikelihood


@dataclass(frozen=True)
class UnitAhead:
    """A unit's fate over steps of use, per posterior draw.

    Step k runs from `hours[k]` to `hours[k + 1]` from now as expected, (n + 1,), and under each draw as `drawn_hours`
    (d, n + 1) say; (1, n + 1) where all run as expected.
    `sound`, `running` (d, n + 1): sound, and running unopened, at the start of each step; `fails` (d, n) in it.
    `ill_running` (d, n + 1, n + 1) [k, t]: defective at step k's start and still running at that of step t;
    `ill_fails` (d, n + 1, n) [k, t]: the same and failing in step t; 0 for t < k. `age_h`: mean age now, h.
    `sensitivity`, `specificity` (d,). `heard`: how it sounds if it is spun before it runs again, where that is known
    already (``counted_looks.heard_already``).
    """

    hours: np.ndarray
    drawn_hours: np.ndarray
    age_h: float
    sound: np.ndarray
    running: np.ndarray
    fails: np.ndarray
    ill_running: np.ndarray
    ill_fails: np.ndarray
    sensitivity: np.ndarray
    specificity: np.ndarray
    heard: str = ""

    @property
    def noticed(self) -> np.ndarray:
        """Chance of being noticed in each step, (d, n): what ends neither failing nor running on."""
        answer: np.ndarray = self.running[:, :-1] - self.running[:, 1:] - self.fails
        return answer

    @property
    def ill_gone(self) -> np.ndarray:
        """Chance of being defective at step k's start and failing or being noticed in step t, (d, n + 1, n) [k, t]."""
        gone: np.ndarray = self.ill_running[:, :, :-1] - self.ill_running[:, :, 1:]
        gone *= _from_step_on(gone)
        return gone

    @property
    def defective(self) -> np.ndarray:
        """Chance of running defective at the start of each step, (d, n + 1)."""
        answer: np.ndarray = np.diagonal(self.ill_running, axis1=1, axis2=2)
        return answer

    @property
    def rattles(self) -> np.ndarray:
        """Chance of running at each step's start and rattling when spun by hand, (d, n + 1)."""
        ill_passes, sound_passes = self.passes
        answer: np.ndarray = (1 - ill_passes) * self.defective + (1 - sound_passes) * self.sound
        return answer

    @property
    def passes(self) -> tuple[np.ndarray, np.ndarray]:
        """Chance that it spins quiet at each step's start if it is defective, and if it is sound, (d, n + 1) each."""
        known = (self.hours <= SAME_HOURS) & (self.heard != "")
        ill, sound = (
            np.where(known, float(self.heard == QUIET), chance[:, None])
            for chance in (1 - self.sensitivity, self.specificity)
        )
        return ill, sound

    def after_a_quiet_check(self, step: int) -> UnitAhead:
        """The same unit if it is checked at the start of `step` and quiet: joint chances, that of being quiet included.

        What is defective then and what is sound each pass by their own chance (`passes`). Before that step nothing
        happens.
        """
        ill_passes, sound_passes = (chance[:, step, None, None] for chance in self.passes)
        passed, less_if_ill = sound_passes, ill_passes - sound_passes
        then, chosen = np.maximum(np.arange(len(self.hours)), step), slice(step, step + 1)
        ill_running = passed * self.ill_running[:, then] + less_if_ill * self.ill_running[:, chosen]
        ill_fails = passed * self.ill_fails[:, then] + less_if_ill * self.ill_fails[:, chosen]
        running = passed[:, 0] * self.running + less_if_ill[:, 0] * self.ill_running[:, step]
        fails = passed[:, 0] * self.fails + less_if_ill[:, 0] * self.ill_fails[:, step]
        fails[:, :step] = 0.0
        return replace(
            self,
            sound=(passed[:, 0] * self.sound)[:, then],
            running=running[:, then],
            fails=fails,
            ill_running=ill_running * _from_step_on(ill_running),
            ill_fails=ill_fails * _from_step_on(ill_fails),
        )


class UnitsToFollow:
    """Running units as they are today and how long they stay sound, ready to be followed ahead one by one."""

    def __init__(
        self,
        fit: TwoStageFit,
        units: Histories,
        step_hours: Sequence[np.ndarray],
        rate: IncidentRate | None,
        draws: int,
        drawn: Sequence[np.ndarray] | None = None,
    ) -> None:
        """`step_hours`: by unit (n_u,) engine hours of each step, > 0; `rate`: water to come, None for none.

        `drawn`: by unit (draws, n_u), >= 0, what each step runs under each posterior draw; None: as in `step_hours`.
        """
        theta = self._theta = fit.theta[:draws]
        self._heard = heard_already(units)
        self._hours = [_from_now_on(steps) for steps in step_hours]
        self._drawn = [_from_now_on(steps) for steps in (step_hours if drawn is None else drawn)]
        self._drawn = [np.atleast_2d(hours) for hours in self._drawn]
        likelihood = TwoStageLikelihood(cut(units, fit.prior, fit.shares, still_running=True), PAST_NODES)
        chunk = likelihood.numerator_chunk()
        weighed, share = likelihood.standing(chunk, theta)
        lives = likelihood.copies.life[: chunk.n]
        bounds = np.arange(units.n_lives + 1)
        self._copies = np.searchsorted(lives, bounds)  # where each unit's copies begin, and its pieces and incidents
        self._pieces = np.searchsorted(lives[chunk.copy], bounds)
        self._incidents = np.searchsorted(lives[chunk.k_copy], bounds)
        self._node = weighed.node * share[:, None, chunk.copy]
        self._atom = weighed.atom * share[:, chunk.k_copy]
        self._delay, self._k_delay = chunk.nodes().v, chunk.k_delay
        ages_now = np.add.reduceat(share * chunk.age, self._copies[:-1], axis=1)
        self._age_h = np.ascontiguousarray(ages_now.T).mean(axis=1)  # each on its own to the last bit
        ages = chunk.age[:, None] + self._to_the_same_end()[:, lives]
        lasting = likelihood.copies.lasting_at_end[: chunk.n]
        by_copy = chances_sound(theta, fit.prior, chunk.x, rate, ages, lasting)
        by_copy *= (weighed.sound * share)[:, :, None]
        self._sound = np.add.reduceat(by_copy, self._copies[:-1], axis=1)

    def _to_the_same_end(self) -> np.ndarray:
        """Hours at each step's start, (d, units, most + 1): a unit with fewer steps stands still after its last."""
        most = max(len(hours) for hours in self._hours)
        drawn = [np.pad(hours, ((0, 0), (0, most - hours.shape[1])), mode="edge") for hours in self._drawn]
        return np.stack(drawn, axis=1)

    def follow(self, unit: int) -> UnitAhead:
        """One of them, by its place, followed ahead."""
        hours, drawn, theta = self._hours[unit], self._drawn[unit], self._theta
        sound = self._sound[:, unit, : len(hours)]
        ill = _Ill.of(theta, drawn, *self._now(unit), sound[:, :-1] - sound[:, 1:])
        return UnitAhead(
            hours,
            drawn,
            float(self._age_h[unit]),
            sound,
            sound + ill.all_running,
            ill.all_fails,
            ill.running,
            ill.fails,
            np.exp(log_sigmoid(theta[:, INDEX["logit_sensitivity"]])),
            np.exp(log_sigmoid(theta[:, INDEX["logit_specificity"]])),
            str(self._heard[unit]),
        )

    def _now(self, unit: int) -> tuple[np.ndarray, np.ndarray]:
        """Chances (d, q) that it became defective `delay` (q,) hours ago."""
        pieces = slice(*self._pieces[unit : unit + 2])
        incidents = slice(*self._incidents[unit : unit + 2])
        node = self._node[:, :, pieces].reshape(len(self._theta), -1)
        mass = np.concatenate([node, self._atom[:, incidents]], axis=1)
        return mass, np.concatenate([self._delay[:, pieces].ravel(), self._k_delay[incidents]])


def unit_ahead(
    fit: TwoStageFit,
    unit: Histories,
    step_hours: np.ndarray,
    rate: IncidentRate | None,
    draws: int,
    drawn: np.ndarray | None = None,
) -> UnitAhead:
    """Follow one running unit (histories of a single life) over steps of `step_hours` (n,) engine hours, each > 0.

    `drawn` (draws, n), >= 0: what each step runs under each posterior draw; None: as in `step_hours`.
    """
    return UnitsToFollow(fit, unit, [step_hours], rate, draws, None if drawn is None else [drawn]).follow(0)


def _from_now_on(steps: np.ndarray) -> np.ndarray:
    """Hours at each step's start, and at the last one's end, (..., n + 1), from each step's (..., n)."""
    return np.concatenate([np.zeros((*steps.shape[:-1], 1)), np.cumsum(steps, axis=-1)], axis=-1)


@dataclass(frozen=True)
class _Ill:
    """Defects of one unit, as ``UnitAhead`` has them: `running` (d, n + 1, n + 1), `fails` (d, n + 1, n) [k, t].

    `all_running` (d, n + 1), `all_fails` (d, n) [t]: the same of all that had turned by then, step t's own included.
    """

    running: np.ndarray
    fails: np.ndarray
    all_running: np.ndarray
    all_fails: np.ndarray

    @classmethod
    def of(cls, theta: np.ndarray, hours: np.ndarray, mass: np.ndarray, delay: np.ndarray, turned: np.ndarray) -> _Ill:
        """`mass` (d, q): defects of `delay` (q,) hours now; `turned` (d, n): those to come amid each step.

        `hours` (d or 1, n + 1).
        """
        d, n = turned.shape
        running, fails = np.zeros((d, n + 1, n + 1)), np.zeros((d, n + 1, n))
        so_far, fail_so_far = _from_now(theta, mass, delay, hours)
        running[:, 0], fails[:, 0] = so_far, fail_so_far
        steps = _later_steps(n)
        to_come, fail_to_come = _to_come(theta, hours, steps)
        to_come *= turned[:, steps.turned]
        fail_to_come *= turned[:, steps.turned[:-1]]
        for step, begun in enumerate(steps.begin):
            later = n - step  # steps from this one on
            so_far[:, step + 1 :] += to_come[:, begun + 1 : begun + 1 + later]
            fail_so_far[:, step:] += fail_to_come[:, begun : begun + later]
            running[:, step + 1, step + 1 :] = so_far[:, step + 1 :]
            fails[:, step + 1, step + 1 :] = fail_so_far[:, step + 1 :]
        return cls(running, fails, so_far, fail_so_far)


class _LaterSteps(NamedTuple):
    """For each of n steps in which a defect may turn, that step's start and all later ones, in a row, (m,).

    `turned` (m,): the step in which it turns; `at` (m,): the one whose start is meant; `begin` (n,): where each one's
    row begins. Half of all pairs: before it turned nothing is asked.
    """

    turned: np.ndarray
    at: np.ndarray
    begin: tuple[int, ...]


@lru_cache(maxsize=64)  # units of a fleet have about as many steps
def _later_steps(n: int) -> _LaterSteps:
    turned, at = np.nonzero(np.arange(n + 1) >= np.arange(n)[:, None])
    for part in (turned, at):
        part.flags.writeable = False  # shared
    return _LaterSteps(turned, at, tuple(np.searchsorted(turned, np.arange(n)).tolist()))


def _from_step_on(chances: np.ndarray) -> np.ndarray:
    """Of an array (d, n + 1, ...) [k, t], 1 where t is k or later and 0 before."""
    return np.triu(np.ones(chances.shape[1:]))


def _noticed_rate(theta: np.ndarray) -> np.ndarray:
    """The rate of noticing, per hour, (d, 1, 1)."""
    rate: np.ndarray = np.exp(theta[:, INDEX["log_rate_noticed_per_h"], None, None])
    return rate


def _log(hours: np.ndarray) -> np.ndarray:
    """Logarithm of hours >= 0; of none, minus infinity, so that what has run no hours has no hazard behind it."""
    with np.errstate(divide="ignore"):
        answer: np.ndarray = np.log(hours)
    return answer


def _fails(surviving: np.ndarray, unnoticed: np.ndarray, both: np.ndarray) -> np.ndarray:
    """Failing in each step, from chances of neither at the steps' ends (last axis): what comes first counts."""
    fails: np.ndarray = surviving[..., :-1] - surviving[..., 1:]
    fails *= unnoticed[..., :-1] + unnoticed[..., 1:]
    fails *= 0.5
    np.minimum(fails, both[..., :-1] - both[..., 1:], out=fails)
    return fails


def _from_now(
    theta: np.ndarray, mass: np.ndarray, delay: np.ndarray, hours: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Defects there now, of `mass` (d, q) that turned `delay` (q,) hours ago: running (d, n + 1) and failing (d, n)."""
    begun = stage_2_hazard(theta, _log(delay)[:, None])
    lasting = np.exp(begun - stage_2_hazard(theta, _log(delay[:, None] + hours[:, None])))
    surviving = (mass[:, None] @ lasting)[:, 0]
    unnoticed = np.exp(-_noticed_rate(theta)[:, 0] * hours)
    running = surviving * unnoticed
    return running, _fails(surviving, unnoticed, running)


def _to_come(theta: np.ndarray, hours: np.ndarray, steps: _LaterSteps) -> tuple[np.ndarray, np.ndarray]:
    """Of defects that turn amid a step: running at the start of later ones, (d, m), and failing in each, (d, m - 1).

    As `steps` lays them out; what fails between two rows means nothing.
    """
    middle = (hours[:, :-1] + hours[:, 1:]) / 2
    lag = np.clip(np.take(hours, steps.at, axis=1) - np.take(middle, steps.turned, axis=1), 0.0, None)
    surviving = np.exp(-stage_2_hazard(theta, _log(lag)[:, None]))[:, 0]
    unnoticed = np.exp(-_noticed_rate(theta)[:, 0] * lag)
    both = surviving * unnoticed
    return both, _fails(surviving, unnoticed, both)
