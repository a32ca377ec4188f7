"""Fit and posterior of the two stages beside lifelines' Weibull regression on the same lives, as ratios in one run.

    python tests/benchmarks/bench_learning.py [LIVES ...]

The rival is WeibullAFTFitter with delayed entry and five covariates, fitted to the same lives. Both get ready-made
tables; imports are not timed. Peak memory is the process's so far (resource.getrusage), so give one size to see its
own.
"""

from __future__ import annotations

import resource
import sys
import time
import warnings
from datetime import date

import numpy as np
import pandas as pd

from forecaster.learning import fit_two_stage
from forecaster.lives import CHECKS, INCIDENTS, Histories, lives_by_hours


def invented_lives(n: int, seed: int = 1) -> Histories:
    """Lives drawn from two Weibull stages, with about one incident each and every kind of ending."""
    rng = np.random.default_rng(seed)
    turned = 400 * rng.weibull(2.0, n)
    failed = turned + 40 * rng.weibull(1.3, n)
    opened = rng.uniform(40, 260, n)
    entry = np.where(rng.random(n) < 0.1, rng.uniform(0, 30, n), 0.0)
    exit_h = np.maximum(np.minimum(failed, opened), entry + 0.5)
    ways = np.where(rng.random(n) < 0.3, "alive", "sound")
    seen = np.where(failed <= opened, "failed", np.where(turned <= opened, "defective", ways))
    bare = lives_by_hours(
        exit_h,
        list(seen),
        entry,
        parts=rng.choice(["oem", "aftermarket", "unknown"], n),
        salt_share=rng.integers(0, 2, n).astype(float),
        tuned_share=(rng.random(n) < 0.15).astype(float),
    )
    life = np.repeat(np.arange(n), rng.poisson(0.9, n))
    incidents = pd.DataFrame(
        {
            "life_id": bare.lives["life_id"].to_numpy()[life],
            "craft_id": "",
            "happened_on": pd.Timestamp("2020-06-01"),
            "observed_hours": bare.lives["hours_observed"].to_numpy()[life] * rng.random(len(life)),
            "observed_hours_low": 0.0,
            "observed_hours_high": 0.0,
            "kind": "swamped",
            "water": "salt",
            "oil": "unknown",
            "treated": "unknown",
            "treatment": rng.choice(["prompt", "late", "none", "unknown"], len(life)),
            "oil_water_ppm": np.nan,
        }
    ).astype(INCIDENTS)
    looked = np.flatnonzero(rng.random(n) < 0.3)
    checks = pd.DataFrame(
        {
            "life_id": bare.lives["life_id"].to_numpy()[looked],
            "checked_on": pd.Timestamp("2020-05-01"),
            "observed_hours": bare.lives["hours_observed"].to_numpy()[looked] * 0.5,
            "spin": "quiet",
            "known_state": "",
            "bearing": "",
            "shaft_play_mm": np.nan,
            "boost_kpa": np.nan,
            "slip": np.nan,
            "oil": "unknown",
            "oil_water_ppm": np.nan,
        }
    ).astype(CHECKS)
    return Histories(date(2020, 10, 31), bare.lives, incidents, checks)


def rival_seconds(histories: Histories) -> float:
    """Seconds that lifelines takes for its Weibull regression with delayed entry and five covariates."""
    from lifelines import WeibullAFTFitter

    lives = histories.lives
    incidents = histories.incidents
    prompt = incidents[incidents["treatment"] == "prompt"].groupby("life_id").size()
    other = incidents[incidents["treatment"] != "prompt"].groupby("life_id").size()
    table = pd.DataFrame(
        {
            "entry": lives["hours_at_entry"],
            "exit": lives["hours_at_entry"] + lives["hours_observed"],
            "failed": lives["seen"].isin(["failed", "found_failed"]).astype(int),
            "aftermarket": (lives["parts"] == "aftermarket").astype(float),
            "salt": lives["salt_share"],
            "tuned": lives["tuned_share"],
            "prompt": lives["life_id"].map(prompt).fillna(0.0),
            "other": lives["life_id"].map(other).fillna(0.0),
        }
    )
    begun = time.perf_counter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        WeibullAFTFitter().fit(table, duration_col="exit", event_col="failed", entry_col="entry")
    return time.perf_counter() - begun


def main(sizes: list[int]) -> None:
    """Print a row per size: medians of three (one from 300,000 lives up)."""
    print(f"{'lives':>9} {'two stages s':>13} {'lifelines s':>12} {'ratio':>6} {'peak MiB':>9}  how")
    for n in sizes:
        histories = invented_lives(n)
        own, rival = [], []
        for _ in range(3 if n < 300_000 else 1):
            begun = time.perf_counter()
            fit = fit_two_stage(histories)
            own.append(time.perf_counter() - begun)
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            rival.append(rival_seconds(histories))
        ours, theirs = float(np.median(own)), float(np.median(rival))
        how = f"{fit.draws.method}, effective {fit.draws.effective}"
        print(f"{n:>9} {ours:>13.2f} {theirs:>12.2f} {ours / theirs:>6.1f} {peak:>9.0f}  {how}")


if __name__ == "__main__":
    main([int(a) for a in sys.argv[1:]] or [120, 1_000, 10_000, 100_000])
