"""What a fleet's lives teach about the two stages: the posterior, and forecasts from its draws."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from forecaster.life_model import Evidence
from forecaster.lives import Histories
from forecaster.outlook import TwoStageStanding
from forecaster.pieces import FIRST_CUT_H, cut, known_shares
from forecaster.posterior import (
    LEAST_EFFECTIVE,
    Draws,
    covariance_from,
    curvature,
    find_mode,
    inverse,
    sample,
    well_conditioned,
)
from forecaster.priors import INDEX, Prior, read_priors, within_range
from forecaster.stages import TwoStageLikelihood

DRAWS = 400
# Importance sampling is paid for in integrand evaluations: up to this many, at most MOST_PROPOSALS, else the normal
# approximation alone, which for that many lives is the better the more there are.
PROPOSAL_NODES = 8_000_000
MOST_PROPOSALS, LEAST_PROPOSALS = 800, 400
# Of more lives so many are learned from, drawn at random: the rest would narrow little, and costs seconds.
MANY_LIVES = 1_500
# A search tries steps of at most this in a logarithm: a factor of e.
WIDEST_STEP = 1.0
# Below this share of variance taken away from what matters for risk, the answer is mostly general experience.
LITTLE_LEARNED = 0.5


@dataclass(frozen=True)
class TwoStageFit:
    """The two-stage model after learning (see ``forecaster.stages`` for the model)."""

    prior: Prior
    draws: Draws
    shares: dict[str, float]  # covariates taken where not recorded
    evidence: Evidence
    name: str = "two-stage"

    @property
    def theta(self) -> np.ndarray:
        """Posterior draws, (n, p), in the order of ``priors.PARAMETERS``."""
        return self.draws.theta

    def standing(self, units: Histories, draws: int | None = None) -> TwoStageStanding:
        """See ``life_model.FittedLifeModel``."""
        return TwoStageStanding(units, self.prior, self.shares, self.theta[:draws])

    def chance_of_failing(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> np.ndarray:
        """See ``life_model.FittedLifeModel``."""
        return self.standing(units, draws).failing(hours)

    def chance_of_defect(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> np.ndarray:
        """See ``life_model.FittedLifeModel``."""
        return self.standing(units, draws).defective(hours)


def fit_two_stage(
    histories: Histories,
    seed: int = 1,
    prior: Prior | None = None,
    draws: int = DRAWS,
    first_cut_h: float = FIRST_CUT_H,
) -> TwoStageFit:
    """Learn the two stages from all lives of a fleet.

    `prior`: the package's priors when None; another fleet's experience may stand in. `seed` makes the draws
    reproducible. A fleet without any life gives the prior's answer, and the evidence says so.
    """
    prior = read_priors() if prior is None else prior
    remark, histories = histories.held_back_remark, histories.taught()
    shares, covariance = known_shares(histories, prior), well_conditioned(prior.covariance)
    if histories.n_lives == 0:
        rng = np.random.default_rng(seed)
        theta = within_range(rng.multivariate_normal(prior.mean, covariance, draws, check_valid="ignore"))
        found = Draws(theta, draws, "prior", prior.mean, covariance)
        told = ("No lives are recorded." if remark is None else remark,)
        nothing = Evidence(0, 0, draws, True, prior.source, told)
        return TwoStageFit(prior, found, shares, nothing)
    likelihood = TwoStageLikelihood(cut(_enough(histories, seed), prior, shares, first_cut_h=first_cut_h))
    root = _steps(covariance)
    log_posterior = _LogPosterior(likelihood, prior.mean, inverse(covariance))
    mode = find_mode(log_posterior.slope, within_range(prior.mean), root)
    around = covariance_from(curvature(log_posterior.slope, mode, 0.3 * root), covariance)
    found = _draw(log_posterior, mode, around, draws, seed)
    found = replace(found, theta=within_range(found.theta))
    evidence = _evidence(histories, prior, found)
    if remark is not None:
        evidence = replace(evidence, remarks=(*evidence.remarks, remark))
    return TwoStageFit(prior, found, shares, evidence)


def _steps(covariance: np.ndarray) -> np.ndarray:
    """Square root of the prior's covariance, held to steps that a search can take where the prior is flat."""
    held = np.minimum(1.0, WIDEST_STEP / np.sqrt(np.diag(covariance)))
    steps: np.ndarray = held[:, None] * np.linalg.cholesky(covariance)
    return steps


