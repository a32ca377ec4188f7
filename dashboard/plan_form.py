"""What the viewer asks of the off-season plan: budget, bench, days, spare units, closed weeks, work changed by hand."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, TypeVar

import streamlit as st

import forecaster
import link
import told_wrong
from days import day_style
from loading import PlanChoice
from number_field import number_field, number_text
from words import DASH, SPACE, day_words, plain

MORE = "further limits unfolded"  # in the session
NO_LIMIT = "none"  # in the link: a budget without limit where fleet.toml has one
EDITS = "plan changed by hand"  # in the session: what was changed just now, before the link tells it
ACTIONS = ("rebuild", "check", "leave")
NO_WEEK = DASH  # in the table: left, or the cheapest free week is wanted
Value = TypeVar("Value")
Edits = dict[str, forecaster.PlanEdit]


def _number_told(text: str) -> float:
    if (number := link.number_in(text)) is None:
        raise ValueError
    return number


def _money_told(text: str) -> float:
    return math.inf if text == NO_LIMIT else _number_told(text)


def _percent_told(text: str) -> float:
    return _number_told(text) / 100


def _count_told(text: str) -> int:
    if not text.isdecimal():
        raise ValueError
    return int(text)


@dataclass(frozen=True)
class Linked:
    """A limit of the plan in the link: its name there, how one of its values is read, and whether it takes several."""

    name: str
    read: Callable[[str], Any]
    several: bool = False


# Every limit of a plan, by what ``Fleet.plan`` calls it: what the form below tells the link, other screens read there.
LINKED: dict[str, Linked] = {
    "budget": Linked("budget", _money_told),
    "bench_per_week": Linked("bench", _number_told),
    "begins": Linked("begins", date.fromisoformat),
    "ready_by": Linked("ready_by", date.fromisoformat),
    "spare_units": Linked("spares", _count_told),
    "closed": Linked("closed", date.fromisoformat, several=True),
    "kits": Linked("kits", _count_told),
    "lead_time_weeks": Linked("lead_time", _number_told),
    "overspend_chance": Linked("overspend", _percent_told),
    "least_gain": Linked("least_gain", _percent_told),
    "season_budget": Linked("season_budget", _money_told),
    "season_rebuilds_per_week": Linked("season_bench", _number_told),
}
EDIT = "edit"  # in the link: one change by hand


@dataclass(frozen=True)
class PlanShown:
    """The plan as this viewer has it: its limits and its changes by hand, and both as the link tells them."""

    limits: PlanChoice = ()
    edits: tuple[tuple[str, forecaster.PlanEdit], ...] = ()
    in_link: Mapping[str, list[str]] = field(default_factory=dict, compare=False)

    @property
    def is_usual(self) -> bool:
        """Whether it is the best plan within what fleet.toml says."""
        return not self.limits and not self.edits


USUAL_PLAN = PlanShown()


@dataclass(frozen=True)
class PlanAsked:
    """What differs from the usual, as ``Fleet.plan`` takes it, and as the link tells it."""

    limits: PlanChoice
    in_link: dict[str, list[str]]


def ask_limits(fleet: forecaster.Fleet, as_of: date) -> PlanAsked:
    """The controls, in the row that is open; the link comes first. Raises WrongUsage for days that make no plan."""
    bench, usual = fleet.settings.bench, fleet.off_season(as_of)
    budget = _number(
        "Budget",
        "budget",
        bench.budget,
        forecaster.BUDGET.most,
        500.0,
        "Money for the work; blank: no limit.",
        blank=True,
    )
    per_week = _number(
        "Rebuilds a week",
        "bench",
        bench.rebuilds_per_week,
        forecaster.A_WEEK.most,
        1.0,
        "What the bench finishes; 2.5: two, then three.",
    )
    begins = _day("First day", "begins", usual.begins, as_of, "Work begins in the first whole week from here.")
    ready_by = _day("Ready by", "ready_by", usual.ready_by, as_of, "Weeks that end later take no work.")
    more = st.expander("More", st.session_state.get(MORE, False), icon=":material/tune:", type="compact")
    with more, told_wrong.unfolding(MORE):
        spares = _number(
            "Spare units",
            "spares",
            fleet.settings.stock.spare_units,
            forecaster.SPARE_UNITS.most,
            1,
            "On the shelf, to stand in for a unit that is on the bench in a week in which craft earn.",
        )
        further = _further(fleet.settings)
        closed = _closed(fleet, as_of, begins, ready_by)
    asked: dict[str, tuple[Any, Any, list[str]]] = {
        "budget": (math.inf if budget is None else budget, bench.budget or math.inf, [_told(budget)]),
        "bench_per_week": (per_week, bench.rebuilds_per_week, [_told(per_week)]),
        "begins": (begins, usual.begins, [begins.isoformat()]),
        "ready_by": (ready_by, usual.ready_by, [ready_by.isoformat()]),
        "spare_units": (spares, fleet.settings.stock.spare_units, [_told(spares)]),
        "closed": (closed, (), [day.isoformat() for day in closed]),
        **further,
    }
    changed = {name: (value, told) for name, (value, own, told) in asked.items() if value != own}
    return PlanAsked(
        limits=tuple((name, value) for name, (value, _) in changed.items()),
        in_link={LINKED[name].name: changed[name][1] if name in changed else [] for name in asked}
        | told_wrong.in_link(),
    )


def plan_shown() -> PlanShown:
    """The plan that the link asks for, for screens that do not ask for it themselves; what makes no sense is told."""
    in_link = {name: link.wanted(name) for name in (*(one.name for one in LINKED.values()), EDIT)}
    limits = []
    for name, one in LINKED.items():
        found = [_read(one.name, text, one.read, "what the screen Off-season plan takes") for text in in_link[one.name]]
        values = [value for value in found if value is not _NOTHING]
        if values:
            limits.append((name, tuple(values) if one.several else values[0]))
    return PlanShown(tuple(limits), tuple(sorted(edits_asked().items())), in_link)


def _further(settings: forecaster.FleetSettings) -> dict[str, tuple[Any, Any, list[str]]]:
    """The shelf, the season and the money's risk: each as asked, as usual, and as the link tells it."""
    bench, stock = settings.bench, settings.stock
    kits = _number(
        "Kits on the shelf",
        "kits",
        stock.kits,
        forecaster.KITS.most,
        1,
        "Sets of parts for a rebuild; without, work waits for parts that are ordered today.",
    )
    lead_time = _number(
        "Weeks to get parts",
        "lead_time",
        bench.lead_time_weeks,
        forecaster.LEAD_WEEKS.most,
        1.0,
        "From ordering parts to having them.",
    )
    overspend = _percent(
        "Overspending, %",
        "overspend",
        bench.overspend_chance,
        "Chance up to which the work may cost more than its budget: checks bring rebuilds where units rattle.",
    )
    least_gain = _percent(
        "Least gain, %",
        "least_gain",
        bench.least_gain,
        "Share of its cost that work must save at least, or the unit is left.",
    )
    of_season = "In the coming season, on units that are left now and reach their triggers"
    season_budget = _number(
        "Season's budget",
        "season_budget",
        bench.season_budget,
        forecaster.BUDGET.most,
        500.0,
        f"{of_season}; blank: {'no limit' if bench.season_budget is not None else 'what is left of the budget'}.",
        blank=True,
        blank_means="no limit" if bench.season_budget is not None else "what is left",
    )
    season_bench = _number(
        "Rebuilds a week in season",
        "season_bench",
        bench.season_rebuilds_per_week,
        forecaster.A_WEEK.most,
        1.0,
        f"{of_season}; blank: as off season.",
        blank_means="as off season" if bench.season_rebuilds_per_week is None else "",
    )
    no_limit = None if bench.season_budget is None else math.inf
    return {
        "kits": (kits, stock.kits, [_told(kits)]),
        "lead_time_weeks": (lead_time, bench.lead_time_weeks, [_told(lead_time)]),
        "overspend_chance": (overspend, bench.overspend_chance, [_told(round(100 * overspend, 6))]),
        "least_gain": (least_gain, bench.least_gain, [_told(round(100 * least_gain, 6))]),
        "season_budget": (
            no_limit if season_budget is None else season_budget,
            bench.season_budget,
            [_told(season_budget)],
        ),
        "season_rebuilds_per_week": (season_bench, bench.season_rebuilds_per_week, [_told(season_bench)]),
    }


