"""The scale of jobs on an opened unit, and what each thing that was found asks for: at least, and at most.

A thing that was found asks for a job at least, and, where something is not known yet, for more at most. The whole
asks for the greatest of each, so that a worse finding can never ask for less. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import IntEnum
from typing import Literal, NamedTuple

from forecaster.core_condition import CoreCondition
from forecaster.opened_unit import Finding
from forecaster.slip import SlipLimits

# Play that can be felt as a wobble: no manual's limit lies as high. Common practice, no source.
FELT_PLAY_MM = 0.5
NOISY = ("rough", "rusted")


# Each is more than the one before it.
Job = Literal["put back", "reset and put back", "rebuild", "new unit"]
Decision = Literal[Job, "measure first"]
GOES_BACK: tuple[Decision, ...] = ("put back", "reset and put back")


class Scale(IntEnum):
    """Jobs as what was found asks for them. What a rebuild comes to where parts are lost is for the prices."""

    PUT_BACK = 0
    RESET = 1
    REBUILD = 2


AskCode = Literal[
    "bearing_noisy",
    "bearing_failed",
    "play_beyond_limit",
    "play_felt",
    "wobble",
    "shaft_bent",
    "contact",
    "washers_broken",
    "metal_found",
    "scheduled",
    "bearing_not_spun",
    "play_unjudged",
    "cause_not_found",
    "slip_too_low",
    "slip_too_high",
    "washers_worn",
    "slip_not_measured",
    "aftermarket_found",
]


ReasonCode = Literal[
    AskCode,
    "core_lost",
    "part_bought",
    "part_price_unknown",
    "dearer_than_new",
    "core_doubtful",
    "core_not_inspected",
    "limit_not_believed",
    "sound_goes_back",
    "rust_may_follow",
    "noise_unexplained",
]


class Ask(NamedTuple):
    """One thing that was found or is missing, and the job that it asks for."""

    code: AskCode
    at_least: Scale
    at_most: Scale


def asks_of(finding: Finding, core: CoreCondition, limits: SlipLimits) -> list[Ask]:
    """Everything that asks for a job, in the order in which it is told."""
    return [
        *(Ask(code, Scale.REBUILD, Scale.REBUILD) for code in _reasons_to_rebuild(finding, core)),
        *(Ask(code, Scale.PUT_BACK, Scale.REBUILD) for code in _open_questions(finding)),
        *_clutch(finding, limits),
    ]


def tuned_share(finding: Finding) -> float:
    """1 where the boost is raised; what nobody knows counts as stock."""
    return 1.0 if finding.tuned == "yes" else 0.0


def believed_limit(finding: Finding) -> float | None:
    """The manual's limit of play, mm, unless it lies where a shaft can be felt to wobble: then it was misread."""
    limit = finding.play_limit_mm
    return limit if limit is not None and limit < FELT_PLAY_MM else None


def _reasons_to_rebuild(finding: Finding, core: CoreCondition) -> Iterator[AskCode]:
    if finding.bearing in NOISY:
        yield "bearing_noisy"
    if finding.bearing == "failed":
        yield "bearing_failed"
    play, limit = finding.shaft_play_mm, believed_limit(finding)
    if play is not None and limit is not None and play > limit:
        yield "play_beyond_limit"
    elif play is not None and play >= FELT_PLAY_MM:
        yield "play_felt"
    if finding.wobble == "yes":
        yield "wobble"
    if finding.shaft_true == "no":
        yield "shaft_bent"
    if core.touched:
        yield "contact"
    if finding.clutch_washers == "broken":
        yield "washers_broken"
    if finding.debris == "yes":
        yield "metal_found"
    if finding.reason == "scheduled":
        yield "scheduled"


def _open_questions(finding: Finding) -> Iterator[AskCode]:
    """What may come to a rebuild: not known yet, or, of aftermarket parts, how long they last."""
    if finding.bearing == "unknown":
        yield "bearing_not_spun"
    play = finding.shaft_play_mm
    if play is not None and 0 < play < FELT_PLAY_MM and believed_limit(finding) is None:
        yield "play_unjudged"
    if finding.reason == "failure":
        yield "cause_not_found"
    if finding.parts_fitted == "aftermarket":
        yield "aftermarket_found"


def _clutch(finding: Finding, limits: SlipLimits) -> Iterator[Ask]:
    found, tuned = finding.slip_found_lb_ft, tuned_share(finding)
    if found is None:
        yield Ask("slip_not_measured", Scale.PUT_BACK, Scale.RESET)
    elif found < limits.too_low(tuned):
        yield Ask("slip_too_low", Scale.RESET, Scale.RESET)
    elif found > limits.too_high(tuned):
        yield Ask("slip_too_high", Scale.RESET, Scale.RESET)
    if finding.clutch_washers == "worn":
        yield Ask("washers_worn", Scale.RESET, Scale.RESET)
