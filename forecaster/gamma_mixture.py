"""Gammas, one for each draw of what is not known: draws of them, and how likely their mixture reaches a number."""

from __future__ import annotations

from functools import lru_cache
from statistics import NormalDist

import numpy as np

LEAST_SHAPE = 6.0  # from here on 1 to 99 % of a gamma are approximated within a hundredth of its standard deviation


def normal_scores(n: int, stream: np.random.Generator) -> np.ndarray:
    """n standard normal draws, the middles of n equal shares in an order of chance, (n,).

    Several of them are a Latin hypercube (McKay, Beckman & Conover 1979, Technometrics 21, 239-245): few draws then
    hold the whole spread of each.
    """
    return stream.permutation(_scores(n))


@lru_cache(maxsize=4)
def _scores(n: int) -> np.ndarray:
    of_share = NormalDist().inv_cdf
    scores = np.array([of_share((k + 0.5) / n) for k in range(n)])
    scores.flags.writeable = False  # shared
    return scores


def gamma_of(mean: np.ndarray | float, variance: np.ndarray | float, scores: np.ndarray) -> np.ndarray:
    """Gammas with that mean and variance, at the shares of standard normal `scores`.

    By the cube root's normal approximation (Wilson & Hilferty 1931, PNAS 17, 684-688), exactly below `LEAST_SHAPE`.
    """
    mean, variance, scores = np.broadcast_arrays(mean, variance, scores)
    shape = np.divide(mean**2, variance, out=np.full(mean.shape, np.inf), where=variance > 0)
    root = 1.0 / (3.0 * np.sqrt(shape))
    drawn = mean * np.maximum(1.0 - root**2 + scores * root, 0.0) ** 3
    few = (shape < LEAST_SHAPE) & (shape > 0)
    if few.any():
        from scipy.special import gammaincinv, ndtr  # a tenth of a second: only a fleet that hardly runs needs it

        drawn[few] = gammaincinv(shape[few], ndtr(scores[few])) * (variance[few] / mean[few])
    return np.asarray(drawn)


def chance_of_at_least(means: np.ndarray, variances: np.ndarray, hours: float) -> float:
    """How likely a mixture of gammas with these means and variances reaches so many hours."""
    from scipy.special import gammaincc

    return float(gammaincc(means**2 / variances, hours * means / variances).mean())


def quantile(means: np.ndarray, variances: np.ndarray, share: float) -> float:
    """Quantile of a mixture of gammas with these means and variances, to a thousandth of an hour."""
    from scipy.optimize import brentq
    from scipy.special import gammaincinv

    def too_few(hours: float) -> float:
        return 1.0 - share - chance_of_at_least(means, variances, hours)

    mean = means.mean()  # one gamma with the mixture's moments is near enough to begin with
    scale = (variances.mean() + means.var()) / mean
    least = most = float(gammaincinv(mean / scale, share) * scale)
    while too_few(least) > 0 and least > 1e-6:
        least *= 0.7
    while too_few(most) < 0:
        most = 1.3 * most + 1e-3
    return float(brentq(too_few, least, most, xtol=1e-3)) if too_few(least) < 0 else least


def first_day_reaching(means: np.ndarray, variances: np.ndarray, hours: float, share: float) -> int | None:
    """Days until `hours` are reached with chance `share`, from moments up to each day, (draws, days); None: later."""
    low, high = 0, means.shape[1]  # columns before low do not reach it, those from high on do
    while low < high:
        middle = (low + high) // 2
        if chance_of_at_least(means[:, middle], variances[:, middle], hours) >= share:
            high = middle
        else:
            low = middle + 1
    return low + 1 if low < means.shape[1] else None