def _percent(label: str, name: str, own: float, explained: str) -> float:
    """A share, asked for in percent."""
    usual = round(100 * own, 6)
    given = _number(label, name, usual, 100.0, 1.0, explained)
    return own if given == usual else float(given) / 100


def _told(number: float | None) -> str:
    return NO_LIMIT if number is None else number_text(number)


def _number(
    label: str,
    name: str,
    own: float | None,
    most: float,
    step: float,
    explained: str,
    blank: bool = False,
    blank_means: str = "",
) -> Any:
    """A number of at least 0; None where it was left blank and may be, its own value where it may not or is refused.

    `blank_means`: what stands in the empty field; as a rule its own value, or that there is no limit.
    """
    given = number_field(
        name,
        label,
        (0.0, most),
        step,
        f"plan_{name}",
        usual=own,
        blank=blank_means or ("no limit" if blank else number_text(own or 0.0)),
        none_in_link=NO_LIMIT if blank else "",
        explained=explained,
        width=150,
    )
    if given is None:
        return None if blank else own
    return int(given) if isinstance(step, int) else given


def _day(label: str, name: str, usual: date, as_of: date, explained: str) -> date:
    last = as_of + timedelta(days=3 * 366)  # beyond the horizon: the plan then says how far it reaches

    def read(text: str) -> date:
        day = date.fromisoformat(text)
        if not as_of <= day <= last:
            raise ValueError
        return day

    wanted = _wanted(name, read, usual, f"a day from {day_words(as_of)} to {day_words(last)}, written 2027-04-20")
    given = st.date_input(
        label,
        wanted,
        min_value=as_of,
        max_value=last,
        format=day_style().field,
        key=f"plan_{name}_{as_of}",
        help=f"{explained} Typed as {day_style().field}.",
        width=150,
    )
    return given if isinstance(given, date) else usual  # a cleared day asks for the usual one


