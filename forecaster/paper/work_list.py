"""The work list as a workbook: every unit with what to do with it, parts, prices used, problems of the records.

Each sheet opens with a sentence, and the first with the units that must not run; the table's head follows.

Cells are numbers, dates or texts; a text that a spreadsheet could take for a formula is written as text and marked so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from io import BytesIO
from typing import Any

from forecaster.forecast import Chance
from forecaster.paper import wording
from forecaster.paper.content import PaperContent, UnitOnPaper
from forecaster.plan_answer import Saving
from forecaster.rebuild_parts import PRE_OIL
from forecaster.report.figures import counted
from forecaster.report.sentences import WITHOUT_UNIT
from forecaster.safe_cells import begins_a_formula
from forecaster.visible_texts import visible
from forecaster.written_days import SPACE, DateFormat

MOST_CHARACTERS = 32_767  # of one cell: a spreadsheet's own limit
CUT = " ... (cut off here)"
DAY_FORMATS: dict[DateFormat, str] = {
    "day-month-year": "d mmm yyyy",
    "month-day-year": "mmm d, yyyy",
    "iso": "yyyy-mm-dd",
}
Cell = str | float | int | date | None


@dataclass(frozen=True)
class Column:
    """A column of a sheet: heading, how its cells are written ("text", "day", "share", "money", "hours", "count")."""

    heading: str
    kind: str
    width: float


def work_list(content: PaperContent) -> bytes:
    """The workbook's bytes; the same content gives the same bytes."""
    import xlsxwriter

    packed = BytesIO()
    with xlsxwriter.Workbook(packed, {"in_memory": True}) as book:
        book.set_properties({"title": wording.title(content), "created": _at_noon(content.as_of)})
        formats = _formats(book, content)
        for name, head, columns, rows in (
            ("work list", _work_head(content), UNIT_COLUMNS, _unit_rows(content)),
            ("parts", _parts_head(content), PART_COLUMNS, _part_rows(content)),
            ("prices", [_prices_head(content)], PRICE_COLUMNS, _price_rows(content)),
            ("problems", [_problems_head(content)], PROBLEM_COLUMNS, _problem_rows(content)),
        ):
            _write_sheet(book.add_worksheet(name), head, _named(columns, content), rows, formats)
    return packed.getvalue()


def _at_noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12)


def _formats(book: Any, content: PaperContent) -> dict[str, Any]:
    told = content.currency.replace('"', "")
    numbers = {
        "text": "@",
        "day": DAY_FORMATS[content.date_format],
        "share": "0.0%",
        "money": f'#,##0 "{told}"',
        "hours": "#,##0.0",
        "count": "0",
    }
    made = {
        kind: book.add_format({"num_format": form, "valign": "top", "text_wrap": kind == "text"})
        for kind, form in numbers.items()
    }
    made["quoted"] = book.add_format({"num_format": "@", "valign": "top", "text_wrap": True, "quote_prefix": True})
    made["heading"] = book.add_format(
        {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1, "bg_color": "#EEEEEE"}
    )
    made["title"] = book.add_format({"bold": True, "font_size": 12})
    made["told"] = book.add_format({"bold": True})
    return made


def _write_sheet(
    sheet: Any, head: Sequence[str], columns: Sequence[Column], rows: Sequence[Sequence[Cell]], formats: dict[str, Any]
) -> None:
    """The sheet: the lines of `head`, a blank row, the headings, the rows."""
    for at, line in enumerate(head):
        form = formats["told" if at else "title"]
        _write_text(sheet, at, 0, line, form, form)
    head_row = len(head) + 1
    for at, column in enumerate(columns):
        sheet.set_column(at, at, column.width)
        sheet.write_string(head_row, at, column.heading, formats["heading"])
    for row, cells in enumerate(rows, head_row + 1):
        for at, (column, cell) in enumerate(zip(columns, cells, strict=True)):
            _write(sheet, row, at, column.kind, cell, formats)
    last = head_row + max(len(rows), 1)
    sheet.autofilter(head_row, 0, last, len(columns) - 1)
    sheet.freeze_panes(head_row + 1, 1)
    sheet.set_landscape()
    sheet.set_paper(9)  # A4
    sheet.print_area(0, 0, last, min(len(columns), len(PRINTED_COLUMNS)) - 1)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(head_row)
    sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
    sheet.set_footer("&L&A&Rpage &P of &N")


