"""Lives that teach nothing about other units, because a row that tells how far they ran is asked about.

Which rows those are was found when the fleet was read (``odd_numbers``, ``meters``, ``service_checks``).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecaster.day_numbers import days_of
from forecaster.life_hours import LifeHours
from forecaster.records import FleetRecords


def held_back_lives(known: FleetRecords, measured: LifeHours, life_ids: np.ndarray) -> frozenset[str]:
    """life_ids of the lives that rows in ``known.held_back`` tell of; `known`: the records without hindsight.

    A fitting tells of the life that it begins or goes on, an opening of the life that it ends, a reading of all lives
    on its craft since the reading before, a craft's retirement of all lives that it cuts short or leaves without hours.
    """
    held = {name: _of(known, name) for name in known.held_back}
    if all(rows.empty for rows in held.values()):
        return frozenset()
    lives = measured.lives
    unit_ids = np.array([lives[life].unit_id for life in measured.life], dtype=object)
    chosen = np.zeros(len(measured.life), dtype=bool)
    for unit, day in _cells(held, "fittings", "unit_id", "fitted_on"):
        chosen |= (unit_ids == unit) & (measured.begin == day)
    for unit, day in _cells(held, "rebuilds", "unit_id", "opened_on"):
        ended = np.array([life.unit_id == unit and life.ended_on == day for life in lives], dtype=bool)
        chosen |= ended[measured.life]
    for craft, day in _cells(held, "hours", "craft_id", "read_on"):
        own = known.hours[known.hours["craft_id"] == craft]
        before = days_of(own["read_on"])
        since = before[before < day].max(initial=day - 1)
        chosen |= (measured.craft_ids == craft) & (measured.begin < day) & (measured.end > since)
    for craft, day in _cells(held, "craft", "craft_id", "retired_on"):
        chosen |= (measured.craft_ids == craft) & (measured.end >= day)
    return frozenset(life_ids[measured.life[chosen]].tolist())


def _of(known: FleetRecords, name: str) -> pd.DataFrame:
    rows = known.table(name)
    return rows[rows.index.isin(list(known.held_back[name]))]


def _cells(held: dict[str, pd.DataFrame], name: str, about: str, day: str) -> list[tuple[str, int]]:
    """Whom each held-back row of a table is about, and its day as a day number; rows without a day are passed over."""
    if name not in held:
        return []
    rows = held[name].dropna(subset=[day])
    return list(zip(rows[about].tolist(), days_of(rows[day]).tolist(), strict=True))
