"""The fleet's answer laid out as frames: nothing is worked out here, only put in order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from html import escape
from typing import TypeVar

import pandas as pd

import forecaster
from words import all_told, chance_words, hours_between, interval, percent, told

OfUnit = TypeVar("OfUnit", "forecaster.UnitForecast", "forecaster.Instruction", "forecaster.CraftWithoutUnit")
Instructions = Mapping[str, "forecaster.Instruction"]
NO_INTERVAL = ""  # a cell of a chance that the model does not know


def first_day(records: forecaster.FleetRecords) -> date | None:
    """The earliest fitting: before it there was no fleet. None where no unit was ever fitted."""
    earliest = records.fittings["fitted_on"].min()
    return None if pd.isna(earliest) else earliest.date()


def craft_places(records: forecaster.FleetRecords) -> pd.DataFrame:
    """Name, base and owner of each craft, by craft_id; blanks as empty texts."""
    return records.craft.set_index("craft_id")[["name", "base", "owner"]].fillna("").astype(str)


def choices(places: pd.DataFrame, column: str) -> list[str]:
    """The bases or owners to choose from; none where there is only one, since then there is no choice."""
    known = sorted(set(places[column]) - {""})
    return known if len(known) > 1 else []


def units_at(units: Sequence[OfUnit], places: pd.DataFrame, chosen: dict[str, list[str]]) -> list[OfUnit]:
    """Units, or instructions, whose craft has one of the values of each column of `chosen`; no values mean all."""
    kept = places
    for column, values in chosen.items():
        kept = kept[kept[column].isin(values)] if values else kept
    return [u for u in units if u.craft_id in kept.index] if any(chosen.values()) else list(units)


def craft_told(craft_id: str, places: pd.DataFrame) -> str:
    """A craft as people call it: "C007, Ski 7"."""
    name = str(places.at[craft_id, "name"]) if craft_id in places.index else ""  # noqa: PD008 - asked by the hundred
    return f"{craft_id}, {name}" if name and name != craft_id else craft_id


def risk_rows(
    units: Sequence[forecaster.UnitForecast], places: pd.DataFrame, instructions: Instructions
) -> pd.DataFrame:
    """The rows of the fleet's risk chart; see ``charts.risk_by_unit``."""
    return pd.DataFrame(
        [
            {
                "label": u.unit_id,
                "mean": u.fails_within.mean,
                "low": u.fails_within.low,
                "high": u.fails_within.high,
                "told": percent(u.fails_within.mean),
                "group": forecaster.legend_group(instructions[u.unit_id]),
                "named": forecaster.LEGEND_WORDS[forecaster.legend_group(instructions[u.unit_id])],
                "hover": "<br>".join(
                    [
                        f"<b>{escape(u.unit_id)}</b> on {escape(craft_told(u.craft_id, places))}",
                        f"fails: {chance_words(u.fails_within)}",
                        escape(told(forecaster.instruction_in_words(instructions[u.unit_id]))),
                        *(escape(told(reason)) for reason in u.because),
                    ]
                ),
            }
            for u in units
        ],
        columns=["label", "mean", "low", "high", "told", "group", "named", "hover"],
    )


def fleet_rows(
    units: Sequence[forecaster.UnitForecast],
    places: pd.DataFrame,
    doubtful: dict[str, str],
    instructions: Instructions,
) -> pd.DataFrame:
    """The fleet's table: one row a unit, chances in percent, hours in engine hours."""
    bases = places["base"].to_dict()
    return pd.DataFrame(
        [
            {
                "unit": u.unit_id,
                "craft": craft_told(u.craft_id, places),
                "base": bases.get(u.craft_id, ""),
                "instruction": told(forecaster.instruction_in_words(instructions[u.unit_id])),
                "fails": 100 * u.fails_within.mean,
                "fails_interval": interval(u.fails_within),
                "defective": None if u.defective_now is None else 100 * u.defective_now.mean,
                "defective_interval": NO_INTERVAL if u.defective_now is None else interval(u.defective_now),
                "season": 100 * u.fails_this_season.mean,
                "season_interval": interval(u.fails_this_season),
                "since_rebuild": u.hours_since_rebuild,
                "since_rebuild_bounds": hours_between(u.hours_low, u.hours_high),
                "incidents": u.incidents,
                "p10": u.hours_left.p10,
                "p50": u.hours_left.p50,
                "p90": u.hours_left.p90,
                "because": all_told(u.because),
                "remarks": "; ".join(remarks_of(u, doubtful)),
            }
            for u in units
        ]
    )


def filled(rows: pd.DataFrame) -> list[str]:
    """The columns of a table that hold anything."""
    return [c for c in rows.columns if rows[c].notna().any() and (rows[c] != "").any()]


def remarks_of(unit: forecaster.UnitForecast, doubtful: dict[str, str]) -> list[str]:
    """What a reader of the unit's forecast should know: doubts, gaps in its record, extrapolation."""
    said = [told(remark) for remark in unit.remarks]
    if unit.unit_id in doubtful:
        said.insert(0, f"doubtful: {doubtful[unit.unit_id]}")
    if unit.beyond_seen:
        said.append("older than any unit of this fleet was seen to fail or be opened: the forecast extrapolates")
    return said
