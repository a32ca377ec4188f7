"""What is to be done with one unit: the one instruction that all files of a paper give for it.

The plan says what pays in the off-season; a trigger that was reached in season, what is due now; the record, that a
unit must not run, or not unseen. Of these one instruction is made, so that nobody reads two that differ. The gravest
comes first: do not run; before the next ride; now; in its week.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Literal

from forecaster.plan_problem import Action, PlannedAction
from forecaster.season_triggers import Due
from forecaster.unsafe import Unsafe

Code = Literal[
    "stop, rebuild",  # it must not run, and is opened and rebuilt before it does
    "stop, check",  # it must not run before it was checked
    "rebuild first",  # before its next ride
    "check first",
    "rebuild now",  # in season: its hours have come
    "check now",
    "rebuild",  # in the off-season, in its week
    "check",
    "leave",
]
STOP: tuple[Code, ...] = ("stop, rebuild", "stop, check")
FIRST: tuple[Code, ...] = ("rebuild first", "check first")
NOW: tuple[Code, ...] = ("rebuild now", "check now")
_RANK: tuple[Action, ...] = ("leave", "check", "rebuild")


@dataclass(frozen=True)
class Instruction:
    """One instruction; `week_of`: the Monday of the plan's week that it is done in, None where the plan has none."""

    code: Code
    week_of: date | None = None

    @property
    def act(self) -> Action:
        """The work itself, whenever it is done."""
        return "rebuild" if "rebuild" in self.code else "check" if "check" in self.code else "leave"

    @property
    def at_once(self) -> bool:
        """Whether it comes before anything that the plan has for the unit, rather than in the plan's week."""
        return self.code != "leave" and self.week_of is None


def instruction(planned: PlannedAction, unsafe: Collection[Unsafe], due: Due | None, in_season: bool) -> Instruction:
    """The instruction for a unit: `planned` for the off-season, `unsafe` by its record, `due` by its triggers today.

    In season the plan's weeks are months away, so that what is unsafe or due is done without them.
    """
    asked: list[Action] = [one.act for one in unsafe]
    if due is not None:
        asked.append(due)
    if not asked:
        return Instruction(planned.action, planned.week_of)
    act = max(asked if in_season else [*asked, planned.action], key=_RANK.index)
    week_of = planned.week_of if act == planned.action and not in_season else None
    rebuild = act == "rebuild"
    if any(one.stops for one in unsafe):
        return Instruction("stop, rebuild" if rebuild else "stop, check", week_of)
    if unsafe:
        return Instruction("rebuild first" if rebuild else "check first", week_of)
    return Instruction("rebuild now" if rebuild else "check now", week_of)