def _write(sheet: Any, row: int, at: int, kind: str, cell: Cell, formats: dict[str, Any]) -> None:
    if cell is None or cell == "":
        sheet.write_blank(row, at, None, formats[kind])
    elif kind == "text":
        _write_text(sheet, row, at, str(cell), formats["text"], formats["quoted"])
    elif kind == "day":
        sheet.write_datetime(row, at, cell, formats[kind])
    else:
        sheet.write_number(row, at, cell, formats[kind])


def _write_text(sheet: Any, row: int, at: int, text: str, plain: Any, quoted: Any) -> None:
    """A text as a text and never as a formula, link or number; one that could be taken for a formula is marked so."""
    text = visible(text)
    if len(text) > MOST_CHARACTERS:
        text = text[: MOST_CHARACTERS - len(CUT)] + CUT
    sheet.write_string(row, at, text, quoted if begins_a_formula(text) else plain)


# What the bench needs on paper; the rest stands to its right, on the screen alone.
PRINTED_COLUMNS = (
    Column("unit", "text", 8),
    Column("craft", "text", 8),
    Column("craft name", "text", 13),
    Column("base", "text", 10),
    Column("owner", "text", 12),
    Column("action", "text", 15),
    Column("week of", "day", 12),
    Column("do not run: why", "text", 20),
    Column("hours since rebuild", "hours", 8),
    Column("fails within HOURS h", "share", 7),
    Column("low (90 %)", "share", 7),
    Column("high (90 %)", "share", 7),
    Column("cost", "money", 10),
    Column("saves", "money", 9),
    Column("saves, low (90 %)", "money", 9),
    Column("saves, high (90 %)", "money", 9),
    Column("reasons", "text", 28),
    Column("done on", "day", 10),
    Column("found", "text", 12),
)
UNIT_COLUMNS = (
    *PRINTED_COLUMNS,
    Column("defective now", "share", 10),
    Column("low (90 %)", "share", 8),
    Column("high (90 %)", "share", 8),
    Column("fails by SEASON", "share", 11),
    Column("low (90 %)", "share", 8),
    Column("high (90 %)", "share", 8),
    Column("engine hours in which 1 in 10 such units fails", "hours", 12),
    Column("engine hours in which half of them fail", "hours", 12),
    Column("engine hours in which 9 in 10 fail", "hours", 12),
    Column("chance that a check rattles", "share", 10),
    Column("in season: check at (h since rebuild)", "hours", 11),
    Column("in season: rebuild at (h since rebuild)", "hours", 11),
    Column("least hours by the meter", "hours", 10),
    Column("most hours by the meter", "hours", 10),
    Column("last meter reading", "day", 13),
    Column("remarks on its record", "text", 50),
    Column("changed by hand", "text", 10),
    Column("why changed", "text", 30),
)
PART_COLUMNS = (
    Column("part", "text", 32),
    Column("for planned rebuilds", "count", 12),
    Column("in reserve, for checks that may rattle", "count", 16),
    Column("order by", "day", 13),
)
PRICE_COLUMNS = (
    Column("what", "text", 60),
    Column("money", "money", 16),
    Column("days or chance", "text", 16),
)
PROBLEM_COLUMNS = (
    Column("file", "text", 16),
    Column("row", "count", 8),
    Column("column", "text", 16),
    Column("value", "text", 20),
    Column("refused", "text", 9),
    Column("reason", "text", 60),
    Column("remedy", "text", 60),
)


def _named(columns: Sequence[Column], content: PaperContent) -> list[Column]:
    season = wording.day(content.season[1], content).replace(SPACE, " ")
    told = [c.heading.replace("HOURS", f"{content.hours:g}").replace("SEASON", season) for c in columns]
    return [Column(heading, c.kind, c.width) for heading, c in zip(told, columns, strict=True)]


def _with_interval(told: Chance | Saving | None) -> tuple[Cell, Cell, Cell]:
    return (None, None, None) if told is None else (told.mean, told.low, told.high)


def _unit_rows(content: PaperContent) -> list[list[Cell]]:
    return [_unit_row(unit) for unit in content.units]


