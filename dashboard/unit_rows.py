"""One unit's curve and records laid out as frames: nothing is worked out here, only put in order."""

from __future__ import annotations

from datetime import date
from html import escape

import pandas as pd

import forecaster
from words import day_words, hours_words


def on_axis(curve: forecaster.UnitCurve) -> tuple[float, str, str]:
    """Where today is on the unit's hour axis, what the axis counts, and the column of past frames that gives it."""
    if pd.isna(curve.now_age):
        return curve.now_hours, "engine hours in the record (hours before it unknown)", "observed_hours"
    return curve.now_age, "engine hours since rebuild", "age"


def ahead_rows(curve: forecaster.UnitCurve) -> pd.DataFrame:
    """The forecast part of the unit's chart, with its place ``at`` on the axis."""
    now, _, _ = on_axis(curve)
    return curve.ahead.assign(at=now + curve.ahead["hours_ahead"])


def so_far_rows(curve: forecaster.UnitCurve) -> pd.DataFrame:
    """The past part of the unit's chart, with its place ``at`` on the axis."""
    return curve.so_far.assign(at=curve.so_far[on_axis(curve)[2]])


def event_rows(curve: forecaster.UnitCurve) -> pd.DataFrame:
    """Incidents and checks together in the order of their hours, numbered from 1, for the chart and its key."""
    clock = on_axis(curve)[2]
    parts = [
        events.assign(kind=kind, on=events[day], at=events[clock])[["kind", "on", "at", "label"]]
        for kind, day, events in (
            ("water", "happened_on", curve.incidents),
            ("check", "checked_on", curve.checks),
        )
        if len(events)
    ]
    if not parts:
        return pd.DataFrame(columns=["kind", "on", "at", "label", "number", "hover"])
    events = pd.concat(parts, ignore_index=True).sort_values(["at", "on"], kind="stable").reset_index(drop=True)
    events["number"] = events.index + 1
    events["hover"] = [
        hover(str(label), at, on) for label, at, on in zip(events["label"], events["at"], events["on"], strict=True)
    ]
    return events


def hover(what: str, at: float, on: date) -> str:
    """An event on the hour axis, as HTML: what it was, at which hours and on which day."""
    return f"{escape(what)}<br>at {hours_words(at)}, {day_words(on)}"


def curve_rows(curve: forecaster.UnitCurve) -> pd.DataFrame:
    """The table behind the unit's chart: chances in percent against hours ahead; states that are not known left out."""
    ahead = curve.ahead
    told = pd.DataFrame({"hours_ahead": ahead["hours_ahead"]})
    for state in ("failed", "defective", "sound"):
        if ahead[f"{state}_mean"].notna().any():
            for end in ("mean", "low", "high"):
                told[f"{state}_{end}"] = 100 * ahead[f"{state}_{end}"]
    return told


RECORDED = {  # columns of Histories -> columns shown, in the order shown
    "incidents": {
        "happened_on": "on",
        "observed_hours": "hours",
        "kind": "what",
        "water": "water",
        "oil": "oil",
        "treatment": "treated",
        "oil_water_ppm": "water_ppm",
        "craft_id": "craft",
    },
    "checks": {
        "checked_on": "on",
        "observed_hours": "hours",
        "spin": "spin",
        "known_state": "found",
        "shaft_play_mm": "play",
        "boost_kpa": "boost",
        "slip": "slip",
        "oil": "oil",
        "oil_water_ppm": "water_ppm",
    },
    "stretches": {
        "from_on": "from_on",
        "to_on": "to_on",
        "from_observed_hours": "from_hours",
        "to_observed_hours": "to_hours",
        "craft_id": "craft",
        "water": "water",
        "tune": "tune",
        "cooling": "cooling",
        "catch_can": "catch_can",
    },
    "lives": {
        "life_number": "life_number",
        "began_on": "began_on",
        "ended_on": "ended_on",
        "hours_observed": "age",
        "ended_by": "ended_by",
        "seen": "seen",
        "parts": "parts",
    },
}


# Codes of a life's end in the words of the trade.
ENDED_TOLD = {"running": "still running", "stored": "in store", "check": "opened after a check"}
SEEN_TOLD = {
    "alive": "not opened, or not recorded",
    "sound": "sound",
    "defective": "rusted or rough",
    "symptom": "rusted or rough, noticed in use",
    "failed": "failed in use",
    "found_failed": "failed, found when opened",
}


def life_rows(histories: forecaster.Histories, unit_id: str) -> dict[str, pd.DataFrame]:
    """What is recorded of a unit, latest first, on the clock of hours since rebuild; columns that are blank left out.

    Hours are in the record alone where the starting age is unknown.
    """
    own = histories.select(histories.lives["unit_id"] == unit_id)
    entry = own.lives.set_index("life_id")["hours_at_entry"].fillna(0.0)
    rows = {}
    for name, columns in RECORDED.items():
        events = getattr(own, name)
        at_entry = events["life_id"].map(entry)
        told = pd.DataFrame(
            {
                shown: events[column] + at_entry if "observed" in column else events[column]
                for column, shown in columns.items()
            }
        )
        if name == "lives":
            told = told.assign(ended_by=told["ended_by"].replace(ENDED_TOLD), seen=told["seen"].replace(SEEN_TOLD))
        rows[name] = told.replace("", None).dropna(axis="columns", how="all").iloc[::-1].reset_index(drop=True)
    return rows


# How a cell is told in a line of its own, where there is no room for a table.
TOLD = {
    "on": "{}",
    "from_on": "from {}",
    "to_on": "to {}",
    "began_on": "{}",
    "ended_on": "to {}",
    "hours": "at {:.0f} h",
    "from_hours": "{:.0f} h",
    "to_hours": "to {:.0f} h",
    "age": "{:.0f} h",
    "water": "{} water",
    "oil": "oil {}",
    "treated": "treated: {}",
    "water_ppm": "{:.0f} ppm water in the oil",
    "craft": "on {}",
    "spin": "spun {}",
    "found": "opened, found {}",
    "play": "shaft play {:.2f} mm",
    "boost": "boost {:.0f} kPa",
    "slip": "slip {:.1f} lb·ft",
    "tune": "{} engine",
    "cooling": "{} cooling",
    "catch_can": "catch can: {}",
    "life_number": "life {}",
    "ended_by": "{}",
    "seen": "bearing: {}",
    "parts": "{} parts",
}


def rows_in_words(rows: pd.DataFrame) -> list[str]:
    """Each row as one line, blank and unknown cells left out, for a screen too narrow for a table."""
    return [
        ", ".join(
            TOLD.get(str(column), "{}").format(day_words(cell) if isinstance(cell, date) else cell)
            for column, cell in row.items()
            if not pd.isna(cell) and cell != "unknown"
        )
        for row in rows.to_dict("records")
    ]


def event_words(events: pd.DataFrame) -> list[str]:
    """The key to the numbers in the unit's chart: "swamped, untreated, at 156 h, 24 Sep 2026"."""
    return [
        f"{label}, at {hours_words(at)}, {day_words(on)}"
        for label, at, on in zip(events["label"], events["at"], events["on"], strict=True)
    ]
