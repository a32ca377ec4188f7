"""Rules of thumb, turned into forecasts: the rivals that a life model has to beat to be worth its trouble.

``fit_fleet_average``: every unit fails at the fleet's average rate, failures per engine hour so far, whatever its age
and past. ``fit_every_n_hours``: the rule that fleets live by, "rebuild every N hours", taken at its word: one rate
before N hours, a higher one after, with the N that the records so far speak for most.

Both know nothing of water, parts or checks, and answer without an interval: one draw. Where nothing has failed yet an
average of 0 would call failures impossible, so that general experience counts as much as one failure does.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import lgamma, log

import numpy as np

from forecaster.episodes import FAILED
from forecaster.errors import WrongUsage
from forecaster.life_model import AskedAnew, Evidence
from forecaster.lives import Histories

# General experience: one failure in 400 engine hours, about the mean life behind ``few_failures`` (scale 430 h at shape
# 2: 381 h). Common practice, no source.
PRIOR_FAILURES = 1.0
PRIOR_HOURS = 400.0
MOSTLY_PRIOR_BELOW = 3  # failures; as for the Weibull regression
LIMIT_STEP_HOURS = 25.0  # N is sought among the round figures that people use
FURTHEST_LIMIT_HOURS = 1_000.0


@dataclass(frozen=True)
class ConstantRates:
    """A rate of failure per engine hour before an age, and another from then on; a ``FittedLifeModel``.

    ``limit_hours``: the age at which the rate jumps; None: it never does. ``rate_before``, ``rate_after``: failures per
    engine hour. ``rate_anywhere``: for a unit whose age is not known.
    """

    name: str
    rate_before: float
    rate_after: float
    rate_anywhere: float
    limit_hours: float | None
    evidence: Evidence

    def standing(self, units: Histories, draws: int | None = None) -> AskedAnew:
        """See ``FittedLifeModel``."""
        return AskedAnew(self, units, draws)

    def chance_of_failing(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> np.ndarray:
        """See ``FittedLifeModel``: 1 - exp(-(rate before · hours before N + rate after · hours after)); (1, n, h)."""
        ahead = np.asarray(hours, dtype=float)
        if not (np.isfinite(ahead).all() and (ahead >= 0).all()):
            raise WrongUsage("Hours ahead must be numbers of at least 0.")
        ahead = np.broadcast_to(ahead, (units.n_lives, ahead.shape[-1]))
        age = units.age.to_numpy()[:, None]
        unknown = np.isnan(age)
        limit = np.inf if self.limit_hours is None else self.limit_hours
        before = np.clip(limit - np.where(unknown, 0.0, age), 0.0, ahead)
        hazard = self.rate_before * before + self.rate_after * (ahead - before)
        hazard = np.where(unknown, self.rate_anywhere * ahead, hazard)
        answer: np.ndarray = -np.expm1(-hazard)[None]
        return answer

    def chance_of_defect(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> None:
        """None: a rule of thumb knows running and failed, and nothing between."""
        return


def fit_fleet_average(histories: Histories, seed: int = 1) -> ConstantRates:
    """The fleet's average rate: (failures + 1) / (engine hours + 400), the 1 in 400 being general experience.

    All lives count, those of unknown starting age too. `seed` is taken as by every life model, and changes nothing.
    """
    histories = histories.taught()
    rate = _average_rate(histories)
    return ConstantRates("fleet average", rate, rate, rate, None, _evidence(histories))


def fit_every_n_hours(histories: Histories, seed: int = 1) -> ConstantRates:
    """The fleet's own rule, "every N hours", as a rate that jumps at N.

    Each side's rate is (failures + 1) / (hours + 1 / fleet's average rate). N is the multiple of 25 h under which the
    records so far are most likely (Gamma-Poisson marginal likelihood, the same prior on both sides), among those after
    which failures come faster; none where one rate for all ages is as likely. Lives of unknown starting age tell no N.
    Uses only what `histories` hold. `seed` changes nothing.
    """
    histories = histories.taught()
    average = _average_rate(histories)
    begins, ends, failed = _ages(histories)
    chosen: float | None = None
    best, rates = _log_evidence(failed.sum(), (ends - begins).sum(), average), (average, average)
    for limit in np.arange(LIMIT_STEP_HOURS, FURTHEST_LIMIT_HOURS, LIMIT_STEP_HOURS):
        sides = []
        for low, high in ((0.0, limit), (limit, np.inf)):
            hours = float((np.clip(ends, low, high) - np.clip(begins, low, high)).sum())
            sides.append((int((failed & (ends > low) & (ends <= high)).sum()), hours))
        if sides[1][1] <= 0.0:  # nobody has run that long
            break
        evidence = sum(_log_evidence(count, hours, average) for count, hours in sides)
        before, after = (_drawn_rate(count, hours, average) for count, hours in sides)
        if after > before and evidence > best:
            chosen, best, rates = float(limit), evidence, (before, after)
    remark = (
        "No number of hours after which failures come faster can be said yet: the fleet's average rate stands in."
        if chosen is None
        else f"Failures come faster after {chosen:.0f} h: {1000 * rates[0]:.1f} per 1,000 engine hours before, "
        f"{1000 * rates[1]:.1f} after."
    )
    return ConstantRates("every N hours", *rates, average, chosen, _evidence(histories, remark))


def _average_rate(histories: Histories) -> float:
    hours = float(histories.lives["hours_observed"].sum())
    return (histories.n_failures + PRIOR_FAILURES) / (hours + PRIOR_HOURS)


def _ages(histories: Histories) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Age at the start and the end of each record, h, and whether it failed then; only lives of known age."""
    known = histories.age.notna().to_numpy()
    lives = histories.lives[known]
    begins = lives["hours_at_entry"].to_numpy()
    return begins, begins + lives["hours_observed"].to_numpy(), lives["seen"].isin(FAILED).to_numpy()


def _drawn_rate(failures: int, hours: float, average: float) -> float:
    """A rate drawn towards the fleet's average by as much as one failure weighs."""
    return (failures + PRIOR_FAILURES) / (hours + PRIOR_FAILURES / average)


def _log_evidence(failures: float, hours: float, average: float) -> float:
    """Log marginal likelihood of so many failures in so many hours, the rate being Gamma(1, mean `average`)."""
    shape, scale = PRIOR_FAILURES, PRIOR_FAILURES / average
    return shape * log(scale) - (shape + failures) * log(scale + hours) + lgamma(shape + failures) - lgamma(shape)


def _evidence(histories: Histories, *remarks: str) -> Evidence:
    return Evidence(
        lives=histories.n_lives,
        failures=histories.n_failures,
        effective_sample=1,
        mostly_prior=histories.n_failures < MOSTLY_PRIOR_BELOW,
        remarks=remarks,
    )
