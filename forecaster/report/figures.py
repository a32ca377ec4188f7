"""How single figures are written everywhere: chances, hours, counts. Each carries its unit."""

from __future__ import annotations

import math
from collections.abc import Sequence

from forecaster.amounts import Amount
from forecaster.forecast import HOURS_GRID, Chance, HoursLeft
from forecaster.written_chances import percent as percent

NUMBER_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
FURTHEST = float(HOURS_GRID[-1])  # a curve is followed this far; beyond, hours are told as "more than"


def percent_range(chance: Chance) -> str:
    """The central 90 % interval: "5-13 %"."""
    low, high = percent(chance.low), percent(chance.high)
    return high if low == high else f"{low.removesuffix(' %')}-{high}"


def percent_with_range(chance: Chance) -> str:
    """Mean and central 90 % interval: "8 % (5-13 %)"."""
    return f"{percent(chance.mean)} ({percent_range(chance)})"


def out_of_ten(chance: float) -> str:
    """A chance as a count that anybody can picture: "about 4 in 10", "about 1 in 20", "fewer than 1 in 100"."""
    if chance < 0.0075:
        return "fewer than 1 in 100"
    if chance < 0.075:
        of = min((100, 50, 20), key=lambda n: abs(math.log(chance * n)))
        return f"about 1 in {of}"
    return f"about {round(10 * chance)} in 10" if chance < 0.95 else "nearly all"


def hours(value: float) -> str:
    """Engine hours: "118 h", "2,400 h"."""
    return f"{value:,.0f} h"


def money(amount: float, currency: str) -> str:
    """An amount in whole money: "USD 1,250"."""
    return f"{currency} {amount:z,.0f}"


def whole(amount: float) -> str:
    """An amount in whole money without its currency: "7,150"."""
    return f"{amount:z,.0f}"


def about(amount: float) -> str:
    """An expected amount in two figures, for more would claim too much: 23,412 is "23,000"."""
    if abs(amount) < 1:
        return "0"
    places = 1 - math.floor(math.log10(abs(amount)))
    return whole(round(amount, min(places, 0)))


def about_range(low: float, high: float, dash: str = "-") -> str:
    """Both ends of an expected amount's interval; "to" where one is below 0, for a dash would read as a minus."""
    return f"{about(low)}{' to ' if low < 0 or high < 0 else dash}{about(high)}"


def about_with_range(amount: Amount, dash: str = "-") -> str:
    """An expected amount with its central 90 % interval, in two figures each: "23,000 (12,000-35,000)"."""
    return f"{about(amount.mean)} ({about_range(amount.low, amount.high, dash)})"


def less_or_more(saved: Amount, dash: str = "-", currency: str = "") -> str:
    """What is saved, as a comparison: "about 23,000 (12,000-35,000) less", or so much more where it costs more."""
    told = about_with_range(saved if saved.mean >= 0 else saved.opposite, dash)
    return f"about {currency}{told} {'less' if saved.mean >= 0 else 'more'}"


def seasons(number: int) -> str:
    """How many seasons costs are counted over: "two seasons"."""
    told = NUMBER_WORDS[number] if number < len(NUMBER_WORDS) else str(number)
    return f"{told} {'season' if number == 1 else 'seasons'}"


def hours_left(left: HoursLeft) -> str:
    """Quantiles of the hours left: "41/160/1330 h", without thousands separators: three numbers stand together."""
    told = (f">{FURTHEST:.0f}" if value >= FURTHEST else f"{value:.0f}" for value in (left.p10, left.p50, left.p90))
    return "/".join(told) + " h"


def counted(number: int, one: str, many: str = "") -> str:
    """A count with its noun: "1 unit", "28 units", "3 lives"."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def listed(items: Sequence[str]) -> str:
    """Items as a sentence lists them: "a, b and c"."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}" if items else ""
