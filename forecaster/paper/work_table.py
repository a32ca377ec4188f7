"""The work list as a plain table (CSV): one row a unit, the same instructions as in the other files, figures unrounded.

UTF-8 with a byte order mark and commas, days ISO 8601, chances from 0 to 1. A text that a spreadsheet could take for a
formula is written after an apostrophe (``safe_cells``).
"""

from __future__ import annotations

import csv
import io
from datetime import date

from forecaster.paper import wording
from forecaster.paper.content import PaperContent, UnitOnPaper
from forecaster.safe_cells import neutral

Cell = str | float | date | None


def work_table(content: PaperContent) -> bytes:
    """The table's bytes; the same content gives the same bytes."""
    text = io.StringIO(newline="")
    rows = [_row(unit, content) for unit in content.units]
    table = csv.DictWriter(text, list(rows[0]), lineterminator="\r\n")
    table.writeheader()
    table.writerows({name: _written(cell) for name, cell in row.items()} for row in rows)
    return text.getvalue().encode("utf-8-sig")


def _row(unit: UnitOnPaper, content: PaperContent) -> dict[str, Cell]:
    one, told, planned = unit.forecast, unit.instruction, unit.planned
    in_plan = told.week_of is not None
    saved = unit.saving if in_plan else None
    return {
        "unit_id": unit.unit_id,
        "craft_id": unit.craft_id,
        "craft_name": unit.craft_name,
        "base": unit.base,
        "owner": unit.owner,
        "instruction": wording.to_do(unit),
        "work": told.act,
        "week_of": told.week_of,
        "cost_expected": planned.cost if in_plan else None,
        "saves_expected": saved.mean if saved else None,
        "saves_low_90": saved.low if saved else None,
        "saves_high_90": saved.high if saved else None,
        "chance_of_rattle": planned.rattle if in_plan and planned.action == "check" else None,
        "hours_since_rebuild": one.hours_since_rebuild,
        "hours_ahead": content.hours,
        "fails_within_hours_ahead": one.fails_within.mean,
        "fails_low_90": one.fails_within.low,
        "fails_high_90": one.fails_within.high,
        "season_check_at_hours": unit.triggers.check_at_hours,
        "season_rebuild_at_hours": unit.triggers.rebuild_at_hours,
        "do_not_run": "; ".join(unit.stop),
        "reasons": wording.reasons(unit),
        "changed_by_hand": "yes" if unit.changed else "no",
        "why_changed": unit.note,
        "currency": content.currency,
    }


def _written(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return neutral(cell)
    return cell.isoformat() if isinstance(cell, date) else f"{cell:.10g}"
