"""What the viewer asks: the day, the horizon, the part of the fleet, the life model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

import streamlit as st

import forecaster
import link
from days import day_style
from told_wrong import say_at_top
from words import day_words, listed, plain

LEAST_HOURS, MOST_HOURS = forecaster.HORIZONS[0], forecaster.HORIZONS[-1]
HOURS_STEP = forecaster.HORIZONS[1] - LEAST_HOURS
MODEL_TOLD = {
    "two-stage": "two stages: sound, defective, failed",
    "weibull": "one stage: failed or not (Weibull), as a rival",
}
PLACES = {"base": "Base", "owner": "Owner"}


@dataclass(frozen=True)
class Asked:
    """The day, the horizon in engine hours, the life model, and the bases and owners (empty: all)."""

    as_of: date
    hours: int
    model: str
    places: dict[str, list[str]] = field(default_factory=dict)

    @property
    def among(self) -> str:
        """The part of the fleet in words: "at Lagoon and North Pier"; empty for the whole."""
        chosen = [name for names in self.places.values() for name in names]
        return f"at {listed(chosen)}" if chosen else ""

    def in_link(self, today: date) -> dict[str, list[str]]:
        """The choices as the link tells them; what is as usual is empty."""
        return {
            "hours": [] if self.hours == forecaster.DEFAULT_HOURS else [str(self.hours)],
            "as_of": link.as_of(self.as_of, today),
            "model": [] if self.model == forecaster.DEFAULT_MODEL else [self.model],
            **self.places,
        }


def ask(today: date, first_day: date | None, choices: dict[str, list[str]]) -> Asked:
    """The row of controls. `first_day`: earliest day of the records; `choices`: bases and owners to narrow down to.

    A link that asks for what there is not gets a word of warning and the usual choice.
    """
    earliest = min(first_day or today, today)
    models = list(forecaster.MODELS)
    hours, day, model = _wanted_hours(), wanted_day(earliest, today), _wanted_model(models)
    with st.container(horizontal=True, vertical_alignment="bottom", key="controls"):
        hours = st.slider(
            "Look ahead, engine hours",
            LEAST_HOURS,
            MOST_HOURS,
            hours,
            HOURS_STEP,
            key="hours",
            help="The chance of failing is given for this many more engine hours. 50 h is about one busy month.",
            width=300,
        )
        as_of = _day_input(earliest, day, today)
        with st.expander("More", icon=":material/tune:", type="compact"):
            places = {name: _narrow(name, known) for name, known in choices.items() if known}
            model = st.radio(
                "Life model",
                models,
                index=models.index(model),
                format_func=lambda name: MODEL_TOLD.get(name, name),
                key="model",
            )
    return Asked(as_of=as_of, hours=hours, model=model, places=places)


def ask_day(today: date, first_day: date | None) -> date:
    """The day alone, for a screen that asks nothing else of the fleet; see ``ask``."""
    earliest = min(first_day or today, today)
    return _day_input(earliest, wanted_day(earliest, today), today)


def _day_input(earliest: date, day: date, today: date) -> date:
    as_of = st.date_input(
        "As of",
        day,
        min_value=earliest,
        max_value=today,
        key="as_of",
        format=day_style().field,
        help=f"The forecast uses nothing that is dated later. Typed as {day_style().field}.",
        width=150,
    )
    return as_of if isinstance(as_of, date) else today  # a cleared day asks for today


def _narrow(name: str, known: Sequence[str]) -> list[str]:
    asked = link.wanted(name)
    wanted = [value for value in asked if value in known]
    if strange := [value for value in asked if value not in known]:
        _tell(f"{name}={', '.join(strange)}", f"this fleet has no such {PLACES[name].lower()}; it is left out")
    return st.multiselect(PLACES[name], known, wanted, key=name, placeholder="all")


def _wanted_hours() -> int:
    usual = int(forecaster.DEFAULT_HOURS)
    for text in link.wanted("hours"):
        number = link.number_in(text)
        if number is not None and number.is_integer() and LEAST_HOURS <= number <= MOST_HOURS:
            return int(number)
        _tell(f"hours={text}", f"a whole number from {LEAST_HOURS} to {MOST_HOURS} is needed; {usual} h is shown")
    return usual


def wanted_day(earliest: date, today: date) -> date:
    """The day that the link asks for; today, with a word of warning, where it cannot be had."""
    for text in link.wanted("as_of"):
        day = link.day_in(text)
        if day is not None and earliest <= day <= today:
            return day
        span = f"from {day_words(earliest)} to {day_words(today)}"
        _tell(f"as_of={text}", f"a day {span}, written 2026-05-01, is needed; today is shown")
    return today


def _wanted_model(known: Sequence[str]) -> str:
    usual = forecaster.DEFAULT_MODEL
    for text in link.wanted("model"):
        if text in known:
            return text
        _tell(f"model={text}", f"the models are {listed(known)}; {usual} is shown")
    return usual


def _tell(what: str, why: str) -> None:
    say_at_top(f"The link asks for {plain(what)}: {plain(why)}.")
