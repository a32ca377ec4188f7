"""The whole answer about an off-season: the plan, the season's triggers after it, spares, parts, and the rival rule."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from forecaster.amounts import Amount, amount_of
from forecaster.errors import WrongUsage
from forecaster.life_model import Evidence
from forecaster.parts_order import PartsOrder
from forecaster.plan_problem import Plan
from forecaster.plan_rules import EveryNHours
from forecaster.rebuilds_to_come import RebuildsToCome
from forecaster.season_triggers import Due, Triggers
from forecaster.spares import SpareUnits

Saving = Amount  # what is expected to be saved beside something else


@dataclass(frozen=True)
class RuleBeside:
    """One rule "every unit past N hours" within the plan's limits: its rebuilds, what they take, and its cost.

    `n_hours` None: no rebuild by hours at all. `costs_more`: than the plan, to the horizon.
    """

    n_hours: float | None
    rebuilds: int
    spent: float
    expected_cost: float
    costs_more: Saving


@dataclass(frozen=True)
class BenchWeek:
    """One week of the bench, by its Monday: how many rebuilds it finishes, and whether it is closed."""

    monday: date
    places: float
    closed: bool


@dataclass(frozen=True)
class PlanAnswer:
    """What every face tells about an off-season.

    `begins`: the first day of work; `ready_by`: the day by which it must be done; `season_opens`: the coming season's
    first day. `bench`: the weeks of the plan; `later_weeks`: the next Mondays, too late for it. `spare_units`: those
    that stand in where craft earn. `horizon_on`, `seasons`: up to when costs are counted, and how many seasons that is.
    `saving`: of the plan beside never acting until a unit fails or is noticed; `saving_beside_triggers`: beside no work
    off season, units opened and checked in season when their hours come, without any limit. `savings`: by unit where
    known, beside leaving it closed through the coming season, and `saved_draws` the same by posterior draw, (draws,)
    each. `rule`: the best "every N hours" within the same limits, `saving_beside_rule` beside it; `rules`: every N that
    makes a difference, highest first. Its N count engine hours since rebuild when the work begins.
    `triggers`: by unit, for the season after this off-season; `triggers_now`: by unit, for the one that is on.
    `to_come`: how many rebuilds the off-season brings if nothing changes, and what comes before it.
    `because`, `doubtful`: by unit, reasons and doubts where there are any; `stop`: reasons not to run a unit as it is;
    `check_first`: to check it before its next ride. `due`: on an in-season day, by unit, what its trigger has been
    reached for; `due_at_opening`: what it will have been reached for when the season after opens, where the unit is
    left. `hours`: by unit since rebuild, None where not known.
    `evidence`: what the forecasts behind it were learned from, by `model`.
    """

    as_of: date
    plan: Plan
    rule: EveryNHours
    saving: Saving
    saving_beside_triggers: Saving
    to_come: RebuildsToCome
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
    saving_beside_rule: Saving | None = None
    rules: tuple[RuleBeside, ...] = ()
    begins: date | None = None
    bench: tuple[BenchWeek, ...] = ()
    later_weeks: tuple[date, ...] = ()
    spare_units: int = 0
    stop: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    check_first: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    due: Mapping[str, Due] = field(default_factory=dict)
    due_at_opening: Mapping[str, Due] = field(default_factory=dict)
    triggers_now: Mapping[str, Triggers] = field(default_factory=dict)
    hours: Mapping[str, float | None] = field(default_factory=dict)
    saved_draws: Mapping[str, np.ndarray] = field(default_factory=dict, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Every unit of the plan needs its triggers."""
        without = [a.unit_id for a in self.plan.actions if a.unit_id not in self.triggers]
        if without:
            raise WrongUsage(f"{', '.join(without[:10])}: no season triggers. Every unit of the plan needs them.")

    def saving_among(self, unit_ids: Iterable[str]) -> Saving:
        """What the plan's work saves on some of its units beside leaving them closed, summed draw by draw.

        Nothing saved for no unit. Raises WrongUsage for a unit whose draws are not known.
        """
        wanted = list(unit_ids)
        unknown = [unit for unit in wanted if unit not in self.saved_draws]
        if unknown:
            raise WrongUsage(f"{', '.join(unknown[:10])}: what the plan saves there is not known draw by draw.")
        return (
            amount_of(np.sum([self.saved_draws[unit] for unit in wanted], axis=0)) if wanted else Saving(0.0, 0.0, 0.0)
        )


def saving_of(plan_cost: np.ndarray, other_cost: np.ndarray) -> Saving:
    """The whole plan's saving from posterior draws: `plan_cost` (draws,), `other_cost` (draws, n) of what it is beside.

    Summed draw by draw, since what raises one unit's risk raises the others' too.
    """
    return amount_of(other_cost.sum(axis=1) - plan_cost)


def savings_by_unit(plan: Plan, unit_cost: np.ndarray, leave_cost: np.ndarray) -> dict[str, Saving]:
    """Each unit's saving from posterior draws, both (draws, n), `unit_cost` as from ``PlanCase.unit_costs``."""
    saved = leave_cost - unit_cost
    return {planned.unit_id: amount_of(saved[:, i]) for i, planned in enumerate(plan.actions)}
