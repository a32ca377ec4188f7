"""How much each craft is used beside the others: levels by partial pooling, seasons that drift, and what stays chance.

On top of the shape of the season (``forecaster.season_shape``) the expected hours of craft c in season s are

    shape x exp(v_s) x θ_c x ω_cs

with v_s the fleet's level of a season (``forecaster.season_levels``); θ_c the craft's level and ω_cs the craft's in
that one season, both of mean 1. Around these, the hours of a stretch of days are gamma with variance

    dispersion x Σ over its days of (mean of the day)^1.5

which adds up over any stretches, and whose power lies between that of a changing number of like rides (1) and that of
weather or a season that scales the hours of all rides (2). Off-season a day has a ride or, mostly, none: there the
variance is RIDE_HOURS x mean, and such days tell nothing about levels.

A craft with three readings gets nearly the fleet's level, one with three seasons nearly its own: credibility
(Bühlmann & Straub 1970; hierarchical, Jewell 1975), the best linear shrinkage whatever the distribution. Variances are
estimated by moments, each drawn to a prior value that weighs so many observations.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forecaster.gamma_mixture import gamma_of, normal_scores
from forecaster.season_levels import SeasonLevels, season_levels
from forecaster.season_totals import POWER, SeasonTotals

# What is supposed before a fleet's readings tell, and as how many observations it counts. Common practice, no source.
RIDE_HOURS = 1.5  # of a ride out of season
DISPERSION = (2.0, 5.0)  # h^0.5: rides of an hour or two, weather, days off the water
CRAFT_VARIANCE = (0.25**2, 4.0)  # craft differ by about 25 % in level
CRAFT_SEASON_VARIANCE = (0.08**2, 3.0)  # one craft's season by about 8 % from its own usual one, beyond chance
SMALLEST_VARIANCE = 1e-4
LEAST_LEVEL = 1e-6  # a gamma may be drawn so near to 0 that no computer can divide by it
ROUNDS = 8


def chance_variance(daily: np.ndarray, in_season: np.ndarray, dispersion: float) -> np.ndarray:
    """Variance by chance of each day's hours, from their means `daily` (..., days)."""
    return np.where(in_season, dispersion * daily**POWER, RIDE_HOURS * daily)


def between_variance(ratios: np.ndarray, weights: np.ndarray, within: float) -> float:
    """Variance of true levels between groups, unbiased, not below 0 (Bühlmann & Straub 1970).

    `ratios` (n,): each group's mean; `weights` (n,): its exposure; `within`: variance of a ratio of exposure 1.
    """
    total = weights.sum()
    spread = (weights * (ratios - (weights * ratios).sum() / total) ** 2).sum() - (len(ratios) - 1) * within
    unit = total - (weights**2).sum() / total
    return float(max(spread / unit, 0.0)) if unit > 0 else 0.0


def credibility(weights: np.ndarray, within: float, between: float) -> np.ndarray:
    """How much of a group's own mean counts beside the others', 0 to 1: w / (w + within / between)."""
    return np.asarray(weights * between / (weights * between + within))


@dataclass(frozen=True)
class Levels:
    """Posterior of all levels, as of the last season.

    ``fleet``: the fleet's level v. ``craft_mean`` (craft,): θ_c; ``own_share``: its credibility. ``before_mean``,
    ``before_variance``: θ_c from the seasons before the last; ``latest_mean``, ``latest_variance``: θ_c ω_cs of the
    last season. The two variances are those of craft and of a craft's seasons; ``dispersion`` in hours.
    """

    fleet: SeasonLevels
    craft_mean: np.ndarray
    own_share: np.ndarray
    before_mean: np.ndarray
    before_variance: np.ndarray
    latest_mean: np.ndarray
    latest_variance: np.ndarray
    dispersion: float
    craft_variance: float
    craft_season_variance: float

    def draw(
        self,
        n: int,
        seasons: np.ndarray,
        craft: np.ndarray,
        fleet_stream: np.random.Generator,
        craft_streams: Sequence[np.random.Generator],
    ) -> np.ndarray:
        """n joint draws of each chosen craft's level in each of `seasons` (not before the last), (n, craft, seasons).

        The fleet's level goes on from the last season as a random walk, common to all craft; θ_c is drawn given its
        last season, so that what is not known of a craft now is not known of it later either. `craft_streams`: one for
        each chosen craft, see ``normal_scores``.
        """
        ahead = seasons - self.fleet.seasons[-1]
        beyond = int(ahead.max())  # season by season: a longer look begins alike
        own = np.array([[normal_scores(n, stream) for _ in range(beyond + 2)] for stream in craft_streams])
        own = own.reshape(len(craft), beyond + 2, n).transpose(1, 2, 0)
        latest = gamma_of(self.latest_mean[craft], self.latest_variance[craft], own[0])
        share = self._share_kept()[craft]
        mean = self.before_mean[craft] + share * (latest - self.before_mean[craft])
        theta = gamma_of(mean, self.before_variance[craft] * (1.0 - share), own[1])
        later = [theta * gamma_of(1.0, self.craft_season_variance, scores) for scores in own[2:]]
        of_craft = np.stack([latest, *later], axis=-1)
        levels = (of_craft * self.fleet.draw(n, beyond, fleet_stream)[:, None, :])[:, :, ahead]
        return np.asarray(np.maximum(levels, LEAST_LEVEL))

    def _share_kept(self) -> np.ndarray:
        """How much of what the last season told of a craft is about the craft, not about that one season."""
        own = self.craft_season_variance * self.before_mean**2
        return np.asarray(self.before_variance / (self.before_variance + own))

    def mean(self, seasons: np.ndarray, craft: int | np.ndarray) -> np.ndarray:
        """Expected level of one craft in each of `seasons` (not before the last), (seasons,); of some, a row each."""
        ahead = seasons - self.fleet.seasons[-1]
        own = np.where(ahead == 0, self.latest_mean[craft, None], self.craft_now[craft, None])
        return np.asarray(own * self.fleet.mean(ahead)).reshape(*np.shape(craft), -1)

    @property
    def craft_now(self) -> np.ndarray:
        """Expected level of each craft in seasons to come, given all that is known, (craft,)."""
        return np.asarray(self.before_mean + self._share_kept() * (self.latest_mean - self.before_mean))


