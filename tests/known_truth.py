"""How near the life models come to the true risk, on invented fleets of four kinds of world.

For each unit in service at the end of the record: the chance of failing within 50 engine hours, by the two-stage model
and by Weibull regressions on failures alone, beside the true chance (``forecaster.truth``). Two rivals: the program's
own, which spends its failures on few covariates and leans on general experience where they are very few, and the plain
one, maximum likelihood with all five covariates. Scores: mean absolute
error, the expected log score under the truth (no luck of the draw in it), and how often 90 % intervals hold the truth.

    python -m tests.known_truth --fleets 12             the table that DEVELOPERS.md shows
    python -m tests.known_truth --experience 12         what another shop's experience is worth to a small fleet
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from unittest.mock import patch

import numpy as np
import pandas as pd

from forecaster.experience import pooled_experience
from forecaster.histories import build_histories
from forecaster.learning import TwoStageFit, fit_two_stage
from forecaster.life_model import FittedLifeModel
from forecaster.lives import Histories
from forecaster.priors import Prior
from forecaster.simulate import simulate_fleet
from forecaster.truth import Truth, true_chances
from forecaster.weibull import fit_weibull

HOURS = np.array([50.0])
WORLDS = ("rust_at_incident", "lasting_rise", "dry", "long_noise")
CLOSEST = 1e-6  # chances are held this far from 0 and 1 in the log score


def histories_and_truth(world: str, seed: int, craft: int = 24, seasons: int = 3) -> tuple[Histories, Truth]:
    """An invented fleet's histories at the end of its record, and the truth behind them."""
    fleet = simulate_fleet(craft=craft, seasons=seasons, seed=seed, world=world)
    return build_histories(fleet.records, fleet.as_of), fleet.truth


def scores(fit: FittedLifeModel, units: Histories, truth: np.ndarray) -> dict[str, float]:
    """Mean absolute error, expected log score and coverage of one model's risks (n,) against the true ones."""
    draws = fit.chance_of_failing(units, HOURS)[:, :, 0]
    mean = draws.mean(axis=0)
    low, high = np.quantile(draws, [0.05, 0.95], axis=0)
    held = np.clip(mean, CLOSEST, 1 - CLOSEST)
    log_score = truth * np.log(held) + (1 - truth) * np.log1p(-held)
    return {
        "error": float(np.abs(mean - truth).mean()),
        "log score": float(log_score.mean()),
        "held": float(((truth >= low) & (truth <= high)).mean()),
    }


def one_fleet(task: tuple[str, int]) -> list[dict[str, object]]:
    """Both models' scores on one fleet."""
    world, seed = task
    histories, truth = histories_and_truth(world, seed)
    units = histories.in_service()
    true = true_chances(truth, units, HOURS)[:, 0]
    fits: dict[str, FittedLifeModel] = {"two-stage": fit_two_stage(histories), "weibull": fit_weibull(histories)}
    with patch("forecaster.covariates.FAILURES_PER_COVARIATE", 1):  # as many covariates as there are failures
        fits["plain"] = fit_weibull(histories)
    return [{"world": world, "seed": seed, "model": name} | scores(fit, units, true) for name, fit in fits.items()]


def study(fleets: int, first_seed: int = 100, processes: int = 1, tell: bool = False) -> pd.DataFrame:
    """Scores of both models over `fleets` fleets of each world, one row a fleet and model."""
    tasks = [(world, first_seed + i) for world in WORLDS for i in range(fleets)]
    rows: list[dict[str, object]] = []
    with ProcessPoolExecutor(processes) as pool:
        answers = pool.map(one_fleet, tasks) if processes > 1 else map(one_fleet, tasks)
        for done, answer in enumerate(answers, 1):
            rows += answer
            if tell:
                print(f"\r{done}/{len(tasks)}", end="", file=sys.stderr, flush=True)
    return pd.DataFrame(rows)


def summary(table: pd.DataFrame) -> pd.DataFrame:
    """By world and over all: mean errors, their ratios, the log scores' difference with its 90 % interval, coverage."""
    rows = {}
    for world in [*WORLDS, "all"]:
        own = table if world == "all" else table[table["world"] == world]
        by_model = own.pivot_table(index=["world", "seed"], columns="model", values=["error", "log score", "held"])
        gain = (by_model["log score"]["two-stage"] - by_model["log score"]["weibull"]).to_numpy()
        spread = 1.645 * gain.std(ddof=1) / np.sqrt(len(gain)) if len(gain) > 1 else np.nan
        error = by_model["error"].mean()
        rows[world] = {
            "error two-stage": error["two-stage"],
            "own Weibull": error["weibull"],
            "plain": error["plain"],
            "ratio to own": error["two-stage"] / error["weibull"],
            "to plain": error["two-stage"] / error["plain"],
            "log score gain": gain.mean(),
            "low": gain.mean() - spread,
            "high": gain.mean() + spread,
            "held by 90 %": by_model["held"]["two-stage"].mean(),
        }
    return pd.DataFrame(rows).T


def experience_study(fleets: int, teachers: int = 10, world: str = "rust_at_incident") -> dict[str, float]:
    """Error on fleets of 6 craft and 1 season with the general prior and with 10 other fleets' experience."""
    taught: list[TwoStageFit] = [fit_two_stage(histories_and_truth(world, 900 + i)[0], seed=i) for i in range(teachers)]
    prior = pooled_experience(taught)
    errors: dict[str, list[float]] = {"general": [], "experienced": []}
    for i in range(fleets):
        histories, truth = histories_and_truth(world, 2000 + i, craft=6, seasons=1)
        units = histories.in_service()
        true = true_chances(truth, units, HOURS)[:, 0]
        given: dict[str, Prior | None] = {"general": None, "experienced": prior}
        for name, one in given.items():
            errors[name].append(scores(fit_two_stage(histories, prior=one), units, true)["error"])
    return {name: float(np.mean(values)) for name, values in errors.items()}


def main() -> None:
    """Print the tables asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fleets", type=int, default=0, help="fleets of each world")
    parser.add_argument("--experience", type=int, default=0, help="small fleets for the experience study")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--seed", type=int, default=100)
    given = parser.parse_args()
    if given.fleets:
        table = study(given.fleets, given.seed, given.processes, tell=True)
        print(f"\n{given.fleets} fleets of 24 craft and 3 seasons in each world, first seed {given.seed}")
        print(summary(table).round(3).to_string())
    if given.experience:
        errors = experience_study(given.experience)
        fall = 1 - errors["experienced"] / errors["general"]
        print(f"{given.experience} fleets of 6 craft and 1 season: {errors}, the error falls by {100 * fall:.0f} %")


if __name__ == "__main__":
    main()
