"""How long a fresh unit lasts: B10 and B50 lives of "defective" and of "failed", with intervals.

B10 is the age by which one in ten has got there (the bearing trade's and ISO 281's term), B50 the median. They are
given for the fleet as it is, by parts and water, and with water incidents arriving at the fleet's own rate.

Incidents at a rate of L per engine hour need no drawing of fates. Those that start rust at once are a thinned Poisson
process (rate L (1 - q), q the mean chance of passing one sound), so they add a constant to stage 1's hazard; the first
one not treated promptly that is passed sound moves the bearing to the raised hazard. So a sound bearing is in one of
two phases, followed over the ages here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.integrand import mixed_alone
from forecaster.learning import TwoStageFit
from forecaster.lives import Histories
from forecaster.pieces import covariates
from forecaster.priors import INDEX, Prior

LEVELS = {"B10": 0.10, "B50": 0.50}
# Ages at which a fresh unit's curve is evaluated, h: B-lives of any plausible bearing lie where the steps are short.
AGES = np.concatenate([np.linspace(0.0, 600.0, 121), np.geomspace(620.0, 20_000.0, 60)])
DRAWS = 200  # of the posterior: an interval's ends move by less than their last shown digit
# A fleet that has recorded no water stands at one incident in 200 h, weighing as much as 200 h of record: common
# practice, no source.
USUAL_HOURS_BETWEEN_INCIDENTS = 200.0

Quantiles = tuple[float, float, float]  # posterior median, low and high end of the central 90 %


@dataclass(frozen=True)
class ServiceLife:
    """B10 and B50 of one kind of fresh unit, h."""

    kind: str  # in words
    lives: int  # lives of that kind in the record
    defective: dict[str, Quantiles]  # by level: age by which it is defective or worse
    failed: dict[str, Quantiles]


@dataclass(frozen=True)
class IncidentRate:
    """Water incidents: how many per engine hour, and the shares of their treatments (they add up to 1)."""

    per_hour: float
    treatment: dict[str, float]
    recorded: int  # incidents behind it


def incident_rate(histories: Histories) -> IncidentRate:
    """The fleet's own rate of water incidents, drawn towards the usual one where little was recorded."""
    hours = float(histories.lives["hours_observed"].sum())
    count = len(histories.incidents)
    rate = (count + 1.0) / (hours + USUAL_HOURS_BETWEEN_INCIDENTS)
    mix = {"unknown": 1.0}
    if count:
        mix = {str(k): float(v) for k, v in histories.incidents["treatment"].value_counts(normalize=True).items()}
    return IncidentRate(rate, mix, count)


def service_lives(fit: TwoStageFit, histories: Histories) -> tuple[ServiceLife, ...]:
    """Service lives of fresh units: with incidents at the fleet's rate, dry, and by parts and water (dry)."""
    lives = histories.lives
    rate = incident_rate(histories)
    as_it_is = covariates(lives, fit.shares).mean(axis=0) if len(lives) else np.array(list(fit.shares.values()))
    rows = [
        _service_life(fit, f"as the fleet is, water in 1 of {1 / rate.per_hour:.0f} h", len(lives), as_it_is, rate),
        _service_life(fit, "as the fleet is, no water", len(lives), as_it_is, None),
    ]
    for parts, aftermarket in (("oem", 1 - 1.0), ("aftermarket", 1.0)):
        for water, salt in (("salt", 1.0), ("fresh", 0.0)):
            count = int(((lives["parts"] == parts) & (lives["water"] == water)).sum())
            if count:
                named = "original" if parts == "oem" else parts
                x = np.array([aftermarket, salt, 0.0])
                rows.append(_service_life(fit, f"{named} parts, {water} water, no water got in", count, x, None))
    return tuple(rows)


def _service_life(fit: TwoStageFit, kind: str, lives: int, x: np.ndarray, rate: IncidentRate | None) -> ServiceLife:
    sound, failed = fresh_curves(fit.theta[:DRAWS], fit.prior, x, rate, AGES)
    return ServiceLife(kind, lives, _levels(1.0 - sound), _levels(failed))


def _levels(curves: np.ndarray) -> dict[str, Quantiles]:
    """Age at which each draw's rising curve (d, ages) passes each level: posterior median and central 90 %."""
    answer = {}
    for name, level in LEVELS.items():
        reached = np.array([np.interp(level, curve, AGES) for curve in np.maximum.accumulate(curves, axis=1)])
        low, mid, high = np.quantile(reached, [0.05, 0.5, 0.95])
        answer[name] = (float(mid), float(low), float(high))
    return answer


