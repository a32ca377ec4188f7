"""What is to be done with each unit on a day: one instruction, decided here once and shown by every face.

The record says that a unit must not run, or not unseen; water that was not dealt with, that it must be treated first; a
trigger that was reached in season, what is due now; the plan, what pays and in which week. Of these one instruction is
made, the gravest first, and nothing of it is outweighed by cost. What is asked for only adds to the work: a plan that
rebuilds a unit whose record asks for a check leaves one rebuild. In season the plan's weeks are months away, so that
what is unsafe or due is done without them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Literal

from forecaster.amounts import Amount, amount_of
from forecaster.causes import incident_label
from forecaster.instruction_codes import Act, Code, Order, act_on_record, code_of, most, order_on_record
from forecaster.lives import Histories
from forecaster.settings import Season
from forecaster.unsafe import ASKS, Unsafe, UnsafeCode, found_unsafe
from forecaster.written_days import DatedText

if TYPE_CHECKING:  # heavy, and what the records say alone needs none of it
    from forecaster.plan_answer import PlanAnswer
    from forecaster.plan_problem import Plan, PlannedAction
    from forecaster.season_triggers import Due, Triggers
    from forecaster.waiting import Waiting

EMPTY_CRAFT_DAYS = 14  # water on a craft without a unit counts as just happened so long; common practice, no source
UNPLACED: dict[str, UnsafeCode] = {"none": "untreated", "unknown": "treatment_unknown", "late": "treated_late"}
DAYS_AHEAD = 7  # a trigger counts from the week in which its hours are expected to come
Source = Literal["record", "water", "trigger", "plan", "none"]
Reason = Literal[UnsafeCode, "hours_run", "hours_expected", "planned", "no_plan", "plan_not_asked"]
Limit = Literal["budget", "bench", "spares"]
Kind = Literal["stop", "water", "rebuild", "check", "leave", "unweighed"]


@dataclass(frozen=True)
class Instruction:
    """What is to be done with one unit, by when, and why; as codes.

    `unit_id`: empty where it is about water on a craft without a unit. `craft_id`: that it sits on, or sat on last.
    `act`: the work itself, None where the record alone was asked and more may come of the plan. `source`: the rule that
    it comes from. `by`: the day by which, of water to be treated by which that is done; the plan's Monday where it is
    done in the plan's week, `week_of`; None where it is left. `reasons`: why, as codes, and `found` the texts of those
    that are on record; `because`: what drives its risk, where the plan told. `triggers`: hours since rebuild at which
    to act in the coming season, None where not weighed; `age_h`: its own now. `waiting_costs`: what putting the work
    off by a month costs more; None where it is left or not weighed, and where safety asks for it: that has no price.
    `held_by`: limits that keep the plan from more. `water_on`: the day of the water that is to be dealt with.
    """

    unit_id: str
    craft_id: str
    order: Order
    act: Act | None
    source: Source
    as_of: date
    by: date | None = None
    week_of: date | None = None
    reasons: tuple[Reason, ...] = ()
    found: tuple[str, ...] = ()
    because: tuple[str, ...] = ()
    triggers: Triggers | None = None
    age_h: float | None = None
    waiting_costs: Amount | None = None
    held_by: tuple[Limit, ...] = ()
    water_on: date | None = None

    @property
    def code(self) -> Code:
        """Order and act in one."""
        return code_of(self.order, self.act)

    @property
    def weighed(self) -> bool:
        """Whether triggers and the plan were asked, not the record alone."""
        return self.act is not None

    @property
    def at_once(self) -> bool:
        """Whether it comes before anything that the plan has for the unit, rather than in the plan's week."""
        return self.order in ("stop", "treat", "first", "now", "soon") and self.week_of is None

    @property
    def stops(self) -> bool:
        """Whether the unit must not run as it is."""
        return self.order in ("stop", "treat")

    @property
    def kind(self) -> Kind:
        """What sort of work it is: keep it from running, deal with water, or the act."""
        if self.order == "stop":
            return "stop"
        return "water" if self.source == "water" else self.act or "unweighed"

    @property
    def at_hours(self) -> float | None:
        """The hours since rebuild at which the trigger pays that it comes from; None where it comes from none."""
        return self._trigger[0]

    @property
    def pays_until(self) -> date | None:
        """The last day on which that trigger pays."""
        return self._trigger[1]

    @property
    def _trigger(self) -> tuple[float | None, date | None]:
        if self.order not in ("now", "soon") or self.triggers is None:
            return None, None
        return self.triggers.at("rebuild" if self.act == "rebuild" else "check")


