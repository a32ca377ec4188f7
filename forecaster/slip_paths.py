"""Clutch slip moments on the hour axis: what one clutch showed from one setting to the next is a wear path.

Where the readings come from: ``slip_set`` of a rebuild begins the life that follows, ``slip_found`` ends the life that
was opened; a unit that was opened and closed again has both in the midst of its life, and a setting there begins a new
path, since the clutch was reset; checks lie between. Slip moments are in lb·ft, hours are engine hours.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecaster.hindsight import without_hindsight
from forecaster.lives import Histories
from forecaster.records import FleetRecords

# What is known of a reading: its life, observed hours there, slip, and whether the clutch was set to it.
_READING = {"life_id": "object", "at": "float64", "slip": "float64", "set": "bool"}


@dataclass(frozen=True)
class SlipPaths:
    """Slip readings of a fleet's clutches, by path.

    ``paths``, a RangeIndex: ``life_id``, ``unit_id``, ``begins_at`` (observed hours of its life), ``hours_before``
    (since the slip was set, when the path begins: 0 from a setting or a fresh life, else the life's age at entry; NaN
    unknown), ``hours`` (how long it is), ``tuned_share``, ``latest`` (the life's last path).
    ``readings``: ``path`` (row of ``paths``), ``hours`` (since the path begins), ``slip`` (lb·ft), ``set``.
    ``not_placed``: how many slip cells of rebuilds.csv belong to no life of the histories.
    """

    paths: pd.DataFrame
    readings: pd.DataFrame
    not_placed: int


def slip_paths(histories: Histories, records: FleetRecords) -> SlipPaths:
    """All slip readings of a fleet as known on the histories' day, cut into wear paths.

    `records`: those that the histories were built from. A setting of a unit that was not fitted since has no life yet;
    it is counted in ``not_placed``, like the cells of openings that the histories left out.
    """
    lives = histories.lives
    checks = histories.checks.merge(lives[["life_id", "unit_id"]], on="life_id")
    looked = checks[checks["slip"].notna()]
    rows = [(life_id, at, slip, False) for life_id, at, slip in _cells(looked, "life_id", "observed_hours", "slip")]
    openings = without_hindsight(records, histories.as_of).rebuilds
    placed = list(_of_openings(openings, lives, checks))
    readings = pd.DataFrame([*rows, *(row for row in placed if row is not None)], columns=list(_READING))
    return _cut(lives, readings.astype(_READING), sum(row is None for row in placed), histories.held_back)


def _cells(table: pd.DataFrame, *columns: str) -> Iterator[tuple]:
    return zip(*(table[column].tolist() for column in columns), strict=True)


def _of_openings(openings: pd.DataFrame, lives: pd.DataFrame, checks: pd.DataFrame) -> Iterator[tuple | None]:
    """Each slip cell of rebuilds.csv as a reading; None for one that belongs nowhere, nothing for what checks hold."""
    ended = lives[~lives["ended_by"].isin(["running", "stored"])]
    ends = {(unit, day): rest for unit, day, *rest in _cells(ended, "unit_id", "ended_on", "life_id", "hours_observed")}
    looks = _cells(checks, "unit_id", "checked_on", "life_id", "observed_hours")
    midst = {(unit, day): rest for unit, day, *rest in looks}
    begins: dict[str, list[tuple[pd.Timestamp, str]]] = {}
    for unit, day, life_id in _cells(lives.sort_values("life_number"), "unit_id", "began_on", "life_id"):
        begins.setdefault(unit, []).append((day, life_id))
    for unit, day, found, set_to in _cells(openings, "unit_id", "opened_on", "slip_found", "slip_set"):
        if (unit, day) in ends:
            life_id, hours = ends[unit, day]
            later = [other for began, other in begins[unit] if began >= day and other != life_id]
            if found == found:
                yield life_id, hours, found, False
        elif (unit, day) in midst:
            life_id, hours = midst[unit, day]
            if set_to == set_to:
                yield life_id, hours, set_to, True
            continue
        else:
            later = [other for began, other in begins.get(unit, []) if began >= day]
            if found == found:
                yield None
        if set_to == set_to:
            yield (later[0], 0.0, set_to, True) if later else None


def _cut(
    lives: pd.DataFrame, readings: pd.DataFrame, not_placed: int, held_back: frozenset[str] = frozenset()
) -> SlipPaths:
    """Paths of all lives that have a reading or go on, cut where the slip was set in their midst.

    Of a life that is held back the age at its start counts as unknown.
    """
    resets = readings.loc[readings["set"] & (readings["at"] > 0), ["life_id", "at"]].drop_duplicates()
    starts = pd.concat([lives[["life_id"]].assign(at=0.0), resets]).sort_values(["life_id", "at"], kind="stable")
    wanted = lives["life_id"].isin(readings["life_id"]) | lives["in_service"]
    paths = starts.merge(lives[wanted], on="life_id").rename(columns={"at": "begins_at"})
    ends = paths.groupby("life_id")["begins_at"].shift(-1)
    paths["latest"] = ends.isna()
    paths["hours"] = ends.fillna(paths["hours_observed"]) - paths["begins_at"]
    paths["hours_before"] = paths["hours_at_entry"].where(paths["begins_at"] == 0, 0.0)
    paths.loc[paths["life_id"].isin(held_back) & (paths["begins_at"] == 0), "hours_before"] = np.nan
    beginnings = paths.reset_index(names="path")[["path", "life_id", "begins_at"]]
    placed = readings.reset_index(names="reading").merge(beginnings, on="life_id")
    # a finding on the day of a reset belongs to the path that ends there, the setting to the one that begins
    begun = (placed["begins_at"] < placed["at"]) | ((placed["begins_at"] == placed["at"]) & placed["set"])
    placed = placed[begun | (placed["begins_at"] == 0)].sort_values("path").groupby("reading", as_index=False).last()
    placed["hours"] = placed["at"] - placed["begins_at"]
    columns = ["life_id", "unit_id", "begins_at", "hours_before", "hours", "tuned_share", "latest"]
    return SlipPaths(
        paths[columns],
        placed[["path", "hours", "slip", "set"]].sort_values(["path", "hours"]).reset_index(drop=True),
        not_placed,
    )
