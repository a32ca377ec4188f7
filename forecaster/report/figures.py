"""How single figures are written everywhere: chances, hours, counts. Each carries its unit."""

from __future__ import annotations

from forecaster.forecast import HOURS_GRID, Chance, HoursLeft

FURTHEST = float(HOURS_GRID[-1])  # a curve is followed this far; beyond, hours are told as "more than"


def percent(chance: float) -> str:
    """A chance in whole percent; "<1 %" and ">99 %" rather than a nought or a certainty that nobody can know."""
    if 0.0 < chance <= 0.005:
        return "<1 %"
    if 0.995 <= chance < 1.0:
        return ">99 %"
    return f"{100.0 * chance:.0f} %"


def percent_range(chance: Chance) -> str:
    """The central 90 % interval: "5-13 %"."""
    low, high = percent(chance.low), percent(chance.high)
    return high if low == high else f"{low.removesuffix(' %')}-{high}"


def percent_with_range(chance: Chance) -> str:
    """Mean and central 90 % interval: "8 % (5-13 %)"."""
    return f"{percent(chance.mean)} ({percent_range(chance)})"


def hours(value: float) -> str:
    """Engine hours: "118 h", "2,400 h"."""
    return f"{value:,.0f} h"


def money(amount: float, currency: str) -> str:
    """An amount in whole money: "USD 1,250"."""
    return f"{currency} {amount:,.0f}"


def hours_left(left: HoursLeft) -> str:
    """Quantiles of the hours left: "41/160/1330 h", without thousands separators: three numbers stand together."""
    told = (f">{FURTHEST:.0f}" if value >= FURTHEST else f"{value:.0f}" for value in (left.p10, left.p50, left.p90))
    return "/".join(told) + " h"


def counted(number: int, one: str, many: str = "") -> str:
    """A count with its noun: "1 unit", "28 units", "3 lives"."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def listed(items: list[str]) -> str:
    """Items as a sentence lists them: "a, b and c"."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}" if items else ""
