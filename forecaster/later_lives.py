"""What lives to come may cost beside what is expected of them: under each posterior draw, and as their hours differ."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from forecaster.fresh_life import FreshLife
from forecaster.policy import Asked, Upkeep, best_upkeeps, upkeeps_at

# Seasons that run less and more, as shares of the expected hours, at which a year's cost is worked out too; and the
# least and most that hours are taken to differ, beyond which the parabola through the three is no guide.
SEASONS_ASIDE = (0.8, 1.25)
LIKELY_HOURS = (0.5, 2.0)


def cost_scatter(upkeep: Upkeep, lives: Sequence[FreshLife]) -> np.ndarray:
    """How the yearly cost of an upkeep's policy scatters over other lives, for example one a posterior draw, (d,).

    As ratios to what the upkeep itself costs; each life on its own grid.
    """
    asked = [Asked(life, upkeep.prices, upkeep.season_hours, upkeep) for life in lives]
    costs = np.array([one.cost_per_year for one in upkeeps_at(asked, upkeep.action)])
    return costs / upkeep.cost_per_year if upkeep.cost_per_year > 0 else np.ones(len(costs))


class CostByHours(NamedTuple):
    """What a year of a craft costs as its hours differ from those expected: a parabola of logarithms.

    More than in proportion where a longer season takes a unit further into its wear; less where it is opened every
    off-season anyway.
    """

    parabola: np.ndarray

    def an_hour(self, share: np.ndarray) -> np.ndarray:
        """Cost an hour where so many hours are run as a share of those expected, as a ratio to the usual, (d,) each."""
        log_share = np.log(np.clip(share, *LIKELY_HOURS))
        ratio: np.ndarray = np.exp(np.polyval(self.parabola, log_share) - log_share)
        return ratio


def costs_by_hours(upkeeps: Sequence[Upkeep]) -> list[CostByHours]:
    """How each upkeep's yearly cost moves with the hours of its season."""
    shares = np.array([SEASONS_ASIDE[0], 1.0, SEASONS_ASIDE[1]])
    asked = [Asked(one.life, one.prices, one.season_hours * share, one) for share in SEASONS_ASIDE for one in upkeeps]
    aside = [one.cost_per_year for one in best_upkeeps(asked)]
    found = []
    for one, low, high in zip(upkeeps, aside[: len(upkeeps)], aside[len(upkeeps) :], strict=True):
        costs = np.array([low, one.cost_per_year, high])
        logs = np.log(costs / one.cost_per_year) if (costs > 0).all() else np.log(shares)
        found.append(CostByHours(np.polyfit(np.log(shares), logs, 2)))
    return found
