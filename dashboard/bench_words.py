"""What to do with an opened unit and with the fleet's clutches, in sentences."""

from __future__ import annotations

import math
from functools import partial

import forecaster
from words import SPACE, TO, Interval, capital, count_words, hours_words, money, percent, plain

SLIP_CAUTION = (
    "Measuring and resetting a clutch is work on an opened machine: the maker's manual, with its own figure for the "
    "slip, and a licensed mechanic come before anything shown here."
)
SLIP_TOLD = (
    "Slip in lb·ft: the clutch's true moment now, not one reading's; in brackets the 90 % interval. Limit: below it, "
    "too low for full boost. Hours left: engine hours until then if nobody resets it."
)


def quote_words(advice: forecaster.TeardownAdvice, currency: str) -> str:
    """What the job may come to: "USD 650" or "USD 650 to 1,700"."""
    return forecaster.job_price(advice.quote, partial(money, currency=currency))


def teardown_answer(advice: forecaster.TeardownAdvice, currency: str) -> str:
    """What to do with the unit and what it comes to, in one sentence."""
    return forecaster.teardown_headline(advice, partial(money, currency=currency))


def quote_notes(advice: forecaster.TeardownAdvice, currency: str, in_season: bool, whose: str) -> str:
    """What the quote holds and what it does not."""
    notes = forecaster.quote_notes(advice, partial(money, currency=currency), in_season)
    return " ".join([f"Prices: {plain(whose)}. Lost rental days are not in them.", *notes])


def slip_answer(slip: forecaster.FleetSlip) -> str:
    """The clutches in one sentence: how many to reset and to measure, and the one most likely too low."""
    low = slip.units[0]
    lowest = (
        f"Most likely too low: {plain(low.unit_id)}, {moment(low.slip_now)}{SPACE}lb·ft, too low below {low.limit:.1f}."
    )
    return capital(forecaster.slip_headline(slip, count_words(len(slip.units), "clutch", "clutches"), lowest))


def slip_evidence(slip: forecaster.FleetSlip) -> str:
    """What the slip forecast was learned from."""
    told = (
        f"Learned from {count_words(slip.readings, 'slip reading')} of {count_words(slip.clutches, 'clutch setting')}; "
        f"one reading is good to about {slip.reading_error:.1f}{SPACE}lb·ft (one standard deviation)."
    )
    return f"{told} Mostly general experience." if slip.mostly_prior else told


def moment(estimate: Interval) -> str:
    """A moment with its interval: "12.3 (10.7–14.0)"; "to" where a dash would read as a minus."""
    between = " to " if estimate.low < 0 else TO
    return f"{estimate.mean:z.1f} ({estimate.low:z.1f}{between}{estimate.high:z.1f})".replace(" ", SPACE)


def hours_to_limit(left: forecaster.HoursToLimit) -> str:
    """Engine hours until slip is too low, median with 90 % interval: "112 h (22–285 h)"; "never" where it is not."""
    return f"{_hours(left.p50)} ({_hours(left.p05)}{TO}{_hours(left.p95)})".replace(" ", SPACE)


def _hours(value: float | None) -> str:
    return "never" if value is None else hours_words(value)


def since_set(hours: float) -> str:
    """Hours since a clutch was set."""
    return hours_words(hours) if math.isfinite(hours) else "unknown"


def low_share(share: float) -> str:
    """A chance from draws, which show neither a nought nor a certainty."""
    if share < 0.01:
        return f"less than 1{SPACE}%"
    return f"more than 99{SPACE}%" if share > 0.99 else percent(share)
