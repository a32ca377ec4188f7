"""How clutch slip falls with hours: a straight line for each wear path, whose height and slope differ by path.

    slip = a_i + b_i h + error,    (a_i, b_i) normal about (a, b), the error normal

h engine hours since the slip was set; a higher by a step where the engine is tuned. This is the linear mixed model
with random intercept and slope (Laird & Ware 1982). Where at least `MANY_PATHS` paths have `MANY_READINGS` readings
or more, its variances are estimated by restricted maximum likelihood (statsmodels). Below that, or where that does not
converge, REML is unstable: the same model is then fitted with weakly informative priors on everything (empirical
Bayes: variances about the mode of their posterior, lines integrated), so that no readings give an answer that is the
prior's, and says so. Given the variances, all lines follow exactly (normal conditioning), for both.

A setting is repeated until it is right, so it counts as more exact than a reading. A path whose starting age nobody
knows begins lower by an unknown wear; its height is left as open as that age is.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

MANY_PATHS, MANY_READINGS = 20, 4
PER_HOURS = 100.0  # slopes are reckoned per 100 h, to be of the size of the other numbers
# Common practice, no source: how much slip falls in 100 h, with its sd between fleets; about 14 to 9 lb·ft in 330 h.
FALL_PER_100_H, FALL_SPREAD = 1.5, 0.7
# sd between fleets of the usual setting, and of what a tuned engine adds; no source.
SETTING_SPREAD, TUNED_SPREAD = 0.7, 1.0
# Medians, and sd of the log, of how settings and slopes differ and of a reading's error; no source: a torque wrench and
# the hand that holds it.
SD_SETTING, SD_FALL, SD_ERROR = (0.4, 0.5), (0.4, 0.5), (0.35, 0.3)
SETTING_ERROR = 1.0 / 3.0  # error of a setting beside that of a reading; no source
VARIANCE_DRAWS = 24
SEED = 1


@dataclass(frozen=True)
class MixedLine:
    """A linear mixed model with random intercept and slope, fitted by REML.

    ``intercept``, ``slope`` with their standard errors; ``covariance`` (2, 2) of the random effects; ``error_sd``;
    ``log_likelihood`` restricted; ``covariate``: the coefficient of one more fixed effect, NaN without.
    """

    intercept: float
    slope: float
    intercept_error: float
    slope_error: float
    covariance: np.ndarray
    error_sd: float
    log_likelihood: float
    covariate: float = float("nan")


def fit_mixed_line(
    groups: np.ndarray, times: np.ndarray, values: np.ndarray, covariate: np.ndarray | None = None
) -> MixedLine | None:
    """REML fit of values = intercept + slope · times with both random by group, all (n,); None: does not converge.

    `covariate` (n,): one more fixed effect, the same within a group.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM
    from statsmodels.tools.sm_exceptions import ConvergenceWarning, SingularMatrixWarning

    lines = np.column_stack([np.ones(len(times)), times])
    fixed = lines if covariate is None else np.column_stack([lines, covariate])
    with warnings.catch_warnings():
        warnings.simplefilter("error", ConvergenceWarning)
        warnings.simplefilter("error", SingularMatrixWarning)
        try:
            fit = MixedLM(values, fixed, groups, exog_re=lines).fit(reml=True, method="lbfgs")
        except (ConvergenceWarning, SingularMatrixWarning):
            return None
    return MixedLine(
        intercept=float(fit.fe_params[0]),
        slope=float(fit.fe_params[1]),
        intercept_error=float(fit.bse_fe[0]),
        slope_error=float(fit.bse_fe[1]),
        covariance=np.asarray(fit.cov_re, dtype=float),
        error_sd=float(np.sqrt(fit.scale)),
        log_likelihood=float(fit.llf),
        covariate=float("nan") if covariate is None else float(fit.fe_params[2]),
    )


@dataclass(frozen=True)
class Variances:
    """Of the lines and of readings about them: ``covariance`` (2, 2) of height and slope per 100 h, ``error_sd``."""

    covariance: np.ndarray
    error_sd: float


@dataclass(frozen=True)
class WearLines:
    """Posterior of each path's line at its beginning: height (lb·ft) and slope (lb·ft per 100 h).

    An even mixture of k normals, one for each likely set of variances: ``mean`` (k, n, 2), ``covariance``
    (k, n, 2, 2); ``variances``: the likeliest. ``method``: "mixed model" or "pooled". ``n_readings``, ``n_paths``:
    what stands behind.
    """

    mean: np.ndarray
    covariance: np.ndarray
    variances: Variances
    method: str
    n_readings: int
    n_paths: int

    def draw(self, path: int, n: int) -> tuple[np.ndarray, np.ndarray]:
        """n draws of a path's height at its beginning, lb·ft, and of its slope, lb·ft per hour; the same each time."""
        rng = np.random.default_rng([SEED, path])
        which = np.arange(n) % len(self.mean)
        root = np.linalg.cholesky(self.covariance[:, path])
        lines = self.mean[which, path] + np.einsum("nij,nj->ni", root[which], rng.standard_normal((n, 2)))
        return lines[:, 0], lines[:, 1] / PER_HOURS


