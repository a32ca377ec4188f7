"""From records to lives: what each unit lived through on the hour axis, as known on a day.

The rooms behind it, in order: ``hindsight`` takes away what was not yet known; ``engine_hours`` follows the meters;
``unit_paths`` joins fittings and openings into lives; ``life_hours`` gives them hours, and ``record_gaps`` tells which
are missing; ``life_events`` places water and looks on them; ``empty_craft`` names craft without a unit. Here the tables
of ``lives.Histories`` are filled. The order of the records' rows has no effect.

Left out, each with a remark where it could mislead: fittings after a unit was entered as scrapped or replaced,
openings before a unit's first fitting, incidents on a craft without a unit. A unit that was rebuilt and not fitted
since has no life yet; it is not among the lives.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import numpy as np
import pandas as pd

from forecaster.day_numbers import day_of
from forecaster.empty_craft import craft_without_unit
from forecaster.engine_hours import follow_meters
from forecaster.findings import shows_it_runs
from forecaster.held_back import held_back_lives
from forecaster.hindsight import without_hindsight
from forecaster.life_events import place_incidents, place_looks, with_laboratory
from forecaster.life_hours import LifeHours, measure_lives
from forecaster.lives import CHECKS, LIVES, STRETCHES, Histories, Remark
from forecaster.ranges import refuse_day
from forecaster.record_gaps import remark_gaps
from forecaster.records import FleetRecords
from forecaster.unit_paths import follow_units

SALT = {"salt": 1.0, "brackish": 0.5, "fresh": 0.0}  # unknown: NaN
TUNED = {"tuned": 1.0, "stock": 0.0}
WATERS = ("salt", "brackish", "fresh", "unknown")  # of waters with equal hours the first is named


def build_histories(records: FleetRecords, as_of: date) -> Histories:
    """The lives of all units of a fleet as known on the evening of `as_of`; nothing dated later is used.

    `records`: accepted records. Hours are engine hours: the meters', interpolated evenly between readings, with the
    neighbouring readings as bounds. Lives are ordered by unit_id, then time. Raises WrongUsage for a day outside of
    ``ranges`` and nothing else: what is contradictory or missing is dealt with as the rooms behind say, and told in
    ``remarks``.
    """
    refuse_day(as_of)
    known = without_hindsight(records, as_of)
    meters = follow_meters(known.hours, known.settings.season, as_of)
    paths, path_remarks = follow_units(known, day_of(as_of))
    measured, entry, hour_remarks = measure_lives(paths, meters)
    gap_remarks = remark_gaps(measured, day_of(as_of))
    numbers, life_ids = _names(measured)
    craft = known.craft.set_index("craft_id")
    incidents, incident_remarks = place_incidents(known.water, measured, life_ids, craft["water"])
    looks, look_remarks = place_looks(known.checks, known.rebuilds, measured, life_ids)
    lives = _lives(measured, entry, numbers, life_ids, craft, looks, as_of)
    stretches = _stretches(measured, life_ids, craft)
    remarks = _in_order([*meters.remarks, *path_remarks, *hour_remarks, *gap_remarks, *incident_remarks, *look_remarks])
    return Histories(
        as_of=as_of,
        lives=lives,
        incidents=with_laboratory(incidents, looks, life_ids),
        checks=looks[list(CHECKS)],
        stretches=stretches,
        remarks=remarks,
        craft_without_unit=craft_without_unit(known, lives, stretches, remarks, as_of),
        held_back=held_back_lives(known, measured, life_ids),
    )


def _names(measured: LifeHours) -> tuple[np.ndarray, np.ndarray]:
    """Number of each life within its unit, and its life_id."""
    units = pd.Series([life.unit_id for life in measured.lives], dtype=object)
    numbers = units.groupby(units).cumcount().to_numpy() + 1
    ids = np.array([f"{unit}/{number}" for unit, number in zip(units, numbers, strict=True)], dtype=object)
    return numbers, ids


def _in_order(*remarks: Iterable[Remark]) -> tuple[Remark, ...]:
    return tuple(sorted(set().union(*remarks), key=lambda remark: (remark.about, remark.text)))


def _lives(
    measured: LifeHours,
    entry: np.ndarray,
    numbers: np.ndarray,
    life_ids: np.ndarray,
    craft: pd.DataFrame,
    looks: pd.DataFrame,
    as_of: date,
) -> pd.DataFrame:
    lives, totals = measured.lives, measured.totals()
    last_craft = np.array([life.stretches[-1].craft_id for life in lives], dtype=object)
    ended = np.array([life.ended_on is not None for life in lives], dtype=bool)
    fitted = np.array([life.stretches[-1].still_on for life in lives], dtype=bool)
    ended_on = [day_of(as_of) if life.ended_on is None else life.ended_on for life in lives]
    in_service_on = craft["in_service_on"].reindex(last_craft)
    serves = ~(in_service_on > pd.Timestamp(as_of)).to_numpy()
    reason = np.array([life.ended_by for life in lives], dtype=object)
    first, last = measured.meters.first_and_last(last_craft)
    table = pd.DataFrame(
        {
            "life_id": life_ids,
            "unit_id": [life.unit_id for life in lives],
            "life_number": numbers,
            "craft_id": last_craft,
            "began_on": _dates([life.stretches[0].begin for life in lives]),
            "ended_on": _dates(ended_on),
            "hours_at_entry": entry,
            "hours_observed": totals.best,
            "hours_observed_low": totals.low,
            "hours_observed_high": totals.high,
            "ended_by": np.where(ended, reason, np.where(fitted, "running", "stored")),
            "seen": [life.seen for life in lives],
            "last_known_running": _last_known_running(looks, life_ids),
            "parts": [_parts(life.parts, [stretch.parts for stretch in life.stretches]) for life in lives],
            "water": _main_water(measured, craft),
            "salt_share": _share(measured, craft, "water", SALT),
            "tuned_share": _share(measured, craft, "tune", TUNED),
            "in_service": ~ended & fitted & serves,
            "last_reading_on": pd.Series(_dates(last)).where(first <= last),
        }
    )
    return table.astype(LIVES)


def _dates(days: list[int] | np.ndarray) -> np.ndarray:
    dates: np.ndarray = np.asarray(days, dtype=np.int64).astype("datetime64[D]").astype("datetime64[ns]")
    return dates


def _parts(of_rebuild: str, of_fittings: list[str]) -> str:
    """What a life's rotating parts are: what the rebuild that began it says, else its fittings, the first that says."""
    return next((parts for parts in (of_rebuild, *of_fittings) if parts != "unknown"), "unknown")


