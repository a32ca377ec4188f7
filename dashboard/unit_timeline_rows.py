"""A unit's lives laid out for their picture and its table: nothing is worked out here, only put in order."""

from __future__ import annotations

from html import escape
from typing import Any

import pandas as pd

import forecaster
from unit_rows import hover
from words import SPACE, day_words, hours_between, hours_words, listed

ENDED_TOLD = {
    "scheduled": "opened as planned",
    "check": "opened after a check",
    "symptom": "opened: noticed in use",
    "water": "opened after water",
    "failure": "failed",
    "other": "opened",
}
ENDS_TOLD = {
    "failed": "failed in use",
    "found_failed": "found failed",
    "symptom": "rusted or rough",
    "defective": "rusted or rough",
    "sound": "found sound",
    "alive": "finding unknown",
}
WATER_TOLD = {
    "none": "water, untreated",
    "late": "water, treated late",
    "prompt": "water, treated promptly",
    "unknown": "water, treatment unknown",
}


def clock_of(timeline: forecaster.UnitTimeline) -> str:
    """What the axis counts."""
    if timeline.lives["age_known"].all():
        return "engine hours since new or rebuilt"
    return "engine hours since new or rebuilt, or in the record where hours before it are unknown"


def life_lanes(timeline: forecaster.UnitTimeline) -> pd.DataFrame:
    """One lane a life, the latest at the top: columns of ``lives`` with ``lane``, ``label``, ``end`` and ``hover``."""
    lives = timeline.lives.iloc[::-1].reset_index(drop=True)
    lives["lane"] = lives.index
    rows = lives.to_dict("records")
    lives["label"] = [escape(_label(row)) for row in rows]
    lives["end"] = ["" if row["goes_on"] else ENDS_TOLD[row["seen"]] for row in rows]
    lives["hover"] = [escape(_end_told(row)) for row in rows]
    return lives


def _label(life: dict[Any, Any]) -> str:
    number, hours = f"Life{SPACE}{life['life_number']}", hours_words(life["to_h"])
    unknown = "" if life["age_known"] else ", earlier hours unknown"
    if life["ended_by"] == "running":
        return f"{number}, running: {hours} now{unknown}"
    if life["ended_by"] == "stored":
        return f"{number}, in store: {hours}{unknown}"
    return f"{number}, to {day_words(life['ended_on'])} at {hours}: {listed(_end_short(life))}{unknown}"


def _end_short(life: dict[Any, Any]) -> list[str]:
    found = life["bearing"] if life["bearing"] not in ("", "unknown") else ENDS_TOLD[life["seen"]]
    return [found, *([life["outcome"]] if life["outcome"] else [])]


def _end_told(life: dict[Any, Any]) -> str:
    """What was found, part by part."""
    if life["goes_on"]:
        return _label(life)
    parts = [
        f"{name} {life[column]}"
        for column, name in (("bearing", "bearing"), ("impeller", "impeller"), ("front_housing", "front housing"))
        if life[column] not in ("", "unknown")
    ]
    if not pd.isna(life["slip_found"]):
        parts.append(f"slip {life['slip_found']:g} lb·ft")
    found = listed(parts) or ENDS_TOLD[life["seen"]]
    bounds = hours_between(life["to_h_low"], life["to_h_high"])
    hours = hours_words(life["to_h"]) + (f" (the meter allows {bounds})" if bounds else "")
    outcome = f"; {life['outcome']}" if life["outcome"] else ""
    return f"{ENDED_TOLD.get(life['ended_by'], 'opened')} at {hours}: {found}{outcome}"


def on_lanes(events: pd.DataFrame, lanes: pd.DataFrame) -> pd.DataFrame:
    """Events with the ``lane`` of their life and a ``hover``."""
    lane = lanes.set_index("life_id")["lane"]
    rows = events.assign(lane=events["life_id"].map(lane).astype("int64"))
    told = [str(r.label) if "label" in rows else _meter_told(r) for r in _each(rows)]
    rows["hover"] = [hover(what, at, on) for what, at, on in zip(told, rows["at_h"], rows["on"], strict=True)]
    return rows


def _meter_told(reading: Any) -> str:
    return f"meter of {reading.craft_id}: {reading.meter:,.1f} h"


def timeline_table(timeline: forecaster.UnitTimeline) -> pd.DataFrame:
    """The table behind the picture, latest first: day, life, hours and what happened."""
    number = timeline.lives.set_index("life_id")["life_number"]
    lives = timeline.lives.to_dict("records")
    rows = [(life["began_on"], life["life_id"], life["from_h"], 0, "its record begins") for life in lives]
    rows += [(r.on, r.life_id, r.at_h, 1, _meter_told(r)) for r in _each(timeline.readings)]
    rows += [(r.on, r.life_id, r.at_h, 2, r.label) for r in _each(timeline.water)]
    rows += [(r.on, r.life_id, r.at_h, 3, r.label) for r in _each(timeline.looks)]
    rows += [(life["ended_on"], life["life_id"], life["to_h"], 4, _end_told(life)) for life in lives]
    table = pd.DataFrame(rows, columns=["on", "life_id", "hours", "order", "what"])
    table["life_number"] = table["life_id"].map(number)
    # events of one day in the order in which they count
    table = table.sort_values(["life_number", "on", "hours", "order"], kind="stable").iloc[::-1].reset_index(drop=True)
    return table[["on", "life_number", "hours", "what"]]


def _each(events: pd.DataFrame) -> Any:
    return events.itertuples(index=False)