@dataclass(frozen=True)
class _Sums:
    """Weighted sums over the readings of each path, (n, ...): z z', z y, y y and their number; z = (1, hours / 100)."""

    zz: np.ndarray
    zy: np.ndarray
    yy: np.ndarray
    count: np.ndarray


def fit_wear_lines(
    paths: pd.DataFrame, readings: pd.DataFrame, setting: float, tuned_step: float, starting_ages_h: np.ndarray
) -> WearLines:
    """The line of each path (``SlipPaths``), from its own readings and from those of all.

    `setting`, `tuned_step`: usual slip of a fresh setting on a stock craft, and how much more on a tuned one, lb·ft;
    `starting_ages_h`: equally likely ages of a path that begins at an unknown one.
    """
    heights = _Heights.of(paths, tuned_step, starting_ages_h)
    sums = _sums(readings, len(paths))
    prior = _FixedPrior(
        mean=np.array([setting, tuned_step, -FALL_PER_100_H]),
        precision=np.diag(np.array([SETTING_SPREAD, TUNED_SPREAD, FALL_SPREAD]) ** -2.0),
    )
    by_reml = _by_mixed_model(paths, readings, heights)
    likely = [by_reml] if by_reml is not None else _by_empirical_bayes(sums, heights, prior)
    lines = [_lines(sums, heights, prior, variances) for variances in (likely if by_reml else likely[1:])]
    return WearLines(
        mean=np.stack([mean for mean, _, _ in lines]),
        covariance=np.stack([covariance for _, covariance, _ in lines]),
        variances=likely[0],
        method="mixed model" if by_reml else "pooled",
        n_readings=len(readings),
        n_paths=int((sums.count > 0).sum()),
    )


@dataclass(frozen=True)
class _FixedPrior:
    """Of the usual setting, the step of a tuned engine and the slope per 100 h: normal, (3,) and (3, 3)."""

    mean: np.ndarray
    precision: np.ndarray


@dataclass(frozen=True)
class _Heights:
    """How a path's line at its beginning follows from the fleet's and from its clutch's own deviation.

    ``design`` (n, 2, 3): of the fixed effects; ``shear`` (n, 2, 2): of the deviation at the setting; ``open`` (n,):
    variance of the height for an unknown starting age or tune. ``tuned`` (n,), ``before`` (n,): per 100 h, filled in.
    """

    design: np.ndarray
    shear: np.ndarray
    open: np.ndarray
    tuned: np.ndarray
    before: np.ndarray

    @classmethod
    def of(cls, paths: pd.DataFrame, tuned_step: float, starting_ages_h: np.ndarray) -> _Heights:
        """For each path of `SlipPaths`."""
        tuned, before = paths["tuned_share"].to_numpy(float), paths["hours_before"].to_numpy(float) / PER_HOURS
        share = float(np.nan_to_num(np.nanmean(tuned))) if np.isfinite(tuned).any() else 0.0
        ages = np.asarray(starting_ages_h, dtype=float) / PER_HOURS
        left_open = np.where(np.isnan(tuned), share * (1.0 - share) * tuned_step**2, 0.0)
        left_open = left_open + np.where(np.isnan(before), FALL_PER_100_H**2 * ages.var(), 0.0)
        tuned, before = np.nan_to_num(tuned, nan=share), np.nan_to_num(before, nan=float(ages.mean()))
        shear = np.tile(np.eye(2), (len(paths), 1, 1))
        shear[:, 0, 1] = before
        at_setting = np.zeros((len(paths), 2, 3))
        at_setting[:, 0, 0], at_setting[:, 0, 1], at_setting[:, 1, 2] = 1.0, tuned, 1.0
        return cls(shear @ at_setting, shear, left_open, tuned, before)

    def spread(self, covariance: np.ndarray) -> np.ndarray:
        """Covariance of the paths' lines about the fleet's, (n, 2, 2)."""
        spread: np.ndarray = self.shear @ covariance @ self.shear.transpose(0, 2, 1)
        spread[:, 0, 0] += self.open
        return spread


def _sums(readings: pd.DataFrame, n_paths: int) -> _Sums:
    path, slip = readings["path"].to_numpy(int), readings["slip"].to_numpy(float)
    z = np.column_stack([np.ones(len(readings)), readings["hours"].to_numpy(float) / PER_HOURS])
    weight = np.where(readings["set"].astype(bool), SETTING_ERROR**-2.0, 1.0)
    zz, zy, yy = np.zeros((n_paths, 2, 2)), np.zeros((n_paths, 2)), np.zeros(n_paths)
    np.add.at(zz, path, weight[:, None, None] * z[:, :, None] * z[:, None, :])
    np.add.at(zy, path, (weight * slip)[:, None] * z)
    np.add.at(yy, path, weight * slip**2)
    return _Sums(zz, zy, yy, np.bincount(path, minlength=n_paths))


