"""Experience: what one fleet taught, written to a file that another fleet may take as its prior.

The file is JSON and holds the posterior's mean and covariance, how many lives stand behind it and nothing else: no
craft, unit, owner or date, so that a rebuilder can hand a customer what the bench has learned.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from forecaster.errors import SourceError
from forecaster.learning import TwoStageFit
from forecaster.posterior import inverse, well_conditioned
from forecaster.priors import FIXED_VARIANCE, PARAMETERS, RANGES, SPREADS, Prior, on_its_scale, read_priors
from forecaster.ranges import NumberRange
from forecaster.shown_values import shown
from forecaster.small_files import NotUsable, read_json, read_small_text
from forecaster.written_files import write_files

FORMAT = "supercharger two-stage experience"
VERSION = 1
WIDEST = 2.0 * SPREADS[1]  # standard deviation of a parameter: what a prior may have, and room for the noise of draws
ROUNDING = 1e-9  # an eigenvalue so far below 0, beside the greatest, is rounding: a parameter that others settle
ANEW = "Save it anew, or leave that file out."
LIVES = NumberRange("a whole number of lives", 0, 1_000_000_000, whole=True)  # a thousand times any shop's
LARGEST = 1e100  # what is larger is no number of anything, and its square none at all


def experience_of(fit: TwoStageFit) -> dict[str, object]:
    """What a fitted model learned, ready to be written as JSON."""
    theta = fit.theta
    return {
        "format": FORMAT,
        "version": VERSION,
        "lives": fit.evidence.lives,
        "failures": fit.evidence.failures,
        "parameters": list(PARAMETERS),
        "mean": theta.mean(axis=0).tolist(),
        "covariance": np.cov(theta, rowvar=False).tolist(),
    }


def save_experience(
    fit: TwoStageFit, path: str | Path, force: bool = False, sources: Iterable[str | Path] = ()
) -> None:
    """Write what a fitted model learned.

    Raises WrongUsage where the file is there already, unless told to write over it by `force`, and where it is one of
    `sources`, the files that the model learned from; SourceError where it cannot be written.
    """
    content = json.dumps(experience_of(fit), indent=1) + "\n"
    write_files({Path(path): content.encode()}, map(Path, sources), force)


def read_experience(path: str | Path, base: Prior | None = None) -> Prior:
    """The prior that a saved experience stands for, widened by the spread between fleets.

    `base`: the prior whose fixed figures (mixture shares, starting ages, spread between fleets) are kept. Raises
    SourceError where the file is not such a file or its numbers are impossible.
    """
    base = read_priors() if base is None else base
    try:
        given = read_json(read_small_text(path))
    except NotUsable as error:
        raise SourceError(f"{path}: {error} Give the file that `experience save` wrote.") from error
    if not isinstance(given, dict) or given.get("format") != FORMAT:
        raise SourceError(f"{path}: not an experience file. Give the file that `experience save` wrote.")
    version = given.get("version")
    if isinstance(version, bool) or version != VERSION:
        raise SourceError(
            f"{path}: version {shown(version)} of the format; this program reads {VERSION}. Save it anew."
        )
    lives, failures = (_count(given, name, path) for name in ("lives", "failures"))
    if failures > lives:
        raise SourceError(f"{path}: failures must be at most the lives, {lives:,}, not {failures:,}. {ANEW}")
    mean, covariance = _numbers(given, path)
    return widened(base, mean, covariance, f"experience of {lives} lives elsewhere")


def widened(base: Prior, mean: np.ndarray, covariance: np.ndarray, source: str) -> Prior:
    """Another fleet's posterior as a prior here: its covariance plus the spread between fleets of each parameter."""
    between = np.eye(len(mean)) * base.between_fleets_spread**2
    return base.with_normal(mean, covariance + between, source)


