"""What is told of a craft that was under water, checked on the way in."""

from __future__ import annotations

from datetime import date
from typing import Any, Literal

import pandas as pd
from pydantic import Field, ValidationError, model_validator

from forecaster.errors import WrongUsage
from forecaster.findings import PROMPT_H, treatment_of
from forecaster.records import Hours, Oil, Record, Water, YesNoUnknown
from forecaster.written_days import DatedText

Engine = Literal["running", "off", "unknown"]
Spin = Literal["quiet", "slight", "rattle", "not_done"]


class Flooding(Record):
    """One time that a craft was under water, what was found, and what was done about it so far.

    Raises pydantic's ValidationError; ``flooding_of`` says the same in plain words.
    """

    happened_on: date = Field(description="day it happened")
    under_minutes: Hours | None = Field(None, description="minutes under water; 0: swamped, but never under")
    water: Water = Field("unknown", description="the water that got in")
    engine: Engine = Field("unknown", description="whether the engine ran as it went under")
    oil: Oil = Field("unknown", description="what the oil looks like now")
    treated: YesNoUnknown = Field(
        "unknown", description="yes: oil changed until clear, and the engine run warm to dry it"
    )
    treated_within_h: Hours | None = Field(None, description="clock hours from the water to the treatment")
    water_in_cylinder: YesNoUnknown = Field("unknown", description="whether water was seen in a cylinder, plugs out")
    spin: Spin = Field("not_done", description="supercharger off the engine and spun by hand, since then")
    hours_run_since: Hours | None = Field(None, description="engine hours run since then; where a log does not tell")
    hours_ago: Hours | None = Field(None, description="clock hours from the water to now, roughly")

    @model_validator(mode="after")
    def _treated_when_only_if_treated(self) -> Flooding:
        if self.treated_within_h is not None and self.treated != "yes":
            raise ValueError(
                f"treated_within_h ({self.treated_within_h:g} h) is told, but treated is {self.treated!r}: say "
                "treated = yes, or leave treated_within_h out"
            )
        return self

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
            lines.append(f"{name} must be told: {Flooding.model_fields[name].description}.")
        elif problem["type"] == "extra_forbidden":
            lines.append(f"{name} is not something to tell of water. Known: {', '.join(Flooding.model_fields)}.")
        elif name:
            lines.append(f"{name} {reason.replace('Input should be', 'must be')}, not {problem['input']!r}.")
        else:
            lines.append(f"{reason}.")
    return "\n".join(lines)


def refuse_wrong_days(flooding: Flooding, as_of: date) -> None:
    """Raise WrongUsage where it happened, or was treated, after the day asked about, or day and hours contradict."""
    days = flooding.days_since(as_of)
    if days < 0:
        raise WrongUsage(
            DatedText(
                "It happened on ",
                flooding.happened_on,
                ", after ",
                as_of,
                ", the day that is asked about. Mend one of the two.",
            )
        )
    ago, within = flooding.hours_ago, flooding.treated_within_h
    if ago is not None and not 24.0 * (days - 1) <= ago <= 24.0 * (days + 1):
        raise WrongUsage(
            DatedText(
                "It happened on ",
                flooding.happened_on,
                f" and {ago:g} clock hours before ",
                as_of,
                ", the day that is asked about: both cannot be. Mend one of the two, or leave the hours out.",
            )
        )
    if ago is not None and within is not None and within > ago:
        raise WrongUsage(
            f"It was treated {within:g} h after the water, which was only {ago:g} h ago. What is still to be done is "
            "treated = no."
        )
    if within is not None and within > 24.0 * (days + 1):
        raise WrongUsage(
            DatedText(
                f"It was treated {within:g} h after ",
                flooding.happened_on,
                ", which is after ",
                as_of,
                ", the day that is asked about. What is still to be done is treated = no.",
            )
        )