def _lines(
    sums: _Sums, heights: _Heights, prior: _FixedPrior, variances: Variances
) -> tuple[np.ndarray, np.ndarray, float]:
    """Posterior mean (n, 2) and covariance (n, 2, 2) of the lines given the variances, and the log marginal likelihood.

    Normal conditioning: with V = Z Ψ Z' + σ² I for a path's readings, Z'V⁻¹Z = (I + S Ψ)⁻¹ S where S = Z'Z / σ².
    """
    spread, error = heights.spread(variances.covariance), variances.error_sd**2
    s, t = sums.zz / error, sums.zy / error
    inner = np.eye(2) + s @ spread
    shrink = np.linalg.inv(inner)
    weight, told = shrink @ s, (shrink @ t[:, :, None])[:, :, 0]
    design = heights.design
    precision = prior.precision + np.einsum("nik,nij,njl->kl", design, weight, design)
    total = prior.precision @ prior.mean + np.einsum("nik,ni->k", design, told)
    fixed = np.linalg.solve(precision, total)
    supposed = design @ fixed
    mean = supposed + np.einsum("nij,nj->ni", spread, told - np.einsum("nij,nj->ni", weight, supposed))
    through = (np.eye(2) - spread @ weight) @ design
    covariance = spread @ shrink + through @ np.linalg.inv(precision) @ through.transpose(0, 2, 1)
    squares = (sums.yy / error).sum() - np.einsum("ni,nij,nj->", t, spread, told)
    squares += prior.mean @ prior.precision @ prior.mean - total @ fixed
    determinants = sums.count.sum() * np.log(error) + np.linalg.slogdet(inner)[1].sum()
    determinants += np.linalg.slogdet(precision)[1]
    return mean, covariance, float(-0.5 * (squares + determinants))


def _by_mixed_model(paths: pd.DataFrame, readings: pd.DataFrame, heights: _Heights) -> Variances | None:
    """Variances by REML from the paths whose hours are known; None where they are too few or it does not converge."""
    known = paths["hours_before"].notna().to_numpy() & paths["tuned_share"].notna().to_numpy()
    used = readings[known[readings["path"].to_numpy(int)]]
    if (used["path"].value_counts() >= MANY_READINGS).sum() < MANY_PATHS:
        return None
    path = used["path"].to_numpy(int)
    times = heights.before[path] + used["hours"].to_numpy(float) / PER_HOURS
    tuned = heights.tuned[path] if np.ptp(heights.tuned[path]) > 0 else None
    line = fit_mixed_line(path, times, used["slip"].to_numpy(float), tuned)
    return None if line is None else Variances(line.covariance, line.error_sd)


def _by_empirical_bayes(sums: _Sums, heights: _Heights, prior: _FixedPrior) -> list[Variances]:
    """Variances at their posterior mode, then draws about it (Laplace); height and slope vary independently."""
    from scipy.optimize import minimize

    medians, spreads = np.array([SD_SETTING, SD_FALL, SD_ERROR]).T
    medians = np.log(medians)

    def variances(log_sd: np.ndarray) -> Variances:
        setting, fall, error = np.exp(log_sd)
        return Variances(np.diag([setting**2, fall**2]), float(error))

    def loss(log_sd: np.ndarray) -> float:
        likelihood = _lines(sums, heights, prior, variances(log_sd))[2]
        return float(0.5 * (((log_sd - medians) / spreads) ** 2).sum() - likelihood)

    bounds = [(median - 4 * spread, median + 4 * spread) for median, spread in zip(medians, spreads, strict=True)]
    mode = minimize(loss, medians, method="L-BFGS-B", bounds=bounds).x
    values, axes = np.linalg.eigh(_curvature(loss, mode))
    root = axes / np.sqrt(np.maximum(values, spreads.max() ** -2.0))  # never wider than the prior
    about = np.random.default_rng(SEED).standard_normal((VARIANCE_DRAWS // 2, 3)) @ root.T
    return [variances(log_sd) for log_sd in (mode, *(mode + about), *(mode - about))]


def _curvature(loss: Callable[[np.ndarray], float], mode: np.ndarray, step: float = 0.05) -> np.ndarray:
    """Second derivatives of `loss` at `mode` by central differences."""
    steps = step * np.eye(len(mode))
    return np.array(
        [
            [
                (loss(mode + a + b) - loss(mode + a - b) - loss(mode - a + b) + loss(mode - a - b)) / (4 * step**2)
                for a in steps
            ]
            for b in steps
        ]
    )
