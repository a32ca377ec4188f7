"""One unit with and without the water that is told, treated in time, late or not: what-if lives for the life model."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from forecaster.errors import WrongUsage
from forecaster.flooding_facts import Flooding
from forecaster.lives import CHECKS, INCIDENTS, Histories, frame

SCENARIOS = {"treated": "prompt", "late": "late", "untreated": "none"}  # name: one of lives.TREATMENTS


def without_this_water(unit: Histories, flooding: Flooding) -> Histories:
    """The unit without an incident of the flooding's day."""
    this = unit.incidents["happened_on"] == pd.Timestamp(flooding.happened_on)
    return replace(unit, incidents=unit.incidents[~this].reset_index(drop=True))


def hours_since(unit: Histories, flooding: Flooding) -> float:
    """Engine hours run since the water, at most those of the life."""
    since = flooding.hours_run_since or 0.0
    observed = float(unit.lives["hours_observed"].iloc[0])
    if since > observed:
        raise WrongUsage(
            f"{since:g} engine hours are said to have been run since the water, but the unit has only {observed:.1f} h "
            "since its last rebuild. If it was rebuilt since, that water is no longer in it."
        )
    return since


def with_spin(unit: Histories, flooding: Flooding) -> Histories:
    """The unit with the look that is told as its latest, unless a look since the water sounded just so."""
    if flooding.spin == "not_done":
        return unit
    since = unit.checks["checked_on"] >= pd.Timestamp(flooding.happened_on)
    if (since & (unit.checks["spin"] == flooding.spin)).any():
        return unit
    life = unit.lives.iloc[0]
    look = {"life_id": life["life_id"], "checked_on": pd.Timestamp(unit.as_of), "spin": flooding.spin}
    told = look | {"observed_hours": life["hours_observed"], "known_state": "", "oil": flooding.oil}
    return replace(unit, checks=_appended(unit.checks, frame(CHECKS, [told])))


def with_water(unit: Histories, flooding: Flooding, treatment: str) -> Histories:
    """The unit with this incident on it, treated so."""
    life = unit.lives.iloc[0]
    at = float(life["hours_observed"]) - (flooding.hours_run_since or 0.0)
    row = {
        "life_id": life["life_id"],
        "craft_id": life["craft_id"],
        "happened_on": pd.Timestamp(flooding.happened_on),
        "observed_hours": at,
        "observed_hours_low": at,
        "observed_hours_high": at,
        "kind": "swamped" if flooding.under_minutes == 0 else "submerged",
        "water": flooding.water,
        "oil": flooding.oil,
        "treated": {"prompt": "yes", "late": "yes", "none": "no"}.get(treatment, "unknown"),
        "treatment": treatment,
    }
    incidents = _appended(unit.incidents, frame(INCIDENTS, [row]))
    return replace(unit, incidents=incidents.sort_values("observed_hours", kind="stable", ignore_index=True))


def _appended(table: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    return pd.concat([table, rows], ignore_index=True) if len(table) else rows


def scenarios(unit: Histories, flooding: Flooding) -> Histories:
    """One life for each field of ``RiskAhead``, in that order."""
    wet = [with_water(unit, flooding, treatment) for treatment in SCENARIOS.values()]
    several = [*wet, unit, with_water(unit, flooding, flooding.treatment)]
    named = [_renamed(one, f"scenario {i}") for i, one in enumerate(several)]

    def stacked(table: str) -> pd.DataFrame:
        parts: list[pd.DataFrame] = [getattr(one, table) for one in named]
        return pd.concat([part for part in parts if len(part)] or parts[:1], ignore_index=True)

    return replace(unit, lives=stacked("lives"), incidents=stacked("incidents"), checks=stacked("checks"))


def _renamed(unit: Histories, life_id: str) -> Histories:
    tables = {name: getattr(unit, name).assign(life_id=life_id) for name in ("lives", "incidents", "checks")}
    return replace(unit, **tables, stretches=unit.stretches.iloc[:0])
