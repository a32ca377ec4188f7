"""The fleet's level season by season: how much all craft were used beside the shape, and what seasons to come may be.

The log level v_s of a season is a walk from season to season (a fleet finds or loses customers) plus what one season
alone is like (its weather). How far seasons differ few seasons can tell, and a single value for it would make the next
one look too certain. So the answer is averaged over a grid of variances, each weighed by its prior and by how likely it
makes the seasons seen: with few seasons the next one's level has the wide tails of Student's t.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.gamma_mixture import normal_scores

# What is supposed before a fleet's readings tell. Common practice, no source.
FLEET_SPREAD = 0.6  # sd of the log of a fleet's level about the default's
SEASON_SPREAD = 0.10  # sd of the log of one season about the walk, as if seen in so many seasons:
SEASONS_WORTH = 4.0
WALK = 0.25  # the variance of a step of the walk, as a share of that of one season
SPREADS = np.geomspace(0.01, 0.5, 14)  # the grid


@dataclass(frozen=True)
class SeasonLevels:
    """Posterior of the fleet's log level, as of the last of ``seasons``, for each spread of a grid.

    ``weight`` (g,): of each spread, sum 1. ``season_mean`` (seasons,): of v, over all spreads. Of the last season:
    ``walk_mean`` (g,) of the walk alone, ``last_mean`` (g,) of v, and their ``covariance`` (g, 2, 2) in that order.
    """

    seasons: np.ndarray
    weight: np.ndarray
    season_mean: np.ndarray
    walk_mean: np.ndarray
    last_mean: np.ndarray
    covariance: np.ndarray

    def draw(self, n: int, ahead: int, stream: np.random.Generator) -> np.ndarray:
        """n draws of the level in the last season and the `ahead` after it, (n, ahead + 1); 1 is the shape's own.

        A longer look begins with the same draws.
        """
        places = (stream.permutation(n) + 0.5) / n
        of = np.minimum(np.searchsorted(np.cumsum(self.weight), places), len(SPREADS) - 1)
        walk_variance, between, last_variance = (self.covariance[of, i, j] for i, j in ((0, 0), (0, 1), (1, 1)))
        last = self.last_mean[of] + np.sqrt(last_variance) * normal_scores(n, stream)
        slope = between / last_variance
        left = np.maximum(walk_variance - slope * between, 0.0)
        walk = self.walk_mean[of] + slope * (last - self.last_mean[of]) + np.sqrt(left) * normal_scores(n, stream)
        logs = [last]
        for _ in range(ahead):
            walk = walk + np.sqrt(WALK) * SPREADS[of] * normal_scores(n, stream)
            logs.append(walk + SPREADS[of] * normal_scores(n, stream))
        return np.asarray(np.exp(np.column_stack(logs)))

    def mean(self, ahead: np.ndarray) -> np.ndarray:
        """Expected level so many seasons after the last, (k,)."""
        steps = np.asarray(ahead)[:, None]
        later = self.walk_mean + 0.5 * (self.covariance[:, 0, 0] + SPREADS**2 * (WALK * steps + 1.0))
        last = self.last_mean + 0.5 * self.covariance[:, 1, 1]
        return np.asarray(np.exp(np.where(steps == 0, last, later)) @ self.weight)


def season_levels(seasons: np.ndarray, log_ratio: np.ndarray, noise: np.ndarray, base: float) -> SeasonLevels:
    """The levels behind what was seen of `seasons` (s,), opening years without gaps.

    `log_ratio` (s,): log of hours run beside those expected; `noise` (s,): its variance by chance, inf where nothing
    was seen. `base`: log of the default's level beside the shape's.
    """
    number, seen = np.arange(len(seasons)), np.flatnonzero(np.isfinite(noise))
    supposed = base - 0.5 * (FLEET_SPREAD**2 + SEASON_SPREAD**2)  # of the log, so that the mean is the default's
    variance = SPREADS[:, None, None] ** 2
    walk = FLEET_SPREAD**2 + WALK * variance * np.minimum.outer(number, number)
    prior = walk + variance * np.eye(len(seasons))
    found = prior[:, seen[:, None], seen] + np.diag(noise[seen])
    off = log_ratio[seen] - supposed
    gain = np.linalg.solve(found, prior[:, seen, :]).transpose(0, 2, 1)  # of v, (g, s, seen)
    gain_of_walk = np.linalg.solve(found, walk[:, seen, -1:])[:, :, 0]
    weight = _weights(found, off)
    mean = supposed + gain @ off
    last = len(seasons) - 1
    to_walk, to_last = walk[:, seen, last], prior[:, seen, last]
    walk_variance = walk[:, last, last] - (gain_of_walk * to_walk).sum(axis=1)
    between = walk[:, last, last] - (gain_of_walk * to_last).sum(axis=1)
    last_variance = prior[:, last, last] - (gain[:, last] * to_last).sum(axis=1)
    covariance = np.stack([walk_variance, between, between, last_variance], axis=-1).reshape(-1, 2, 2)
    return SeasonLevels(seasons, weight, weight @ mean, supposed + gain_of_walk @ off, mean[:, last], covariance)


def _weights(found: np.ndarray, off: np.ndarray) -> np.ndarray:
    """Weight of each spread: scaled inverse chi-square prior of its variance, times the normal likelihood of `off`."""
    prior = -SEASONS_WORTH * (np.log(SPREADS) + 0.5 * (SEASON_SPREAD / SPREADS) ** 2)  # on the log scale of the grid
    likelihood = np.zeros(len(SPREADS))
    if len(off):
        solved = np.linalg.solve(found, np.broadcast_to(off[:, None], (len(SPREADS), len(off), 1)))[:, :, 0]
        likelihood = -0.5 * (np.linalg.slogdet(found)[1] + solved @ off)
    logs = prior + likelihood
    weight = np.exp(logs - logs.max())
    return np.asarray(weight / weight.sum())