def _last_known_running(looks: pd.DataFrame, life_ids: np.ndarray) -> np.ndarray:
    """Observed hours of each life's last look that shows it had not failed, 0 without one."""
    runs = looks[shows_it_runs(looks["spin"], looks["opened"])]
    latest = runs.groupby("life_id")["observed_hours"].max()
    hours: np.ndarray = latest.reindex(life_ids).fillna(0.0).to_numpy(dtype=float)
    return hours


def _of_craft(measured: LifeHours, craft: pd.DataFrame, column: str) -> pd.Series:
    """A column of craft.csv for each stretch; unknown where the craft is not listed."""
    return craft[column].reindex(measured.craft_ids).fillna("unknown").reset_index(drop=True)


def _hours_by_life(measured: LifeHours, weight: np.ndarray) -> np.ndarray:
    """Sum over each life's stretches of hours times weight, (n_lives,)."""
    hours: np.ndarray = np.bincount(measured.life, measured.hours.best * weight, len(measured.lives))
    return hours


def _last_stretch(measured: LifeHours) -> np.ndarray:
    last: np.ndarray = np.searchsorted(measured.life, np.arange(len(measured.lives)), side="right") - 1
    return last


def _share(measured: LifeHours, craft: pd.DataFrame, column: str, weights: dict[str, float]) -> np.ndarray:
    """Mean weight over each life's hours of which the code is known, NaN if none; without hours the last craft's."""
    weight = _of_craft(measured, craft, column).map(weights).to_numpy(dtype=float)
    told = np.isfinite(weight)
    hours = _hours_by_life(measured, np.ones(len(weight)))
    known = _hours_by_life(measured, told.astype(float))
    weighted = _hours_by_life(measured, np.where(told, weight, 0.0))
    share = np.where(known > 0, weighted / np.where(known > 0, known, 1.0), np.nan)
    return np.where(hours > 0, share, weight[_last_stretch(measured)])


def _main_water(measured: LifeHours, craft: pd.DataFrame) -> np.ndarray:
    """The water in which each life ran most of its hours; lives without hours: the last craft's."""
    water = _of_craft(measured, craft, "water").to_numpy(dtype=object)
    hours = np.stack([_hours_by_life(measured, (water == code).astype(float)) for code in WATERS])
    most = np.array(WATERS, dtype=object)[hours.argmax(axis=0)]
    main: np.ndarray = np.where(hours.sum(axis=0) > 0, most, water[_last_stretch(measured)])
    return main


def _stretches(measured: LifeHours, life_ids: np.ndarray, craft: pd.DataFrame) -> pd.DataFrame:
    before, hours = measured.before.best, measured.hours.best
    table = pd.DataFrame(
        {
            "life_id": life_ids[measured.life],
            "craft_id": measured.craft_ids,
            "from_on": _dates(measured.begin),
            "to_on": _dates(measured.end),
            "from_observed_hours": before,
            "to_observed_hours": before + hours,
        }
        | {name: _of_craft(measured, craft, name).to_numpy() for name in ("water", "tune", "cooling", "catch_can")}
    )
    return table.astype(STRETCHES)
