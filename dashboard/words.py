"""Sentences and numbers as the screens say them: short trade words, every number with its unit and interval."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Protocol

import forecaster
from days import date_format

SPACE = "\u00a0"  # keeps a number and its unit on one line
DASH = "\u2013"
JOINER = "\u2060"  # keeps both ends of an interval on one line
TO = f"{JOINER}{DASH}{JOINER}"  # between both ends of an interval
STOP_ICON = ":material/dangerous:"
CAUTION_ICON = ":material/warning:"
FORMATTING = re.compile(r"[\\`*_\[\]<>#|~$^=]|:\w+:|^\s*(\d+[.)]|[-+]\s)|\n")
MARKDOWN = re.compile(r"([\\`*_{}\[\]()<>#+\-.!|~$:^=])")


class Interval(Protocol):
    """A chance, an amount or a moment with its central 90 % interval."""

    @property
    def mean(self) -> float:
        """Best estimate."""
        ...

    @property
    def low(self) -> float:
        """Lower end."""
        ...

    @property
    def high(self) -> float:
        """Upper end."""
        ...


def plain(text: object) -> str:
    """A text of the user's own, safe inside Markdown: nothing in it is read as formatting, a link or an icon."""
    return MARKDOWN.sub(r"\\\1", told(text).replace("\n", " "))


def label(text: str) -> str:
    """A text as the label of a field. Escaped only where something in it would be read as formatting.

    A screen reader reads a label with its escapes.
    """
    said = told(text)
    return plain(said) if FORMATTING.search(said) else said


def number(share: float) -> str:
    """A chance in 0..1 as the digits of a percentage: 31, 0.4, under 0.1, over 99."""
    percent = 100.0 * share
    if not math.isfinite(percent):
        return "unknown"
    if 0.0 < percent < 0.1:
        return "under 0.1"
    if percent < 1.0:
        return f"{percent:z.1f}".rstrip("0").rstrip(".")
    return "over 99" if 99.0 < percent < 100.0 else f"{percent:z.0f}"


def percent(share: float) -> str:
    """A chance in 0..1 with its unit: "31 %"."""
    return f"{number(share)}{SPACE}%" if math.isfinite(share) else "unknown"


def interval(chance: Interval) -> str:
    """The 90 % interval alone: "18–46 %"."""
    low, high = number(chance.low), number(chance.high)
    if low == high:
        return percent(chance.high)
    if low.startswith("under"):
        return f"up to {high}{SPACE}%"
    return f"{low}{SPACE}% or more" if high.startswith("over") else f"{low}{DASH}{high}{SPACE}%"


def chance_words(chance: Interval) -> str:
    """A chance with its interval: "31 % (18–46 %)"."""
    ends = interval(chance).replace(DASH, TO).replace(" ", SPACE)
    return f"{percent(chance.mean)} ({ends})"


def signed(amount: float) -> str:
    """An amount's digits, with a minus that is seen: "-31"."""
    digits = f"{abs(amount):,.0f}"
    return f"\u2212{digits}" if amount < 0 and digits != "0" else digits


def money(amount: float, currency: str) -> str:
    """An amount with its currency: "USD 1,480"."""
    return f"{plain(currency)}{SPACE}{signed(amount)}"


def span(low: float, high: float) -> str:
    """Both ends of an amount's interval."""
    return f"{signed(low)}{SPACE}to{SPACE}{signed(high)}" if low < 0 else f"{signed(low)}{TO}{signed(high)}"


def amount_words(amount: Interval, currency: str) -> str:
    """An amount with its 90 % interval: "USD 1,115 (654–1,833)"."""
    return f"{money(amount.mean, currency)} ({span(amount.low, amount.high)})"


def share_of_draws(share: float, least: float = 0.01) -> str:
    """How often something is so among the posterior's draws, which can show neither a nought nor a certainty.

    Below `least`, or as near to always, the share says only that.
    """
    if share < least:
        return f"under {100 * least:.0f}{SPACE}%"
    return f"over {100 * (1 - least):.0f}{SPACE}%" if share > 1 - least else percent(share)


def hours_words(hours: float | None) -> str:
    """Engine hours with their unit: "118 h"; "unknown" where there are none."""
    if hours is None or not math.isfinite(hours):
        return "unknown"
    return f"{hours:z,.0f}{SPACE}h"


def hours_between(low: float | None, high: float | None) -> str:
    """A span of engine hours: "112–121 h"; empty where there is none, or both ends read the same."""
    if low is None or high is None:
        return ""
    ends = f"{low:z,.0f}", f"{high:z,.0f}"
    return "" if ends[0] == ends[1] else f"{ends[0]}{DASH}{ends[1]}{SPACE}h"


def day_words(day: date) -> str:
    """A day as this page's reader wants it: "1 May 2027"."""
    return forecaster.written_day(day, date_format())


def day_of_year_words(day: date) -> str:
    """A day where its year is plain from what stands around it: "1 May"."""
    return forecaster.written_day_of_year(day, date_format())


def told(text: object) -> str:
    """What the forecaster says, a refusal too, with the days in it as this page's reader wants them.

    No text of a user's is left with characters in it that nobody sees.
    """
    said = text.message if isinstance(text, forecaster.ForecasterError) else text
    return forecaster.visible(forecaster.written_text(said, date_format()) if isinstance(said, str) else str(said))


def all_told(texts: Iterable[str]) -> str:
    """Several such sayings in one: "118 h since rebuild; rattled when spun by hand on 12 Aug 2026"."""
    return "; ".join(map(told, texts))


def count_words(count: int, one: str, many: str | None = None) -> str:
    """A count with its noun: "1 unit", "28 units", "no units"."""
    noun = one if count == 1 else many or f"{one}s"
    return f"{count or 'no'}{SPACE}{noun}"


def listed(parts: Sequence[str]) -> str:
    """Parts joined as a sentence lists them: "a", "a and b", "a, b and c"."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""


def capital(sentence: str) -> str:
    """A sentence that begins small, with a capital at its start."""
    said = told(sentence)
    return f"{said[:1].upper()}{said[1:]}"


def do_not_run(lines: Sequence[str]) -> str:
    """The warning above everything: `lines` name the units and why, each ready as Markdown."""
    return "**Do not run as it is:**\n" + "\n".join(f"- {line}" for line in lines)
