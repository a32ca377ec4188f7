"""The link in the address bar: it carries screen, unit, day and horizon, so that what is seen can be sent.

What a link leaves out is as it was on the screen before, so that going from screen to screen keeps every choice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import streamlit as st

KEPT = "link"  # the choices of all screens so far, in the session
EVERYWHERE = "fleet"  # part of every screen's link
DAYS = "days"  # so is this: how days are written, the viewer's own choice, whatever fleet is open
UNIT_SCREEN = "screens/one_unit.py"
WATER_SCREEN = "screens/after_water.py"
UNIT_KEEPS = ("hours", "as_of", "model")  # of the fleet's choices, what one unit's screen asks too


def wanted(name: str) -> list[str]:
    """The values that the link, or else an earlier screen, asks for; empty where neither does."""
    return st.query_params.get_all(name) or kept(name)


def kept(name: str) -> list[str]:
    """What was asked for so far, whatever the link says now."""
    return list(st.session_state.get(KEPT, {}).get(name, []))


def keep(name: str, values: Sequence[str]) -> None:
    """Keep a choice that no screen asks for; the link tells it at the next ``show``."""
    st.session_state[KEPT] = {**st.session_state.get(KEPT, {}), name: list(values)}


def first(name: str) -> str | None:
    """The same for what takes one value; None where neither asks for any."""
    return next(iter(wanted(name)), None)


def day_in(text: str) -> date | None:
    """A day as a link tells it; None where it is none."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def number_in(text: str) -> float | None:
    """A number of at least 0 in plain digits; None where it is none."""
    digits = text.replace(".", "", 1)
    return float(text) if digits.isascii() and digits.isdecimal() else None


def as_of(day: date, today: date) -> list[str]:
    """The day of an answer as the link tells it; today is as usual."""
    return [] if day == today else [day.isoformat()]


def to_unit(unit_id: str) -> dict[str, list[str]]:
    """The link of one unit's screen with every choice that it keeps.

    Whole from the start: a screen that mends its own link leaves a step in the browser's history that leads back to
    the mending.
    """
    carried = {name: wanted(name) for name in (EVERYWHERE, DAYS, *UNIT_KEEPS)}
    return {name: values for name, values in {**carried, "unit": [unit_id]}.items() if values}


def to_after_water(craft_id: str, happened_on: date | None) -> dict[str, list[str]]:
    """The link of "After water" with the craft, and the day of the water, chosen."""
    carried = {name: wanted(name) for name in (EVERYWHERE, DAYS, "as_of")}
    day = [] if happened_on is None else [happened_on.isoformat()]
    return {name: values for name, values in {**carried, "craft": [craft_id], "happened": day}.items() if values}


def show(choices: Mapping[str, Sequence[str]]) -> None:
    """Let the link say this screen's choices and keep them for the next; one without values is as usual: left out."""
    choices = {EVERYWHERE: wanted(EVERYWHERE), DAYS: kept(DAYS), **choices}
    st.session_state[KEPT] = {**st.session_state.get(KEPT, {}), **choices}
    told = {name: list(values) for name, values in choices.items() if values}
    if {name: st.query_params.get_all(name) for name in st.query_params} != told:
        st.query_params.from_dict(told)


def begin_anew(fleet: Sequence[str], keep: Sequence[str] = ()) -> None:
    """Forget every choice and everything kept of one fleet, since another is opened; `keep`: names in the session.

    Units and craft of two fleets may have the same names, and what was ticked off of one is not done to the other.
    How days are written is no fleet's.
    """
    choices = {EVERYWHERE: list(fleet), DAYS: kept(DAYS)}
    for name in [name for name in st.session_state if name not in keep]:
        del st.session_state[name]
    st.session_state[KEPT] = choices
    st.query_params.from_dict({name: values for name, values in choices.items() if values})