def pooled_levels(totals: SeasonTotals, base: float) -> Levels:
    """Levels of craft and seasons; `base`: log of the default's level beside the shape's.

    Seasons and craft explain each other's differences (a fleet's craft change), so each is estimated given the other,
    in turn, until they settle.
    """
    dispersion = _towards(DISPERSION, totals.irregularity, totals.freedom)
    craft, seasons = np.ones(len(totals.hours)), np.zeros(len(totals.seasons))
    own_season = CRAFT_SEASON_VARIANCE[0]
    for _ in range(ROUNDS):
        noise = _noise(totals, dispersion, craft[:, None] * np.exp(seasons))
        fleet = _season_levels(totals, craft, noise, own_season, base)
        seasons = fleet.season_mean
        exposure = totals.expected * np.exp(seasons)
        ratio = np.divide(totals.hours, exposure, out=np.ones_like(exposure), where=exposure > 0)
        own_season = _craft_season_variance(ratio, noise)
        precision = 1.0 / (noise + own_season)
        between = _craft_variance(ratio, precision)
        craft = _shrunk(ratio, precision, between)[0]
    before_mean, before_variance = _shrunk(ratio[:, :-1], precision[:, :-1], between)
    supposed = before_variance + own_season * before_mean**2
    gain = supposed / (supposed + noise[:, -1])
    return Levels(
        fleet=fleet,
        craft_mean=craft,
        own_share=credibility(precision.sum(axis=1), 1.0, between),
        before_mean=before_mean,
        before_variance=before_variance,
        latest_mean=before_mean + gain * (ratio[:, -1] - before_mean),
        latest_variance=supposed * (1.0 - gain),
        dispersion=dispersion,
        craft_variance=between,
        craft_season_variance=own_season,
    )


def _towards(prior: tuple[float, float], squares: float, freedom: float) -> float:
    """A variance from a sum of squares, drawn to its prior value as if that stood on so many observations."""
    value, weight = prior
    return max((value * weight + squares) / (weight + freedom), SMALLEST_VARIANCE)


def _shrunk(ratio: np.ndarray, precision: np.ndarray, between: float) -> tuple[np.ndarray, np.ndarray]:
    """Each craft's level from its seasons, drawn to 1, and its variance."""
    total = precision.sum(axis=1)
    own = np.divide((precision * ratio).sum(axis=1), total, out=np.ones(len(total)), where=total > 0)
    mean = 1.0 + credibility(total, 1.0, between) * (own - 1.0)
    return mean, mean / (1.0 / between + total)


def _noise(totals: SeasonTotals, dispersion: float, level: np.ndarray) -> np.ndarray:
    """Variance by chance alone of hours / expected hours, (craft, seasons); infinite where nothing was expected."""
    squares = totals.expected**2 * level ** (2.0 - POWER)
    return np.divide(dispersion * totals.powers, squares, out=np.full_like(squares, np.inf), where=squares > 0)


def _craft_variance(ratio: np.ndarray, precision: np.ndarray) -> float:
    total = precision.sum(axis=1)
    seen = total > 0
    freedom = max(int(seen.sum()) - 1, 0)
    own = (precision * ratio).sum(axis=1)[seen] / total[seen]
    return _towards(CRAFT_VARIANCE, freedom * between_variance(own, total[seen], 1.0) if freedom else 0.0, freedom)


def _craft_season_variance(ratio: np.ndarray, noise: np.ndarray) -> float:
    """What a craft's seasons differ by, more than chance: moments of its seasons about its own mean."""
    weight = 1.0 / noise
    total = weight.sum(axis=1)
    seen = total > 0
    weight, ratio, total = weight[seen], ratio[seen], total[seen]
    own = (weight * ratio).sum(axis=1) / total
    spread = (weight * (ratio - own[:, None]) ** 2).sum()
    freedom = float(((weight > 0).sum(axis=1) - 1).sum())
    unit = float((total - (weight**2).sum(axis=1) / total).sum())
    return _towards(CRAFT_SEASON_VARIANCE, freedom * max((spread - freedom) / unit, 0.0) if freedom else 0.0, freedom)


def _season_levels(
    totals: SeasonTotals, craft: np.ndarray, noise: np.ndarray, own_season: float, base: float
) -> SeasonLevels:
    """The fleet's level of each season, from the hours of all craft beside what their own levels let expect."""
    by_craft = totals.expected * craft[:, None]
    expected = by_craft.sum(axis=0)
    seen = expected > 0
    share = np.divide(by_craft, expected, out=np.zeros_like(by_craft), where=seen)
    by_chance = (share**2 * np.where(share > 0, noise + own_season, 0.0)).sum(axis=0)
    # a season without an hour yet still has a level: one of the noise's own size is added to both sides
    few = by_chance * expected
    ratio = np.divide(totals.hours.sum(axis=0) + few, expected + few, out=np.ones_like(expected), where=seen)
    return season_levels(totals.seasons, np.log(ratio), np.where(seen, by_chance, np.inf), base)
