"""What needs doing this week: units that must not run, water that was not dealt with, triggers reached, planned work.

The week is the seven days from the day asked about. In season each unit's triggers are looked up (the hours at which a
check or a rebuild pays, ``forecaster.waiting``) beside the hours that its craft is expected to run by the week's end;
off season the weeks of the plan (``forecaster.off_season``). Both take a while for a large fleet: a caller may show
what the records alone say first (``noted_this_week``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Literal

import pandas as pd

from forecaster.causes import incident_label
from forecaster.errors import WrongUsage
from forecaster.findings import RUST_UNHEARD_DAYS
from forecaster.lives import Histories
from forecaster.settings import Season
from forecaster.unsafe import SPUN, check_first, found_unsafe, not_to_run
from forecaster.written_days import DatedText, joined

if TYPE_CHECKING:  # heavy, and what the records say alone needs none of it
    from forecaster.decisions import Decisions
    from forecaster.plan_answer import PlanAnswer
    from forecaster.season_triggers import Triggers

DAYS = 7
INCIDENT_DAYS = 14  # how far back water counts as just happened; common practice, no source

Progress = Callable[[str], None]
Kind = Literal["stop", "water", "rebuild", "check"]
# Most urgent first: what must not run, what rusts meanwhile, what is opened, what is looked at.
URGENCY: tuple[Kind, ...] = ("stop", "water", "rebuild", "check")
TREAT = {
    "none": "do not start it before it is treated: spark plugs out, cylinders dry, oil changed until it stays clear; "
    "only then run it warm",
    "unknown": "find out whether it was treated, and treat it if not: rust starts at once",
    "late": "spin it by hand before the next ride: it was treated late",
}
ENTER_UNIT = "and enter in fittings.csv which unit was on it"
WORK = {"rebuild": "rebuild it", "check": "check it: off the engine, spun by hand"}


@dataclass(frozen=True)
class Task:
    """One thing to do this week about one unit.

    `kind`: "stop" (do not run it), "water", "rebuild" or "check". `craft_id` is the craft it sits on, or sat on last;
    `unit_id` is "" for water on a craft on which no unit sits by the records.
    `do` and `why` in plain words. `week_of`: the plan's Monday, None for what the plan does not place. For a trigger
    `hours` is its own age now, `at_hours` the age at which that pays, both engine hours since rebuild (a best estimate
    where the starting age is unknown); `pays_until` the last day on which it does.
    """

    kind: Kind
    unit_id: str
    craft_id: str
    do: str
    why: str
    week_of: date | None = None
    hours: float | None = None
    at_hours: float | None = None
    pays_until: date | None = None


@dataclass(frozen=True)
class AtTriggers:
    """A unit's age now, engine hours since rebuild (best estimate), and its triggers in the season."""

    age_h: float
    triggers: Triggers


@dataclass(frozen=True)
class ThisWeek:
    """What needs doing from `as_of` to `until`, the seven days, most urgent first.

    `weighed`: whether triggers and the plan were looked up; `looked_at` what was: "triggers", "plan", or both.
    """

    as_of: date
    until: date
    tasks: tuple[Task, ...]
    looked_at: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def weighed(self) -> bool:
        """Whether triggers or the plan were looked up too."""
        return bool(self.looked_at)


def noted_this_week(histories: Histories) -> ThisWeek:
    """Only what the records say by themselves: units that must not run, or not unseen, and water not dealt with."""
    tasks = [*_unsafe(histories), *_recent_water(histories), *_water_on_empty_craft(histories)]
    return _gathered(histories.as_of, tasks)


def this_week(
    decisions: Decisions,
    plan: Callable[[], PlanAnswer],
    known: dict[str, AtTriggers] | None = None,
    progress: Progress | None = None,
) -> ThisWeek:
    """All that needs doing in the seven days from the decisions' day.

    `plan`: asked for the off-season plan as of that day, where the week touches the off-season. `known`: triggers by
    unit; those that are not in it are worked out and put into it, so that a caller who was broken off need not begin
    again.
    """
    tell = progress or (lambda _: None)
    histories, season = decisions.histories, decisions.records.settings.season
    last = histories.as_of + timedelta(days=DAYS - 1)
    tasks, looked, remarks = list(noted_this_week(histories).tasks), [], []
    if _touches_season(season, histories.as_of, last):
        tasks += _triggers_reached(decisions, {} if known is None else known, last, tell)
        looked.append("triggers")
    if not season.contains(histories.as_of) or not season.contains(last):
        planned, remark = _planned(decisions.as_of, plan, last)
        tasks += planned
        looked.append("plan")
        remarks += [remark] if remark else []
    return _gathered(histories.as_of, tasks, tuple(looked), tuple(remarks))


def _touches_season(season: Season, first: date, last: date) -> bool:
    return season.current_or_next(first)[0] <= last


def _gathered(
    as_of: date, tasks: Iterable[Task], looked: tuple[str, ...] = (), remarks: tuple[str, ...] = ()
) -> ThisWeek:
    """Most urgent first; of two that say to open or to check the same unit, the first."""
    kept: dict[tuple[str, ...], Task] = {}
    for task in sorted(tasks, key=lambda task: (URGENCY.index(task.kind), task.unit_id)):
        water = (task.craft_id, task.why) if task.kind == "water" else ()  # each incident counts
        kept.setdefault((task.kind, task.unit_id, *water), task)
    return ThisWeek(as_of, as_of + timedelta(days=DAYS - 1), tuple(kept.values()), looked, remarks)


