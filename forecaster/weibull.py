"""The simple life model: a Weibull regression on failures alone, with delayed entry and split episodes.

Hazard at age a, with x the covariates that hold at that age (`COVARIATES`):

    h(a | x) = (β/η)·(a/η)^(β-1)·exp(x'γ),    H(a) = (a/η)^β·exp(x'γ) over an episode with constant x

lifelines fits it as an accelerated-failure-time model, log T = μ + x'α + σ·(Gumbel), on episodes. For a Weibull the
two are one (Kalbfleisch & Prentice 2002, ch. 2): β = 1/σ = rho, η = exp(μ), γ = -β·α; and since every episode
contributes H(stop) - H(start) under its own x, this also holds for covariates that change with time.

With few failures the likelihood alone gives a shape, and soon a scale, that nobody should act on: then general
experience fills in, openly (``forecaster.few_failures``). No penalizer: it would pull the shape towards 1 and hide
wear-out. lifelines finds no fault with 0 failures, so what the failures can carry is decided before it is asked.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
import pandas as pd

from forecaster.covariates import COVARIATES, choose_covariates, covariates_now, fleet_mix
from forecaster.episodes import FAILED, split_episodes
from forecaster.errors import WrongUsage
from forecaster.few_failures import few_failures_remark, posterior_of_few
from forecaster.life_model import AskedAnew, Evidence
from forecaster.lives import Histories

FAILURES_FOR_SHAPE = 6  # the fewest in the handbook example that fits one (AFWAL-TR-83-2079, 1983)
MOSTLY_PRIOR_BELOW = 3  # failures: below this, the one failure's worth of general experience is a third or more
DRAWS_TO_SUMMARISE = 20_000  # for estimates that do not depend on the number of draws, where there is no formula
WIDEST_ERROR = 3.0  # standard error of a log hazard ratio beyond which it cannot be known: a factor of 20 either way
UNKNOWN_ENTRY_HOURS = (0.0, 300.0)  # evenly spread starting ages where the fleet has no part-worn lives of its own
ENTRY_AGES = 25  # at most this many starting ages are averaged over


@dataclass(frozen=True)
class WeibullFit:
    """A Weibull regression after learning; a ``FittedLifeModel``.

    ``shape`` β, ``scale_hours`` η of the reference life (maker's parts, fresh water, stock tune, no incident; where a
    covariate is not in the model, the fleet's mix of it) and ``log_hazard_ratios`` γ (k,) for ``covariates`` (k);
    ``covariance`` (2 + k, 2 + k) of (log η, log β, γ), asymptotic; ``draws`` (n_draws, 2 + k) of the same.
    ``log_likelihood`` at the estimates, NaN where general experience filled in. ``filled_in`` what stands for a
    covariate nobody recorded; ``entry_hours`` ages averaged over where the starting age is unknown; ``oldest_hours``
    the greatest age seen: chances beyond it are extrapolated.
    """

    shape: float
    scale_hours: float
    covariates: tuple[str, ...]
    log_hazard_ratios: np.ndarray
    covariance: np.ndarray
    draws: np.ndarray
    log_likelihood: float
    filled_in: dict[str, float]
    entry_hours: np.ndarray
    oldest_hours: float
    evidence: Evidence
    name: str = "weibull"

    def standing(self, units: Histories, draws: int | None = None) -> AskedAnew:
        """See ``life_model.FittedLifeModel``."""
        return AskedAnew(self, units, draws)

    def chance_of_failing(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> np.ndarray:
        """Chance that each life's bearing fails within `hours` more engine hours; see ``FittedLifeModel``.

        F = 1 - exp(-(H(a+h) - H(a))) under the incidents so far. A life of unknown starting age e is averaged over
        ``entry_hours``, each weighed by the chance of having run from e to now.
        """
        if draws is not None:
            return replace(self, draws=self.draws[:draws]).chance_of_failing(units, hours)
        ahead = _hours_ahead(hours, units.n_lives)
        lives = units.lives
        observed = lives["hours_observed"].to_numpy()
        risk = self.draws[:, 2:] @ covariates_now(units, self.covariates, self.filled_in).T
        chances = np.empty((len(self.draws), units.n_lives, ahead.shape[1]))
        unknown = lives["hours_at_entry"].isna().to_numpy()
        known = ~unknown
        age = units.age.to_numpy()[known]
        chances[:, known] = -np.expm1(-self._hazard_ahead(risk[:, known], age, ahead[known]))
        if unknown.any():
            weights = self._weights_of_entry_hours(units.select(unknown))
            mixed = np.zeros_like(chances[:, unknown])
            for entry, weight in zip(self.entry_hours, weights, strict=True):
                hazard = self._hazard_ahead(risk[:, unknown], entry + observed[unknown], ahead[unknown])
                mixed -= weight[:, :, None] * np.expm1(-hazard)
            chances[:, unknown] = np.minimum(mixed, 1.0)  # weights add up to 1 but for rounding
        return chances

    def chance_of_defect(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> None:
        """None: this model knows running and failed, and nothing between."""
        return

    def life_hours(self, failing_share: float, confidence: float = 0.90) -> tuple[float, float, float]:
        """By which age has this share of reference lives failed (0.10: B10)? Estimate, low, high, in h."""
        if not 0.0 < failing_share < 1.0:
            raise WrongUsage(f"failing_share must be between 0 and 1, for example 0.10; it is {failing_share}")
        depth = -np.log1p(-failing_share)
        each = np.exp(self.draws[:, 0] + np.log(depth) / np.exp(self.draws[:, 1]))
        low, high = np.quantile(each, [0.5 - confidence / 2, 0.5 + confidence / 2])
        return float(self.scale_hours * depth ** (1.0 / self.shape)), float(low), float(high)

    def chance_failed_by(self, hours: np.ndarray, confidence: float = 0.90) -> pd.DataFrame:
        """What share of fresh reference lives has failed by each age, to draw beside a Kaplan-Meier curve?

        `hours` (h,). Columns: ``hours``, ``chance``, ``low``, ``high``, ``extrapolated`` (older than any life seen).
        """
        at = np.asarray(hours, dtype=float)
        reference = np.zeros((len(self.draws), 1))
        each = -np.expm1(-self._hazard_ahead(reference, np.zeros(1), at[None, :]))[:, 0]
        low, high = np.quantile(each, [0.5 - confidence / 2, 0.5 + confidence / 2], axis=0)
        chance = -np.expm1(-((at / self.scale_hours) ** self.shape))
        columns = {"hours": at, "chance": chance, "low": low, "high": high, "extrapolated": at > self.oldest_hours}
        return pd.DataFrame(columns)

    def estimates(self, confidence: float = 0.90) -> pd.DataFrame:
        """What was learned, one row a quantity: ``quantity``, ``meaning``, ``estimate``, ``low``, ``high``.

        Shape, scale in h, and a hazard ratio for each covariate; limits on the log scale (Wald).
        """
        centre = np.concatenate([np.log([self.scale_hours, self.shape]), self.log_hazard_ratios])
        reach = NormalDist().inv_cdf(0.5 + confidence / 2) * np.sqrt(np.diag(self.covariance))
        meanings = ["age by which 63 % of reference lives have failed, h", "above 1: wear-out; 1: chance; below: early"]
        meanings += [f"hazard ratio of {COVARIATES[name]}" for name in self.covariates]
        columns = {"quantity": ["scale_hours", "shape", *self.covariates], "meaning": meanings}
        limits = {"estimate": np.exp(centre), "low": np.exp(centre - reach), "high": np.exp(centre + reach)}
        return pd.DataFrame({**columns, **limits})

    def _hazard_ahead(self, risk: np.ndarray, age: np.ndarray, ahead: np.ndarray) -> np.ndarray:
        """H(a+h) - H(a): (n_draws, n, h) from risk x'γ (n_draws, n), age (n,) and ahead (n, h), all h."""
        shape = np.exp(self.draws[:, 1])[:, None, None]
        with np.errstate(divide="ignore", over="ignore"):  # age 0 and 0 h ahead are their own limits below
            log_end = np.log(age[:, None] + ahead)
            log_gain = np.log1p(ahead / np.where(age > 0, age, np.nan)[:, None])
            log_gain = np.where(age[:, None] > 0, log_gain, np.inf)  # from fresh, all of H(h) lies ahead
            # stable form of (end/η)^β - (a/η)^β, safe where a draw of the shape makes the powers overflow
            log_share = np.log(-np.expm1(-shape * np.where(ahead > 0, log_gain, 0.0)))
        log_end = np.where(ahead > 0, log_end, 0.0)
        log_hazard = shape * (log_end - self.draws[:, 0][:, None, None]) + log_share + risk[:, :, None]
        hazard: np.ndarray = np.exp(np.minimum(log_hazard, 700.0))  # a cumulative hazard of e^700 is certain failure
        return hazard

    def _weights_of_entry_hours(self, units: Histories) -> np.ndarray:
        """How likely each starting age is, after the hours run since without failing: (n_ages, n_draws, n_units)."""
        episodes = split_episodes(units.with_lives(seen="alive"))
        place = episodes["life_id"].map(pd.Series(np.arange(units.n_lives), index=units.lives["life_id"])).to_numpy()
        risk = self.draws[:, 2:] @ episodes[list(self.covariates)].fillna(self.filled_in).to_numpy(dtype=float).T
        begin = episodes["from_observed_hours"].to_numpy()
        length = episodes["to_observed_hours"].to_numpy() - begin
        log_weights = np.zeros((len(self.entry_hours), units.n_lives, len(self.draws)))
        for log_weight, entry in zip(log_weights, self.entry_hours, strict=True):
            run = self._hazard_ahead(risk, entry + begin, length[:, None])[:, :, 0]
            np.subtract.at(log_weight, place, run.T)
        weights: np.ndarray = np.exp(log_weights - log_weights.max(axis=0))
        weights /= weights.sum(axis=0)
        return weights.transpose(0, 2, 1)


def fit_weibull(histories: Histories, seed: int = 1, draws: int = 400) -> WeibullFit:
    """Learn the Weibull regression from a fleet's lives.

    A failure is a bearing seen failed, in use or when opened; every other end censors. Left out, and said so in
    ``evidence.remarks``: lives of unknown starting age, lives without observed hours, and failures at age 0, where the
    likelihood is not defined. Covariates enter in the order of `COVARIATES`, one for every 10 failures, where the
    records can tell them at all; one that is not recorded for a life counts as the fleet's mean. `draws` from the
    asymptotic normal distribution of the estimates, seeded. With fewer than 6 failures, or where the likelihood
    has no maximum, general experience fills in (``forecaster.few_failures``). Does not raise for few or no lives.
    """
    learned, remarks = _to_learn_from(histories.taught())
    if histories.held_back_remark is not None:
        remarks.append(histories.held_back_remark)
    filled_in = fleet_mix(learned)
    episodes = split_episodes(learned).fillna(filled_in)
    rng = np.random.default_rng(seed)
    chosen, left_out = choose_covariates(episodes)
    remarks += left_out
    fitted = _maximum_likelihood(episodes, chosen, remarks) if learned.n_failures >= FAILURES_FOR_SHAPE else None
    if fitted is None:
        chosen = []
        remarks.append(few_failures_remark(episodes))
        many = posterior_of_few(episodes, max(draws, DRAWS_TO_SUMMARISE), rng)
        centre, covariance, log_likelihood = np.median(many, axis=0), np.cov(many.T), np.nan
        drawn = many[:draws]
    else:
        centre, covariance, log_likelihood = fitted
        typical = float(np.exp(np.log(episodes.loc[episodes["failed"], "stop_hours"]).mean()))
        drawn = _draw(centre, covariance, typical, rng.standard_normal((draws, len(centre))))
    return WeibullFit(
        shape=float(np.exp(centre[1])),
        scale_hours=float(np.exp(centre[0])),
        covariates=tuple(chosen),
        log_hazard_ratios=centre[2:],
        covariance=covariance,
        draws=drawn,
        log_likelihood=log_likelihood,
        filled_in=filled_in,
        entry_hours=_entry_hours(learned),
        oldest_hours=float(episodes["stop_hours"].max()) if len(episodes) else 0.0,
        evidence=Evidence(
            lives=learned.n_lives,
            failures=learned.n_failures,
            effective_sample=draws,
            mostly_prior=learned.n_failures < MOSTLY_PRIOR_BELOW,
            remarks=tuple(remarks),
        ),
    )


def _draw(centre: np.ndarray, covariance: np.ndarray, age: float, normals: np.ndarray) -> np.ndarray:
    """Draws of (log η, log β, γ) from the asymptotic normal distribution, taken for log H(age) in the place of log η.

    `age`, h: one at which bearings failed; `normals` (n_draws, 2 + k) standard normal. η itself lies far outside the
    ages seen where few have failed, and is far from normal there; the hazard built up by an age that was seen is not.
    Measured on the handbook's bearing cages (6 failures), a 1,050 h unit over 500 h: profile likelihood .0027 to .0236
    (90 %), these draws .0034 to .0322, draws of log η .0047 to .0708.
    """
    shape = np.exp(centre[1])
    log_hazard = shape * (np.log(age) - centre[0])
    slope = np.eye(len(centre))
    slope[0, :2] = -shape, log_hazard
    drawn = normals @ np.linalg.cholesky(slope @ covariance @ slope.T).T + [log_hazard, *centre[1:]]
    drawn[:, 0] = np.log(age) - drawn[:, 0] / np.exp(drawn[:, 1])
    return np.asarray(drawn)


def _to_learn_from(histories: Histories) -> tuple[Histories, list[str]]:
    """The lives that a Weibull likelihood can use, and what to say of the others."""
    lives = histories.lives
    failed = lives["seen"].isin(FAILED)
    no_age = lives["hours_at_entry"].isna()
    no_hours = ~no_age & ~failed & (lives["hours_observed"] <= 0)
    at_zero = ~no_age & failed & (histories.age <= 0)
    remarks = []
    if no_age.any():
        remarks.append(
            f"{no_age.sum()} lives ({(no_age & failed).sum()} failures) left out: their age at the start of the record "
            "is not known. hours_at_fitting tells it."
        )
    if no_hours.any():
        remarks.append(f"{no_hours.sum()} lives left out: no engine hours in the record.")
    if at_zero.any():
        remarks.append(
            f"{at_zero.sum()} failures left out: at 0 hours since new or rebuilt a Weibull life has no likelihood "
            f"({', '.join(lives.loc[at_zero, 'life_id'])}). Check their hours."
        )
    return histories.select(~(no_age | no_hours | at_zero)), remarks


def _entry_hours(learned: Histories) -> np.ndarray:
    """Starting ages to average over where one is unknown: those of the fleet's part-worn lives, else evenly spread."""
    middles = (np.arange(ENTRY_AGES) + 0.5) / ENTRY_AGES
    entry = learned.lives["hours_at_entry"].to_numpy()
    part_worn = np.sort(entry[entry > 0])
    if not len(part_worn):
        return UNKNOWN_ENTRY_HOURS[0] + middles * (UNKNOWN_ENTRY_HOURS[1] - UNKNOWN_ENTRY_HOURS[0])
    return part_worn if len(part_worn) <= ENTRY_AGES else np.quantile(part_worn, middles)


def _maximum_likelihood(
    episodes: pd.DataFrame, chosen: list[str], remarks: list[str]
) -> tuple[np.ndarray, np.ndarray, float] | None:
    """Estimates, covariance and log-likelihood, with as many of `chosen` as converge; None if not even without.

    Takes out of `chosen` what has to go, and adds to `remarks` why.
    """
    while True:
        fitted = _fit_by_lifelines(episodes, chosen)
        if fitted is not None:
            return fitted
        if not chosen:
            remarks.append("The likelihood of these failures has no maximum: general experience fills in.")
            return None
        remarks.append(f"Effect not estimated, since the fit with it does not settle: {COVARIATES[chosen.pop()]}.")


def _fit_by_lifelines(episodes: pd.DataFrame, chosen: list[str]) -> tuple[np.ndarray, np.ndarray, float] | None:
    """(log η, log β, γ), their covariance and the log-likelihood per hour; None where lifelines cannot be trusted."""
    from lifelines import WeibullAFTFitter
    from lifelines.exceptions import ApproximationWarning, ConvergenceError, ConvergenceWarning, StatisticalWarning

    hours = float(episodes["stop_hours"].mean())  # ages near 1 suit the optimizer, whatever the unit
    stop = episodes["stop_hours"].to_numpy() / hours
    # a failure in the very hour of an incident has an episode of no length, which lifelines refuses: the next smaller
    # number has the same hazard and, to the last digit, no exposure
    start = np.minimum(episodes["start_hours"].to_numpy() / hours, np.nextafter(stop, 0.0))
    table = episodes[chosen].assign(start=start, stop=stop, failed=episodes["failed"])
    fitter = WeibullAFTFitter()
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        for category in (ApproximationWarning, ConvergenceWarning, StatisticalWarning):
            warnings.simplefilter("error", category)
        try:
            fitter.fit(table, "stop", "failed", entry_col="start", fit_options={"ftol": 1e-13, "maxiter": 1000})
        except (ApproximationWarning, ConvergenceError, ConvergenceWarning, StatisticalWarning):
            return None
    terms = [("lambda_", "Intercept"), ("rho_", "Intercept"), *(("lambda_", name) for name in chosen)]
    found = fitter.params_[terms].to_numpy()
    shape = np.exp(found[1])
    ratios = -shape * found[2:]
    slope = np.diag(np.concatenate([[1.0, 1.0], np.full(len(chosen), -shape)]))  # delta method: γ = -β·α
    slope[2:, 1] = ratios
    covariance = slope @ fitter.variance_matrix_.loc[terms, terms].to_numpy() @ slope.T
    covariance = (covariance + covariance.T) / 2.0
    centre = np.concatenate([[found[0] + np.log(hours), found[1]], ratios])
    spread = np.linalg.eigvalsh(covariance) if np.isfinite(covariance).all() else np.zeros(1)
    if not np.isfinite(centre).all() or spread.min() <= 0.0 or np.diag(covariance).max() > WIDEST_ERROR**2:
        return None
    return centre, covariance, float(fitter.log_likelihood_ - episodes["failed"].sum() * np.log(hours))


def _hours_ahead(hours: np.ndarray, n_units: int) -> np.ndarray:
    """`hours` as (n_units, h), checked."""
    ahead = np.asarray(hours, dtype=float)
    if ahead.ndim == 1:
        ahead = np.broadcast_to(ahead, (n_units, len(ahead)))
    if ahead.ndim != 2 or len(ahead) != n_units:
        raise WrongUsage(f"hours must be (h,) or ({n_units}, h); it is {np.shape(hours)}")
    if not np.isfinite(ahead).all() or (ahead < 0).any() or (np.diff(ahead, axis=1) < 0).any():
        raise WrongUsage("hours must be finite, 0 or more, and not fall")
    return ahead
