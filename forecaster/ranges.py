"""Ranges: what a number or a day that comes in may be. Each is written here once; every way in takes it from here.

Beyond a range lies a typing error, or no question that a forecast can answer. The figures are common practice, no
source: far beyond what any rental fleet has, and near enough that nothing is reckoned with which is no number any more.
``forecaster.records`` has the ranges of the records' columns, ``forecaster.priors`` those of beliefs about a bearing.

Only the standard library is imported: the command line asks here before it imports what is heavy.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from numbers import Real
from typing import Any

from forecaster.errors import WrongUsage
from forecaster.shown_values import shown
from forecaster.written_days import DatedText

NEAREST_TO_0 = 1e-6  # of money, hours or a share, less than anybody measures; what is divided by it stays a number
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_WHOLE = re.compile(r"[+-]?[0-9]{1,18}")


class OutOfRange(ValueError):
    """A number that is not of its range, and why; `hint`: what to do where it lies beyond, with a space before it."""

    def __init__(self, told: str, hint: str) -> None:
        """Keep the hint apart: whoever says the refusal says the value between them."""
        super().__init__(told)
        self.hint = hint


@dataclass(frozen=True)
class NumberRange:
    """From `least` to `most`, both allowed. `noun`: what such a number is; `hint`: what to do beyond, a sentence."""

    noun: str
    least: float
    most: float
    whole: bool = False
    hint: str = ""

    @property
    def words(self) -> str:
        """The range in words: "a number of engine hours from 0 to 5,000"."""
        return f"{self.noun} from {self.least:,.12g} to {self.most:,.12g}"

    def why_not(self, value: object) -> str | None:
        """Why a value is not of this range, to be said after "must be"; None where it is."""
        if isinstance(value, bool) or not isinstance(value, Real):
            return f"{self.words}{', without quotation marks' if isinstance(value, str) else ''}"
        number: Any = value  # of whatever kind: each can be compared
        if not self.least <= number <= self.most or (self.whole and number != int(number)):
            return self.words
        if 0 < abs(number) < NEAREST_TO_0:
            return f"{self.words}; nearer to 0 than {NEAREST_TO_0:f} nothing can be told: write 0 if that is meant"
        return None

    def number(self, value: Any) -> float:
        """A value of this range as a number (0 is never -0). Raises OutOfRange that says what it must be."""
        if why := self.why_not(value):
            raise OutOfRange(f"must be {why}", self._hint_beyond(value))
        return int(value) if self.whole else float(value) + 0.0

    def asked(self, value: object, what: str) -> float:
        """The same of what was asked for in Python; `what` begins the refusal. Raises WrongUsage."""
        try:
            return self.number(value)
        except OutOfRange as refusal:
            raise WrongUsage(f"{what} {refusal}, not {shown(value)}.{refusal.hint}") from None

    def typed(self, text: str) -> float:
        """The number that a text says, in plain digits with a decimal point. Raises OutOfRange: "'x' is not ..."."""
        said = text.strip()
        number: float | None = None
        if (_WHOLE if self.whole else _NUMBER).fullmatch(said):
            number = int(said) if self.whole else float(said)
        why = self.words if number is None else self.why_not(number)
        if why:
            hint = self._hint_beyond(number)
            raise OutOfRange(f"{shown(text)} is not {why}{f'.{hint}'.removesuffix('.') if hint else ''}", hint)
        return self.number(number)

    def _hint_beyond(self, value: Any) -> str:
        beyond = isinstance(value, Real) and value > self.most  # type: ignore[operator]
        return f" {self.hint}" if self.hint and beyond else ""


# -- hours -------------------------------------------------------------------------------------------------------------

NO_ENGINE = "No such engine has run longer: look for a typing error."
ENGINE_HOURS = NumberRange("a number of engine hours", 0.0, 5_000.0, hint=NO_ENGINE)  # rental craft: 200 a season
HORIZON_HOURS = NumberRange("a number of engine hours", 0.1, 5_000.0)  # to look ahead; five minutes are no question
DAYS_BACK = 1096  # three years: what water began that long ago has shown by then
CLOCK_HOURS = NumberRange("a number of clock hours", 0.0, 24.0 * (DAYS_BACK + 1))
WEEK_MINUTES = 7 * 24 * 60.0
MINUTES_UNDER = NumberRange(
    "a number of minutes",
    0.0,
    WEEK_MINUTES,
    hint="A craft that truly lay under for over a week is for a mechanic, who opens everything.",
)

# -- money -------------------------------------------------------------------------------------------------------------

# Currencies differ by a factor of 25,000 and more: an engine's repair of 5,200 dollars is 130 million dong.
PRICE = NumberRange("an amount of money", 0.0, 1e9)
BUDGET = NumberRange("an amount of money", 0.0, 1e11)  # a hundred of the dearest units; what is above is no limit
DAYS_LOST = NumberRange("a number of days", 0.0, 366.0)  # to one job: more than a year is no downtime
CHANCE = NumberRange("a chance", 0.0, 1.0, hint="One in ten is 0.1.")
SHARE = NumberRange("a share", 0.0, 1.0, hint="A tenth is 0.1.")
LEAST_GAIN = NumberRange("a share of its cost", 0.0, 10.0, hint="A twentieth is 0.05.")  # above, nothing pays at all

# -- bench and shelf ---------------------------------------------------------------------------------------------------

A_WEEK = NumberRange("a number of rebuilds a week", 0.0, 10_000.0)  # twice the largest fleet, all at once
LEAD_WEEKS = NumberRange("a number of weeks", 0.0, 520.0)  # ten years
KITS = NumberRange("a whole number of kits", 0, 100_000, whole=True)
SPARE_UNITS = NumberRange("a whole number of units", 0, 1_000, whole=True)
SHAFT_PLAY_MM = NumberRange("a play in mm", 0.0, 20.0)  # beyond, the shaft has left its bearings
PLAY_LIMIT_MM = NumberRange("a play in mm", 0.01, 20.0)
SLIP_SETTING = NumberRange("a moment in lb·ft", 0.1, 200.0)  # of fleet.toml: whatever clutch there may be
SLIP_FOUND = NumberRange("a moment in lb·ft", 0.0, 40.0)  # beyond any clutch of this kind: mistyped
SLIP_TYPED = NumberRange("a moment in lb·ft", 0.0, 4_000.0)  # with a decimal point left out, which is then asked about

# -- invented fleets ---------------------------------------------------------------------------------------------------

CRAFT_INVENTED = NumberRange("a whole number of craft", 1, 5_000, whole=True)
SEASONS_INVENTED = NumberRange("a whole number of seasons", 1, 50, whole=True)
SEED = NumberRange("a whole number", 0, 2**31, whole=True)
# Of the process that reads one upload. Below the least memory the program itself has no room.
UPLOAD_MEMORY = NumberRange("a whole number of MB", 300, 64_000, whole=True)
UPLOAD_TIME = NumberRange("a whole number of seconds", 1, 3_600, whole=True)

# -- days --------------------------------------------------------------------------------------------------------------

# No supercharged craft for rent is older; and nobody plans beyond, while days and seasons can still be reckoned with.
FIRST_DAY, LAST_DAY = date(1990, 1, 1), date(2100, 12, 31)


def measured(number: float) -> float:
    """A number of a record: 0 is never -0. Raises ValueError for one nearer to 0 than anything that is measured."""
    if 0 < abs(number) < NEAREST_TO_0:
        raise ValueError(f"must not be nearer to 0 than {NEAREST_TO_0:f}")
    return number + 0.0


def within_days(day: date) -> bool:
    """Whether a day lies in the span in which the forecaster reckons."""
    return FIRST_DAY <= day <= LAST_DAY


def day_on_record(day: date) -> date:
    """A day of a record. Raises ValueError where it lies outside of the span."""
    if not within_days(day):
        raise ValueError(f"must lie between {FIRST_DAY} and {LAST_DAY}")
    return day


def refuse_day(day: object, what: str = "The day that is asked about", remedy: str = "Give another day.") -> None:
    """Raise WrongUsage where `day` is no date, or lies outside of the span.

    `what` begins the refusal, and `remedy` ends it.
    """
    if not isinstance(day, date) or isinstance(day, datetime):
        raise WrongUsage(f"{what} must be a date without a time of day, not {shown(day)}.")
    if not within_days(day):
        raise WrongUsage(
            DatedText(what, " must lie between ", FIRST_DAY, " and ", LAST_DAY, "; it is ", day, f". {remedy}")
        )