def _unsafe(histories: Histories) -> list[Task]:
    """Units that must not run until they were opened or checked, and units to check before their next ride."""
    units = histories.in_service()
    reasons = found_unsafe(units)
    tasks = []
    rows: Iterable[Any] = units.lives.itertuples(index=False)
    for life in rows:
        if life.life_id in reasons:
            found = reasons[life.life_id]
            stops = not_to_run(found)
            do = "open it" if any(one.act == "rebuild" for one in found) else "check it"
            why = joined("; ", stops or check_first(found))
            kind: Kind = "stop" if stops else "check"
            tasks.append(Task(kind, life.unit_id, life.craft_id, f"{do} before it runs again", why))
    return tasks


def _recent_water(histories: Histories) -> list[Task]:
    """Water of the last days on lives that go on, on a craft or on the shelf, not known to be treated in time."""
    as_of = pd.Timestamp(histories.as_of)
    going_on = histories.lives[histories.lives["ended_by"].isin(["running", "stored"])].set_index("life_id")
    water = histories.incidents
    water = water[
        water["life_id"].isin(going_on.index)
        & (water["happened_on"] > as_of - pd.Timedelta(days=INCIDENT_DAYS))
        & water["treatment"].isin(list(TREAT))
    ]
    looks, heard_after = histories.checks, pd.Timedelta(days=RUST_UNHEARD_DAYS)
    last_opened = looks[looks["known_state"] == "sound"].groupby("life_id")["checked_on"].max()
    last_spun = looks[looks["spin"].isin(SPUN)].groupby("life_id")["checked_on"].max()
    seen = water["life_id"].map(last_opened) >= water["happened_on"]
    seen |= water["life_id"].map(last_spun) > water["happened_on"] + heard_after
    water = water[~((water["treatment"] == "late") & seen)]
    return [
        Task(
            "water",
            str(going_on["unit_id"][life_id]),
            str(craft_id),
            TREAT[treatment],
            DatedText(f"{incident_label(kind, treatment)}, on ", day.date()),
        )
        for life_id, craft_id, treatment, kind, day in zip(
            water["life_id"], water["craft_id"], water["treatment"], water["kind"], water["happened_on"], strict=True
        )
    ]


def _water_on_empty_craft(histories: Histories) -> list[Task]:
    """The same water on craft in service on which no unit sits by the records: whatever unit was there had it too."""
    since = histories.as_of - timedelta(days=INCIDENT_DAYS)
    return [
        Task(
            "water",
            "",
            one.craft_id,
            f"{TREAT[water.treatment]}; {ENTER_UNIT}",
            DatedText(
                f"{incident_label(water.kind, water.treatment)}, on ",
                water.happened_on,
                ", with no unit on it by the records: it counts for no unit",
            ),
        )
        for one in histories.craft_without_unit
        for water in one.water
        if water.happened_on > since and water.treatment in TREAT
    ]


def _triggers_reached(decisions: Decisions, known: dict[str, AtTriggers], last: date, tell: Progress) -> list[Task]:
    lives = decisions.histories.in_service().lives
    if not known.keys() >= set(lives["unit_id"]):
        weighed = decisions.weigh(lambda number, of: tell(f"Looking up the triggers of unit {number:,} of {of:,} ..."))
        for unit_id, one in weighed.items():
            known.setdefault(unit_id, AtTriggers(one.age_h, one.triggers))
    tasks = []
    rows: Iterable[Any] = lives.itertuples(index=False)
    for life in rows:
        task = _reached(known[life.unit_id], life, decisions, last)
        if task is not None:
            tasks.append(task)
    return tasks


def _reached(one: AtTriggers, life: Any, decisions: Decisions, last: date) -> Task | None:
    """The rebuild or else the check that a unit's triggers ask for within the week."""
    triggers, then = one.triggers, one.age_h + float(decisions.weekly_hours[life.craft_id][0])
    due = triggers.reached(then, decisions.as_of)
    if due is None:
        return None
    at, until = triggers.at(due)
    run = triggers.reached(one.age_h, decisions.as_of) == due
    when = DatedText("has run") if run else DatedText("reaches by ", last, ", at the hours expected,")
    why = DatedText(when, f" {at:.0f} h since rebuild, at which a {due} in season pays")
    return Task(due, life.unit_id, life.craft_id, WORK[due], why, None, one.age_h, at, until)


def _planned(as_of: date, plan: Callable[[], PlanAnswer], last: date) -> tuple[list[Task], str]:
    """The plan's work of the week, or why there is none."""
    try:
        made = plan()
    except WrongUsage as refusal:
        return [], DatedText("Nothing is planned: ", refusal.message)
    tasks = []
    for action in made.plan.actions:
        if action.action == "leave" or action.week_of is None or not as_of <= action.week_of <= last:
            continue
        because = joined("; ", made.because.get(action.unit_id, ()))
        why = DatedText("planned for the week of ", action.week_of, ": " if because else "", because)
        tasks.append(Task(action.action, action.unit_id, action.craft_id, WORK[action.action], why, action.week_of))
    return tasks, ""
