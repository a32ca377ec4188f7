"""What needs doing this week: the instructions that fall in the seven days from the day asked about.

Nothing is decided here: ``forecaster.instruction`` has decided it. To weigh every unit takes a while for a large fleet:
a caller may show what the records alone order first.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from forecaster.instruction import DAYS_AHEAD, Instruction, Kind

# Most urgent first: what must not run, what rusts meanwhile, what is opened, what is looked at.
URGENCY: tuple[Kind, ...] = ("stop", "water", "rebuild", "check")


@dataclass(frozen=True)
class ThisWeek:
    """What needs doing from `as_of` to `until`, the seven days, most urgent first.

    `weighed`: whether every unit was weighed, or the records alone were asked.
    """

    as_of: date
    until: date
    tasks: tuple[Instruction, ...]
    weighed: bool = False
    remarks: tuple[str, ...] = ()


def this_week(as_of: date, instructions: Iterable[Instruction], remarks: tuple[str, ...] = ()) -> ThisWeek:
    """Of the instructions of a day, those that fall in its week."""
    told, until = list(instructions), as_of + timedelta(days=DAYS_AHEAD - 1)
    tasks = [one for one in told if falls_by(one, until)]
    tasks.sort(key=lambda one: (URGENCY.index(one.kind), one.unit_id))
    return ThisWeek(as_of, until, tuple(tasks), any(one.weighed for one in told), remarks)


def falls_by(told: Instruction, until: date) -> bool:
    """Whether something is to be done by a day: at once, or in a week of the plan that begins by then.

    What must not run is for today, whenever the plan opens it.
    """
    if told.kind not in URGENCY:
        return False
    return told.order != "week" or (told.week_of is not None and told.as_of <= told.week_of <= until)
