"""The short form of "After water": what happened, what was found, what was done. Every question can be left open."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import streamlit as st

import forecaster
import link
import told_wrong
from after_water_ticks import TICKED, ticked_off
from days import day_style
from form_questions import ask_number, ask_one_of
from number_field import number_text
from words import STOP_ICON, day_words, plain

ELSEWHERE = "elsewhere"  # as the link tells a craft that is not in the fleet
LONGEST_AGO = timedelta(days=forecaster.DAYS_BACK)
HOURS = (forecaster.ENGINE_HOURS.least, forecaster.ENGINE_HOURS.most)
# Where a fact of ``forecaster.Flooding`` is asked: the name of its question.
ASKED_BY = {
    "water_in_cylinder": "cylinder",
    "engine": "engine",
    "compression": "compression",
    "spin": "spin",
    "oil": "oil",
}
TOLD_ON = "told_on"  # in the link: the day on which "about so long ago" was told
OPEN = "form_open"  # whether the form is unfolded, in the session


@dataclass(frozen=True)
class Question:
    """One question with its answers, the open one first; `name`: in the link, where an answer is told by its key."""

    name: str
    asks: str
    answers: Mapping[str, str]
    help: str | None = None


WATER = Question(
    "water",
    "Which water got in?",
    {"unknown": "Don't know", "salt": "Salt", "brackish": "Brackish", "fresh": "Fresh"},
)
UNDER = Question(
    "under",
    "How long was it under?",
    {"": "Don't know", "0": "Never under", "1": "About 1 min", "10": "About 10 min", "60": "An hour or more"},
    help="Never under: it took in water, but the engine bay never went below the surface.",
)
ENGINE = Question(
    "engine",
    "Was the engine running as it went under?",
    {"unknown": "Don't know", "off": "Off", "running": "Running"},
)
CYLINDER = Question(
    "cylinder",
    "Is there water in a cylinder?",
    {"unknown": "Not looked", "no": "No", "yes": "Yes"},
    help="Seen with the spark plugs out. Do not turn the engine to find out.",
)
OIL = Question(
    "oil",
    "What does the oil look like now?",
    {"unknown": "Not looked", "clear": "Clear", "milky": "Milky"},
    help="Milky, like coffee with milk: there is water in it.",
)
SPIN = Question(
    "spin",
    "Supercharger spun by hand since then?",
    {"not_done": "Not done", "quiet": "Quiet", "slight": "A little noise", "rattle": "Rattles"},
    help="Off the engine, cold and stopped. A little bearing noise is normal.",
)
COMPRESSION = Question(
    "compression",
    "Has a mechanic tested its compression since then?",
    {"unknown": "Not tested", "good": "Good", "low": "Low"},
    help="It ran as it went under: until a mechanic has found the compression of every cylinder good, it must not run.",
)
TREATED = Question(
    "done",
    "Oil changed until clear, and the engine run warm?",
    {"unknown": "Don't know", "no": "Not yet", "yes": "Done"},
)
WITHIN = Question(
    "within",
    "How soon after the water was that done?",
    {"": "Don't know", "1": "Within an hour", "6": "6 h", "24": "A day", "48": "2 days", "168": "A week"}
    | {"672": "4 weeks"},
)
AGO = Question(
    "ago",
    "About how long ago?",
    {"": "Don't know", "2": "2 h", "6": "6 h", "12": "12 h", "18": "18 h", "30": "Over a day"},
    help="Rust starts at once: every hour counts.",
)
PARTS = Question(
    "parts",
    "Parts that turn in the supercharger",
    {"unknown": "Don't know", "oem": "Original", "aftermarket": "Aftermarket"},
)


@dataclass(frozen=True)
class Told:
    """What was told: the craft (None: no craft of a fleet), the water, and what is known of a craft without records."""

    craft_id: str | None
    flooding: forecaster.Flooding
    hours_since_rebuild: float | None = None
    parts: str = "unknown"


def begin() -> None:
    """Unfold the form for who has told nothing yet; a link that tells something opens on the answer."""
    if OPEN not in st.session_state:
        st.session_state[OPEN] = not any(link.wanted(name) for name in ("happened", "water", "oil", "spin", "done"))


def ask_about_water(as_of: date, craft: Mapping[str, str], beside: Mapping[str, list[str]]) -> Told:
    """The form; the link then tells its answers. `craft`: names by craft_id, none where no fleet is open.

    `beside`: what else the link of the screen tells.

    Raises WrongUsage where what is told cannot be.
    """
    craft_id, choices = _which_craft(craft)
    st.markdown("**What happened**")
    happened_on = st.date_input(
        "On which day?",
        _wanted_happened(as_of),
        min_value=as_of - LONGEST_AGO,
        max_value=as_of,
        key="happened",
        format=day_style().field,
        help=f"Typed as {day_style().field}.",
    )
    happened_on = happened_on if isinstance(happened_on, date) else as_of  # a cleared day asks for today
    days = (as_of - happened_on).days
    ago = _hours_ago(as_of, days) if days <= 1 else ""
    beneath: dict[str, st.delta_generator.DeltaGenerator] = {}  # by question: where a STOP that it causes is shown
    facts = {q.name: _ask_and_leave_room(q, beneath) for q in (UNDER, WATER, ENGINE)}
    st.markdown("**What was found and done**")
    facts |= {q.name: _ask_and_leave_room(q, beneath) for q in (CYLINDER, OIL, TREATED)}
    most = float(ago) if ago else 24.0 * (days + 1)
    within = _ask(WITHIN, lambda hours: float(hours) <= most) if facts["done"] == "yes" else ""
    ran_under = facts["engine"] == "running" and facts["under"] != "0"
    facts |= {"spin": _ask_and_leave_room(SPIN, beneath)}
    facts |= {"compression": _ask_and_leave_room(COMPRESSION, beneath) if ran_under else "unknown"}
    age = run = None
    parts = "unknown"
    if craft_id is None:
        st.markdown("**The supercharger, as far as you know**")
        age = _hours(
            "age",
            "Engine hours since it was new or rebuilt",
            "Hours since rebuilt, now. Blank: don't know.",
            "Don't know",
        )
        run = _hours("run", "Engine hours run since the water", "Blank: none.", "None")
        parts = _ask(PARTS)
    choices |= {
        "ago": [ago] if ago else [],
        TOLD_ON: [as_of.isoformat()] if ago else [],
        "within": [within] if within else [],
        **{name: [] if answer in ("", "unknown", "not_done") else [answer] for name, answer in facts.items()},
        "age": [] if age is None else [number_text(age)],
        "run": [] if run is None else [number_text(run)],
        "parts": [] if parts == "unknown" else [parts],
    } | told_wrong.in_link()
    about = (craft_id or "", happened_on)
    choices |= {TICKED: sorted(ticked_off(about))}
    dated = happened_on != as_of or any(choices.values())  # a link of today must mean the same day tomorrow
    choices |= {**beside, "happened": [happened_on.isoformat()] if dated else []}
    link.show(choices)  # also what is refused below stays in the link, to be mended
    if refused := told_wrong.refusal():
        raise refused
    flooding = forecaster.flooding_of(
        happened_on=happened_on,
        hours_ago=link.number_in(ago),
        under_minutes=link.number_in(facts["under"]),
        water=facts["water"],
        engine=facts["engine"],
        oil=facts["oil"],
        treated=facts["done"],
        treated_within_h=link.number_in(within),
        water_in_cylinder=facts["cylinder"],
        spin=facts["spin"],
        compression=facts["compression"],
        hours_run_since=run,
    )
    for fact, why in forecaster.stops_by_fact(flooding).items():
        beneath[ASKED_BY[fact]].error(plain(why), icon=STOP_ICON)
    return Told(craft_id, flooding, age, parts)


def _ask_and_leave_room(question: Question, beneath: dict[str, st.delta_generator.DeltaGenerator]) -> str:
    """One question, and right beneath it the place where a STOP that its answer causes is shown."""
    answer = _ask(question)
    beneath[question.name] = st.empty()
    return answer


def _which_craft(craft: Mapping[str, str]) -> tuple[str | None, dict[str, list[str]]]:
    """The craft of the fleet that is asked about, None for none of them; and what the link tells of it."""
    if not craft:
        return None, {}
    known = [*craft, ELSEWHERE]
    wanted = link.first("craft")
    if wanted is not None and wanted not in known:
        told_wrong.say_at_top(f"There is no craft {plain(wanted)} in this fleet. Choose it from the list.")
    usual = 0 if len(craft) == 1 else None
    chosen = st.selectbox(
        "Which craft?",
        known,
        index=known.index(wanted) if wanted in known else usual,
        format_func=lambda craft_id: "Another craft, not in this fleet" if craft_id == ELSEWHERE else craft[craft_id],
        key="flooded_craft",
        placeholder="Choose the craft",
    )
    return (None if chosen in (None, ELSEWHERE) else chosen), {"craft": [] if chosen is None else [chosen]}


def _hours_ago(as_of: date, days: int) -> str:
    """How long ago it was, as told on this very day: "6 h ago" is no longer so the day after."""
    fresh = link.wanted(TOLD_ON) in ([], [as_of.isoformat()])
    possible = {hours for hours in AGO.answers if hours and 24 * (days - 1) <= float(hours) <= 24 * (days + 1)}
    return _ask(AGO, possible.__contains__, key=f"water_ago_{as_of}", from_link=fresh)


def _ask(
    question: Question,
    possible: Callable[[str], bool] = lambda _: True,
    key: str | None = None,
    from_link: bool = True,
) -> str:
    """One question with all answers in sight; those that are not `possible` are not offered."""
    answers = [answer for answer in question.answers if answer in ("", "unknown", "not_done") or possible(answer)]
    key = key or f"water_{question.name}"
    return ask_one_of(question.name, question.asks, question.answers, key, answers, from_link, question.help)


def _hours(name: str, asks: str, explained: str, blank: str) -> float | None:
    needed = f"engine hours from {HOURS[0]:g} to {HOURS[1]:g} are needed"
    return ask_number(name, asks, HOURS, needed, 1.0, f"water_{name}", blank, explained)


def _wanted_happened(as_of: date) -> date:
    for text in link.wanted("happened"):
        day = link.day_in(text)
        if day is not None and as_of - LONGEST_AGO <= day <= as_of:
            return day
        needed = f"a day up to {day_words(as_of)}, written 2026-05-01, is needed"
        told_wrong.say_at_top(f"The link tells {plain(f'happened={text}')}; {needed}.")
    return as_of
