"""The whole answer about an off-season: the plan, the season's triggers after it, spares, parts, and the rival rule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from forecaster.errors import WrongUsage
from forecaster.life_model import Evidence
from forecaster.parts_order import PartsOrder
from forecaster.plan_problem import Plan
from forecaster.plan_rules import EveryNHours
from forecaster.spares import SpareUnits
from forecaster.waiting import Triggers


@dataclass(frozen=True)
class Saving:
    """Expected saving beside doing nothing, with its central 90 % interval over the posterior."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class PlanAnswer:
    """What every face tells about an off-season.

    `ready_by`: the day by which the work must be done; `season_opens`: the coming season's first day.
    `horizon_on`, `seasons`: up to when costs are counted, and how many seasons that is.
    `saving`: of the plan beside doing nothing; `savings`: by unit, where known. `rule`: the best "every N hours"
    within the same limits.
    `triggers`: by unit, for the coming season. `because`, `doubtful`: by unit, reasons and doubts where there are any.
    `evidence`: what the forecasts behind it were learned from, by `model`.
    """

    as_of: date
    plan: Plan
    rule: EveryNHours
    saving: Saving
    triggers: Mapping[str, Triggers]
    spares: SpareUnits
    parts: PartsOrder
    ready_by: date
    season_opens: date
    horizon_on: date
    seasons: int
    currency: str
    evidence: Evidence
    model: str = "two-stage"
    savings: Mapping[str, Saving] = field(default_factory=dict)
    because: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    doubtful: Mapping[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Every unit of the plan needs its triggers."""
        without = [a.unit_id for a in self.plan.actions if a.unit_id not in self.triggers]
        if without:
            raise WrongUsage(f"{', '.join(without[:10])}: no season triggers. Every unit of the plan needs them.")


def saving_of(plan_cost: np.ndarray, leave_cost: np.ndarray) -> Saving:
    """The whole plan's saving from posterior draws: `plan_cost` (draws,), `leave_cost` (draws, n).

    Summed draw by draw, since what raises one unit's risk raises the others' too.
    """
    return _saving(leave_cost.sum(axis=1) - plan_cost)


def savings_by_unit(plan: Plan, unit_cost: np.ndarray, leave_cost: np.ndarray) -> dict[str, Saving]:
    """Each unit's saving from posterior draws, both (draws, n), `unit_cost` as from ``cost_by_unit``."""
    saved = leave_cost - unit_cost
    return {planned.unit_id: _saving(saved[:, i]) for i, planned in enumerate(plan.actions)}


def _saving(saved: np.ndarray) -> Saving:
    low, high = np.quantile(saved, [0.05, 0.95])
    return Saving(float(saved.mean()), float(low), float(high))
