"""Changes of a plan by hand, written down: as a small CSV file, and each as one line of text; both can be read again.

The file has a row for each unit that is changed: ``unit_id``, ``action`` (rebuild, check, leave), ``week_of`` (any day
of the week meant; blank: the cheapest free week) and ``note`` (why). It is read as the project's other files are:
whatever spreadsheets make of encodings, of what parts the columns, and of days that are certain. A row that cannot be
used refuses the whole file, since a plan without one of its changes would be another plan.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, get_args

from pydantic import Field, StringConstraints

from forecaster.cells import Fault, ParsedTexts, nearest, parse_codes, parse_texts
from forecaster.date_cells import parse_dates
from forecaster.errors import SourceError, WrongUsage
from forecaster.headers import Headers, missing_columns, recognise_headers
from forecaster.plan_days import monday_of
from forecaster.plan_problem import Action, Plan, PlanEdit
from forecaster.problems import Problem
from forecaster.ranges import LAST_DAY, refuse_day
from forecaster.raw_tables import RawTable, UnreadableFile, is_blank
from forecaster.records import Identifier, Record, Table
from forecaster.safe_cells import neutral
from forecaster.shown_values import shown
from forecaster.text_files import read_text_table

MOST_NOTE = 200  # characters: a line of the paper, and of a link
ACTIONS: tuple[Action, ...] = get_args(Action)
MOST_NAME = 80  # characters of a unit's name, as in the records
MOST_BYTES = 5_000_000  # changes of 10,000 units, each with the longest note
PROBLEMS_TOLD = 12
EXAMPLE = "S0005:rebuild:2026-11-09"


class Change(Record):
    """One row of the file."""

    unit_id: Identifier = Field(description="the supercharger")
    action: Action = Field(description="what is to be done with it instead")
    week_of: date | None = Field(None, description="any day of the week; blank = its cheapest free week, or left")
    note: Annotated[str, StringConstraints(max_length=MOST_NOTE)] | None = Field(None, description="why")


CHANGES = Table("changes", Change, needed=False, key=("unit_id",))


@dataclass(frozen=True)
class PlanChanges:
    """Changes as they were read, by unit_id, and what the reader should know about how."""

    edits: Mapping[str, PlanEdit]
    notices: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class Changeable:
    """What can be changed: the `units` of the plan, from the week of `first` to that of `last`, both Mondays."""

    units: Collection[str]
    first: date
    last: date

    def fault(self, unit_id: str, edit: PlanEdit) -> tuple[str, Fault] | None:
        """The column at fault and why, where a change cannot be made; None where it can."""
        if unit_id not in self.units:
            near = nearest(unit_id, sorted(self.units))
            hint = f" The nearest is {near}." if near else ""
            return "unit_id", Fault(
                "no unit of this name is in the plan", f"Name one that is in service, or delete the row.{hint}"
            )
        if edit.week_of is None or self.first <= monday_of(edit.week_of) <= self.last:
            return None
        return "week_of", Fault(
            f"the week of {monday_of(edit.week_of)} is outside of what can be planned",
            f"Name a day from {self.first} to the week of {self.last}, or plan for other days.",
        )


def read_changes(content: bytes, file: str, changeable: Changeable) -> PlanChanges:
    """The changes of one file; a file with its header alone holds none.

    Raises SourceError, naming file, row, column, value and remedy of every fault, where the file is no text, lacks a
    column, or holds a row that cannot be used: an unknown unit or word, a day that is none or outside of the plan, a
    unit changed twice, a week for a unit that is left.
    """
    try:
        raw = read_text_table(content, CHANGES, file)
    except UnreadableFile as error:
        raise SourceError(f"{file}: {error}") from error
    filled = [any(not is_blank(text) for text in raw.cells[at].cat.categories) for at in range(len(raw.headers))]
    headers = recognise_headers(raw.headers, CHANGES, file, filled, raw.header_row)
    hint = f" Row {raw.looks_like_header} looks like the header." if raw.looks_like_header else ""
    _refuse_all(missing_columns(headers, raw.headers, CHANGES, file, hint))
    _refuse_all(_twice_named(headers, raw))
    rows = _Rows(raw, headers)
    edits = rows.edits(changeable)
    problems = [*raw.problems, *headers.problems, *rows.problems]
    _refuse_all(problem for problem in problems if problem.refused)
    return PlanChanges(edits, tuple(problems))


def changes_file(edits: Mapping[str, PlanEdit]) -> bytes:
    """The changes as such a file, by unit_id; UTF-8 with a byte order mark, which spreadsheets need to see that it is.

    ``read_changes`` gives the same changes again.
    """
    text = io.StringIO(newline="")
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow(CHANGES.columns)
    for unit_id, edit in sorted(edits.items()):
        week = edit.week_of.isoformat() if edit.week_of else ""
        rows.writerow([neutral(unit_id), edit.action, week, neutral(_one_line(edit.note))])
    return text.getvalue().encode("utf-8-sig")


def as_planned(edits: Mapping[str, PlanEdit], plan: Plan) -> dict[str, PlanEdit]:
    """The changes as a plan that was changed by them has them: work that named no week with the week that it got."""
    return {
        one.unit_id: PlanEdit(one.action, one.week_of, edits[one.unit_id].note)
        for one in plan.actions
        if one.unit_id in edits
    }


# --- one change in one line of text ---------------------------------------------------------------------------------


def change_in_text(text: str) -> tuple[str, PlanEdit]:
    """Unit and change of a line such as "S0005:rebuild:2026-11-09" or "S0005:leave::its owner wants it so".

    A colon in the unit's name is written %3A. Raises WrongUsage where the line is no change.
    """
    unit, action, week, note = [*text.split(":", 3), "", "", ""][:4]
    if not unit.strip() or action not in ACTIONS:
        raise WrongUsage(
            f"{shown(text)} is no change of a plan: unit, work and week are needed, written {EXAMPLE}, with work one "
            f"of {', '.join(ACTIONS)}."
        )
    try:
        day = date.fromisoformat(week) if week else None
    except ValueError as error:
        raise WrongUsage(
            f"{shown(text)}: {shown(week)} is no day. Write it year-month-day, as in {EXAMPLE}."
        ) from error
    if day is not None:
        refuse_day(day, f"{shown(text)}: the day")
    if action == "leave" and day is not None:
        raise WrongUsage(f"{shown(text)}: a unit that is left has no week. Leave the day out.")
    if len(note := _one_line(note)) > MOST_NOTE:
        raise WrongUsage(
            f"{shown(text)}: the note has {len(note)} characters; at most {MOST_NOTE} are kept. Shorten it."
        )
    return unit.strip().replace("%3A", ":").replace("%25", "%"), PlanEdit(action, day, note)


def text_of_change(unit_id: str, edit: PlanEdit) -> str:
    """The same line again, as links and commands tell it."""
    week, note = edit.week_of.isoformat() if edit.week_of else "", _one_line(edit.note)
    told = f"{unit_id.replace('%', '%25').replace(':', '%3A')}:{edit.action}"
    return told + (f":{week}:{note}" if note else f":{week}" if week else "")


def _one_line(note: str) -> str:
    return " ".join(note.split())


# --- the file's cells -----------------------------------------------------------------------------------------------


class _Rows:
    """The cells of the file's rows, checked column by column; every fault is kept as a problem."""

    def __init__(self, raw: RawTable, headers: Headers) -> None:
        self.raw = raw
        self.problems: list[Problem] = []
        self._spoilt = {problem.row for problem in raw.problems if problem.refused}
        self._cells = {name: self._texts(positions[0]) for name, positions in headers.known.items()}
        self._values = {
            "unit_id": self._parsed("unit_id", lambda texts: parse_texts(texts, MOST_NAME)),
            "action": self._parsed("action", lambda texts: parse_codes(texts, ACTIONS, None)),
            "week_of": self._parsed("week_of", lambda texts: parse_dates(texts, LAST_DAY, raw.serial_epoch)),
            "note": self._parsed("note", _notes),
        }

    def edits(self, changeable: Changeable) -> dict[str, PlanEdit]:
        """The changes of the rows without a fault, by unit; faults between cells are kept too."""
        found: dict[str, PlanEdit] = {}
        first: dict[str, int] = {}
        for at, row in enumerate(self.raw.cells.index.tolist()):
            unit_id, action, week_of, note = (self._values[name][at] for name in CHANGES.columns)
            if row in self._spoilt or unit_id is None or action is None:
                continue
            edit = PlanEdit(action, week_of, note or "")
            if unit_id in first:
                self._refuse(at, "unit_id", Fault(f"row {first[unit_id]} changes this unit already", "Keep one row."))
            elif action == "leave" and week_of is not None:
                why = Fault("a unit that is left has no week", "Clear the cell, or choose rebuild or check.")
                self._refuse(at, "week_of", why)
            elif (wrong := changeable.fault(unit_id, edit)) is not None:
                self._refuse(at, *wrong)
            else:
                found[unit_id] = edit
            first.setdefault(unit_id, row)
        return found

    def _texts(self, position: int) -> list[str]:
        return [str(text) for text in self.raw.cells[position].astype(object)]

    def _parsed(self, name: str, parse: Callable[[list[str]], ParsedTexts]) -> list[Any]:
        """Each row's value of a column, None where blank or at fault."""
        texts = self._cells.get(name, [""] * len(self.raw.cells))
        parsed = parse(texts)
        if CHANGES.columns[name].required:
            known = f" ({', '.join(ACTIONS)})" if name == "action" else ""
            parsed.faults |= {
                at: Fault("the cell is blank, and the row says nothing without it", f"Fill in {name}{known}.")
                for at in range(len(texts))
                if parsed.blank[at]
            }
        for at, fault in parsed.faults.items():
            if int(self.raw.cells.index[at]) not in self._spoilt:
                self._refuse(at, name, fault)
        for notice in parsed.notices:
            told = Problem(self.raw.file, None, name, notice.example, notice.reason, notice.remedy, refused=False)
            self.problems.append(told)
        values = parsed.values.tolist()
        return [None if at in parsed.faults or parsed.blank[at] else value for at, value in enumerate(values)]

    def _refuse(self, at: int, column: str, fault: Fault) -> None:
        row, value = int(self.raw.cells.index[at]), self._cells[column][at]
        self.problems.append(
            Problem(self.raw.file, row, column, value, fault.reason, fault.remedy, refused=True, stops_answer=True)
        )


def _notes(texts: list[str]) -> ParsedTexts:
    lines = [_one_line(text) for text in texts]
    parsed = parse_texts(lines)
    parsed.faults |= {
        at: Fault(f"this note has {len(line)} characters; at most {MOST_NOTE} are kept", "Shorten it.")
        for at, line in enumerate(lines)
        if len(line) > MOST_NOTE
    }
    return parsed


def _twice_named(headers: Headers, raw: RawTable) -> list[Problem]:
    return [
        Problem(
            raw.file, raw.header_row, name, None, "the column is there twice", f"Keep one column {name}.", refused=True
        )
        for name, positions in headers.known.items()
        if len(positions) > 1
    ]


def _refuse_all(problems: Iterable[Problem]) -> None:
    """Raises SourceError with all of them, each on its line; nothing where there is none."""
    told = [str(problem) for problem in sorted(problems, key=lambda problem: problem.row or 0)]
    if not told:
        return
    more = len(told) - PROBLEMS_TOLD
    rest = [f"and {more} more"] if more > 0 else []
    raise SourceError("\n  ".join(["These changes cannot be read, and none was made:", *told[:PROBLEMS_TOLD], *rest]))