def fresh_curves(
    theta: np.ndarray, prior: Prior, x: np.ndarray, rate: IncidentRate | None, ages: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Chance that a fresh unit is sound, and that it has failed, by each age if nobody opens it.

    `theta` (d, p) draws; `x` (3,) covariates in the order of ``priors.COVARIATES``; `rate`: incidents to come, None
    for no water; `ages` (a,) rising from 0, h. Returns (d, a) each. Between two ages becoming defective is taken to
    happen in the middle: steps should be short beside the delay of stage 2.
    """
    sound = chance_sound(theta, prior, x, rate, ages)
    turned = sound[:, :-1] - sound[:, 1:]
    middle = (ages[:-1] + ages[1:]) / 2
    shape = np.exp(theta[:, INDEX["log_shape_2"]])
    scale = np.exp(theta[:, INDEX["log_scale_2_h"]])
    log_delay = np.log(np.clip(ages[:, None] - middle[None, :], 1e-300, None))
    failed = np.empty_like(sound)
    for i in range(len(theta)):
        failed[i] = -np.expm1(-np.exp(shape[i] * (log_delay - np.log(scale[i])))) @ turned[i]
    return sound, failed


def chance_sound(
    theta: np.ndarray,
    prior: Prior,
    x: np.ndarray,
    rate: IncidentRate | None,
    ages: np.ndarray,
    raised_share: float = 0.0,
) -> np.ndarray:
    """Chance of being sound at each of `ages` (a,) rising, given that it is at the first one, (d, a).

    `x` (3,) covariates; `rate`: incidents to come, None for no water; `raised_share`: how far the hazard is raised
    already by an incident not treated promptly, 0 not to 1 all. Sound is not raised further yet, plus raised by an
    incident that it passed.
    """
    of_one: np.ndarray = chances_sound(theta, prior, x[None], rate, ages[None], np.array([raised_share]))[:, 0]
    return of_one


def chances_sound(
    theta: np.ndarray,
    prior: Prior,
    x: np.ndarray,
    rate: IncidentRate | None,
    ages: np.ndarray,
    raised_share: np.ndarray,
) -> np.ndarray:
    """The same for c bearings at once, (d, c, a): `x` (c, 3), `raised_share` (c,), `ages` (c, a); by draw (d, c, a)."""
    shape = np.exp(theta[:, INDEX["log_shape_1"], None])
    log_scale = theta[:, INDEX["log_scale_1_h"], None]
    first = INDEX["log_ratio_aftermarket"]
    lasting = theta[:, INDEX["lasting_log_ratio"], None]
    ratio = np.exp(mixed_alone(theta[:, first : first + 3], x) + lasting * raised_share)
    # Ages lie first, (a, d, c): they are gone through one by one, so that each should lie together.
    by_age = np.ascontiguousarray(np.moveaxis(ages if ages.ndim == 3 else ages[None], -1, 0))
    with np.errstate(divide="ignore"):
        log_age = np.log(by_age)  # of age 0 minus infinity, and its hazard so far 0
    hazard = np.exp(shape * (log_age - log_scale))
    smooth = ratio * (hazard - hazard[0])
    if rate is None:
        return np.moveaxis(np.exp(-smooth), 0, -1)
    untreated = np.exp(-np.exp(theta[:, INDEX["log_jump_untreated"], None]))
    treated = np.exp(-np.exp(theta[:, INDEX["log_jump_treated"], None]))
    raise_by = np.exp(lasting * (1.0 - raised_share))
    # Chance that an incident is passed sound and leaves the hazard, or raises it.
    stays, raises = np.zeros_like(treated), np.zeros_like(treated)
    for treatment, share in rate.treatment.items():
        w = prior.untreated_share[treatment]
        stays = stays + share * (1 - w) * treated
        raises = raises + share * w * untreated
    rusts = 1.0 - stays - raises
    unraised = np.exp(-smooth - rate.per_hour * (1.0 - stays) * (by_age - by_age[0]))
    steps = np.diff(by_age, axis=0)
    passing = np.exp(-raise_by * np.diff(smooth, axis=0) - rate.per_hour * rusts * steps)
    # Raised within the step: on average in its middle, so it lives half the step under either hazard.
    entering = np.sqrt(unraised[:-1] * unraised[1:] * passing) * rate.per_hour * raises * steps
    raised = np.zeros_like(unraised)
    for i in range(len(steps)):
        raised[i + 1] = raised[i] * passing[i] + entering[i]
    return np.moveaxis(unraised + raised, 0, -1)
