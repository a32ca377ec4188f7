"""What to have on the shelf before the bench starts, and by when to order it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from forecaster.errors import WrongUsage
from forecaster.plan_problem import TOLERANCE, Plan
from forecaster.rebuild_parts import PartLine, parts_for
from forecaster.settings import Bench
from forecaster.spares import COVER

LEAD_TIME_WEEKS = Bench().lead_time_weeks  # from order to shelf, where nothing else is said


@dataclass(frozen=True)
class PartsOrder:
    """Parts to order for the planned rebuilds, and apart from them for checked units that may rattle.

    `rebuilds`, `rattles`: how many sets of each, once those `from_stock` are used. `order_by`: the last day to order
    for the first work that takes a set beyond them; None where nothing is to be ordered. `late`: that day is past.
    `kits`: sets on the shelf. `here_on`: when parts that are ordered today are there.
    """

    parts: tuple[PartLine, ...]
    rebuilds: int
    in_reserve: tuple[PartLine, ...]
    rattles: int
    order_by: date | None
    late: bool
    lead_time_weeks: float
    here_on: date
    kits: int = 0
    from_stock: int = 0

    @property
    def by_part(self) -> dict[str, tuple[int, int]]:
        """Each part with how many for the planned rebuilds and how many in reserve; 0 for none."""
        planned, reserve = ({line.part: line.count for line in lines} for lines in (self.parts, self.in_reserve))
        return {part: (planned.get(part, 0), reserve.get(part, 0)) for part in [*planned, *reserve]}


def parts_order(
    plan: Plan,
    as_of: date,
    lead_time_weeks: float = LEAD_TIME_WEEKS,
    cover: float = COVER,
    kits: int = 0,
    to_come: int | None = None,
) -> PartsOrder:
    """What the plan's work takes beyond the `kits` on the shelf, and when to order it.

    A rebuild always renews the same parts. Checks call for parts only where the unit rattles: held in reserve for as
    many of them as are enough with probability `cover`. `lead_time_weeks`: from order to shelf, at least 0.
    `to_come`: how many rebuilds to have parts for, rattles among them, where that is not what is planned: in season,
    when some units will not run until the work begins.
    """
    if not 0 <= lead_time_weeks <= 520:
        raise WrongUsage(f"The lead time of parts must be from 0 to 520 weeks, not {lead_time_weeks}.")
    planned = plan.count("rebuild")
    may_rattle = rattles_to_expect([one.rattle for one in plan.actions if one.action == "check"], cover)
    if to_come is not None:
        planned, may_rattle = to_come, 0
    rebuilds = max(planned - kits, 0)
    rattles = max(may_rattle - max(kits - planned, 0), 0)
    lead = timedelta(days=round(7 * lead_time_weeks))
    needed = _first_week_beyond(plan, kits) if rebuilds + rattles else None
    order_by = needed - lead if needed else None
    return PartsOrder(
        parts=parts_for(rebuilds) if rebuilds else (),
        rebuilds=rebuilds,
        in_reserve=parts_for(rattles) if rattles else (),
        rattles=rattles,
        order_by=order_by,
        late=order_by is not None and order_by < as_of,
        lead_time_weeks=lead_time_weeks,
        here_on=as_of + lead,
        kits=kits,
        from_stock=min(kits, planned + may_rattle),
    )


def _first_week_beyond(plan: Plan, kits: int) -> date | None:
    """The first week whose work is expected to take more sets than are on the shelf, else the last; None: no work.

    A check counts as its chance of a rattle, as in the plan's own limit.
    """
    work = sorted((one.week_of, one.rattle if one.action == "check" else 1.0) for one in plan.actions if one.week_of)
    taken = 0.0
    for week, takes in work:
        taken += takes
        if taken > kits + TOLERANCE:
            return week
    return work[-1][0] if work else None


def rattles_to_expect(chances: list[float], cover: float = COVER) -> int:
    """The fewest K such that, with probability `cover` or more, no more than K of the checked units rattle.

    The number that rattle is a sum of independent trials with unlike chances (Poisson binomial), summed up exactly.
    """
    number = np.ones(1)
    for chance in chances:
        number = np.convolve(number, [1.0 - chance, chance])
    return int(np.argmax(np.cumsum(number) >= cover - 1e-12))
