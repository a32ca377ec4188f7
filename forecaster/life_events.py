"""Water incidents and looks placed on the lives that they happened to, with the hours at which they did.

Of one day's events the meter reading comes first, then water, looks, opening or removal, fitting: on the day that one
unit was removed and another fitted, water and looks belong to the unit that was there before.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecaster.day_numbers import date_of, days_of
from forecaster.findings import ends_life, state_when_closed, treatment_of
from forecaster.life_hours import LifeHours
from forecaster.lives import CHECKS, INCIDENTS, Remark
from forecaster.written_days import DatedText

LABORATORY_DAYS = 30  # a report later than that tells of other water; common practice, no source
NOBODY = -1
GOES_ON = 10_000_000  # a day number after all others
LOOK_COLUMNS = ["spin", "known_state", "bearing", "shaft_play_mm", "boost_kpa", "slip", "oil", "oil_water_ppm"]


def place_incidents(
    water: pd.DataFrame, measured: LifeHours, life_ids: np.ndarray, craft_water: pd.Series
) -> tuple[pd.DataFrame, list[Remark]]:
    """Rows of water.csv on the lives that were on their craft that day: columns as in INCIDENTS, and remarks.

    `life_ids` (n_lives,); `craft_water`, by craft_id, stands in where the incident's own water is not recorded.
    Ordered by life, hours, day. ``oil_water_ppm`` is blank: see ``with_laboratory``.
    """
    rows = water.sort_values(["craft_id", "happened_on", "kind", "water", "oil", "treated", "treated_within_h"])
    craft_ids, day = rows["craft_id"].to_numpy(dtype=object), days_of(rows["happened_on"])
    stretch = _stretch_on_craft(measured, craft_ids, day)
    remarks = [
        Remark(
            craft_ids[i],
            DatedText(
                f"{craft_ids[i]} took water on ",
                date_of(day[i]),
                f" ({rows['kind'].iloc[i]}) while no unit sat on it: counts for no life. Is a row missing in "
                "fittings.csv? A unit fitted that day was fitted after the incident.",
            ),
        )
        for i in np.flatnonzero(stretch == NOBODY).tolist()
    ]
    placed = stretch != NOBODY
    rows, day, stretch = rows[placed], day[placed], stretch[placed]
    life, run = measured.life[stretch], measured.by_day(stretch, day)
    own = rows["water"].where(rows["water"] != "unknown")
    incidents = pd.DataFrame(
        {
            "life_id": life_ids[life],
            "craft_id": rows["craft_id"].to_numpy(),
            "happened_on": rows["happened_on"].to_numpy(),
            "observed_hours": run.best,
            "observed_hours_low": run.low,
            "observed_hours_high": run.high,
            "kind": rows["kind"].to_numpy(),
            "water": own.fillna(rows["craft_id"].map(craft_water)).fillna("unknown").to_numpy(),
            "oil": rows["oil"].to_numpy(),
            "treated": rows["treated"].to_numpy(),
            "treatment": treatment_of(rows["treated"], rows["treated_within_h"]),
            "oil_water_ppm": np.nan,
        }
    )
    order = np.lexsort((np.arange(len(life)), day, run.best, life))
    return incidents.iloc[order].reset_index(drop=True).astype(INCIDENTS), remarks


def place_looks(
    checks: pd.DataFrame, rebuilds: pd.DataFrame, measured: LifeHours, life_ids: np.ndarray
) -> tuple[pd.DataFrame, list[Remark]]:
    """Rows of checks.csv and openings that ended no life, on their lives: columns as in CHECKS and ``opened``; remarks.

    A look at a unit on the shelf counts at the hours it had; after a rebuild, for the life that then begins. Ordered
    by life, hours, day, a day's checks before its openings.
    """
    looks = pd.concat([_as_looks(checks), _closed_as_looks(rebuilds)], ignore_index=True)
    looks = looks.sort_values(["unit_id", "checked_on", "opened", *LOOK_COLUMNS])
    unit_ids, day = looks["unit_id"].to_numpy(dtype=object), days_of(looks["checked_on"])
    life, before_first = _life_of_unit(measured, unit_ids, day)
    remarks = []
    for i in np.flatnonzero((life == NOBODY) | before_first).tolist():
        if life[i] == NOBODY:
            so = ", when it had no life in the record: that look counts for none."
        else:
            so = ", before its first fitting: taken to be at the hours that it was fitted with."
        remarks.append(Remark(unit_ids[i], DatedText(f"{unit_ids[i]} was looked at on ", date_of(day[i]), so)))
    placed = life != NOBODY
    looks, day, life = looks[placed], day[placed], life[placed]
    at, _ = _first_not_before(measured.life, measured.begin, life, day)
    stretch = np.maximum(at - 1, np.searchsorted(measured.life, life))  # the latest begun before that day, or the first
    best = measured.by_day(stretch, day).best
    table = looks.assign(life_id=life_ids[life], observed_hours=best)
    order = np.lexsort((np.arange(len(life)), day, best, life))
    return table.iloc[order].reset_index(drop=True)[[*CHECKS, "opened"]].astype(CHECKS | {"opened": "bool"}), remarks


def with_laboratory(incidents: pd.DataFrame, looks: pd.DataFrame, life_ids: np.ndarray) -> pd.DataFrame:
    """Incidents with the first laboratory value of their unit after them.

    Within `LABORATORY_DAYS`, before the life's next incident on a later day, and no later than the life's end. Of
    several values on one day the highest counts.
    """
    reports = looks[looks["oil_water_ppm"].notna()]
    if reports.empty or incidents.empty:
        return incidents
    place = pd.Index(life_ids)
    life = place.get_indexer(pd.Index(reports["life_id"]))
    day, ppm = days_of(reports["checked_on"]), reports["oil_water_ppm"].to_numpy()
    order = np.lexsort((-ppm, day, life))
    life, day, ppm = life[order], day[order], ppm[order]
    wet, wet_on = place.get_indexer(pd.Index(incidents["life_id"])), days_of(incidents["happened_on"])
    by_day = np.lexsort((wet_on, wet))
    following, follows = _first_not_before(wet[by_day], wet_on[by_day], wet, wet_on + 1)
    next_on = np.where(follows, wet_on[by_day][np.minimum(following, len(by_day) - 1)], GOES_ON)
    report, found = _first_not_before(life, day, wet, wet_on)
    report = np.minimum(report, len(day) - 1)
    found &= (day[report] <= wet_on + LABORATORY_DAYS) & (day[report] < next_on)
    return incidents.assign(oil_water_ppm=np.where(found, ppm[report], np.nan))


def _as_looks(checks: pd.DataFrame) -> pd.DataFrame:
    kept = [column for column in LOOK_COLUMNS if column not in ("known_state", "bearing")]
    return checks[["unit_id", "checked_on", *kept]].assign(known_state="", bearing="", opened=False)


def _closed_as_looks(rebuilds: pd.DataFrame) -> pd.DataFrame:
    ends = [ends_life(o, b) for o, b in zip(rebuilds["outcome"], rebuilds["bearing"], strict=True)]
    closed = rebuilds[~np.array(ends, dtype=bool)]
    return pd.DataFrame(
        {
            "unit_id": closed["unit_id"],
            "checked_on": closed["opened_on"],
            "spin": "not_done",
            "known_state": [state_when_closed(bearing) for bearing in closed["bearing"]],
            "bearing": closed["bearing"],
            "shaft_play_mm": np.nan,
            "boost_kpa": np.nan,
            "slip": closed["slip_found"],
            "oil": "unknown",
            "oil_water_ppm": np.nan,
            "opened": True,
        }
    )


def _first_not_before(
    groups: np.ndarray, days: np.ndarray, group: np.ndarray, day: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Place of each `group`'s first row on or after `day`, and if there is one: else the place after its last row.

    Rows sorted by `groups`, then `days`.
    """
    everything = np.concatenate([days, day, [0]])
    first, span = everything.min(), everything.max() - everything.min() + 1
    at = np.searchsorted(groups * span + (days - first), group * span + (day - first), side="left")
    stop = np.searchsorted(groups, group, side="right")
    return at, at < stop


