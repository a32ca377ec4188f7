"""The plan as a calendar file (RFC 5545): what must not run, each unit's work, the days to order parts and be ready.

Work of the plan lasts its week; what is due at once stands on the day of the answer. One event a
unit, so that each can be moved by hand. An event's UID follows from the fleet, the unit and the season, and not from
the plan: a calendar that reads a later file moves the event that it has and adds no second one.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID, uuid5

from forecaster.paper import wording
from forecaster.paper.content import PaperContent, UnitOnPaper
from forecaster.plan_problem import Action
from forecaster.rebuild_parts import PRE_OIL

if TYPE_CHECKING:
    from icalendar import Calendar

# Any fixed UUID serves; this one is the program's own, so that no other program's events share its names.
NAMESPACE = UUID("4b9a1a4e-6a4c-5d0a-9c39-7f3b8d1f20c7")
PRODUCT = "-//supercharger-forecaster//paper//EN"
HOW: dict[Action, str] = {
    "rebuild": f"Take the unit off and rebuild it. {PRE_OIL}",
    "check": "Take the unit off and spin it by hand; if it rattles, rebuild it.",
    "leave": "",
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
    if content.by_hand is not None:
        calendar.add("x-wr-caldesc", _one_line(" ".join([wording.by_hand(content), *wording.broken(content)])))
    _add_stops(calendar, content)
    for unit in content.at_once:
        if not unit.instruction.stops:
            _add_work(calendar, content, unit, content.as_of, timedelta(days=1))
    for monday, units in content.by_week():
        for unit in units:
            _add_work(calendar, content, unit, monday, timedelta(days=7))
    _add_order(calendar, content)
    _add_ready(calendar, content)
    written: bytes = calendar.to_ical()
    return written


def _add_stops(calendar: Calendar, content: PaperContent) -> None:
    """One event, before all others: the units that must not run, each with its craft, why, and until when."""
    if not content.stopped:
        return
    named = ", ".join(f"{unit.unit_id} ({unit.craft_id})" for unit in content.stopped)
    _add(
        calendar,
        content,
        f"do not run for {content.owner or ''}",
        f"Do not run: {named}",
        content.as_of,
        timedelta(days=1),
        "\n".join([*(wording.why_stopped(unit) for unit in content.stopped), wording.SHORT_CAUTION]),
    )


def _add_work(calendar: Calendar, content: PaperContent, unit: UnitOnPaper, first_day: date, lasts: timedelta) -> None:
    planned = unit.instruction.week_of is not None
    told = [
        *([wording.why_stopped(unit)] if unit.stop else []),
        HOW[unit.instruction.act or "leave"],
        *([f"Expected cost: {wording.amount(unit.planned.cost, content.currency)}."] if planned else []),
        f"Its bearing fails this season if left: {wording.chance(unit.forecast.fails_this_season)}.",
        f"Why: {wording.reasons(unit)}.",
        *([] if unit.instruction.at_once else [f"{wording.in_season(unit, content.in_season)}."]),
        wording.SHORT_CAUTION,
    ]
    _add(
        calendar,
        content,
        f"work of {unit.unit_id}",
        f"{wording.to_do(unit).capitalize()}: {unit.unit_id} on craft {wording.craft_and_base(unit)}",
        first_day,
        lasts,
        "\n".join(told),
    )


def _add_order(calendar: Calendar, content: PaperContent) -> None:
    order, today = content.parts, timedelta(days=1)
    if content.parts_now:
        _add(
            calendar,
            content,
            f"order at once for {content.owner or ''}",
            "Order parts today: they are needed at once",
            content.as_of,
            today,
            wording.parts_now(content),
        )
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
        today,
        "\n".join([wording.order_of_parts(content), *lines]),
    )


def _add_ready(calendar: Calendar, content: PaperContent) -> None:
    if not content.by_week():
        return
    late = content.by_hand.late if content.by_hand else ()
    summary = f"All superchargers ready{' but ' + ', '.join(late) if late else ''}"
    told = "\n".join(
        [
            f"The season opens on {wording.day(content.season_opens, content)}.",
            *filter(None, [wording.by_hand(content)]),
            *wording.broken(content),
        ]
    )
    _add(calendar, content, "ready", summary, content.ready_by, timedelta(days=1), told)


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
