"""The plan as a calendar file (RFC 5545): a week for each unit's work, the day to order parts, the day to be ready.

One event a unit, so that each can be moved by hand. An event's UID follows from the fleet, the unit and the season, and
not from the plan: a calendar that reads a later file moves the event that it has and adds no second one.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID, uuid5

from forecaster.paper import wording
from forecaster.paper.content import PaperContent, UnitOnPaper

if TYPE_CHECKING:
    from icalendar import Calendar

# Any fixed UUID serves; this one is the program's own, so that no other program's events share its names.
NAMESPACE = UUID("4b9a1a4e-6a4c-5d0a-9c39-7f3b8d1f20c7")
PRODUCT = "-//supercharger-forecaster//paper//EN"
DO = {"rebuild": "Rebuild", "check": "Check"}
HOW = {
    "rebuild": "Take the unit off and rebuild it.",
    "check": "Take the unit off and spin it by hand; if it rattles, rebuild it.",
}


def bench_calendar(content: PaperContent) -> bytes:
    """The calendar file's bytes: CRLF lines, texts escaped, DTSTAMP and SEQUENCE from the day of the answer."""
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", _one_line(wording.title(content)))
    for _, units in content.by_week():
        for unit in units:
            _add_work(calendar, content, unit)
    _add_order(calendar, content)
    _add_ready(calendar, content)
    written: bytes = calendar.to_ical()
    return written


def _add_work(calendar: Calendar, content: PaperContent, unit: UnitOnPaper) -> None:
    planned = unit.planned
    if planned.week_of is None:
        return
    place = f" ({unit.base})" if unit.base else ""
    told = [
        HOW[planned.action],
        f"Expected cost: {wording.amount(planned.cost, content.currency)}.",
        f"Fails this season if left: {wording.chance(unit.forecast.fails_this_season)}.",
        f"Why: {wording.reasons(unit)}.",
        f"{wording.in_season(unit)}.",
        wording.SHORT_CAUTION,
    ]
    _add(
        calendar,
        content,
        f"work of {unit.unit_id}",
        f"{DO[planned.action]} {unit.unit_id} off craft {wording.craft(unit)}{place}",
        planned.week_of,
        timedelta(days=7),
        "\n".join(told),
    )


def _add_order(calendar: Calendar, content: PaperContent) -> None:
    order = content.parts
    if order.order_by is None:
        return
    lines = [f"{line.count} x {line.part}" for line in order.parts]
    lines += [f"in reserve: {line.count} x {line.part}" for line in order.in_reserve]
    _add(
        calendar,
        content,
        f"order for {content.owner or ''}",
        f"Order parts{' today: the day to order them is past' if order.late else ' (last day)'}",
        max(order.order_by, content.as_of),
        timedelta(days=1),
        "\n".join([wording.order_of_parts(content), *lines]),
    )


def _add_ready(calendar: Calendar, content: PaperContent) -> None:
    if not content.by_week():
        return
    opens = f"The season opens on {wording.day(content.season_opens, content)}."
    _add(calendar, content, "ready", "All superchargers ready", content.ready_by, timedelta(days=1), opens)


def _add(
    calendar: Calendar,
    content: PaperContent,
    what: str,
    summary: str,
    first_day: date,
    lasts: timedelta,
    description: str,
) -> None:
    """An event of whole days that blocks nobody's time."""
    from icalendar import Event

    event = Event()
    event.add("uid", str(uuid5(NAMESPACE, "\n".join([content.fleet, what, content.season_opens.isoformat()]))))
    stamp = datetime(content.as_of.year, content.as_of.month, content.as_of.day, tzinfo=UTC)
    event.add("dtstamp", stamp)
    event.add("last-modified", stamp)
    event.add("sequence", content.as_of.toordinal())
    event.add("summary", _one_line(summary))
    event.add("description", description)
    event.add("dtstart", first_day)
    event.add("dtend", first_day + lasts)
    event.add("transp", "TRANSPARENT")
    calendar.add_component(event)


def _one_line(text: str) -> str:
    return " ".join(text.split())