def _stretch_on_craft(measured: LifeHours, craft_ids: np.ndarray, day: np.ndarray) -> np.ndarray:
    """The stretch that had begun on each craft before each day and had not ended before it; NOBODY without one."""
    if not len(measured.life):
        return np.full(len(day), NOBODY)
    names = pd.Index(sorted(set(measured.craft_ids)), dtype=object)
    craft, own = (names.get_indexer(pd.Index(ids, dtype=object)) for ids in (measured.craft_ids, craft_ids))
    order = np.lexsort((measured.end, measured.begin, craft))
    at, _ = _first_not_before(craft[order], measured.begin[order], own, day)
    before = np.maximum(at - 1, 0)
    sits = (at > 0) & (craft[order][before] == own) & (measured.end[order][before] >= day)
    return np.where(sits, order[before], NOBODY)


def _life_of_unit(measured: LifeHours, unit_ids: np.ndarray, day: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The life of each unit that a look on a day tells of, NOBODY without one, and if it is before its first fitting.

    The first that had not ended before that day, if the opening that began it was earlier.
    """
    lives = measured.lives
    names = pd.Index(list(dict.fromkeys(life.unit_id for life in lives)), dtype=object)
    groups = names.get_indexer(pd.Index([life.unit_id for life in lives], dtype=object))
    ended = np.array([GOES_ON if life.ended_on is None else life.ended_on for life in lives], dtype=np.int64)
    renewed = np.array([-GOES_ON if life.renewed_on is None else life.renewed_on for life in lives], dtype=np.int64)
    own = names.get_indexer(pd.Index(unit_ids, dtype=object))
    if not len(lives):
        return np.full(len(day), NOBODY), np.zeros(len(day), dtype=bool)
    at, found = _first_not_before(groups, ended, own, day)
    at = np.minimum(at, len(lives) - 1)
    found &= (own >= 0) & (renewed[at] < day)
    began = measured.begin[np.searchsorted(measured.life, at)]
    return np.where(found, at, NOBODY), found & (renewed[at] == -GOES_ON) & (day < began)
