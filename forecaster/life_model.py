"""What a life model is to everything around it: fitted to histories, asked about units, answering in draws.

The forecast, the backtest and the decisions know only this. Two models implement it: the Weibull regression
(``forecaster.weibull``) and the two-stage model (``forecaster.learning``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from forecaster.lives import Histories


@dataclass(frozen=True)
class Evidence:
    """How much stands behind a fitted model."""

    lives: int
    failures: int
    effective_sample: int  # independent posterior draws that the intervals are worth
    mostly_prior: bool  # the records add little: "mostly general experience"
    prior: str = "general experience"  # what was believed before the records, in words
    remarks: tuple[str, ...] = ()  # what could not be told, and what was done about it, in plain words


# Draws behind what is only shown by its mean: curves, causes. More change no visible digit.
MEAN_DRAWS = 64


class Standing(Protocol):
    """How running units stand today under a life model, to be asked of any hours ahead.

    Of `n` units; see ``FittedLifeModel`` for what is asked and for the shapes.
    """

    def failing(self, hours: np.ndarray) -> np.ndarray:
        """See ``FittedLifeModel.chance_of_failing``."""
        ...

    def defective(self, hours: np.ndarray) -> np.ndarray | None:
        """See ``FittedLifeModel.chance_of_defect``."""
        ...


class FittedLifeModel(Protocol):
    """A life model after learning. All chances are per posterior draw, so that intervals follow.

    The first draws stand for all: using only the first k of them gives the same answer with a coarser interval.
    """

    @property
    def name(self) -> str:
        """Either "two-stage" or "weibull"."""
        ...

    @property
    def evidence(self) -> Evidence:
        """How much stands behind it."""
        ...

    def standing(self, units: Histories, draws: int | None = None) -> Standing:
        """How `units` stand today, for whoever asks of several horizons; `draws` as below."""
        ...

    def chance_of_failing(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> np.ndarray:
        """Chance that each life's bearing fails within `hours` more engine hours, given all that is known of it.

        `units`: n lives still running (their ``seen`` is taken as alive), with incidents and checks. `hours`: (h,)
        increasing, >= 0, or (n, h), one row a unit. `draws`: use only the first so many draws; all when None.
        Nobody opens the unit and no further water comes.
        Returns (n_draws, n, h) in [0, 1], not falling along the last axis.
        """
        ...

    def chance_of_defect(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> np.ndarray | None:
        """Chance that each running life is defective but not failed, `hours` from now; same shapes.

        ``hours = [0.0]`` asks about now. None where the model knows no such state.
        """
        ...


@dataclass(frozen=True)
class AskedAnew:
    """The standing of units under a life model that gains nothing by working it out first."""

    model: FittedLifeModel
    units: Histories
    draws: int | None = None

    def failing(self, hours: np.ndarray) -> np.ndarray:
        """See ``FittedLifeModel.chance_of_failing``."""
        return self.model.chance_of_failing(self.units, hours, self.draws)

    def defective(self, hours: np.ndarray) -> np.ndarray | None:
        """See ``FittedLifeModel.chance_of_defect``."""
        return self.model.chance_of_defect(self.units, hours, self.draws)
