"""Dates of one column: ISO 8601 is the contract, and what spreadsheets write instead is read where it is certain.

ISO dates (with or without a time of day) are read as they are. 31/12/2025 and 12/31/2025 are told apart only by the
column itself: some row whose day is above 12 decides for all of them; where none does, the rows are refused and both
readings shown. Dots mean day first. A two-digit year is refused. Serial day numbers of spreadsheets are read. Each
order other than ISO gives one notice for the column, with an example.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from forecaster.cells import ColumnNotice, Fault, ParsedTexts, blanks
from forecaster.ranges import FIRST_DAY, LAST_DAY, within_days
from forecaster.raw_tables import SERIAL_EPOCH_1900

_TIME = r"(?:[T ]+[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?(?: ?[AaPp][Mm])?(?:Z|[+-][0-9]{2}:?[0-9]{2})?)?"
_ISO = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})" + _TIME)
_COMPACT = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})")
_YEAR_FIRST = re.compile(r"([0-9]{4})([-/. ])([0-9]{1,2})\2([0-9]{1,2})\.?" + _TIME)
_YEAR_LAST = re.compile(r"([0-9]{1,2})([-/.]) ?([0-9]{1,2})\2 ?([0-9]{4})" + _TIME)
_SHORT_YEAR = re.compile(r"([0-9]{1,2})([-/. ])(?:[0-9]{1,2}|[A-Za-z]{3,9})\2([0-9]{2})" + _TIME)
_DAY_MONTH_NAME = re.compile(r"([0-9]{1,2})\.?[- ]([A-Za-z]{3,9})\.?,?[- ]([0-9]{4})" + _TIME)
_MONTH_NAME_DAY = re.compile(r"([A-Za-z]{3,9})\.? ([0-9]{1,2})(?:st|nd|rd|th)?,? ([0-9]{4})" + _TIME)
_SERIAL = re.compile(r"([0-9]{5})(?:\.[0-9]+)?")
_MONTHS = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)

DAY_FIRST, MONTH_FIRST, YEAR_FIRST, NAMED, SERIAL = "day first", "month first", "year first", "month in words", "serial"
_WRITE_ISO = "Write dates as year-month-day, for example 2025-12-31."


def parse_dates(texts: Sequence[str], today: date, serial_epoch: date = SERIAL_EPOCH_1900) -> ParsedTexts:
    """Days (datetime64[D], NaT where blank or at fault) of distinct texts: in ``ranges``, none after `today`."""
    values = np.full(len(texts), np.datetime64("NaT"), dtype="datetime64[D]")
    parsed = ParsedTexts(values, blanks(texts))
    undecided: dict[int, tuple[date, date]] = {}  # position -> read day first, read month first
    examples: dict[str, tuple[str, date]] = {}
    decides: set[str] = set()
    for position, text in enumerate(texts):
        if parsed.blank[position]:
            continue
        found = _read(text.strip(), serial_epoch)
        if isinstance(found, Fault):
            parsed.faults[position] = found
        elif len(found.days) == 2:
            undecided[position] = (found.days[0], found.days[1])
        else:
            kept = _keep(parsed, position, found.days[0], today)
            if found.order and kept:
                examples.setdefault(found.order, (text, found.days[0]))
            if found.decides:
                decides.add(found.order)
    _decide(parsed, texts, undecided, decides, examples, today)
    parsed.notices = [_notice(order, text, day) for order, (text, day) in examples.items()]
    return parsed


class _Found:
    """The day or, where the order is open, the two days that a text can mean."""

    __slots__ = ("days", "decides", "order")

    def __init__(self, *days: date, order: str = "", decides: bool = False) -> None:
        self.days = days
        self.order = order
        self.decides = decides


def _read(text: str, serial_epoch: date) -> _Found | Fault:
    if match := _ISO.fullmatch(text) or _COMPACT.fullmatch(text):
        return _only(_day(match[1], match[2], match[3]), "")
    if match := _YEAR_LAST.fullmatch(text):
        return _year_last(match[1], match[3], match[4], dotted=match[2] == ".")
    if match := _YEAR_FIRST.fullmatch(text):
        return _only(_day(match[1], match[3], match[4]), YEAR_FIRST)
    if match := _DAY_MONTH_NAME.fullmatch(text):
        return _only(_day(match[3], _month(match[2]), match[1]), NAMED)
    if match := _MONTH_NAME_DAY.fullmatch(text):
        return _only(_day(match[3], _month(match[1]), match[2]), NAMED)
    if match := _SERIAL.fullmatch(text):
        day = serial_epoch + timedelta(days=int(match[1]))
        return _Found(day, order=SERIAL) if within_days(day) else Fault("this is not a date", _WRITE_ISO)
    if _SHORT_YEAR.fullmatch(text):
        return Fault("the year has two digits, which leaves the century or the order open", _WRITE_ISO)
    return Fault("this is not a date", _WRITE_ISO)


def _only(day: date | None, order: str) -> _Found | Fault:
    return Fault("there is no such day in the calendar", _WRITE_ISO) if day is None else _Found(day, order=order)


def _year_last(first: str, second: str, year: str, dotted: bool) -> _Found | Fault:
    day_first = _day(year, second, first)
    month_first = None if dotted else _day(year, first, second)
    if day_first is None and month_first is None:
        return Fault("there is no such day in the calendar", _WRITE_ISO)
    if day_first is None:
        assert month_first is not None
        return _Found(month_first, order=MONTH_FIRST, decides=True)
    if month_first is None:
        return _Found(day_first, order=DAY_FIRST, decides=not dotted)
    if day_first == month_first:
        return _Found(day_first)
    return _Found(day_first, month_first)


def _day(year: str, month: str | int, day: str) -> date | None:
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        return None


def _month(name: str) -> int:
    """1 to 12 from an English month's name or its first three letters; 0, which is no month, otherwise."""
    word = name.casefold()
    matches = [n for n, month in enumerate(_MONTHS, 1) if word in (month, month[:3]) or (word, n) == ("sept", 9)]
    return matches[0] if matches else 0


