"""What lives to come may cost beside what is expected of them, under each posterior draw."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from forecaster.fresh_life import FreshLife
from forecaster.policy import Asked, Upkeep, upkeeps_at
from forecaster.priors import INDEX


def cost_scatter(upkeep: Upkeep, lives: Sequence[FreshLife]) -> np.ndarray:
    """How the yearly cost of an upkeep's policy scatters over other lives, for example one a posterior draw, (d,).

    As ratios to what the upkeep itself costs; each life on its own grid.
    """
    asked = [Asked(life, upkeep.prices, upkeep.season_hours, upkeep) for life in lives]
    costs = np.array([one.cost_per_year for one in upkeeps_at(asked, upkeep.action)])
    return costs / upkeep.cost_per_year if upkeep.cost_per_year > 0 else np.ones(len(costs))


def sooner_worn(theta: np.ndarray, by: float) -> np.ndarray:
    """Draws (d, p) under which a sound bearing's hazard is exp(`by`) times as high."""
    raised = theta.copy()
    raised[:, INDEX["log_scale_1_h"]] -= by / np.exp(theta[:, INDEX["log_shape_1"]])
    return raised


def scatter_elsewhere(scatter: np.ndarray, theta: np.ndarray, apart: np.ndarray, cost_by_hazard: float) -> np.ndarray:
    """A ``cost_scatter`` (d,) as it is for units whose covariates are `apart` (3,) from its own.

    `theta` (d, p); `cost_by_hazard`: by what power of the hazard a year's cost grows.
    """
    first = INDEX["log_ratio_aftermarket"]
    log_hazard = theta[:, first : first + 3] @ apart
    there = scatter * np.exp(cost_by_hazard * (log_hazard - log_hazard.mean()))
    beside_mean: np.ndarray = there * (scatter.mean() / there.mean())
    return beside_mean
