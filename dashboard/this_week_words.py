"""What needs doing this week, in words."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

import forecaster
from fleet_rows import craft_told
from words import STOP_ICON, all_told, capital, count_words, day_words, listed, plain, told

HEADINGS = {
    "stop": f"{STOP_ICON} Do not run as it is",
    "water": ":material/water_drop: Water that was not dealt with",
    "rebuild": ":material/build: Open and rebuild",
    "check": ":material/search: Check",
}
NOTED = (
    "units that must not run as they are or be looked at before the next ride, and water that is not known to be "
    "treated in time"
)
WEIGHED = (
    "the hours at which a check or a rebuild in season pays, beside those that each craft is expected to run this "
    "week; the weeks of the off-season plan"
)
EMPTY_ICON = ":material/help:"
NAMED = 3  # units that the first line names


def week_span(week: forecaster.ThisWeek) -> str:
    """The seven days: "from 15 Jul 2026 to 21 Jul 2026"."""
    return f"from {day_words(week.as_of)} to {day_words(week.until)}"


def week_sentence(week: forecaster.ThisWeek, tasks: Sequence[forecaster.Instruction]) -> str:
    """The week in one sentence: how much there is to do, and what."""
    if not tasks:
        return f"Nothing needs doing {week_span(week)}."
    counts = {kind: sum(task.kind == kind for task in tasks) for kind in HEADINGS}
    said = [
        (counts["stop"], "unit that must not run as it is", "units that must not run as they are"),
        (counts["water"], "unit with water to deal with", "units with water to deal with"),
        (counts["rebuild"], "unit to rebuild", "units to rebuild"),
        (counts["check"], "unit to check", "units to check"),
    ]
    named = listed([count_words(count, one, many) for count, one, many in said if count])
    return f"{count_words(len(tasks), 'thing')} to do {week_span(week)}: {named}."


def looked_at_words(week: forecaster.ThisWeek) -> str:
    """What the week's list was made from."""
    return f"Looked at: {'; '.join([NOTED, *([WEIGHED] if week.weighed else [])])}."


def stop_lines(stops: Sequence[forecaster.Instruction], places: pd.DataFrame) -> list[str]:
    """Units that must not run, named with their reasons; more than a few are counted."""
    lines = [
        f"**{plain(one.unit_id)}** on {plain(craft_told(one.craft_id, places))}: {plain(forecaster.why_so(one))}"
        for one in stops
    ]
    more = len(stops) - NAMED
    return lines if more <= 0 else [*lines[:NAMED], f"and {count_words(more, 'more unit')}, listed below"]


def empty_craft_lines(empty: Sequence[forecaster.CraftWithoutUnit]) -> list[str]:
    """Craft with no unit, since when, and what their records say; more than a few are counted."""
    lines = [plain(all_told([one.told, *one.remarks])) for one in empty[:NAMED]]
    more = len(empty) - len(lines)
    return lines if more <= 0 else [*lines, f"and {count_words(more, 'more craft', 'more craft')}"]


def without_unit(lines: Sequence[str]) -> str:
    """Those lines, and what to do about them."""
    return "\n".join(
        [
            "**No unit is on these craft in service**, so that nothing is forecast of them: enter in fittings.csv what "
            "sits on them now, or retired_on in craft.csv.",
            "",
            *(f"- {line}" for line in lines),
        ]
    )


def task_words(task: forecaster.Instruction, places: pd.DataFrame) -> str:
    """One task: which unit, and what to do."""
    where, do = plain(craft_told(task.craft_id, places)), plain(forecaster.what_to_do(task))
    if not task.unit_id:
        return f"**{where}**, no unit on record: {do}"
    return f"**{plain(task.unit_id)}** on {where}: {do}"


def why_words(task: forecaster.Instruction, currency: str) -> str:
    """Why, until when it pays, and what it costs to wait."""
    until = "" if task.pays_until is None else f" (pays until {day_words(task.pays_until)})"
    why = f"{capital(forecaster.why_so(task))}{until}."
    return " ".join(filter(None, [why, told(forecaster.what_waiting_costs(task, currency))]))
