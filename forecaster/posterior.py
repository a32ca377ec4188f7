"""From a log posterior to draws: mode, normal approximation, importance sampling, and a walk where that is poor.

General numerical work, written here because it must start in milliseconds and be reproducible: the mode by BFGS
(Nocedal & Wright 2006, ch. 6) scaled by the prior, the normal approximation at the mode (Laplace), importance
sampling from a multivariate t around it with its effective sample size (Kong 1992), and, where that stays below
`LEAST_EFFECTIVE`, many short Metropolis walks started from what was found.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from forecaster.errors import ModelError

LEAST_EFFECTIVE = 200
ROUNDS = 4
LEAST_EIGENVALUE = 1e-8  # of correlations: below, rounding decides
T_FREEDOM = 9.0  # heavier tails than the normal's, so that no weight grows without bound
MOST_STEPS = 200
GRADIENT_ENOUGH = 1e-3  # in units of prior standard deviations: far below any interval's width
LARGEST_STEP = 1e100
WALKERS, WALK_STEPS, WALK_BURN = 100, 600, 200


@dataclass(frozen=True)
class Draws:
    """Equally weighted posterior draws (n, p), how many independent ones they are worth, and how they were made."""

    theta: np.ndarray
    effective: int
    method: str  # "importance sampling", "normal approximation" or "Metropolis walks"
    mode: np.ndarray
    covariance: np.ndarray  # of the normal approximation at the mode


def find_mode(
    slope: Callable[[np.ndarray], tuple[float, np.ndarray]], start: np.ndarray, scale: np.ndarray
) -> np.ndarray:
    """The maximum of a log density by BFGS.

    `slope(theta)` gives value and gradient (p,); `scale` (p, p) is a lower-triangular matrix, about the square root
    of the covariance expected, that makes the problem round. Raises ModelError where the value is not finite at the
    start.
    """
    z = np.zeros(len(start))

    def value_and_gradient(z: np.ndarray) -> tuple[float, np.ndarray]:
        value, gradient = slope(start + scale @ z)
        return -value, -(scale.T @ gradient)

    value, gradient = value_and_gradient(z)
    if not np.isfinite(value):
        raise ModelError("The life model cannot be evaluated at its prior: look for impossible hours in the records.")
    inverse = np.eye(len(z))
    for _ in range(MOST_STEPS):
        if np.abs(gradient).max() < GRADIENT_ENOUGH:
            break
        step = -(inverse @ gradient)
        if step @ gradient >= 0:  # lost its direction: start again along the slope
            inverse, step = np.eye(len(z)), -gradient
        step /= max(1.0, np.abs(step).max() / LARGEST_STEP)  # further, its square would be no number
        step *= min(1.0, 3.0 / np.linalg.norm(step))
        size, moved = 1.0, False
        for _ in range(30):
            new_value, new_gradient = value_and_gradient(z + size * step)
            if np.isfinite(new_value) and new_value <= value + 1e-4 * size * (step @ gradient):
                moved = True
                break
            size /= 3.0
        if not moved:
            break
        s, y = size * step, new_gradient - gradient
        z, gain, value, gradient = z + s, value - new_value, new_value, new_gradient
        if y @ s > 1e-12:
            left = np.eye(len(z)) - np.outer(s, y) / (y @ s)
            inverse = left @ inverse @ left.T + np.outer(s, s) / (y @ s)
        if gain < 1e-9 and np.abs(gradient).max() < 100 * GRADIENT_ENOUGH:
            break
    return start + scale @ z


def curvature(slope: Callable[[np.ndarray], tuple[float, np.ndarray]], at: np.ndarray, scale: np.ndarray) -> np.ndarray:
    """Minus the matrix of second derivatives of a log density at `at`, by central differences of its gradient."""
    step = 1e-3
    columns = [
        (slope(at + step * d)[1] - slope(at - step * d)[1]) / (2 * step) for d in scale.T
    ]  # derivative of the gradient along each column of scale
    inverse = np.linalg.inv(scale)
    matrix = -np.array(columns).T @ inverse
    answer: np.ndarray = (matrix + matrix.T) / 2
    return answer


def covariance_from(matrix: np.ndarray, prior_covariance: np.ndarray) -> np.ndarray:
    """Inverse of the curvature, with directions that the data bend the wrong way left at the prior's width."""
    root = np.linalg.cholesky(prior_covariance)
    bent = root.T @ matrix @ root
    if not np.isfinite(bent).all():  # so far out that the density cannot be bent: nothing is known but the prior
        return prior_covariance
    values, vectors = np.linalg.eigh(bent)
    # In prior units a posterior is seldom wider than the prior (value 1); allow twice its variance.
    values = np.maximum(values, 0.5)
    half = root @ vectors / np.sqrt(values)
    answer: np.ndarray = half @ half.T
    return answer


def well_conditioned(covariance: np.ndarray) -> np.ndarray:
    """A covariance that can be inverted: correlations so near to 1 that rounding decides are held a little off it.

    Raises ModelError where it is none: not finite, not symmetric, or with a variance below 0.
    """
    variance = np.diag(covariance)
    if not np.isfinite(covariance).all() or (variance <= 0).any() or not np.allclose(covariance, covariance.T):
        raise ModelError("The prior's covariance is none: variances must be above 0, and all of it finite.")
    sd = np.sqrt(variance)
    values, vectors = np.linalg.eigh(covariance / sd / sd[:, None])
    if values[0] >= LEAST_EIGENVALUE:
        return covariance
    held = (vectors * np.maximum(values, LEAST_EIGENVALUE)) @ vectors.T
    answer: np.ndarray = (held + held.T) / 2 * sd * sd[:, None]
    return answer