class _LogPosterior:
    """Log posterior density, constants aside, of one or many parameter vectors.

    Beyond the parameters' ranges lies what the nearest within says of the lives, weighed by the prior; a search for the
    mode is kept out, since nothing there shows the way back.
    """

    def __init__(self, likelihood: TwoStageLikelihood, mean: np.ndarray, precision: np.ndarray) -> None:
        self.likelihood, self.mean, self.precision = likelihood, mean, precision

    def slope(self, theta: np.ndarray) -> tuple[float, np.ndarray]:
        """Value and gradient at one vector (p,)."""
        nearest = within_range(theta)
        value, slopes = self.likelihood.gradient(nearest)
        off = theta - self.mean
        total = value.sum() if (nearest == theta).all() else -np.inf
        return float(total - 0.5 * off @ self.precision @ off), slopes.sum(axis=0) - self.precision @ off

    def values(self, theta: np.ndarray) -> np.ndarray:
        """Values at many vectors (d, p)."""
        off = theta - self.mean
        answer: np.ndarray = self.likelihood.total(within_range(theta)) - 0.5 * np.einsum(
            "ij,jk,ik->i", off, self.precision, off
        )
        return answer


def _draw(log_posterior: _LogPosterior, mode: np.ndarray, covariance: np.ndarray, draws: int, seed: int) -> Draws:
    proposals = min(MOST_PROPOSALS, PROPOSAL_NODES // max(log_posterior.likelihood.n_nodes, 1))
    if proposals < LEAST_PROPOSALS:
        return _normal(mode, covariance, draws, seed)
    return sample(log_posterior.values, mode, covariance, draws, proposals, seed)


def _normal(mode: np.ndarray, covariance: np.ndarray, draws: int, seed: int) -> Draws:
    theta = np.random.default_rng(seed).multivariate_normal(mode, covariance, draws, method="cholesky")
    return Draws(theta, draws, "normal approximation", mode, covariance)


def _enough(histories: Histories, seed: int) -> Histories:
    """The lives to learn from: all of them, or `MANY_LIVES` of them drawn at random."""
    if histories.n_lives <= MANY_LIVES:
        return histories
    part = np.zeros(histories.n_lives, dtype=bool)
    part[np.random.default_rng(seed).choice(histories.n_lives, MANY_LIVES, replace=False)] = True
    return histories.select(part)


def _evidence(histories: Histories, prior: Prior, found: Draws) -> Evidence:
    learned = learned_share(prior, found.theta)
    matter = [learned[INDEX[name]] for name in ("log_scale_1_h", "log_scale_2_h")]
    mostly_prior = max(matter) < LITTLE_LEARNED or histories.n_failures == 0
    remarks = []
    if histories.n_lives > MANY_LIVES:
        remarks.append(f"Learned from {MANY_LIVES:,} of the {histories.n_lives:,} lives, drawn at random.")
    if found.method != "importance sampling":
        worth = f", worth about {found.effective} independent draws" if found.effective < LEAST_EFFECTIVE else ""
        remarks.append(f"Intervals come from {found.method}{worth}.")
    return Evidence(
        histories.n_lives, histories.n_failures, found.effective, bool(mostly_prior), prior.source, tuple(remarks)
    )


def learned_share(prior: Prior, theta: np.ndarray) -> np.ndarray:
    """How much of each parameter's prior variance the records took away, (p,), 0 nothing to 1 all."""
    before = np.diag(prior.covariance)
    answer: np.ndarray = np.clip(1.0 - theta.var(axis=0) / before, 0.0, 1.0)
    return answer
