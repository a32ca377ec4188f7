"""Simulation-based calibration of the two-stage posterior (Talts, Betancourt, Simpson, Vehtari & Gelman 2018).

Parameters are drawn from the prior, lives from the parameters, and the posterior is fitted to the lives. Over many
fleets the true parameter's rank among its posterior draws must be uniform, and 90 % intervals must hold it 90 % of
the time; the same for the 50-hour risk of a unit that is asked about.

    python -m tests.calibration --fleets 300          prints the table that DEVELOPERS.md shows
"""

from __future__ import annotations

import argparse
import sys

import numpy as np
import pandas as pd

from forecaster.learning import fit_two_stage
from forecaster.lives import Histories
from forecaster.outlook import outlook
from forecaster.pieces import known_shares
from forecaster.priors import INDEX, PARAMETERS, Prior, read_priors
from tests.bare_lives import BareLife, histories_of

RANK_BINS = 10


def drawn_life(rng: np.random.Generator, theta: np.ndarray) -> BareLife:
    """One life by the law of the two stages: played forward to its failure, its noticing or a planned opening."""
    value = {name: theta[i] for name, i in INDEX.items()}
    shape_1, scale_1 = np.exp(value["log_shape_1"]), np.exp(value["log_scale_1_h"])
    shape_2, scale_2 = np.exp(value["log_shape_2"]), np.exp(value["log_scale_2_h"])
    sens, spec = (1 / (1 + np.exp(-value[n])) for n in ("logit_sensitivity", "logit_specificity"))
    parts = str(rng.choice(["oem", "aftermarket"], p=[0.75, 0.25]))
    salt, tuned = float(rng.integers(0, 2)), float(rng.random() < 0.15)
    ratio = np.exp(
        value["log_ratio_aftermarket"] * (parts == "aftermarket")
        + value["log_ratio_salt"] * salt
        + value["log_ratio_tuned"] * tuned
    )
    planned = float(rng.uniform(30, 260))
    wet_ages = np.cumsum(rng.exponential(90.0, 12))
    wet = [(float(a), str(rng.choice(["prompt", "none"]))) for a in wet_ages if a < planned]
    onset = _onset(rng, value, shape_1, scale_1, ratio, wet)
    failed = onset + scale_2 * rng.weibull(shape_2)
    noticed = onset + rng.exponential(np.exp(-value["log_rate_noticed_per_h"]))
    end = min(failed, noticed, planned)
    if end == planned:
        found = "defective" if onset < planned else "sound"
        seen = "alive" if rng.random() < 0.3 else found
    else:
        seen = "failed" if end == failed else "symptom"
    looks = []
    for age in rng.uniform(0, planned, rng.integers(0, 3)):
        if age < end:
            rattles = rng.random() < (sens if onset <= age else 1 - spec)
            looks.append((float(age), "rattle" if rattles else "quiet"))
    # The meter shows tenths of an hour, and the likelihood holds failures at one.
    end = max(end, 0.1)
    return BareLife(end, seen, 0.0, [(a, h) for a, h in wet if a <= end], sorted(looks), parts, salt, tuned)


def _onset(
    rng: np.random.Generator,
    value: dict[str, float],
    shape: float,
    scale: float,
    ratio: float,
    wet: list[tuple[float, str]],
) -> float:
    """Age at which the bearing becomes defective: by wear between incidents, or at one."""
    left, age, raised = float(rng.exponential()), 0.0, 1.0
    for at, how in [*wet, (np.inf, "")]:
        slope = ratio * raised
        there = scale * ((age / scale) ** shape + left / slope) ** (1 / shape)
        if there < at:
            return float(there)
        left -= slope * ((at / scale) ** shape - (age / scale) ** shape)
        age = at
        jump = np.exp(value["log_jump_untreated"] if how == "none" else value["log_jump_treated"])
        if rng.random() < -np.expm1(-jump):
            return at
        if how == "none":
            raised = np.exp(value["lasting_log_ratio"])
    raise AssertionError("the last stretch has no end")


def drawn_fleet(rng: np.random.Generator, prior: Prior, lives: int) -> tuple[np.ndarray, Histories]:
    """Parameters drawn from the prior and a fleet's lives drawn from them."""
    theta = rng.multivariate_normal(prior.mean, prior.covariance)
    return theta, histories_of(*(drawn_life(rng, theta) for _ in range(lives)))


# The unit that is asked about: 80 h old, swamped untreated 10 h ago, spun quiet at 40 h.
ASKED = BareLife(80.0, incidents=[(70.0, "none")], checks=[(40.0, "quiet")], salt=1.0)


def ranks(fleets: int, lives: int, seed: int, tell: bool = False) -> pd.DataFrame:
    """Rank (0 to 1) of the truth among the posterior draws, one row a fleet, one column a parameter and the risk."""
    prior = read_priors()
    rows = []
    for i in range(fleets):
        rng = np.random.default_rng([seed, i])
        theta, histories = drawn_fleet(rng, prior, lives)
        fit = fit_two_stage(histories, seed=i)
        row = {name: float((fit.theta[:, k] < theta[k]).mean()) for k, name in enumerate(PARAMETERS)}
        asked, hours = histories_of(ASKED), np.array([50.0])
        truth = outlook(asked, prior, known_shares(asked, prior), theta[None, :], hours).failed[0, 0, 0]
        row["risk in 50 h"] = float((fit.chance_of_failing(asked, hours)[:, 0, 0] < truth).mean())
        row["effective"] = fit.evidence.effective_sample
        rows.append(row)
        if tell:
            print(f"\r{i + 1}/{fleets}", end="", file=sys.stderr, flush=True)
    return pd.DataFrame(rows)


def coverage(table: pd.DataFrame) -> pd.DataFrame:
    """Share of fleets whose central 90 % interval holds the truth, and the flatness of the ranks, by quantity.

    Flatness: chi-square of the ranks in ten bins and its p-value.
    """
    from scipy.stats import chisquare

    quantities = [c for c in table.columns if c != "effective"]
    rows = {}
    for name in quantities:
        held = ((table[name] >= 0.05) & (table[name] <= 0.95)).mean()
        counts = np.histogram(table[name], bins=RANK_BINS, range=(0, 1))[0]
        rows[name] = {"held by 90 %": held, "p of flat ranks": float(chisquare(counts).pvalue)}
    return pd.DataFrame(rows).T


def main() -> None:
    """Print the coverage table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fleets", type=int, default=300)
    parser.add_argument("--lives", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    table = ranks(given.fleets, given.lives, given.seed, tell=True)
    print(f"\n{given.fleets} fleets of {given.lives} lives, seed {given.seed}")
    print(coverage(table).round(3).to_string())
    print("effective draws: " + table["effective"].describe().round(0).to_string().replace("\n", "; "))


if __name__ == "__main__":
    main()
