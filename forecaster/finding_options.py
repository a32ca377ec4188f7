"""The options of ``forecaster teardown``: what the bench tells of one opened unit, as words of the command line.

They repeat the fields and words of ``forecaster.opened_unit.Finding``, which is too heavy to ask for --help; the tests
hold them together.
"""

from __future__ import annotations

from argparse import Namespace

from forecaster.command_line import Argument, NumberOf, argument
from forecaster.ranges import PLAY_LIMIT_MM, SHAFT_PLAY_MM, SLIP_TYPED

METAL = ("good", "corroded", "rubbed", "scored", "destroyed", "unknown")
YES_NO = ("yes", "no", "unknown")
# Option, field of Finding, its words, what it is.
WORDS = (
    ("--reason", "reason", ("scheduled", "check", "symptom", "water", "failure", "other"), "why it was opened"),
    ("--bearing", "bearing", ("sound", "rough", "rusted", "failed", "unknown"), "the bearing, spun by hand"),
    ("--impeller", "impeller", METAL, "the impeller"),
    ("--front-housing", "front_housing", METAL, "the front housing"),
    ("--rear-housing", "rear_housing", METAL, "the rear housing"),
    ("--scored-deeply", "scored_deeply", YES_NO, "scoring of a housing is too deep to be cleaned up"),
    ("--wobble", "wobble", YES_NO, "the shaft can be felt to wobble"),
    ("--shaft-true", "shaft_true", YES_NO, "the shaft runs true"),
    ("--clutch-washers", "clutch_washers", ("good", "worn", "broken", "unknown"), "the clutch washers"),
    ("--parts", "parts_fitted", ("oem", "aftermarket", "unknown"), "the rotating parts that came out"),
    ("--debris", "debris", YES_NO, "metal found in the housing, duct or intercooler"),
    ("--oil", "oil", ("clear", "milky", "unknown"), "the engine's oil"),
    ("--oil-in-intercooler", "oil_in_intercooler", YES_NO, "oil or its vapour found in the intercooler"),
    ("--catch-can", "catch_can", YES_NO, "oil catch can on the crankcase breather"),
    ("--tuned", "tuned", YES_NO, "more boost than stock"),
)
# Option, field of Finding, its unit on the command line, its range, what it is.
NUMBERS = (
    ("--shaft-play-mm", "shaft_play_mm", "MM", SHAFT_PLAY_MM, "play of the shaft, mm"),
    ("--play-limit-mm", "play_limit_mm", "MM", PLAY_LIMIT_MM, "the most play that the maker's manual allows, mm"),
    ("--slip-found", "slip_found_lb_ft", "LB_FT", SLIP_TYPED, "clutch slip moment as found, lb·ft"),
)


def finding_options() -> tuple[Argument, ...]:
    """One option for each field of a finding; what is left out is unknown."""
    words = [
        argument(name, dest=field, choices=choices, metavar="WORD", help=f"{what}: {', '.join(choices)}")
        for name, field, choices, what in WORDS
    ]
    numbers = [
        argument(name, dest=field, metavar=unit, type=NumberOf(limits), help=what)
        for name, field, unit, limits, what in NUMBERS
    ]
    return (*words, *numbers)


def told_finding(asked: Namespace) -> dict[str, object]:
    """What was told of the unit, by field of Finding; what was left out is not there."""
    fields = [field for _, field, *_ in (*WORDS, *NUMBERS)]
    return {field: getattr(asked, field) for field in fields if getattr(asked, field) is not None}