def pooled_experience(fits: Sequence[TwoStageFit], base: Prior | None = None) -> Prior:
    """One prior from several fleets' posteriors, each learned from the same prior `base`, as one shop's bench sees.

    Precisions add, the common prior counted once; the spread between fleets is added to each fleet before and once
    to the sum, since the next fleet differs again.
    """
    base = read_priors() if base is None else base
    if not fits:
        return base
    between = np.eye(len(base.mean)) * base.between_fleets_spread**2
    prior_precision = inverse(well_conditioned(base.covariance))
    precision, weighted = prior_precision.copy(), prior_precision @ base.mean
    for fit in fits:
        posterior = inverse(well_conditioned(np.cov(fit.theta, rowvar=False) + FIXED_VARIANCE * np.eye(len(between))))
        # The data's own part: what the posterior says beyond the prior, loosened by the spread between fleets.
        data_precision = posterior - prior_precision
        values, vectors = np.linalg.eigh((data_precision + data_precision.T) / 2)
        values = np.maximum(values, 0.0)
        loosened = values / (1.0 + values * base.between_fleets_spread**2)
        data_information = posterior @ fit.theta.mean(axis=0) - prior_precision @ base.mean
        shrink = vectors @ np.diag(np.divide(loosened, values, out=np.zeros_like(values), where=values > 0)) @ vectors.T
        precision += vectors @ np.diag(loosened) @ vectors.T
        weighted += shrink @ data_information
    covariance = inverse(precision)
    lives = sum(fit.evidence.lives for fit in fits)
    return base.with_normal(covariance @ weighted, covariance + between, f"experience of {lives} lives elsewhere")


def _count(given: dict[str, object], name: str, path: str | Path) -> int:
    try:
        return int(LIVES.number(given.get(name)))
    except ValueError as refusal:
        raise SourceError(f"{path}: {name} {refusal}, not {shown(given.get(name))}. {ANEW}") from None


def _numbers(given: dict[str, object], path: str | Path) -> tuple[np.ndarray, np.ndarray]:
    p = len(PARAMETERS)
    if given.get("parameters") != list(PARAMETERS):
        raise SourceError(f"{path}: its parameters are not those of this program's model. Save it anew.")
    mean, covariance = _array(given, "mean", (p,), path), _array(given, "covariance", (p, p), path)
    for name, value, variance in zip(PARAMETERS, mean, np.diag(covariance), strict=True):
        low, high = (on_its_scale(name, end) for end in RANGES[name])
        if not low <= value <= high:
            raise SourceError(
                f"{path}: the mean of {name} must be between {low:.3g} and {high:.3g}, not {value:.3g}. {ANEW}"
            )
        if not 0.0 <= variance <= WIDEST**2:
            raise SourceError(
                f"{path}: the variance of {name} must be between 0 and {WIDEST**2:g}, not {variance:.3g}. {ANEW}"
            )
    # Beyond the variances no covariance can be one; what is that large would also overflow below.
    bound = np.abs(covariance) <= WIDEST**2
    values = np.linalg.eigvalsh(np.where(bound, covariance, 0.0))
    if not bound.all() or not np.allclose(covariance, covariance.T) or values[0] < -ROUNDING * max(values[-1], 1.0):
        raise SourceError(f"{path}: the covariance is not one (not symmetric, or negative). {ANEW}")
    return mean, covariance


def _array(given: dict[str, object], name: str, shape: tuple[int, ...], path: str | Path) -> np.ndarray:
    """Numbers of this shape: lists of as many numbers, or of as many such lists."""
    size = " x ".join(map(str, shape))
    told = f"{path}: {name} must hold {size} numbers"
    rows = given.get(name)
    if not isinstance(rows, list) or len(rows) != shape[0]:
        raise SourceError(f"{told}, not {shown(rows)}. {ANEW}")
    numbers: list[object] = []
    for row in rows:
        if len(shape) > 1 and (not isinstance(row, list) or len(row) != shape[1]):
            raise SourceError(f"{told}, not {shown(row)} in a row. {ANEW}")
        numbers += row if len(shape) > 1 else [row]
    for number in numbers:
        if isinstance(number, bool) or not isinstance(number, (int, float)) or not abs(number) < LARGEST:
            raise SourceError(f"{told}; {shown(number)} is not a number that can stand there. {ANEW}")
    return np.array(numbers, dtype=float).reshape(shape)
