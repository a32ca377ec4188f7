"""One running unit followed ahead, week by week of its craft's use: defects it has now, and those to come.

The same two stages as everywhere, with water incidents to come at the fleet's rate and noticing in use ending a life.
Everything is a joint chance: of being so at that time *and* not having failed, been noticed or opened before.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.integrand import log_sigmoid
from forecaster.learning import TwoStageFit
from forecaster.lives import Histories
from forecaster.outlook import PAST_NODES
from forecaster.pieces import cut
from forecaster.priors import INDEX
from forecaster.service_life import IncidentRate, chance_sound
from forecaster.stages import TwoStageLikelihood


@dataclass(frozen=True)
class UnitAhead:
    """A unit's fate over steps of use, per posterior draw; step k runs from `hours[k]` to `hours[k + 1]` from now.

    `now_*`: defects there now, by steps: `now_running` (d, n + 1) still defective, neither failed nor noticed;
    `now_fails`, `now_noticed` (d, n) in a step. `turned` (d, n): becomes defective in a step; `turned_running`
    (d, n + 1, n) [k, s]: turned in step s < k and still running at k; `turned_fails`, `turned_noticed` (d, n, n)
    [k, s], s <= k: in step k. `sound` (d, n + 1). `age_h`: mean age now, h. `sensitivity`, `specificity` (d,).
    """

    hours: np.ndarray
    age_h: float
    sound: np.ndarray
    now_running: np.ndarray
    now_fails: np.ndarray
    now_noticed: np.ndarray
    turned_running: np.ndarray
    turned_fails: np.ndarray
    turned_noticed: np.ndarray
    sensitivity: np.ndarray
    specificity: np.ndarray

    @property
    def running(self) -> np.ndarray:
        """Chance of running unopened at the start of each step, (d, n + 1)."""
        answer: np.ndarray = self.sound + self.now_running + self.turned_running.sum(axis=2)
        return answer

    @property
    def fails(self) -> np.ndarray:
        """Chance of failing in each step, (d, n)."""
        answer: np.ndarray = self.now_fails + self.turned_fails.sum(axis=2)
        return answer

    @property
    def noticed(self) -> np.ndarray:
        """Chance of being noticed in each step, (d, n)."""
        answer: np.ndarray = self.now_noticed + self.turned_noticed.sum(axis=2)
        return answer

    def defective(self, k: int) -> np.ndarray:
        """Chance of running defective at the start of step k, (d,)."""
        answer: np.ndarray = self.now_running[:, k] + self.turned_running[:, k].sum(axis=1)
        return answer

    def after_quiet_check(self, k: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Chances of a quiet check at step k's start and then failing, being noticed (d, n), running (d, n + 1).

        Entries before k are 0. What is defective by then passes with 1 - sensitivity, what is sound with specificity.
        """
        missed, passed = (1 - self.sensitivity)[:, None], self.specificity[:, None]

        def after(now: np.ndarray, turned: np.ndarray) -> np.ndarray:
            old = now + turned[:, :, :k].sum(axis=2)
            weighed: np.ndarray = missed * old + passed * turned[:, :, k:].sum(axis=2)
            weighed[:, :k] = 0.0
            return weighed

        running = after(self.now_running, self.turned_running)
        running[:, k:] += passed * self.sound[:, k:]
        return after(self.now_fails, self.turned_fails), after(self.now_noticed, self.turned_noticed), running

    def rattles(self, k: int) -> np.ndarray:
        """Chance of running at step k's start and rattling when spun by hand, (d,)."""
        ill = self.defective(k)
        answer: np.ndarray = self.sensitivity * ill + (1 - self.specificity) * self.sound[:, k]
        return answer


