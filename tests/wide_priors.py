"""Priors drawn far and wide, each asked for a fit and what follows from it: an answer, or a plain refusal?

Three kinds, as they may come: a user's copy of priors.toml, an experience file of another fleet or of a network, and a
prior made in Python, which no file's range holds back: medians many times off, variances from 1e-6 to 1e6, correlations
up to singular. Files beyond ``priors.RANGES`` or ``SPREADS`` somewhere must be refused by name, and only those.
Warnings are errors, and no answer may hold what is no number.

    python -m tests.wide_priors --priors 300            the figures that DEVELOPERS.md gives
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import tomllib
import warnings
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from forecaster.decisions import decisions_for
from forecaster.errors import ForecasterError
from forecaster.experience import FORMAT, VERSION, WIDEST, read_experience
from forecaster.fleet_prices import fleet_prices
from forecaster.histories import build_histories
from forecaster.interval import service_intervals
from forecaster.learning import fit_two_stage
from forecaster.lives import Histories
from forecaster.priors import PARAMETERS, PLACES, RANGES, SPREADS, Prior, on_its_scale, read_priors
from forecaster.records import FleetRecords
from forecaster.service_life import service_lives
from forecaster.simulate import simulate_fleet

P = len(PARAMETERS)
HOURS = np.array([0.0, 5.0, 50.0, 500.0])
FAR = (0.0, 1.0, 3.0, 8.0)  # factors of e by which medians may be off, as standard deviations
DIRECTIONS = (0, 1, 3, P)  # in which a covariance is wide; 0: independent
KINDS = ("file", "experience", "python")


@cache
def small_fleet() -> tuple[FleetRecords, Histories]:
    """Six craft after one season: so little that the prior is seen through it."""
    fleet = simulate_fleet(craft=6, seasons=1, seed=3)
    return fleet.records, build_histories(fleet.records, fleet.as_of)


def drawn_normal(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Mean (p,) and covariance (p, p) drawn far and wide."""
    mean = read_priors().mean + rng.normal(0.0, 1.0, P) * rng.choice(FAR)
    sd = 10.0 ** rng.uniform(-3.0, 3.0, P)
    directions = int(rng.choice(DIRECTIONS))
    if directions == 0:
        return mean, np.diag(sd**2)
    some = rng.normal(size=(P, directions))
    correlated = some @ some.T + 10.0 ** rng.uniform(-14.0, -1.0) * np.eye(P)
    unit = np.sqrt(np.diag(correlated))
    return mean, correlated / unit / unit[:, None] * sd * sd[:, None]


def within(mean: np.ndarray, sd: np.ndarray, least: float, most: float) -> bool:
    """Whether means and standard deviations are all where a file's may be."""
    ends = np.array([[on_its_scale(name, end) for end in RANGES[name]] for name in PARAMETERS]).T
    return bool(((mean >= ends[0]) & (mean <= ends[1]) & (sd >= least) & (sd <= most)).all())


def drawn(kind: str, seed: int, folder: Path) -> tuple[Callable[[], Prior], bool]:
    """A prior of one of `KINDS`, still to be read, and whether it must be refused."""
    rng = np.random.default_rng([KINDS.index(kind), seed])
    mean, covariance = drawn_normal(rng)
    if kind == "python":
        return lambda: replace(read_priors(), mean=mean, covariance=covariance), False
    if rng.random() < 0.75:  # most within the ranges, so that they are asked and not only refused
        narrower = np.minimum(
            1.0, 10.0 ** rng.uniform(np.log10(0.01), np.log10(SPREADS[1]), P) / np.sqrt(np.diag(covariance))
        )
        covariance = covariance * narrower * narrower[:, None]
        mean = read_priors().mean + 0.4 * (mean - read_priors().mean)
    sd = np.sqrt(np.diag(covariance))
    path = folder / f"{kind}-{seed}"
    if kind == "experience":
        told = {"format": FORMAT, "version": VERSION, "parameters": list(PARAMETERS), "lives": 40, "failures": 20}
        path.write_text(json.dumps(told | {"mean": mean.tolist(), "covariance": covariance.tolist()}), "utf-8")
        return lambda: read_experience(path), not within(mean, sd, 0.0, WIDEST)
    sd = np.maximum(sd, SPREADS[0])
    path.write_text(priors_toml(mean, sd), "utf-8")
    return lambda: read_priors(path), not within(mean, sd, *SPREADS)


