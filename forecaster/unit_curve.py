"""One unit over its hours: how its chances grow from here on, and what was to be thought of it along its past."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from forecaster.causes import check_label, incident_label
from forecaster.forecast import HOURS_GRID, INTERVAL, quantile_hours
from forecaster.life_model import MEAN_DRAWS, FittedLifeModel
from forecaster.lives import CHECKS, INCIDENTS, Histories, frame
from forecaster.ranges import HORIZON_HOURS

AHEAD_POINTS = 61  # smooth to the eye at any screen width
# Unless told otherwise a curve reaches the median of the hours left: at least a short season, so that a doomed unit's
# curve still has room, and at most some five seasons, since a curve beyond that serves no decision.
LEAST_AHEAD, MOST_AHEAD = 100.0, 1000.0
PAST_POINTS = 32
PAST_EVENTS = 14  # the latest incidents and checks that get their own cuts, two each: about 60 cuts in all


@dataclass(frozen=True)
class UnitCurve:
    """The chances of one unit in service, ahead of now and along its past.

    ``ahead``: one row an hour ahead, columns ``hours_ahead`` and ``age`` (h; NaN where the starting age is unknown),
    and ``failed_``, ``defective_`` and ``sound_`` each with ``mean``, ``low`` and ``high`` (central 90 %). Models that
    know no defect state leave defective and sound NaN: a bearing that has not failed need not be sound.

    ``so_far``: the chance that it was defective along its record, given that it had not failed by then and only the
    incidents and checks up to that hour: columns ``observed_hours``, ``age``, ``defective_mean``, ``defective_low``,
    ``defective_high``. At an incident or check two rows share the hour: before it was known, and after. No rows for
    models that know no defect state.

    ``incidents``: ``observed_hours``, ``age``, ``happened_on``, ``label``. ``checks``: the same with ``checked_on``.
    ``now_hours``: engine hours in its record now; ``now_age``: hours since rebuild, NaN unknown.
    """

    unit_id: str
    craft_id: str
    as_of: date
    model: str
    now_hours: float
    now_age: float
    ahead: pd.DataFrame
    so_far: pd.DataFrame
    incidents: pd.DataFrame
    checks: pd.DataFrame


def unit_curve(
    model: FittedLifeModel, histories: Histories, unit_id: str, hours_ahead: float | None = None
) -> UnitCurve:
    """How do one unit's chances grow with the hours ahead, and how did they move along its past?

    `hours_ahead`: how far to look, engine hours > 0; by default the median of its hours left, between `LEAST_AHEAD`
    and `MOST_AHEAD`. Raises WrongUsage where the unit is not in service or `hours_ahead` is not positive.
    """
    unit = histories.in_service().unit_in_service(unit_id)
    if hours_ahead is None:
        hours_ahead = _default_horizon(model, unit)
    else:
        HORIZON_HOURS.asked(hours_ahead, "hours_ahead")
    life = unit.lives.iloc[0]
    entry = float(life["hours_at_entry"])
    now_hours = float(life["hours_observed"])
    unit = replace(
        unit, incidents=_within_record(unit.incidents, now_hours), checks=_within_record(unit.checks, now_hours)
    )
    return UnitCurve(
        unit_id=unit_id,
        craft_id=str(life["craft_id"]),
        as_of=histories.as_of,
        model=model.name,
        now_hours=now_hours,
        now_age=entry + now_hours,
        ahead=_ahead(model, unit, hours_ahead, entry + now_hours),
        so_far=_so_far(model, unit, entry, now_hours),
        incidents=_incidents(unit, entry),
        checks=_checks(unit, entry),
    )


def _default_horizon(model: FittedLifeModel, unit: Histories) -> float:
    failed = model.chance_of_failing(unit, HOURS_GRID, draws=MEAN_DRAWS)[:, 0].mean(axis=0)
    median = quantile_hours(HOURS_GRID, failed, 0.5)
    return float(np.clip(np.ceil(median / 10.0) * 10.0, LEAST_AHEAD, MOST_AHEAD))


def _ahead(model: FittedLifeModel, unit: Histories, hours_ahead: float, age: float) -> pd.DataFrame:
    hours = np.linspace(0.0, hours_ahead, AHEAD_POINTS)
    failed = model.chance_of_failing(unit, hours)[:, 0]
    defective = model.chance_of_defect(unit, hours)
    columns = {"hours_ahead": hours, "age": age + hours, **_bands("failed", failed)}
    if defective is None:
        unknown = np.full((1, len(hours)), np.nan)
        return pd.DataFrame({**columns, **_bands("defective", unknown), **_bands("sound", unknown)})
    hidden = defective[:, 0]
    # what is left when two chances of a draw are taken away may fall below 0 by rounding only
    sound = np.maximum(1.0 - failed - hidden, 0.0)
    return pd.DataFrame({**columns, **_bands("defective", hidden), **_bands("sound", sound)})


def _bands(state: str, draws: np.ndarray) -> dict[str, np.ndarray]:
    """Mean and central 90 % of (n_draws, h) draws, one column each."""
    low, high = np.quantile(draws, INTERVAL, axis=0)
    return {f"{state}_mean": draws.mean(axis=0), f"{state}_low": low, f"{state}_high": high}


def _so_far(model: FittedLifeModel, unit: Histories, entry: float, now_hours: float) -> pd.DataFrame:
    cuts = _cuts(unit, now_hours)
    defective = model.chance_of_defect(cut_lives(unit, cuts), np.array([0.0]))
    hours = np.array([hour for hour, _ in cuts])
    columns = {"observed_hours": hours, "age": entry + hours}
    if defective is None:
        return pd.DataFrame({**columns, **_bands("defective", np.full((1, len(hours)), np.nan))}).iloc[:0]
    return pd.DataFrame({**columns, **_bands("defective", defective[:, :, 0])})


def _cuts(unit: Histories, now_hours: float) -> list[tuple[float, bool]]:
    """Hours at which to ask, each with whether what happened in that very hour is known yet."""
    happened = np.unique(np.concatenate([unit.incidents["observed_hours"], unit.checks["observed_hours"]]))
    happened = happened[-PAST_EVENTS:]
    plain = np.setdiff1d(np.linspace(0.0, now_hours, PAST_POINTS), happened)
    return sorted([(float(h), True) for h in plain] + [(float(h), known) for h in happened for known in (False, True)])


def cut_lives(unit: Histories, cuts: list[tuple[float, bool]]) -> Histories:
    """The one life of `unit` as it stood at each cut: so many running lives, each knowing only its own past.

    A cut is an observed hour and whether the incidents and checks of that very hour count.
    """
    hours = np.array([hour for hour, _ in cuts])
    lives = unit.lives.iloc[np.zeros(len(cuts), dtype=int)].reset_index(drop=True)
    life_ids = [f"{life_id}@{number}" for number, life_id in enumerate(lives["life_id"])]
    lives = lives.assign(
        life_id=life_ids,
        hours_observed=hours,
        hours_observed_low=np.minimum(lives["hours_observed_low"], hours),
        hours_observed_high=hours,
        last_known_running=np.minimum(lives["last_known_running"], hours),
    )
    return Histories(
        as_of=unit.as_of,
        lives=lives,
        incidents=_known_by(unit.incidents, INCIDENTS, life_ids, cuts),
        checks=_known_by(unit.checks, CHECKS, life_ids, cuts),
    )


def _known_by(
    events: pd.DataFrame, columns: dict[str, str], life_ids: list[str], cuts: list[tuple[float, bool]]
) -> pd.DataFrame:
    """Copies of the events that each cut life knows of, in the order of the lives."""
    at = events["observed_hours"]
    bounds = [name for name in columns if name.startswith("observed_hours")]
    copies = []
    for life_id, (hour, known) in zip(life_ids, cuts, strict=True):
        past = events[(at <= hour) if known else (at < hour)]
        # readings around an event may allow hours past the cut; at the cut it had happened
        copies.append(past.assign(life_id=life_id, **{name: past[name].clip(upper=hour) for name in bounds}))
    kept = [copy for copy in copies if len(copy)]
    return pd.concat(kept, ignore_index=True).astype(columns) if kept else frame(columns)


def _within_record(events: pd.DataFrame, now_hours: float) -> pd.DataFrame:
    """Interpolation may place an event of today a rounding error past the record's end."""
    return events.assign(observed_hours=events["observed_hours"].clip(0.0, now_hours))


def _incidents(unit: Histories, entry: float) -> pd.DataFrame:
    own = unit.incidents
    return pd.DataFrame(
        {
            "observed_hours": own["observed_hours"],
            "age": entry + own["observed_hours"],
            "happened_on": own["happened_on"],
            "label": [incident_label(k, t) for k, t in zip(own["kind"], own["treatment"], strict=True)],
        }
    )


def _checks(unit: Histories, entry: float) -> pd.DataFrame:
    own = unit.checks
    return pd.DataFrame(
        {
            "observed_hours": own["observed_hours"],
            "age": entry + own["observed_hours"],
            "checked_on": own["checked_on"],
            "label": [check_label(*look) for look in zip(own["spin"], own["known_state"], own["bearing"], strict=True)],
        }
    )