def unit_ahead(
    fit: TwoStageFit, unit: Histories, step_hours: np.ndarray, rate: IncidentRate | None, draws: int
) -> UnitAhead:
    """Follow one running unit (histories of a single life) over steps of `step_hours` (n,) engine hours, each > 0."""
    theta = fit.theta[:draws]
    hours = np.concatenate([[0.0], np.cumsum(step_hours)])
    likelihood = TwoStageLikelihood(cut(unit, fit.prior, fit.shares, still_running=True), PAST_NODES)
    share = likelihood.copy_shares(theta)
    copies = likelihood.copies
    chunk = likelihood.numerator_chunk()
    weighed = chunk.weigh(chunk.terms(theta), theta)
    node = weighed.node * share[:, chunk.copy, None]
    delay = np.broadcast_to(chunk.nodes().v[None], node.shape).reshape(len(theta), -1)
    mass = node.reshape(len(theta), -1)
    if chunk.k:
        mass = np.concatenate([mass, weighed.atom * share[:, chunk.k_copy]], axis=1)
        delay = np.concatenate([delay, np.broadcast_to(chunk.k_delay, (len(theta), chunk.k))], axis=1)
    sound = np.zeros((len(theta), len(hours)))
    for i in range(chunk.n):
        alone = chance_sound(theta, fit.prior, chunk.x[i], rate, chunk.age[i] + hours, float(copies.lasting_at_end[i]))
        sound += (weighed.sound[:, i] * share[:, i])[:, None] * alone
    now = _from_now(theta, mass, delay, hours)
    new = _to_come(theta, sound[:, :-1] - sound[:, 1:], hours)
    return UnitAhead(
        hours,
        float((share * chunk.age[None]).sum(axis=1).mean()),
        sound,
        *now,
        *new,
        np.exp(log_sigmoid(theta[:, INDEX["logit_sensitivity"]])),
        np.exp(log_sigmoid(theta[:, INDEX["logit_specificity"]])),
    )


def _stage_2(theta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    shape = np.exp(theta[:, INDEX["log_shape_2"]])
    scale = np.exp(theta[:, INDEX["log_scale_2_h"]])
    return shape, scale, np.exp(theta[:, INDEX["log_rate_noticed_per_h"]])


def _split(surviving: np.ndarray, unnoticed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Failing and being noticed in each step, from chances of neither at the steps' ends (last axis), first come."""
    both = surviving * unnoticed
    gone = both[..., :-1] - both[..., 1:]
    fails = (surviving[..., :-1] - surviving[..., 1:]) * (unnoticed[..., :-1] + unnoticed[..., 1:]) / 2
    fails = np.minimum(fails, gone)
    return fails, gone - fails


def _from_now(
    theta: np.ndarray, mass: np.ndarray, delay: np.ndarray, hours: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Defects there now, of `mass` (d, q) that turned `delay` (d, q) hours ago."""
    shape, scale, rate = _stage_2(theta)
    begun = (delay / scale[:, None]) ** shape[:, None]
    surviving = np.stack(
        [(mass * np.exp(begun - ((delay + h) / scale[:, None]) ** shape[:, None])).sum(axis=1) for h in hours], axis=1
    )
    unnoticed = np.exp(-rate[:, None] * hours)
    return surviving * unnoticed, *_split(surviving, unnoticed)


def _to_come(theta: np.ndarray, turned: np.ndarray, hours: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Defects to come, `turned` (d, n) amid each step: running (d, n + 1, n), failing and noticed (d, n, n)."""
    shape, scale, rate = _stage_2(theta)
    middle = (hours[:-1] + hours[1:]) / 2
    lag = np.clip(hours[None, :] - middle[:, None], 0.0, None)  # [s, k]
    surviving = np.exp(-((lag / scale[:, None, None]) ** shape[:, None, None]))
    unnoticed = np.exp(-rate[:, None, None] * lag)
    fails, noticed = _split(surviving, unnoticed)
    has_turned = np.triu(np.ones((len(middle), len(hours)), dtype=bool), 1)  # k > s
    running = np.where(has_turned, surviving * unnoticed, 0.0)
    weight = turned[:, :, None]
    return (
        np.swapaxes(weight * running, 1, 2),
        np.swapaxes(weight * fails, 1, 2),
        np.swapaxes(weight * noticed, 1, 2),
    )
