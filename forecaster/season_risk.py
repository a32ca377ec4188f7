"""Fails this season: the chance by the season's close, over what is not known of the bearing and of the hours ahead.

Each posterior draw of a unit's bearing goes with one draw of its craft's engine hours to the close, so that a chance's
interval holds what is not known of either. The craft of one draw share the season.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecaster.life_model import Standing
from forecaster.usage_forecast import UsageForecast

# Hours at which a unit's chance is worked out; between them a curve. Beside 201 of them an interval's ends differ by
# less than .0005 on the sample fleet.
NODES = 7
UNITS_AT_ONCE = 250  # between whose nodes chances are found together: few enough for the processor's cache
SURE = 1.0 - 1e-12  # a chance beyond which its hazard is not worth following
ENOUGH = 400  # draws of hours: as many as a life model's own


def hours_to_close(usage: UsageForecast, craft_ids: pd.Series, standing: Standing) -> np.ndarray:
    """Joint draws of engine hours to the close of the current or next season, (draws, units): one a draw of `standing`.

    `craft_ids` (units,): the craft that each unit sits on. A model of one draw, a rule of thumb, gets `ENOUGH` of them.
    """
    draws = len(standing.failing(np.array([0.0])))
    _, closes = usage.season.current_or_next(usage.as_of)
    places, craft = pd.factorize(craft_ids)
    return usage.totals(list(craft), usage.as_of, closes, draws if draws > 1 else ENOUGH)[:, places]


def failing_within_drawn(standing: Standing, hours: np.ndarray) -> np.ndarray:
    """Chance that each unit fails within its own hours of each draw, (draws, units), from `hours` of that shape.

    Each unit's curve is asked at `NODES` hours across its draws; between them its cumulative hazard is a monotone cubic
    (Fritsch & Butland 1984, SIAM J. Sci. Stat. Comput. 5, 300-304).
    """
    least, most = hours.min(axis=0), hours.max(axis=0)
    grid = least[:, None] + (most - least)[:, None] * np.linspace(0.0, 1.0, NODES)
    failing, within = standing.failing(grid), np.empty_like(hours)
    for begun in range(0, hours.shape[1], UNITS_AT_ONCE):
        some = slice(begun, begun + UNITS_AT_ONCE)
        within[:, some] = _between(failing[:, some], hours[:, some], least[some], most[some])
    return within


def _between(failing: np.ndarray, hours: np.ndarray, least: np.ndarray, most: np.ndarray) -> np.ndarray:
    """The chances (draws, units) at `hours`, from those at the nodes between each unit's `least` and `most` hours."""
    hazard = -np.log1p(-np.minimum(failing, SURE))
    span = most - least
    steps = np.divide(hours - least, span, out=np.zeros_like(hours), where=span > 0) * (NODES - 1)
    left = np.minimum(steps.astype(int), NODES - 2)
    part = steps - left
    rises = np.diff(hazard, axis=2)
    slopes = _slopes(rises)
    at, rise, slope, next_slope = (
        np.take_along_axis(table, place[:, :, None], axis=2)[:, :, 0]
        for table, place in ((hazard, left), (rises, left), (slopes, left), (slopes, left + 1))
    )
    back = 1.0 - part
    within = rise * part**2 * (3.0 - 2.0 * part) + part * back * (slope * back - next_slope * part)
    return np.asarray(-np.expm1(-np.maximum(at + within, 0.0)))


def _slopes(rises: np.ndarray) -> np.ndarray:
    """Slopes at evenly spaced nodes that keep a curve rising, (..., nodes), from its rises between them, all >= 0."""
    before, after = rises[..., :-1], rises[..., 1:]
    both = before + after
    inner = np.divide(2.0 * before * after, both, out=np.zeros_like(both), where=both > 0)
    first, last = (
        np.clip((3.0 * near - far) / 2.0, 0.0, 3.0 * near)
        for near, far in ((rises[..., 0], rises[..., 1]), (rises[..., -1], rises[..., -2]))
    )
    return np.concatenate([first[..., None], inner, last[..., None]], axis=-1)
