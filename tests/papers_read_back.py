"""The four files of a paper read back by other programs: each unit's work, and the Monday of its week, if any."""

from __future__ import annotations

import csv
import io
import re
from datetime import date, timedelta
from itertools import takewhile

import icalendar
import openpyxl
import pandas as pd

from forecaster import Paper
from tests.test_paper_pdf import WORD, pages, told
from tests.test_work_list import rows_of

Work = dict[str, tuple[str, date | None]]
Words = list[tuple[float, float, str]]  # of a printed page: left edge, top edge, text
UNTIL = "(?:runs again|is ridden|is started)"
ACTS = re.compile(r"rebuil[dt]|check|leave")


def act_in(words: str) -> str:
    """The work that some words tell: "do not run; rebuild" is a rebuild, "opened and rebuilt" too."""
    found = ACTS.search(words.casefold())
    if found is None:
        assert "treated" in words, words  # water is dealt with, and nothing is done with the supercharger
        return "leave"
    return found[0].replace("rebuilt", "rebuild")


def in_xlsx(paper: Paper) -> Work:
    sheet = openpyxl.load_workbook(io.BytesIO(paper.xlsx()))["work list"]
    rows = [(row["unit"].value, row["action"].value, row["week of"].value) for row in rows_of(sheet)]
    return {unit: (act_in(told), week.date() if week else None) for unit, told, week in rows}


def in_csv(paper: Paper) -> Work:
    rows = csv.DictReader(io.StringIO(paper.csv().decode("utf-8-sig"), newline=""))
    return {row["unit_id"]: (row["work"], week_in(row["week_of"])) for row in rows}


def week_in(text: str | None) -> date | None:
    """The day that a cell holds; None where it holds none."""
    return date.fromisoformat(text) if text and re.fullmatch(r"\d{4}-\d{2}-\d{2}", text) else None


def in_ics(paper: Paper) -> Work:
    """A unit without an event of its own is left, or stands in that of those that must not run, with what it needs."""
    work: Work = {unit.unit_id: ("leave", None) for unit in paper.content.units}
    own: Work = {}
    for event in icalendar.Calendar.from_ical(paper.ics()).walk("VEVENT"):
        for line in str(event["description"]).splitlines():
            if (stopped := re.match(rf"(S\d{{4}}) on craft .* It must be (.*) before it {UNTIL}", line)) is not None:
                work[stopped[1]] = (act_in(stopped[2]), None)
        if (told := re.match(r"(.*): (S\d{4}) on craft", str(event["summary"]))) is not None:
            first = event.decoded("dtstart")
            own[told[2]] = (act_in(told[1]), first if event.decoded("dtend") - first == timedelta(days=7) else None)
    return work | own


def in_pdf(paper: Paper) -> Work:
    """Units in the table of the weeks by where they stand in it; what the others are told by the ranked table."""
    written = paper.pdf()
    work: Work = {unit: (act_in(_cell(rows)), None) for unit, rows in _ranked(written).items()}
    for page in told(written, "-bbox").split("<page ")[1:]:
        words = [(float(x), float(y), text) for x, y, _, _, text in WORD.findall(page)]
        work |= _in_weeks(words)
    return work


def _ranked(written: bytes) -> dict[str, list[str]]:
    """Each unit's lines of the ranked table, by unit, the reasons beneath them left out."""
    lines = [line for page in pages(written) for line in page.splitlines()]
    starts = {m[1]: at for at, line in enumerate(lines) if (m := re.match(r" *\d+ +(S\d{4}) ", line))}
    return {
        unit: [lines[at], *takewhile(lambda line: re.match(r" {20}", line), lines[at + 1 :])]
        for unit, at in starts.items()
    }


def _cell(lines: list[str]) -> str:
    """What is to be done: "do not start before" stands on the first line, "it is treated; rebuild" beneath it."""
    return " ".join(lines)


def _in_weeks(words: Words) -> Work:
    """The units of the table of the weeks on a page, by the column and the row that they stand in."""
    heads = {text: (x, y) for x, y, text in words if text in ("Rebuild", "Check:")}
    if set(heads) != {"Rebuild", "Check:"}:
        return {}
    (rebuild_x, top), (check_x, _) = heads["Rebuild"], heads["Check:"]
    end = min((y for _, y, text in words if text == "Every" and y > top), default=float("inf"))
    inside = [(x, y, text) for x, y, text in words if top < y < end]
    weeks = [(y, day) for y in {y for _, y, _ in inside} if (day := _day_at(inside, y, rebuild_x)) is not None]
    return {
        text: ("rebuild" if x < check_x - 1 else "check", max((at, day) for at, day in weeks if at <= y + 1)[1])
        for x, y, text in inside
        if re.fullmatch(r"S\d{4}", text)
    }


def _day_at(words: Words, y: float, before: float) -> date | None:
    """The day that stands in the first column at this height: "2 Nov 2026"; None where none does."""
    line = " ".join(text for x, at, text in sorted(words) if at == y and x < before)
    found = re.fullmatch(r"(\d{1,2})\s(\w{3})\s(\d{4})", line.replace("\N{NO-BREAK SPACE}", " ").strip())
    return pd.Timestamp(" ".join(found.groups())).date() if found else None