def priors_toml(mean: np.ndarray, sd: np.ndarray) -> str:
    """A copy of priors.toml with other medians and spreads, given as they stand among PARAMETERS."""
    given: dict[str, Any] = tomllib.loads(resources.files("forecaster").joinpath("priors.toml").read_text("utf-8"))
    for name, centre, spread in zip(PARAMETERS, mean, sd, strict=True):
        section, key, scale = PLACES[name]
        if scale == "plain":
            given[section][key] |= {"mean": float(centre), "sd": float(spread)}
        else:
            read = np.exp(centre) if scale == "log" else 1.0 / (1.0 + np.exp(-centre))
            given[section][key] |= {"median": float(read), "spread": float(spread)}
    lines = []
    for section, entries in given.items():
        lines.append(f"[{section}]")
        for key, entry in entries.items():
            cells = ", ".join(f"{part} = {json.dumps(value)}" for part, value in entry.items())
            lines.append(f"{key} = {{ {cells} }}")
    return "\n".join(lines)


def asked(prior: Prior, thoroughly: bool) -> tuple[str, int]:
    """How the posterior was drawn and how many draws it is worth; fails where an answer is no number.

    `thoroughly`: the decisions too.
    """
    records, histories = small_fleet()
    fit, units = fit_two_stage(histories, prior=prior), histories.in_service()
    failing, defective = fit.chance_of_failing(units, HOURS), fit.chance_of_defect(units, HOURS)
    told = [fit.theta, failing, defective]
    assert (failing >= 0).all()
    assert (failing <= 1).all()
    assert (np.diff(failing, axis=2) >= -1e-6).all()
    if thoroughly:
        service_lives(fit, histories)
        prices = fleet_prices(records, histories.as_of)
        told += [np.array(one.cost_per_100_h) for one in service_intervals(fit, histories, prices)]
        waiting = decisions_for(records, histories, fit).waiting(str(units.lives["unit_id"].iloc[0]))
        told += [np.array([option.expected_cost for option in waiting.options])]
    assert all(np.isfinite(one).all() for one in told)
    assert fit.draws.effective >= 1
    return fit.draws.method, fit.draws.effective


def outcome(kind: str, seed: int, folder: Path, thoroughly: bool) -> tuple[str, float]:
    """What becomes of one drawn prior: how it was answered and by how many draws, or "refused" and nan.

    Fails where it is refused although it lies within the ranges, or the other way, or the answer is no number.
    """
    read, beyond = drawn(kind, seed, folder)
    try:
        prior, refusal = read(), ""
    except ForecasterError as error:
        prior, refusal = None, str(error)
    if prior is None:
        assert beyond, refusal
        assert "must be between" in refusal
        assert str(folder) in refusal
        return "refused", np.nan
    assert not beyond, "should have been refused"
    return asked(prior, thoroughly)


def study(priors: int) -> pd.DataFrame:
    """One row a prior: `kind`, `seed`, `outcome`, `effective`. A fault is told as the outcome."""
    rows = []
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("error")
        for number in range(priors):
            kind, seed = KINDS[number % len(KINDS)], number // len(KINDS)
            try:
                how, effective = outcome(kind, seed, Path(folder), thoroughly=number % 10 == 0)
            except Exception as fault:  # noqa: BLE001 - the study counts what must not be
                how, effective = f"FAULT: {type(fault).__name__}: {str(fault)[:80]}", np.nan
            rows.append({"kind": kind, "seed": seed, "outcome": how, "effective": effective})
            print(f"\r{number + 1}/{priors}", end="", file=sys.stderr, flush=True)
    return pd.DataFrame(rows)


def main() -> None:
    """Print how many were answered, how and by how many draws, and how many refused."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--priors", type=int, default=300)
    table = study(parser.parse_args().priors)
    worth = table.groupby(["kind", "outcome"])["effective"]
    found = pd.DataFrame({"priors": worth.size(), "draws, least": worth.min(), "draws, middle": worth.median()})
    print(f"\n{found.to_string()}")
    for row in table[table["outcome"].str.startswith("FAULT")].itertuples():
        print(row.kind, row.seed, row.outcome)


if __name__ == "__main__":
    main()