@dataclass(frozen=True)
class OnRecord:
    """One unit in service or on the shelf, with what its record says that no chance may outweigh."""

    unit_id: str
    craft_id: str
    in_service: bool
    unsafe: tuple[Unsafe, ...]

    @property
    def source(self) -> Source:
        """The rule that its record speaks by."""
        if not self.unsafe:
            return "none"
        return "record" if order_on_record(self.unsafe) == "stop" else "water"

    @property
    def water_on(self) -> date | None:
        """The day of the water that is to be dealt with, the gravest; None where there is none."""
        return next((one.on for one in self.unsafe if one.asks != "stop"), None)

    @property
    def codes(self) -> tuple[UnsafeCode, ...]:
        """What is on record, as codes."""
        return tuple(one.code for one in self.unsafe)

    @property
    def found(self) -> tuple[str, ...]:
        """The same in the record's words."""
        return tuple(one.found for one in self.unsafe)


def _units(histories: Histories) -> list[OnRecord]:
    """All units in service, and those on the shelf that something is on record about."""
    lives = histories.lives
    going_on = histories.select(lives["ended_by"].isin(["running", "stored"]))
    unsafe = found_unsafe(going_on)
    rows: Iterable[Any] = going_on.lives.itertuples(index=False)
    units = [
        OnRecord(
            life.unit_id, life.craft_id, life.in_service and life.ended_by == "running", unsafe.get(life.life_id, ())
        )
        for life in rows
    ]
    return [unit for unit in units if unit.in_service or unit.unsafe]


def instructions_on_record(histories: Histories) -> dict[str, Instruction]:
    """What the records alone order, by unit_id: at once, however large the fleet.

    Of all units in service, and of those on the shelf that something is on record about.
    """
    return {
        unit.unit_id: Instruction(
            unit_id=unit.unit_id,
            craft_id=unit.craft_id,
            order=order_on_record(unit.unsafe),
            act=act_on_record(unit.unsafe),
            source=unit.source,
            as_of=histories.as_of,
            by=histories.as_of if unit.unsafe else None,
            reasons=unit.codes,
            found=unit.found,
            water_on=unit.water_on,
        )
        for unit in _units(histories)
    }


def water_on_empty_craft(histories: Histories) -> list[Instruction]:
    """What to do about water of the last days on craft in service on which no unit sits by the records.

    Whatever unit was there had it too. No hours tell how long ago it was, so that days must: `EMPTY_CRAFT_DAYS`.
    """
    since = histories.as_of - timedelta(days=EMPTY_CRAFT_DAYS)
    return [
        Instruction(
            unit_id="",
            craft_id=one.craft_id,
            order=ASKS[UNPLACED[water.treatment]],
            act=None,
            source="water",
            as_of=histories.as_of,
            by=histories.as_of,
            reasons=(UNPLACED[water.treatment],),
            found=(
                DatedText(
                    f"{incident_label(water.kind, water.treatment)}, on ",
                    water.happened_on,
                    ", with no unit on it by the records: it counts for no unit",
                ),
            ),
            water_on=water.happened_on,
        )
        for one in histories.craft_without_unit
        for water in one.water
        if water.happened_on > since and water.treatment in UNPLACED
    ]


def instructions(
    histories: Histories,
    season: Season,
    weighed: Mapping[str, Waiting],
    hours_this_week: Mapping[str, float],
    answer: PlanAnswer | None,
) -> dict[str, Instruction]:
    """What is to be done with each unit, by unit_id: by record, triggers and plan.

    `weighed`: every unit in service. `hours_this_week`: engine hours expected within `DAYS_AHEAD` days, by craft_id.
    `answer`: the plan that counts, the best or one changed by hand; None where none could be made. Units on the shelf
    are in it where something is on record about them.
    """
    as_of = histories.as_of
    planned = {} if answer is None else {one.unit_id: one for one in answer.plan.actions}
    held = () if answer is None else limits_that_hold(answer.plan)
    found = {}
    for unit in _units(histories):
        if not unit.in_service:
            found[unit.unit_id] = decided(unit, as_of, None, None, "leave", season)
            continue
        one = weighed[unit.unit_id]
        due, when = _due(one, as_of, season, hours_this_week.get(unit.craft_id, 0.0))
        made = decided(unit, as_of, planned.get(unit.unit_id), due, when, season)
        after = one.triggers if answer is None else answer.triggers.get(unit.unit_id, one.triggers)
        found[unit.unit_id] = replace(
            made,
            triggers=one.triggers if made.source == "trigger" else after,
            age_h=one.age_h,
            because=() if answer is None else answer.because.get(unit.unit_id, ()),
            waiting_costs=_a_month_later(one, made),
            held_by=held,
        )
    return found


