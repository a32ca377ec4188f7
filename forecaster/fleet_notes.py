"""README.md of an invented fleet's folder: that it is invented, how to draw it again, what is in it.

It tells only what the records show; the truth stays in truth.json, for those who ask for it.
"""

from __future__ import annotations

import re
from datetime import date

import pandas as pd

from forecaster.records import TABLES, FleetRecords

WHAT_IT_HOLDS = {
    "craft": "the craft: base, owner, water, tune, day rate",
    "fittings": "which unit sat on which craft, from when to when",
    "hours": "engine-hour meter readings",
    "water": "water-ingestion incidents and what was done about them",
    "rebuilds": "every time a unit was opened: why, what was found, what became of it",
    "checks": "spin checks and measurements on units that were not opened",
}


TITLE = "# An invented fleet"  # by which a folder is known as one that holds nobody's records


def fleet_notes(records: FleetRecords, as_of: date, how: str) -> str:
    """The text of README.md; `how` is the command or call that draws the same fleet again."""
    files = [f"| {TABLES[name].file} | {len(records.table(name))} | {what} |" for name, what in WHAT_IT_HOLDS.items()]
    return "\n".join(
        [
            TITLE,
            "",
            "Everything here is invented: the operator, the places, the owners, the craft, every figure. No real",
            "firm, maker or person is meant. It was drawn by a simulation with a known truth, to try the forecaster",
            "on, and the same command draws the same files again:",
            "",
            "```",
            how,
            "```",
            "",
            "A bearing in it goes sound, defective, failed; water incidents start rust, the more so when nobody treats",
            "them; people open units past a fixed number of hours, after noise, after water and after failures, and",
            "write most of it down. What was really so is not in these files.",
            "",
            f"The records end on {as_of.isoformat()}. Amounts are in {records.settings.currency}; fleet.toml holds",
            "the season, prices, lost rental days, the bench, and how days are written for readers. In the CSV",
            "files they are always year-month-day.",
            "",
            "| file | rows | what it holds |",
            "| --- | --- | --- |",
            *files,
            "| fleet.toml | | season, prices, lost rental days, bench, how days are written |",
            "",
            "## What to look for",
            "",
            *(f"- {line}" for line in _worth_a_look(records) if line),
            "",
        ]
    )


def rows_noted(notes: str) -> dict[str, int]:
    """How many rows each file of an invented fleet holds, as its README.md says; nothing where it is none of ours."""
    if not notes.startswith(TITLE):
        return {}
    return {file: int(rows) for file, rows in re.findall(r"^\| (\w+\.csv) \| (\d+) \|", notes, re.MULTILINE)}


def _worth_a_look(records: FleetRecords) -> list[str]:
    rebuilds, water, fittings, checks = records.rebuilds, records.water, records.fittings, records.checks
    failed = rebuilds[rebuilds["bearing"] == "failed"]
    not_as_failure = int((failed["reason"] != "failure").sum())
    rust = rebuilds["bearing"].isin(["rough", "rusted"])
    moved = fittings.groupby("unit_id")["craft_id"].nunique()
    first = fittings.drop_duplicates("unit_id")
    treated = water["treated"].value_counts()
    return [
        f"{len(failed)} failures, {not_as_failure} of them found only when the unit was opened for another reason; "
        f"{int((rebuilds['outcome'].isin(['replaced', 'scrapped']) & rebuilds['bearing'].eq('failed')).sum())} "
        "cost the core.",
        f"{int(rust.sum())} units opened rough or rusted before they failed, and "
        f"{int(rebuilds['bearing'].eq('sound').sum())} opened sound: both tell something.",
        f"{len(water)} water incidents: {treated.get('yes', 0)} treated, {treated.get('no', 0)} not, "
        f"{treated.get('unknown', 0)} not known.",
        f"{int((moved > 1).sum())} units that moved between craft: their hours come from several meters.",
        _meters(records.hours),
        f"{int(first['hours_at_fitting'].isna().sum())} units whose hours nobody knew when the record starts, and "
        f"{int((first['hours_at_fitting'] > 0).sum())} that were part-worn.",
        f"{int(fittings['parts'].eq('aftermarket').sum() + rebuilds['parts'].eq('aftermarket').sum())} mentions of "
        "aftermarket parts.",
        f"{len(checks)} spin checks, {int(checks['spin'].eq('rattle').sum())} of them a rattle; "
        f"{int(checks['oil_water_ppm'].notna().sum())} laboratory reports on water in the oil.",
        _comings_and_goings(records.craft, records.hours),
        f"{int(rebuilds['outcome'].eq('closed').sum())} units opened and put back as they were: their lives go on.",
        f"{_unknown_cells(records)} cells that nobody filled in, as in real books.",
    ]


def _meters(hours: pd.DataFrame) -> str:
    changed = sorted(hours.loc[hours["new_meter"] == "yes", "craft_id"])
    return f"Meters changed on {', '.join(changed)}: the reading falls, the hours do not." if changed else ""


def _comings_and_goings(craft: pd.DataFrame, hours: pd.DataFrame) -> str:
    first = hours.groupby("craft_id")["read_on"].min()
    joined = sorted(first.index[first.dt.year > first.dt.year.min()]) if len(first) else []
    gone = sorted(craft.loc[craft["retired_on"].notna(), "craft_id"])
    told = [f"{', '.join(joined)} joined later" if joined else "", f"{', '.join(gone)} was retired" if gone else ""]
    return f"{', '.join(part for part in told if part)}." if any(told) else ""


def _unknown_cells(records: FleetRecords) -> int:
    """Blank cells and unknown codes, where a cell could have been filled in."""
    cells = 0
    for name, optional in (
        ("craft", ["model_year", "water", "cooling", "catch_can", "tune", "day_rate"]),
        ("fittings", ["hours_at_fitting", "parts"]),
        ("water", ["water", "oil", "treated"]),
        ("rebuilds", ["bearing", "impeller", "front_housing", "cost"]),
    ):
        table = records.table(name)[optional]
        cells += int(table.isna().sum().sum() + (table == "unknown").sum().sum())
    return cells
