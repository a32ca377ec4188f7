"""A life model of three lines, whose every answer can be worked out on paper.

Each life fails at a constant rate: `BASE` per engine hour, doubled for each water incident, trebled with aftermarket
parts (half as much again where nobody knows), doubled by salt water, halved by a look, doubled by a rattle, and growing
with age by `PER_HOUR`. Draws scale the rate evenly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecaster.life_model import AskedAnew, Evidence
from forecaster.lives import Histories

BASE = 0.001
PER_HOUR = 0.00001
# Posterior draws, mean 1; shuffled, since the first draws of a life model stand for all.
SCALES = np.random.default_rng(1).permutation(np.linspace(0.5, 1.5, 101))


def rates(units: Histories) -> np.ndarray:
    lives = units.lives
    incidents = lives["life_id"].map(units.incidents["life_id"].value_counts()).fillna(0).to_numpy()
    by_look = units.checks["life_id"].groupby(units.checks["spin"] == "rattle").value_counts()
    rattles, quiet = (
        lives["life_id"].map(by_look.get(heard, pd.Series(dtype=float))).fillna(0).to_numpy(dtype=float)
        for heard in (True, False)
    )
    rate = BASE + PER_HOUR * units.age.fillna(100.0).to_numpy()
    rate = rate * 2.0 ** (incidents + rattles - quiet)
    rate = rate * lives["parts"].map({"oem": 1.0, "unknown": 1.5, "aftermarket": 3.0}).to_numpy()
    return rate * (1.0 + lives["salt_share"].fillna(0.5).to_numpy())


EVIDENCE = Evidence(lives=119, failures=58, effective_sample=1480, mostly_prior=False)


@dataclass(frozen=True)
class FakeModel:
    evidence: Evidence = EVIDENCE
    name: str = "two-stage"
    knows_defects: bool = True

    def standing(self, units: Histories, draws: int | None = None) -> AskedAnew:
        return AskedAnew(self, units, draws)

    def chance_of_failing(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> np.ndarray:
        ahead = np.broadcast_to(hours, (units.n_lives, np.shape(hours)[-1]))
        return -np.expm1(-SCALES[:draws, None, None] * rates(units)[None, :, None] * ahead[None])

    def chance_of_defect(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> np.ndarray | None:
        if not self.knows_defects:
            return None
        runs = 1.0 - self.chance_of_failing(units, hours, draws)
        return 0.5 * runs * self.chance_of_failing(units, np.array([10.0]), draws)