def inverse(covariance: np.ndarray) -> np.ndarray:
    """The inverse of a covariance, each parameter by its own width, so that their units do not matter."""
    sd = np.sqrt(np.diag(covariance))
    answer: np.ndarray = np.linalg.inv(covariance / sd / sd[:, None]) / sd / sd[:, None]
    return answer


def sample(
    log_density: Callable[[np.ndarray], np.ndarray],
    mode: np.ndarray,
    covariance: np.ndarray,
    wanted: int,
    proposals: int,
    seed: int,
) -> Draws:
    """Draws from a log density (d, p) -> (d,) around its mode.

    Importance sampling; where its effective size is below LEAST_EFFECTIVE, again from the moments that it found, up to
    ROUNDS times; then Metropolis walks.
    """
    rng = np.random.default_rng(seed)
    centre, spread = mode, covariance
    for _ in range(ROUNDS):
        theta = _from_t(rng, centre, spread, proposals)
        log_weight = log_density(theta) - _log_t(theta, centre, spread)
        weight = _weights(log_weight)
        effective = _effective(weight)
        if effective >= LEAST_EFFECTIVE:
            chosen = rng.permutation(_systematic(rng, weight, wanted))
            return Draws(theta[chosen], effective, "importance sampling", mode, covariance)
        centre, spread = _tempered_moments(theta, log_weight, covariance)
    start = theta[_systematic(rng, weight, WALKERS)]
    return _walk(log_density, start, spread, mode, covariance, wanted, rng)


def _effective(weight: np.ndarray) -> int:
    """Effective sample size of normalised weights (Kong 1992)."""
    return int(1.0 / np.sum(weight**2))


def _tempered_moments(
    theta: np.ndarray, log_weight: np.ndarray, covariance: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of proposals, their weights flattened until enough of them count.

    Weights to the power 1 would rest on a few draws; the greatest power at which LEAST_EFFECTIVE / 2 count moves the
    next round's proposals as far towards the density as these can tell.
    """
    low, high = 0.0, 1.0
    for _ in range(20):
        power = (low + high) / 2
        if _effective(_weights(power * log_weight)) >= LEAST_EFFECTIVE // 2:
            low = power
        else:
            high = power
    weight = _weights(low * log_weight)
    centre = weight @ theta
    spread = (theta - centre).T @ ((theta - centre) * weight[:, None])
    # A little of the first width keeps it invertible where few draws count.
    return centre, spread + 0.02 * covariance


def _from_t(rng: np.random.Generator, centre: np.ndarray, spread: np.ndarray, n: int) -> np.ndarray:
    normal = rng.standard_normal((n, len(centre)))
    stretch = np.sqrt(T_FREEDOM / rng.chisquare(T_FREEDOM, n))
    # The first proposal is the centre itself, so that the mode is always among them.
    normal[0] = 0.0
    return centre + stretch[:, None] * (normal @ np.linalg.cholesky(well_conditioned(spread)).T)


def _log_t(theta: np.ndarray, centre: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """Log density of the multivariate t, constants aside."""
    z = np.linalg.solve(np.linalg.cholesky(well_conditioned(spread)), (theta - centre).T)
    answer: np.ndarray = -0.5 * (T_FREEDOM + len(centre)) * np.log1p((z**2).sum(axis=0) / T_FREEDOM)
    return answer


def _weights(log_weight: np.ndarray) -> np.ndarray:
    log_weight = np.where(np.isfinite(log_weight), log_weight, -np.inf)
    weight = np.exp(log_weight - log_weight.max())
    answer: np.ndarray = weight / weight.sum()
    return answer


def _systematic(rng: np.random.Generator, weight: np.ndarray, n: int) -> np.ndarray:
    """Indices of n equally weighted draws (systematic resampling: least noise)."""
    places = (np.arange(n) + rng.random()) / n
    return np.minimum(np.searchsorted(np.cumsum(weight), places), len(weight) - 1)


def _walk(
    log_density: Callable[[np.ndarray], np.ndarray],
    start: np.ndarray,
    spread: np.ndarray,
    mode: np.ndarray,
    covariance: np.ndarray,
    wanted: int,
    rng: np.random.Generator,
) -> Draws:
    """Random-walk Metropolis, many walkers at once, steps of 2.4/sqrt(p) times the spread (Roberts et al. 1997).

    The effective size counts each walker's share by its autocorrelation.
    """
    p = start.shape[1]
    root = np.linalg.cholesky(well_conditioned(spread)) * (2.4 / np.sqrt(p))
    here, value = start.copy(), log_density(start)
    kept = []
    for step in range(WALK_STEPS):
        there = here + rng.standard_normal(here.shape) @ root.T
        new = log_density(there)
        accept = np.log(rng.random(len(here))) < new - value
        here = np.where(accept[:, None], there, here)
        value = np.where(accept, new, value)
        if step >= WALK_BURN:
            kept.append(here)
    path = np.stack(kept)  # (steps, walkers, p)
    effective = _effective_of_walks(path)
    flat = path.reshape(-1, p)
    return Draws(flat[rng.choice(len(flat), wanted, replace=False)], effective, "Metropolis walks", mode, covariance)


def _effective_of_walks(path: np.ndarray) -> int:
    """Effective number of draws of walks (steps, walkers, p): the worst parameter's, by between-walker variance.

    Means of whole walks vary as variance / (effective draws a walk); their scatter over walkers tells that number.
    """
    steps, walkers, _ = path.shape
    within = path.reshape(-1, path.shape[2]).var(axis=0)
    between = path.mean(axis=0).var(axis=0, ddof=1)
    alive = within > 0
    if not alive.any():  # no walker ever moved
        return 1
    a_walk = np.clip(within[alive] / np.maximum(between[alive], 1e-300), 1.0, steps)
    return int(a_walk.min() * walkers)
