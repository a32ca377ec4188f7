"""Every model's forecasts as of one past day, beside what became of the units: one row a unit and question.

Nothing dated later than that day goes into a forecast; nothing earlier than it into what became of the unit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from importlib import import_module

import numpy as np
import pandas as pd

from forecaster import model_names
from forecaster.aftermath import after_hours, after_season
from forecaster.errors import ModelError
from forecaster.life_model import FittedLifeModel, Standing
from forecaster.lives import Histories
from forecaster.records import FleetRecords
from forecaster.season_risk import failing_within_drawn, hours_to_close
from forecaster.usage_forecast import forecast_usage
from forecaster.written_days import DatedText

# Name -> room and function that fits it: the life models that a forecast can be asked of, and the rivals to beat.
MODELS = {
    **model_names.MODELS,
    "fleet average": ("forecaster.simple_rules", "fit_fleet_average"),
    "every N hours": ("forecaster.simple_rules", "fit_every_n_hours"),
}
SEED = 1  # of the posterior draws
FORECASTS = (
    "origin",  # the day of the forecast
    "unit_id",
    "life_id",
    "craft_id",
    "hours_since_rebuild",  # as known on that day; NaN unknown
    "asked_hours",  # engine hours ahead that were asked about
    "ran",  # hours run in the window, or (season) the share of its days; NaN: the later records do not tell
    "failed",
    "happened",  # one of aftermath.HAPPENED
    # then one column a model, named for it: the chance that it gave (posterior mean); NaN: it could not be fitted
)


def fit_all(models: Sequence[str], then: Histories, day: date, remarks: list[str]) -> dict[str, FittedLifeModel]:
    """The models that can be fitted to what was known on a day; a remark for each that cannot."""
    fitted = {}
    for name in models:
        room, function = MODELS[name]
        fitter: Callable[..., FittedLifeModel] = getattr(import_module(room), function)
        try:
            fitted[name] = fitter(then, seed=SEED)
        except ModelError as refusal:
            remarks.append(DatedText(day, f": no forecasts of the {name} model: ", refusal.message))
    return fitted


def hours_forecasts(
    fitted: dict[str, FittedLifeModel],
    models: Sequence[str],
    units: Histories,
    later: Histories,
    hours: float,
    waiting: dict[str, float],
) -> pd.DataFrame:
    """Forecasts of failing within `hours`, for lives whose earlier window is over; `waiting` gets where these end."""
    lives = units.lives
    free = lives["hours_observed"] >= lives["life_id"].map(waiting).fillna(0.0)
    asked = units.select(free)
    waiting.update(zip(asked.lives["life_id"], asked.lives["hours_observed"] + hours, strict=True))
    ahead = np.full(asked.n_lives, float(hours))

    def fails(standing: Standing) -> np.ndarray:
        return standing.failing(np.array([hours]))[:, :, 0]

    return _forecasts(fitted, models, asked, ahead, fails, after_hours(asked, later, hours))


def season_forecasts(
    fitted: dict[str, FittedLifeModel],
    models: Sequence[str],
    units: Histories,
    later: Histories,
    records: FleetRecords,
    remarks: list[str],
) -> pd.DataFrame:
    """Forecasts of failing by the close of the season that opens on the day of `units`, from what was known then."""
    season = records.settings.season
    opens, closes = season.current_or_next(units.as_of)
    usage = forecast_usage(records, units.as_of)
    remarks += usage.fleet_remarks
    craft, became = units.lives["craft_id"], after_season(units, later, closes, season.opening_in(opens.year + 1))

    def fails(standing: Standing) -> np.ndarray:
        return failing_within_drawn(standing, hours_to_close(usage, craft, standing))

    ahead = usage.totals(list(craft), units.as_of, closes, 1)[0]
    return _forecasts(fitted, models, units, ahead, fails, became)


def _forecasts(
    fitted: dict[str, FittedLifeModel],
    models: Sequence[str],
    units: Histories,
    ahead: np.ndarray,
    fails: Callable[[Standing], np.ndarray],
    became: pd.DataFrame,
) -> pd.DataFrame:
    """One row a unit: columns `FORECASTS` and one a model, by the draws (d, n) that `fails` gives of its chances.

    `ahead` (n,): the engine hours that are asked about, or expected.
    """
    lives = units.lives
    table = pd.DataFrame(
        {
            "origin": pd.Timestamp(units.as_of),
            "unit_id": lives["unit_id"],
            "life_id": lives["life_id"],
            "craft_id": lives["craft_id"],
            "hours_since_rebuild": units.age,
            "asked_hours": ahead,
            "ran": became["ran"],
            "failed": became["failed"],
            "happened": became["happened"],
        }
    )
    for name in models:
        chances = np.full(len(lives), np.nan)
        if name in fitted and len(lives):
            chances = fails(fitted[name].standing(units)).mean(axis=0)
        table[name] = chances
    return table


def together(tables: Sequence[pd.DataFrame], models: Sequence[str]) -> pd.DataFrame:
    """Forecasts of several days in one table; one of no rows where there are none."""
    filled = [table for table in tables if len(table)]
    if not filled:
        return pd.DataFrame(columns=[*FORECASTS, *models])
    return pd.concat(filled, ignore_index=True)