def _decide(
    parsed: ParsedTexts,
    texts: Sequence[str],
    undecided: dict[int, tuple[date, date]],
    decides: set[str],
    examples: dict[str, tuple[str, date]],
    today: date,
) -> None:
    """Read the open dates in the column's one order, or refuse them and show both readings."""
    for position, (day_first, month_first) in undecided.items():
        if len(decides) == 1:
            order = next(iter(decides))
            day = day_first if order == DAY_FIRST else month_first
            if _keep(parsed, position, day, today):
                examples[order] = (texts[position], day)
            continue
        why = (
            "other rows of this column are day first, and others month first"
            if decides
            else "no row of this column has a day above 12, which would tell"
        )
        parsed.faults[position] = Fault(
            f"this can be {day_first} (day first) or {month_first} (month first), and {why}", _WRITE_ISO
        )


def _keep(parsed: ParsedTexts, position: int, day: date, today: date) -> bool:
    """Keep the day if it is a possible one; say whether it was."""
    if not within_days(day):
        side = "before" if day < FIRST_DAY else "after"
        reason = f"{day} is {side} the days that are read, {FIRST_DAY} to {LAST_DAY}"
        parsed.faults[position] = Fault(reason, "Correct the year.")
    elif day > today:
        reason = f"{day} is after {today}, the day of this reading"
        parsed.faults[position] = Fault(reason, "Correct the date; what is only planned is not recorded.")
    else:
        parsed.values[position] = day
        return True
    return False


def _notice(order: str, text: str, day: date) -> ColumnNotice:
    said = {
        DAY_FIRST: "dates are written day first",
        MONTH_FIRST: "dates are written month first",
        YEAR_FIRST: "dates are not written as ISO 8601 asks",
        NAMED: "dates are written with the month in words",
        SERIAL: "dates came as a spreadsheet's day numbers",
    }[order]
    return ColumnNotice(text.strip(), f"{said}: {text.strip()} was read as {day}", f"If that is wrong: {_WRITE_ISO}")
