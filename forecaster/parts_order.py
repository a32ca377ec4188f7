"""What to have on the shelf before the bench starts, and by when to order it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from forecaster.errors import WrongUsage
from forecaster.plan_problem import Plan
from forecaster.rebuild_parts import PartLine, parts_for
from forecaster.spares import COVER

LEAD_TIME_WEEKS = 3.0  # from order to shelf; common practice, no source


@dataclass(frozen=True)
class PartsOrder:
    """Parts for the planned rebuilds, and apart from them for checked units that may rattle, each with how many sets.

    `order_by`: the last day to order for the first week of work; None where there is no work. `late`: that day is past.
    `here_on`: when parts that are ordered today are on the shelf.
    """

    parts: tuple[PartLine, ...]
    rebuilds: int
    in_reserve: tuple[PartLine, ...]
    rattles: int
    order_by: date | None
    late: bool
    lead_time_weeks: float
    here_on: date

    @property
    def by_part(self) -> dict[str, tuple[int, int]]:
        """Each part with how many for the planned rebuilds and how many in reserve; 0 for none."""
        planned, reserve = ({line.part: line.count for line in lines} for lines in (self.parts, self.in_reserve))
        return {part: (planned.get(part, 0), reserve.get(part, 0)) for part in [*planned, *reserve]}


def parts_order(plan: Plan, as_of: date, lead_time_weeks: float = LEAD_TIME_WEEKS, cover: float = COVER) -> PartsOrder:
    """What the plan's work takes, and when to order it.

    A rebuild always renews the same parts. Checks call for parts only where the unit rattles: held in reserve for as
    many of them as are enough with probability `cover`. `lead_time_weeks`: from order to shelf, at least 0.
    """
    if not 0 <= lead_time_weeks <= 520:
        raise WrongUsage(f"The lead time of parts must be from 0 to 520 weeks, not {lead_time_weeks}.")
    rebuilds = plan.count("rebuild")
    rattles = rattles_to_expect([planned.rattle for planned in plan.actions if planned.action == "check"], cover)
    weeks = [planned.week_of for planned in plan.actions if planned.week_of is not None]
    lead = timedelta(days=round(7 * lead_time_weeks))
    order_by = min(weeks) - lead if weeks else None
    return PartsOrder(
        parts=parts_for(rebuilds) if rebuilds else (),
        rebuilds=rebuilds,
        in_reserve=parts_for(rattles) if rattles else (),
        rattles=rattles,
        order_by=order_by,
        late=order_by is not None and order_by < as_of,
        lead_time_weeks=lead_time_weeks,
        here_on=as_of + lead,
    )


def rattles_to_expect(chances: list[float], cover: float = COVER) -> int:
    """The fewest K such that, with probability `cover` or more, no more than K of the checked units rattle.

    The number that rattle is a sum of independent trials with unlike chances (Poisson binomial), summed up exactly.
    """
    number = np.ones(1)
    for chance in chances:
        number = np.convolve(number, [1.0 - chance, chance])
    return int(np.argmax(np.cumsum(number) >= cover - 1e-12))
