"""The calendar: parsed back, and held against the standard for such files (RFC 5545)."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import icalendar
import pytest

from forecaster.paper import wording
from forecaster.paper.bench_calendar import bench_calendar
from forecaster.paper.content import PaperContent
from forecaster.rebuild_parts import PRE_OIL, parts_for
from tests.sample_papers import in_week, renamed, sample_content


def events_of(written: bytes) -> list[Any]:
    return list(icalendar.Calendar.from_ical(written).walk("VEVENT"))


def by_uid(written: bytes) -> dict[str, Any]:
    return {str(event["uid"]): event for event in events_of(written)}


@pytest.fixture(scope="module")
def content() -> PaperContent:
    return sample_content()


@pytest.fixture(scope="module")
def written(content: PaperContent) -> bytes:
    return bench_calendar(content)


def worked(content: PaperContent) -> list[Any]:
    return [unit for unit in content.units if unit.instruction.week_of is not None]


def test_each_planned_unit_has_its_week(content: PaperContent, written: bytes) -> None:
    told = {str(event["summary"]): event for event in events_of(written)}
    assert len(told) == len(worked(content)) + 3  # and what must not run, the day to order parts, the day to be ready
    for unit in worked(content):
        (event,) = [e for s, e in told.items() if f": {unit.unit_id} on craft" in s]
        assert str(event["summary"]).startswith(wording.to_do(unit).capitalize())
        assert event.decoded("dtstart") == unit.planned.week_of
        assert event.decoded("dtend") - event.decoded("dtstart") == timedelta(days=7)
        assert unit.craft_id in str(event["summary"])
        assert unit.because[0] in str(event["description"]).replace("\N{NO-BREAK SPACE}", " ")


def test_events_are_whole_days_and_block_nobodys_time(written: bytes) -> None:
    for event in events_of(written):
        assert type(event.decoded("dtstart")) is date
        assert event["transp"] == "TRANSPARENT"


def test_the_day_to_order_parts_stands_with_the_parts(content: PaperContent) -> None:
    order = replace(content.parts, order_by=date(2026, 11, 20), late=False)
    (event,) = [e for e in events_of(bench_calendar(replace(content, parts=order))) if "Order" in e["summary"]]
    assert event.decoded("dtstart") == date(2026, 11, 20)
    assert f"{order.rebuilds} x shaft assembly with bearings" in event["description"]


def test_where_the_day_to_order_is_past_the_event_is_today(content: PaperContent) -> None:
    order = replace(content.parts, order_by=date(2026, 10, 12), late=True)
    (event,) = [e for e in events_of(bench_calendar(replace(content, parts=order))) if "Order" in e["summary"]]
    assert event.decoded("dtstart") == content.as_of
    assert "today" in event["summary"]


def test_the_first_event_is_what_must_not_run_with_craft_and_why(content: PaperContent, written: bytes) -> None:
    first, *rest = events_of(written)
    named = ", ".join(f"{unit.unit_id} ({unit.craft_id})" for unit in content.stopped)
    assert str(first["summary"]) == f"Do not run: {named}"
    assert first.decoded("dtstart") == content.as_of
    assert first.decoded("dtend") - first.decoded("dtstart") == timedelta(days=1)
    assert "S0036 on craft C012, North Pier 12: oil milky on 12 Aug 2026, 39 h ago, not clear since." in str(
        first["description"]
    ).replace("\N{NO-BREAK SPACE}", " ")
    assert not any(str(event["summary"]).startswith("Do not run: ") and event is not first for event in rest[1:])


def test_it_stands_there_even_where_nothing_is_planned(content: PaperContent) -> None:
    left = tuple(in_week(u, "stop, check" if u.stop else "leave", None) for u in content.units)
    none = replace(content.parts, order_by=None)
    (event,) = events_of(bench_calendar(replace(content, units=left, parts=none)))
    assert str(event["summary"]).startswith("Do not run: S0034 (C023), S0036")


def test_what_is_due_now_stands_on_the_day_of_the_answer_with_its_parts(content: PaperContent) -> None:
    due = in_week(content.units[0], "rebuild now", None)
    left = tuple(in_week(u, "leave", None) for u in content.units[1:])
    parts = replace(content.parts, order_by=None)
    now = replace(content, units=(due, *left), parts=parts, parts_now=parts_for(1))
    work, order = events_of(bench_calendar(now))
    assert str(work["summary"]).startswith(f"Rebuild now: {due.unit_id} on craft")
    assert work.decoded("dtstart") == order.decoded("dtstart") == content.as_of
    assert "1 \N{MULTIPLICATION SIGN} drive gear" in str(order["description"])


def test_a_rebuild_says_that_the_unit_is_pre_oiled_and_a_check_does_not(content: PaperContent) -> None:
    week = content.as_of + timedelta(days=1)
    units = (in_week(content.units[0], "rebuild", week), in_week(content.units[1], "check", week))
    written = bench_calendar(replace(content, units=units))
    told = {str(event["summary"]).split(":")[0]: str(event["description"]) for event in events_of(written)}
    assert PRE_OIL in told["Rebuild"]
    assert PRE_OIL not in told["Check"]


def test_a_later_plan_moves_a_units_event_and_adds_none(content: PaperContent, written: bytes) -> None:
    unit = worked(content)[0]
    later_on = in_week(unit, "check", date(2027, 4, 5))
    moved = replace(content, units=tuple(later_on if one is unit else one for one in content.units))
    later = by_uid(bench_calendar(replace(moved, as_of=content.as_of + timedelta(days=9))))
    before = by_uid(written)
    assert set(later) == set(before)
    changed = {
        u
        for u in before
        if before[u]["dtstart"].dt != later[u]["dtstart"].dt and f": {unit.unit_id} on" in later[u]["summary"]
    }
    assert len(changed) == 1
    for uid in before:
        assert later[uid].decoded("sequence") > before[uid].decoded("sequence")
        assert later[uid].decoded("dtstamp") > before[uid].decoded("dtstamp")


def test_the_next_off_seasons_work_is_new_events(content: PaperContent, written: bytes) -> None:
    other = bench_calendar(replace(content, season_opens=date(2028, 5, 1)))
    assert not set(by_uid(other)) & set(by_uid(written))


def test_the_stamp_is_the_day_of_the_answer(written: bytes) -> None:
    for event in events_of(written):
        assert event.decoded("dtstamp") == datetime(2026, 11, 1, tzinfo=UTC)


def test_the_same_content_is_the_same_file(content: PaperContent, written: bytes) -> None:
    assert bench_calendar(content) == written


def test_lines_end_and_fold_as_the_standard_asks(written: bytes) -> None:
    """RFC 5545, 3.1: lines end in CRLF and hold at most 75 octets, the line break not counted."""
    assert written.endswith(b"\r\n")
    assert written.count(b"\n") == written.count(b"\r\n") == written.count(b"\r")
    assert max(len(line) for line in written.split(b"\r\n")) <= 75


def test_texts_are_escaped_as_the_standard_asks(content: PaperContent) -> None:
    r"""RFC 5545, 3.3.11: backslash, semicolon and comma are escaped by a backslash, a line break is \n."""
    name = r"Ski 7, the old one; back\slash"
    rank = content.units.index(worked(content)[0])
    told = bench_calendar(renamed(content, rank, craft_name=name)).replace(b"\r\n ", b"").decode()
    assert r"Ski 7\, the old one\; back\\slash" in told
    assert r".\nExpected cost: " in told
    (event,) = [e for e in events_of(told.encode()) if "Ski 7" in e["summary"]]
    assert name in str(event["summary"])


def test_a_name_cannot_add_lines_of_its_own(content: PaperContent) -> None:
    rank = content.units.index(worked(content)[0])
    hostile = "Ski\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nSUMMARY:Sell it"
    told = bench_calendar(renamed(content, rank, craft_name=hostile))
    assert len(events_of(told)) == len(worked(content)) + 3
    assert not any(str(event["summary"]).startswith("Sell") for event in events_of(told))


def test_no_work_means_no_events(content: PaperContent) -> None:
    left = tuple(in_week(unit, "leave", None) for unit in content.units)
    none = replace(content.parts, order_by=None)
    assert events_of(bench_calendar(replace(content, units=left, parts=none))) == []
