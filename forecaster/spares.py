"""How many spare units to hold so that no craft waits for one: base stock against the demand of a lead time.

Each unit that comes off in season is replaced from the shelf at once and comes back rebuilt a lead time later, so that
the shelf runs short when more than S units come off within one lead time. Demand in a lead time is Poisson with mean
theta. Two questions are asked of a stock S, and they are not the same:

``covers_all``    P(X <= S): the stock covers all demand of a lead time, and nobody waits. Answered here.
``fill_rate``     P(X < S): the share of demand that is met from the shelf at once (Hopp & Spearman, Factory Physics,
                  the base stock model; a customer that takes the last unit is served).
``expected_backorders``   E[max(X - S, 0)]: craft that wait, on average at any moment.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from forecaster.errors import WrongUsage

COVER = 0.95
MOST_STOCK = 100_000  # beyond, a stock is no answer but a slip of the pen in the demand


@dataclass(frozen=True)
class SpareUnits:
    """How many to hold, for what demand: `low` to `high` its central 90 % over the draws, `covers` = P(X <= units)."""

    units: int
    demand: float
    demand_low: float
    demand_high: float
    lead_time_weeks: float
    covers: float
    fill_rate: float
    expected_backorders: float


def covers_all(demand: float | np.ndarray, stock: int) -> float:
    """P(X <= stock), averaged over `demand`: one mean, or one for each posterior draw (draws,)."""
    from scipy.special import pdtr  # scipy.stats says the same, and takes a third of a second to import

    theta = _demand(demand)
    return float(np.mean(pdtr(stock, theta))) if stock >= 0 else 0.0


def fill_rate(demand: float | np.ndarray, stock: int) -> float:
    """P(X < stock), averaged over `demand`."""
    return covers_all(demand, stock - 1)


def expected_backorders(demand: float | np.ndarray, stock: int) -> float:
    """E[max(X - stock, 0)] = (theta - S)(1 - P(X <= S)) + theta P(X = S), averaged over `demand`."""
    from scipy.special import gammaln, pdtrc, xlogy

    theta = _demand(demand)
    exactly = np.exp(xlogy(stock, theta) - gammaln(stock + 1) - theta)
    return float(np.mean((theta - stock) * pdtrc(stock, theta) + theta * exactly))


def _demand(demand: float | np.ndarray) -> np.ndarray:
    theta = np.atleast_1d(np.asarray(demand, dtype=float))
    if theta.ndim != 1 or not theta.size or not (np.isfinite(theta) & (theta >= 0)).all():
        raise WrongUsage("The demand of a lead time must be a number of units of at least 0.")
    return theta


def lead_time_demand(weekly: np.ndarray, lead_time_weeks: float) -> np.ndarray:
    """Expected units that come off within one lead time in the busiest stretch of the season, (draws,).

    `weekly`: expected units coming off in each in-season week, failures and openings together, (weeks,) or
    (draws, weeks). A lead time that ends within a week takes that share of it; a season shorter than the lead time
    counts in full.
    """
    rates = np.atleast_2d(np.asarray(weekly, dtype=float))
    if rates.ndim != 2 or not rates.shape[1] or not (np.isfinite(rates) & (rates >= 0)).all():
        raise WrongUsage("Weekly demand must be numbers of units of at least 0, one for each in-season week.")
    if not (math.isfinite(lead_time_weeks) and lead_time_weeks > 0):
        raise WrongUsage(f"The lead time must be above 0 weeks, not {lead_time_weeks}.")
    draws, n_weeks = rates.shape
    total = np.concatenate([np.zeros((draws, 1)), np.cumsum(rates, axis=1)], axis=1)
    # A stretch of fixed length holds most when one of its ends is a week's end, since rates are constant in between.
    starts = np.concatenate([np.arange(n_weeks + 1.0), np.arange(n_weeks + 1.0) - lead_time_weeks])
    starts = np.unique(np.clip(starts, 0.0, max(n_weeks - lead_time_weeks, 0.0)))
    weeks = np.arange(n_weeks + 1.0)
    ends = np.minimum(starts + lead_time_weeks, n_weeks)
    mean = total.mean(axis=0)
    busiest = int(np.argmax(np.interp(ends, weeks, mean) - np.interp(starts, weeks, mean)))
    demand: np.ndarray = np.array(
        [np.interp(ends[busiest], weeks, row) - np.interp(starts[busiest], weeks, row) for row in total]
    )
    return demand


def spare_units(demand: float | np.ndarray, lead_time_weeks: float, cover: float = COVER) -> SpareUnits:
    """The fewest spare units that cover all demand of a lead time with probability `cover` or more.

    `demand`: mean demand in a lead time, or one for each posterior draw (see ``lead_time_demand``): what is not known
    of the rate then counts as well, and asks for more spares than its mean alone. WrongUsage for a cover that is no
    chance between 0 and 1, or a demand beyond all sense.
    """
    theta = _demand(demand)
    if not 0 < cover < 1:
        raise WrongUsage(f"The chance that no craft waits must lie between 0 and 1, not {cover}.")
    if theta.max() > MOST_STOCK / 2:
        raise WrongUsage(f"A demand of {theta.max():g} units in one lead time is beyond any fleet. Check the figures.")
    least, most = -1, MOST_STOCK
    while most - least > 1:  # P(X <= S) rises with S
        middle = (least + most) // 2
        least, most = (least, middle) if covers_all(theta, middle) >= cover else (middle, most)
    low, high = np.quantile(theta, [0.05, 0.95])
    return SpareUnits(
        units=most,
        demand=float(theta.mean()),
        demand_low=float(low),
        demand_high=float(high),
        lead_time_weeks=lead_time_weeks,
        covers=covers_all(theta, most),
        fill_rate=fill_rate(theta, most),
        expected_backorders=expected_backorders(theta, most),
    )