def _closed(fleet: forecaster.Fleet, as_of: date, begins: date, ready_by: date) -> tuple[date, ...]:
    """The Mondays of the weeks in which the bench is closed."""
    weeks = list(fleet.off_season(as_of, begins, ready_by).weeks)
    known = set(weeks)

    def read(text: str) -> date:
        day = date.fromisoformat(text)
        return day - timedelta(days=day.weekday())

    wanted = [day for text in link.wanted("closed") if (day := _read("closed", text, read, "a day")) in known]
    chosen = st.multiselect(
        "Weeks in which the bench is closed",
        weeks,
        wanted,
        format_func=day_words,
        key=f"plan_closed_{weeks[0]}_{weeks[-1]}",
        placeholder="none",
    )
    return tuple(sorted(chosen))


def _wanted(name: str, read: Callable[[str], Value], usual: Value, needed: str) -> Value:
    """What the link asks for; the usual, with a word of warning, where that makes no sense."""
    for text in link.wanted(name):
        found = _read(name, text, read, needed)
        return usual if found is _NOTHING else found  # type: ignore[return-value]
    return usual


_NOTHING = object()


def _read(name: str, text: str, read: Callable[[str], Value], needed: str) -> Value | object:
    try:
        return read(text)
    except ValueError:
        told_wrong.say_at_top(f"The link asks for {plain(f'{name}={text}')}: {needed} is needed; the usual is shown.")
        return _NOTHING


def edits_asked() -> Edits:
    """Work changed by hand: just now in the table, or by the link, as "S0005:rebuild:2026-11-09"."""
    if EDITS in st.session_state:
        edits: Edits = st.session_state.pop(EDITS)
        return edits
    found: Edits = {}
    for text in link.wanted(EDIT):
        try:
            unit, edit = forecaster.change_in_text(text)
        except forecaster.WrongUsage as refusal:
            told_wrong.say_at_top(f"The link changes the plan by what it cannot be changed by: {plain(refusal)}")
        else:
            found[unit] = edit
    return found


def edits_in_link(edits: Edits) -> list[str]:
    """The same as the link tells them."""
    return [forecaster.text_of_change(unit, edit) for unit, edit in sorted(edits.items())]


def week_told(week: str) -> str:
    """A week of the table for its reader, with spaces as they are typed to find it."""
    return week if week == NO_WEEK else day_words(date.fromisoformat(week)).replace(SPACE, " ")


def take_edits(key: str, shown: Sequence[forecaster.PlannedAction], edits: Edits) -> None:
    """Add what was changed in the table just now to what was changed before; the table's `key` holds it by row."""
    changed = dict(edits)
    for row, cells in st.session_state[key]["edited_rows"].items():
        planned = shown[int(row)]
        action = cells.get("work", planned.action)
        text = cells.get("week", planned.week_of.isoformat() if planned.week_of else "")
        text = "" if text == NO_WEEK else text
        week = date.fromisoformat(text) if text and action != "leave" else None
        if "week" in cells and text and "work" not in cells and planned.action == "leave":
            action, week = "rebuild", date.fromisoformat(text)  # a week for a unit that was left: a rebuild is meant
        before = edits[planned.unit_id].note if planned.unit_id in edits else ""
        note = " ".join(forecaster.as_given(str(cells.get("note", before) or "")).split())
        changed[planned.unit_id] = forecaster.PlanEdit(action, week, note)
    st.session_state[EDITS] = changed


def back_to_best() -> None:
    """Forget all changes by hand."""
    st.session_state[EDITS] = {}
