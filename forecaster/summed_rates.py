"""Log-linear rates of days behind counts that are sums over runs of days: their likeliest coefficients.

The mean of an observation is its exposure times the sum of w(d) exp(x(d)'β) over its days, a composite link function
(Thompson & Baker 1981, Applied Statistics 30, 125-131); its misfit is the Poisson's, mean - observed · log mean. The
search is Newton's with Levenberg's damping, held back until the misfit falls; where the misfit does not curve upwards,
its step is that of an ordinary log-linear regression on the design averaged over each run (scoring). So it comes to
rest on any readings; on runs of single days it is the ordinary regression.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

MOST_STEPS = 200
SETTLED = 1e-7  # what is left to go, in the logarithm of a day's rate
ROUNDING = 1e-12  # of a misfit, as a share of what it is the sum of
MOST_DAMPING = 1e12
CONVEX = 1e-3  # the misfit curves upwards where it does by this share of what is expected
RIDGE = 1e-13  # of what a coefficient is known by: in a season of a few days some tell nothing


@dataclass(frozen=True)
class Observed:
    """Counts, or hours, over runs of days.

    ``design`` (days, terms), ``weights`` (days,) > 0: of each day in a row. ``begins``, ``ends``, ``exposure``,
    ``counts`` (n,): observation i is of the days begins[i] <= d < ends[i].
    """

    design: np.ndarray
    weights: np.ndarray
    begins: np.ndarray
    ends: np.ndarray
    exposure: np.ndarray
    counts: np.ndarray

    def misfit(self, beta: np.ndarray) -> float:
        """Minus the Poisson's log likelihood, but for a constant; inf where the means overflow or vanish."""
        with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
            mean = integral(self._daily(beta), self.begins, self.ends) * self.exposure
            seen = self.counts > 0
            value = float(mean.sum() - (self.counts[seen] * np.log(mean[seen])).sum())
        return value if np.isfinite(value) else np.inf

    def score(self, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Slope of the log likelihood, (terms,), what is expected of its curvature, and that, (terms, terms) each."""
        daily = self._daily(beta)
        slopes = integral(daily[:, None] * self.design, self.begins, self.ends) * self.exposure[:, None]
        mean = integral(daily, self.begins, self.ends) * self.exposure
        averaged = np.divide(slopes, mean[:, None], out=np.zeros_like(slopes), where=mean[:, None] > 0)
        expected = averaged.T @ (mean[:, None] * averaged)
        # of a run of one day the two are the same; of more, days differ within it
        off = self.exposure * (1.0 - np.divide(self.counts, mean, out=np.zeros_like(mean), where=mean > 0))
        by_day = np.zeros(len(daily) + 1)
        np.add.at(by_day, self.begins, off)
        np.subtract.at(by_day, self.ends, off)
        within = self.design.T @ ((np.cumsum(by_day)[:-1] * daily)[:, None] * self.design)
        return averaged.T @ (self.counts - mean), expected, within + averaged.T @ (self.counts[:, None] * averaged)

    def _daily(self, beta: np.ndarray) -> np.ndarray:
        return np.asarray(np.exp(self.design @ beta) * self.weights)


@dataclass(frozen=True)
class Fitted:
    """``coefficients`` (terms,), their ``covariance`` for a dispersion of 1, and whether the search came to rest."""

    coefficients: np.ndarray
    covariance: np.ndarray
    settled: bool


def fit_rates(parts: Sequence[Observed], start: np.ndarray) -> Fitted:
    """The coefficients under which all `parts` together are likeliest, sought from `start` (terms,).

    A term that is 0 on every day keeps its start, with no variance. Where the search does not come to rest it gives the
    best that it found: never worse than `start`, whose misfit must be finite.
    """
    used = np.any([np.abs(part.design).max(axis=0) > 0 for part in parts], axis=0)
    beta, value = start.astype(float), sum(part.misfit(start) for part in parts)
    slack = ROUNDING * sum(float(part.counts.sum()) + 1.0 for part in parts)
    damping, settled = 0.0, False
    for _ in range(MOST_STEPS):
        slope, told, curved = _summed(parts, beta, used)
        bend = curved if np.linalg.eigvalsh(curved - CONVEX * told)[0] > 0 else told
        to_go = np.linalg.solve(bend, slope)
        if max(np.abs(part.design[:, used] @ to_go).max() for part in parts) <= SETTLED:
            settled = True
            break
        while damping <= MOST_DAMPING:
            tried = beta.copy()
            tried[used] += np.linalg.solve(bend + damping * np.diag(np.diag(told)), slope)
            there = sum(part.misfit(tried) for part in parts)
            if there <= value + slack:
                beta, value = tried, there
                damping = damping / 10.0 if damping > 1e-3 else 0.0
                break
            damping = max(10.0 * damping, 1e-3)
        else:
            break
    covariance = np.zeros((len(start), len(start)))
    covariance[np.ix_(used, used)] = np.linalg.inv(_summed(parts, beta, used)[1])
    return Fitted(beta, covariance, settled)


def integral(daily: np.ndarray, begins: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Sums of `daily` (days, ...) over the days begins <= d < ends, for each run."""
    upto = np.concatenate([np.zeros((1, *daily.shape[1:])), np.cumsum(daily, axis=0)])
    return np.asarray(upto[ends] - upto[begins])


def _summed(parts: Sequence[Observed], beta: np.ndarray, used: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The scores of all parts together, for the terms that are used."""
    slope, told, curved = (np.sum(of_all, axis=0) for of_all in zip(*(part.score(beta) for part in parts), strict=True))
    square = np.ix_(used, used)
    return slope[used], told[square] + RIDGE * np.diag(np.diag(told[square])), curved[square]