def instruction_unplanned(
    unit: Histories, season: Season, one: Waiting, hours_this_week: float, because: tuple[str, ...]
) -> Instruction:
    """What record and triggers say of one unit in service where the plan of its fleet was not asked.

    `unit`: its histories alone; `one`: its costs; `hours_this_week`: those of its craft; `because`: what drives its
    risk. In season what they order is what they order beside the plan; what they leave to the plan is "unweighed".
    """
    (found,) = _units(unit)
    due, when = _due(one, unit.as_of, season, hours_this_week)
    made = decided(found, unit.as_of, None, due, when, season)
    if made.source == "none":
        made = replace(made, order="unweighed", act=None, reasons=("plan_not_asked",))
    return replace(
        made, triggers=one.triggers, age_h=one.age_h, because=because, waiting_costs=_a_month_later(one, made)
    )


def decided(
    unit: OnRecord,
    as_of: date,
    planned: PlannedAction | None,
    due: Due | None,
    when_due: Order,
    season: Season,
) -> Instruction:
    """The instruction of one unit: `planned` for the off-season, `due` by its triggers, "now" or "soon"."""
    asked: list[Act] = [one.act for one in unit.unsafe] + ([due] if due else [])
    in_season = season.contains(as_of)
    at_once = bool(unit.unsafe) or due is not None
    plan: Act = "leave" if planned is None else planned.action
    act = most(asked if in_season and at_once else [*asked, plan])
    week_of = planned.week_of if planned is not None and act == plan and not (in_season and at_once) else None
    reasons: tuple[Reason, ...] = unit.codes
    if due is not None:
        reasons += ("hours_run",) if when_due == "now" else ("hours_expected",)
    if not at_once:
        order: Order = "leave" if act == "leave" else "week"
        source: Source = "none" if planned is None else "plan"
        reasons = ("no_plan",) if planned is None else ("planned",)
    else:
        order = order_on_record(unit.unsafe) if unit.unsafe else when_due
        source = unit.source if unit.unsafe else "trigger"
        reasons += ("planned",) if week_of is not None else ()
    return Instruction(
        unit_id=unit.unit_id,
        craft_id=unit.craft_id,
        order=order,
        act=act,
        source=source,
        as_of=as_of,
        by=as_of if order == "treat" else week_of or {"leave": None, "soon": _last_day(as_of)}.get(order, as_of),
        week_of=week_of,
        reasons=reasons,
        found=unit.found,
        water_on=unit.water_on,
    )


def _due(one: Waiting, as_of: date, season: Season, hours_this_week: float) -> tuple[Due | None, Order]:
    """What a unit's own triggers ask for: today, by its hours, or within the week, by those expected."""
    today = one.triggers.reached(one.age_h, as_of) if season.contains(as_of) else None
    soon = None
    if season.current_or_next(as_of)[0] <= _last_day(as_of):
        soon = one.triggers.reached(one.age_h + hours_this_week, as_of)
    if today is not None and (today == "rebuild" or soon != "rebuild"):
        return today, "now"
    return soon, "soon"  # nobody checks what is opened within the week


def _last_day(as_of: date) -> date:
    return as_of + timedelta(days=DAYS_AHEAD - 1)


def _a_month_later(one: Waiting, told: Instruction) -> Amount | None:
    """What it costs more to do the work a month later than told; None where there is none, or it may not wait."""
    from forecaster.plan_days import week_ahead
    from forecaster.waiting import WEEKS_A_MONTH

    if told.act not in ("check", "rebuild") or told.source in ("record", "water"):
        return None
    costs = one.rebuild_weeks if told.act == "rebuild" else one.check_weeks
    begins = 0 if told.week_of is None else week_ahead(told.as_of, told.week_of)
    later = min(begins + round(WEEKS_A_MONTH), len(costs.place) - 1)
    return amount_of(costs.week(later) - costs.week(begins))


def limits_that_hold(plan: Plan) -> tuple[Limit, ...]:
    """Which limits keep a plan from saving more."""
    holds: dict[Limit, bool] = {
        "budget": plan.next_1000 > 0,
        "bench": plan.next_bench_place > 0,
        "spares": plan.next_spare_unit > 0,
    }
    return tuple(limit for limit, so in holds.items() if so)