def _unit_row(unit: UnitOnPaper) -> list[Cell]:
    one, planned, in_plan = unit.forecast, unit.planned, unit.instruction.week_of is not None
    return [
        unit.unit_id,
        unit.craft_id,
        unit.craft_name,
        unit.base,
        unit.owner,
        wording.to_do(unit),
        unit.instruction.week_of,
        "; ".join(unit.stop),
        one.hours_since_rebuild,
        *_with_interval(one.fails_within),
        planned.cost if in_plan else None,
        *_with_interval(unit.saving if in_plan else None),
        wording.reasons(unit),
        None,
        None,
        *_with_interval(one.defective_now),
        *_with_interval(one.fails_this_season),
        one.hours_left.p10,
        one.hours_left.p50,
        one.hours_left.p90,
        planned.rattle if in_plan and planned.action == "check" else None,
        unit.triggers.check_at_hours,
        unit.triggers.rebuild_at_hours,
        one.hours_low,
        one.hours_high,
        one.last_reading_on,
        "; ".join(unit.remarks),
        "yes" if unit.changed else None,
        unit.note,
    ]


def _part_rows(content: PaperContent) -> list[list[Cell]]:
    order = content.parts
    return [
        [part, planned or None, reserve or None, order.order_by] for part, (planned, reserve) in order.by_part.items()
    ]


def _price_rows(content: PaperContent) -> list[list[Cell]]:
    p = content.prices
    assumed: list[list[Cell]] = [
        [f"day rate of {craft}: not recorded, so assumed", rate, None] for craft, rate in content.assumed_rates.items()
    ]
    rows: list[list[Cell]] = [
        ["a planned rebuild: parts kit, labour, shipping", p.rebuild, None],
        ["rush surcharge of a rebuild in season", p.rebuild_in_season_extra, None],
        ["a new unit, where the core is lost", p.new_unit, None],
        ["engine repair, where debris reaches it", p.engine_damage, None],
        ["a check: pull the unit, spin it by hand, refit it", p.check, None],
        ["rental income of one in-season day, the mean of these craft", p.day_rate, None],
        ["rental days lost to a rebuild in season", None, f"{p.rebuild_days:g} days"],
        ["rental days lost to a failure", None, f"{p.failure_days:g} days"],
        ["rental days lost to a check in season", None, f"{p.check_days:g} days"],
        *assumed,
        ["chance that a failure loses the core (housings and impeller)", None, f"{100 * p.core_lost:.0f} %"],
        ["chance that a failure's debris reaches the engine", None, f"{100 * p.engine_hit:.0f} %"],
        ["a failure in season, as expected from the above", p.failure(), None],
    ]
    whose = "budget of the off-season kept for these craft" if content.kept_budget else "budget of the off-season"
    rows.append([f"{whose} (blank: no limit)", content.plan.plan.budget, None])
    rows.append(["spent by the plan, as expected", content.spent, None])
    return rows


MOST_STOPS = 12  # lines above the table; the rest stands in its column


def _work_head(content: PaperContent) -> list[str]:
    empty = content.craft_without_unit
    lines = [f"{WITHOUT_UNIT}: {'; '.join(line.rstrip('.') for line in empty)}."] if empty else []
    return [wording.title(content), *_stops(content), *_changes(content), *lines]


def _stops(content: PaperContent) -> list[str]:
    """A line for each unit that must not run, as they stand above the table."""
    lines = [f"DO NOT RUN: {wording.why_stopped(unit)}" for unit in content.stopped[:MOST_STOPS]]
    more = len(content.stopped) - len(lines)
    return [*lines, *([f"and {counted(more, 'unit')} more, see the column \u201cdo not run\u201d"] if more else [])]


def _changes(content: PaperContent) -> list[str]:
    """A line on what was changed by hand, and one for each limit that this breaks."""
    told = wording.by_hand(content)
    return [told, *(f"AS CHANGED IT BREAKS A LIMIT: {line}" for line in wording.broken(content))] if told else []


def _parts_head(content: PaperContent) -> list[str]:
    lines = [wording.order_of_parts(content), wording.parts_now(content)]
    pre_oil = PRE_OIL if content.parts.rebuilds or content.parts_now else ""
    return [line for line in (*lines, pre_oil) if line]


def _prices_head(content: PaperContent) -> str:
    told = ["What the plan counted with.", wording.planned_within(content), wording.assumed_rates(content)]
    return " ".join(told).strip()


def _problems_head(content: PaperContent) -> str:
    told = "Problems of the records: rows as a spreadsheet numbers them, the header is row 1."
    if content.owner is not None:
        told = "Problems of the records of these craft: rows as a spreadsheet numbers them, the header is row 1."
    return told if content.problems else f"{told} None was found."


def _problem_rows(content: PaperContent) -> list[list[Cell]]:
    return [
        [p.file, p.row, p.column, p.value, "yes" if p.refused else "no", p.reason, p.remedy] for p in content.problems
    ]
