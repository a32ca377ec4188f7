"""Bearings' lives drawn one by one in continuous time, by the two stages' own words: nothing here is a chance.

A sound bearing turns defective by wear (a Weibull hazard in its age, times its covariates), or at a water incident. An
incident not treated promptly that it passes sound raises the wear's hazard from then on. A defective one fails after a
Weibull delay, or is noticed first, at a constant rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.learning import TwoStageFit
from forecaster.lives import Histories
from forecaster.outlook import PAST_NODES
from forecaster.pieces import cut
from forecaster.priors import INDEX, Prior
from forecaster.service_life import IncidentRate
from forecaster.stages import TwoStageLikelihood


@dataclass(frozen=True)
class Lives:
    """Drawn lives (n,): hours from now until each turns defective (below 0: it is), and until it ends; its age now, h.

    `draw`: the posterior draw that each lives under. `fails`: whether it ends so; else by being noticed.
    """

    draw: np.ndarray
    age_h: np.ndarray
    defective_in: np.ndarray
    ends_in: np.ndarray
    fails: np.ndarray

    def of_these(self, which: np.ndarray) -> Lives:
        """Only some of them."""
        return Lives(*(part[which] for part in vars(self).values()))

    def after(self, hours: np.ndarray) -> Lives:
        """The same, so many hours (n,) on."""
        return Lives(self.draw, self.age_h + hours, self.defective_in - hours, self.ends_in - hours, self.fails)


class Nature:
    """The law of each posterior draw `theta` (d, p), and the water to come."""

    def __init__(self, theta: np.ndarray, prior: Prior, rate: IncidentRate | None, rng: np.random.Generator) -> None:
        """Lives are drawn with `rng`."""
        self.d, self.rng = len(theta), rng

        def natural(name: str) -> np.ndarray:
            value: np.ndarray = np.exp(theta[:, INDEX[name]])
            return value

        self._shape_1, self._scale_1 = natural("log_shape_1"), natural("log_scale_1_h")
        self._shape_2, self._scale_2 = natural("log_shape_2"), natural("log_scale_2_h")
        self._noticed = natural("log_rate_noticed_per_h")
        first = INDEX["log_ratio_aftermarket"]
        self._log_ratios, self._lasting = theta[:, first : first + 3], theta[:, INDEX["lasting_log_ratio"]]
        odds = natural("logit_sensitivity"), natural("logit_specificity")
        self.sensitivity, self.specificity = (one / (1 + one) for one in odds)
        passes = [np.exp(-natural(name)) for name in ("log_jump_untreated", "log_jump_treated")]
        rusts, raises = np.zeros(self.d), np.zeros(self.d)
        for treatment, share in (rate.treatment if rate is not None else {}).items():
            untreated = prior.untreated_share[treatment]
            rusts += share * (untreated * (1 - passes[0]) + (1 - untreated) * (1 - passes[1]))
            raises += share * untreated * passes[0]
        per_hour = 0.0 if rate is None else rate.per_hour
        self._rusts, self._raises = per_hour * rusts, per_hour * raises  # each incident is of one kind: thinned

    def uniform(self, n: int) -> np.ndarray:
        """n numbers from 0 to 1 for each draw in turn, one in each n-th of the way, (n * d,)."""
        places = self.rng.permuted(np.tile(np.arange(n), (self.d, 1)), axis=1)
        numbers: np.ndarray = ((places + self.rng.random((self.d, n))) / n).ravel()
        return numbers

    def _waits(self, n: int) -> np.ndarray:
        """Exponential waits of mean 1."""
        waits: np.ndarray = -np.log1p(-self.uniform(n))
        return waits

    def fresh(self, x: np.ndarray, n: int) -> Lives:
        """n fresh units a draw with covariates `x` (3,)."""
        draw = np.repeat(np.arange(self.d), n)
        nothing = np.zeros(len(draw))
        return self._sound(draw, n, nothing, nothing, np.broadcast_to(x, (len(draw), 3)))

    def _sound(self, draw: np.ndarray, n: int, age: np.ndarray, raised: np.ndarray, x: np.ndarray) -> Lives:
        """Units sound now, of some ages; `raised`: how far an incident has raised their hazard already, 0 to 1."""
        shape, scale, lasting = self._shape_1[draw], self._scale_1[draw], self._lasting[draw]
        ratio = np.exp((self._log_ratios[draw] * x).sum(axis=1) + lasting * raised)
        with np.errstate(divide="ignore"):
            raised_at = age + self._waits(n) / self._raises[draw]
            rusts_in = self._waits(n) / self._rusts[draw]
        wear, so_far = self._waits(n) / ratio, (age / scale) ** shape
        before = (raised_at / scale) ** shape - so_far  # what wears away until the hazard is raised
        faster = np.exp(lasting * (1 - raised))
        late = wear > before
        worn = np.where(late, before + (wear - np.where(late, before, 0.0)) / faster, wear)
        worn_at = scale * (so_far + worn) ** (1 / shape)
        turns = np.minimum(worn_at - age, rusts_in)
        return self._ending(draw, n, age, turns, np.zeros(len(draw)))

    def _ending(self, draw: np.ndarray, n: int, age: np.ndarray, turns: np.ndarray, ill_for: np.ndarray) -> Lives:
        """Lives that turn defective in `turns` hours, or have been so for `ill_for` hours."""
        shape, scale = self._shape_2[draw], self._scale_2[draw]
        failing = scale * ((ill_for / scale) ** shape + self._waits(n)) ** (1 / shape) - ill_for
        noticed = self._waits(n) / self._noticed[draw]
        return Lives(draw, age, turns - ill_for, turns + np.minimum(failing, noticed), failing < noticed)

    def standing(self, fit: TwoStageFit, unit: Histories, theta: np.ndarray, n: int) -> Lives:
        """n lives a draw of one running unit as it stands today, by the posterior of the fit."""
        likelihood = TwoStageLikelihood(cut(unit, fit.prior, fit.shares, still_running=True), PAST_NODES)
        chunk = likelihood.numerator_chunk()
        weighed, share = likelihood.standing(chunk, theta)
        k, lasting = chunk.n, likelihood.copies.lasting_at_end[: chunk.n]
        delay, of_node = chunk.nodes().v, np.broadcast_to(chunk.copy, chunk.nodes().v.shape)
        node = (weighed.node * share[:, None, chunk.copy]).reshape(self.d, -1)
        chance = np.concatenate([weighed.sound * share, node, weighed.atom * share[:, chunk.k_copy]], axis=1)
        copy = np.concatenate([np.arange(k), of_node.ravel(), chunk.k_copy])
        ill_for = np.concatenate([np.zeros(k), delay.ravel(), chunk.k_delay])
        up_to = np.cumsum(chance, axis=1) / chance.sum(axis=1, keepdims=True)
        states = np.concatenate(
            [np.searchsorted(own, one) for own, one in zip(up_to, self.uniform(n).reshape(self.d, n), strict=True)]
        )
        draw, state = np.repeat(np.arange(self.d), n), np.minimum(states, len(copy) - 1)
        of = copy[state]
        sound = self._sound(draw, n, chunk.age[of], lasting[of], chunk.x[of])
        ill = self._ending(draw, n, chunk.age[of], np.zeros(len(draw)), ill_for[state])
        is_sound = state < k
        return Lives(draw, *(np.where(is_sound, getattr(sound, a), getattr(ill, a)) for a in list(vars(sound))[1:]))
