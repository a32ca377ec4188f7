"""What is told of a craft that was under water, checked on the way in."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated, Any, Literal

import pandas as pd
from pydantic import BeforeValidator, Field, ValidationError, model_validator

from forecaster.errors import WrongUsage
from forecaster.findings import PROMPT_H, treatment_of
from forecaster.ranges import CLOCK_HOURS, DAYS_BACK, ENGINE_HOURS, MINUTES_UNDER, refuse_day
from forecaster.records import Day, Oil, Record, Water, YesNoUnknown
from forecaster.shown_values import shortened, shown
from forecaster.written_days import DatedText

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

Engine = Literal["running", "off", "unknown"]
Spin = Literal["quiet", "slight", "rattle", "not_done"]
Compression = Literal["good", "low", "unknown"]

# What can be so, and no more: what lies beyond is a typing error, or no question for a forecast.
ROUGHLY_H = 1.0  # clock hours since the water are told roughly
ClockHours = Annotated[float, BeforeValidator(CLOCK_HOURS.number)]
EngineHours = Annotated[float, BeforeValidator(ENGINE_HOURS.number)]
Minutes = Annotated[float, BeforeValidator(MINUTES_UNDER.number)]


class Flooding(Record):
    """One time that a craft was under water, what was found, and what was done about it so far.

    Raises pydantic's ValidationError; ``flooding_of`` says the same in plain words.
    """

    happened_on: Day = Field(description="day it happened")
    under_minutes: Minutes | None = Field(None, description="minutes under water; 0: swamped, but never under")
    water: Water = Field("unknown", description="the water that got in")
    engine: Engine = Field("unknown", description="whether the engine ran as it went under")
    oil: Oil = Field("unknown", description="what the oil looks like now")
    treated: YesNoUnknown = Field(
        "unknown", description="yes: oil changed until clear, and the engine run warm to dry it"
    )
    treated_within_h: ClockHours | None = Field(None, description="clock hours from the water to the treatment")
    water_in_cylinder: YesNoUnknown = Field("unknown", description="whether water was seen in a cylinder, plugs out")
    spin: Spin = Field("not_done", description="supercharger off the engine and spun by hand, since then")
    compression: Compression = Field("unknown", description="what a mechanic's compression test since then showed")
    hours_run_since: EngineHours | None = Field(
        None, description="engine hours run since then; where a log does not tell"
    )
    hours_ago: ClockHours | None = Field(None, description="clock hours from the water to now, roughly")

    @model_validator(mode="after")
    def _treated_when_only_if_treated(self) -> Flooding:
        if self.treated_within_h is not None and self.treated != "yes":
            raise ValueError(
                f"treated_within_h ({self.treated_within_h:g} h) is given, but treated is {self.treated!r}: say "
                "treated = yes, or leave treated_within_h out"
            )
        return self

    @property
    def ran_under(self) -> bool:
        """Whether the engine ran while it went under; only "0 minutes" says that it was never under."""
        return self.engine == "running" and self.under_minutes != 0

    @property
    def may_have_run_under(self) -> bool:
        """Whether it ran while it went under, or nobody knows that it did not."""
        return self.engine != "off" and self.under_minutes != 0

    @property
    def treatment(self) -> str:
        """How it stands now: one of ``lives.TREATMENTS``."""
        within = pd.Series([self.treated_within_h], dtype=float)
        return str(treatment_of(pd.Series([self.treated]), within)[0])

    def days_since(self, as_of: date) -> int:
        """Days from then to `as_of`."""
        return (as_of - self.happened_on).days

    def treatment_to_be_had(self, as_of: date) -> str:
        """How it will stand once the oil is changed and the engine run warm on `as_of`: one of ``lives.TREATMENTS``.

        Prompt while the clock hours are not over; where nobody told those, on the day itself: on a later day they may
        be over, so it counts as late. Where nobody knows whether it was treated, it stays unknown: it may have been.
        """
        if self.treated == "yes":
            return self.treatment
        left = self.hours_left_to_treat
        if self.days_since(as_of) == 0 if left is None else left > 0:
            return "prompt"
        return "late" if self.treated == "no" else "unknown"

    @property
    def hours_left_to_treat(self) -> float | None:
        """Clock hours left in which a treatment still counts as prompt; None where nobody told how long ago it was."""
        return None if self.hours_ago is None else max(0.0, PROMPT_H - self.hours_ago)

    def with_facts(self, **facts: Any) -> Flooding:
        """The same with some facts replaced, checked again."""
        return flooding_of(**(self.model_dump() | facts))


def flooding_of(**facts: Any) -> Flooding:
    """A `Flooding` from its facts. Raises WrongUsage that names each fact, its value and what must hold."""
    try:
        return Flooding(**facts)
    except ValidationError as error:
        raise WrongUsage(_in_plain_words(error)) from error


def _in_plain_words(error: ValidationError) -> str:
    lines = []
    for problem in error.errors(include_url=False):
        name = ".".join(str(part) for part in problem["loc"])
        reason = problem["msg"].removeprefix("Value error, ")
        if problem["type"] == "missing":
            lines.append(f"{name} is needed: {Flooding.model_fields[name].description}.")
        elif problem["type"] == "extra_forbidden":
            lines.append(f"{shortened(name)} is not a fact about water. Known: {', '.join(Flooding.model_fields)}.")
        elif name:
            lines.append(
                f"{name} {reason.replace('Input should be', 'must be')}, not {shown(problem['input'])}.{_hint(problem)}"
            )
        else:
            lines.append(f"{reason}.")
    return "\n".join(lines)


def _hint(problem: ErrorDetails) -> str:
    return str(getattr(problem.get("ctx", {}).get("error"), "hint", ""))


def day_of_water(hours_ago: float | None, as_of: date) -> date:
    """The day it happened where only the clock hours since then are told: `as_of` where nobody told those either."""
    return as_of if hours_ago is None else as_of - timedelta(days=int(hours_ago // 24.0))


def refuse_impossible(flooding: Flooding, as_of: date) -> None:
    """Raise WrongUsage, with the reason and what to do, where what is told cannot be so on the day asked about.

    It happened after that day or over three years before; day and clock hours contradict each other; it was under, was
    treated, or ran, for longer than there was time.
    """
    refuse_day(as_of)
    for contradiction in (_of_days, _of_hours_ago, _of_treatment, _of_minutes, _of_engine_hours):
        if told := contradiction(flooding, as_of):
            raise WrongUsage(told)


def _of_days(flooding: Flooding, as_of: date) -> str:
    days = flooding.days_since(as_of)
    happened = ("It happened on ", flooding.happened_on)
    if days < 0:
        return DatedText(*happened, ", after ", as_of, ", the day that is asked about. Correct one of the two days.")
    if days > DAYS_BACK:
        return DatedText(
            *happened,
            ", over three years before ",
            as_of,
            ". What that water began has shown by now. Correct the day, or spin the supercharger by hand instead of "
            "asking here.",
        )
    return ""


def _of_hours_ago(flooding: Flooding, as_of: date) -> str:
    ago, days = flooding.hours_ago, flooding.days_since(as_of)
    if ago is None or 24.0 * (days - 1) <= ago <= 24.0 * (days + 1):
        return ""
    return DatedText(
        "It happened on ",
        flooding.happened_on,
        f" and {ago:g} clock hours before ",
        as_of,
        ", the day that is asked about: both cannot be. Correct one of the two, or leave the hours out.",
    )


def _of_treatment(flooding: Flooding, as_of: date) -> str:
    ago, within, days = flooding.hours_ago, flooding.treated_within_h, flooding.days_since(as_of)
    if within is None:
        return ""
    if ago is not None and within > ago:
        return (
            f"It was treated {within:g} h after the water, which was only {ago:g} h ago. What is still to be done is "
            "treated = no."
        )
    if within > 24.0 * (days + 1):
        return DatedText(
            f"It was treated {within:g} h after ",
            flooding.happened_on,
            ", which is after ",
            as_of,
            ", the day that is asked about. What is still to be done is treated = no.",
        )
    return ""


def _clock_hours_since(flooding: Flooding, as_of: date) -> tuple[float, str]:
    """The most clock hours that have passed since the water, and the same in words."""
    if flooding.hours_ago is not None:
        return flooding.hours_ago + ROUGHLY_H, f"the water came only {flooding.hours_ago:g} clock hours ago"
    hours = 24.0 * (flooding.days_since(as_of) + 1)
    return hours, f"at most {hours:g} clock hours have passed since the water"


def _of_minutes(flooding: Flooding, as_of: date) -> str:
    minutes = flooding.under_minutes
    if minutes is None:
        return ""
    hours, known = _clock_hours_since(flooding, as_of)
    if minutes > 60.0 * hours:
        return f"It was under for {minutes:,.0f} minutes, but {known}. Correct one of the two."
    return ""


def _of_engine_hours(flooding: Flooding, as_of: date) -> str:
    run = flooding.hours_run_since
    if run is None:
        return ""
    hours, known = _clock_hours_since(flooding, as_of)
    if run > hours:
        return f"It ran for {run:g} engine hours since then, but {known}. Correct one of the two."
    return ""
