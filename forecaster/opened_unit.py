"""What was found when one unit was opened: one finding, entered by a person, checked field by field.

It holds more than a row of rebuilds.csv, whose words it uses: what the bench sees and decides by on the day.
"""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from pydantic_core import PydanticCustomError

from forecaster.errors import WrongUsage
from forecaster.ranges import PLAY_LIMIT_MM, SHAFT_PLAY_MM, SLIP_FOUND, SLIP_TYPED
from forecaster.records import Metal, Parts, YesNoUnknown
from forecaster.shown_values import shortened, shown

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

Bearing = Literal["sound", "rough", "rusted", "failed", "unknown"]


def _no_typing_error(slip: float) -> float:
    if slip <= SLIP_FOUND.most:
        return slip
    likely = slip / 10.0
    remedy = f"was it {likely:g}?" if likely <= SLIP_FOUND.most else "read the moment again"
    raise PydanticCustomError("slip_mistyped", f"above {SLIP_FOUND.most:g} lb·ft, which looks mistyped: {remedy}")


SlipFound = Annotated[float, BeforeValidator(SLIP_TYPED.number), AfterValidator(_no_typing_error)]
Play = Annotated[float, BeforeValidator(SHAFT_PLAY_MM.number)]
PlayLimit = Annotated[float, BeforeValidator(PLAY_LIMIT_MM.number)]


class Finding(BaseModel):
    """What was found when one unit was opened. Words as in rebuilds.csv; not looked at is "unknown" or blank."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    reason: Literal["scheduled", "check", "symptom", "water", "failure", "other"] = Field(
        "other", description="why it was opened"
    )
    bearing: Bearing = Field("unknown", description="the bearing, spun by hand")
    impeller: Metal = Field("unknown", description="the impeller")
    front_housing: Metal = Field("unknown", description="the front housing")
    rear_housing: Metal = Field("unknown", description="the rear housing")
    scored_deeply: YesNoUnknown = Field(
        "unknown", description="whether scoring of a housing is deep: too deep to be cleaned up, by the mechanic's word"
    )
    shaft_play_mm: Play | None = Field(None, description="play of the shaft, mm")
    play_limit_mm: PlayLimit | None = Field(None, description="the most that the maker's manual allows, mm")
    wobble: YesNoUnknown = Field("unknown", description="whether the shaft can be felt to wobble")
    shaft_true: YesNoUnknown = Field("unknown", description="whether the shaft runs true")
    slip_found_lb_ft: SlipFound | None = Field(None, description="clutch slip moment, lb·ft")
    clutch_washers: Literal["good", "worn", "broken", "unknown"] = Field("unknown", description="the clutch washers")
    parts_fitted: Parts = Field("unknown", description="the rotating parts that came out")
    debris: YesNoUnknown = Field("unknown", description="metal found in the housing, duct or intercooler")
    oil: Literal["clear", "milky", "unknown"] = Field("unknown", description="the engine's oil")
    oil_in_intercooler: YesNoUnknown = Field("unknown", description="oil or its vapour found in the intercooler")
    catch_can: YesNoUnknown = Field("unknown", description="oil catch can on the crankcase breather")
    tuned: YesNoUnknown = Field("unknown", description="more boost than stock")


def finding_of(given: Mapping[str, object]) -> Finding:
    """A finding from words and numbers as a person enters them; what is not given is unknown.

    Raises WrongUsage that names every field that cannot be used, its value, and what it may be.
    """
    try:
        return Finding.model_validate(dict(given))
    except ValidationError as error:
        raise WrongUsage("\n".join(_in_plain_words(problem) for problem in error.errors(include_url=False))) from error


def _in_plain_words(problem: ErrorDetails) -> str:
    name, value = str(problem["loc"][0]), problem["input"]
    if problem["type"] == "extra_forbidden":
        name = shortened(name)
        near = get_close_matches(name, Finding.model_fields, n=1, cutoff=0.0)[0]
        return f"A finding has no {name}. The nearest is {near}: {Finding.model_fields[near].description}."
    info = Finding.model_fields[name]
    reason = problem["msg"].removeprefix("Value error, ").replace("Input should be", "must be")
    return f"{name} ({info.description}) = {shown(value)}: {reason}{'' if reason.endswith('?') else '.'}"
