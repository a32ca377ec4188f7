"""When a rebuild before failure pays: the service interval of least cost for the units of a fleet.

The rule priced is "rebuild at T engine hours, unless it fails or its noise is noticed first", for one fresh unit after
another. Age replacement (Barlow & Proschan 1965) with two stages: per engine hour it costs

    [planned P(reaches T) + failure P(fails before) + noticed P(noticed before)] / E[hours run]

with water coming in at the fleet's own rate. The same with one check on the way: "check at c, rebuild it then if it
rattles, else at T". All of it draw by draw: what the rule costs in the long run is the mean over the posterior of each
draw's long-run cost, not the cost of the mean chances.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.fresh_life import FreshLife, fresh_lives, stage_2_steps
from forecaster.learning import TwoStageFit
from forecaster.lives import Histories
from forecaster.pieces import covariates
from forecaster.prices import Prices
from forecaster.priors import Prior
from forecaster.service_life import IncidentRate, chance_sound, incident_rate

STEP_H = 5.0  # ages to choose from stand this far apart
OLDEST_H = 900.0  # no rule waits longer than this: a bearing that old is beyond what any fleet has seen
DRAWS = 50  # of the posterior, evenly thinned
NEAR_LEAST = 0.05  # the band: intervals that cost at most this much more than the best
FLAT = 1e-6  # relative: a cost that falls to the grid's end falls on; less than this is rounding
PER_H = 100.0  # costs are told per so many engine hours

Cost = tuple[float, float, float]  # posterior mean, low and high end of the central 90 %


@dataclass(frozen=True)
class CostCurve:
    """Cost per 100 engine hours by the age at which one rebuilds: `ages_h` (n,) rising from the first step, h."""

    ages_h: np.ndarray
    mean: np.ndarray
    low: np.ndarray  # central 90 % of the posterior
    high: np.ndarray


@dataclass(frozen=True)
class WithCheck:
    """The best rule with one check on the way: check at `check_h`, rebuild then if it rattles, else at `rebuild_h`.

    `rebuild_h` None: never before it fails or is noticed. `saves_per_100_h`: beside the best rule without a check, mean
    and central 90 %; below 0 the check costs more than it saves.
    """

    check_h: float
    rebuild_h: float | None
    cost_per_100_h: Cost
    saves_per_100_h: Cost


@dataclass(frozen=True)
class ServiceInterval:
    """The service interval of least cost of one kind of fresh unit.

    `rebuild_h`: T of least mean cost, h; None: a rebuild before failure does not pay at any age up to OLDEST_H.
    `within_5_percent`: the ages around it that cost at most 5 % more; None at its end: so does never. `cost_per_100_h`
    of the best rule, `cost_never_per_100_h` of running until something happens: mean and central 90 %. `chance_never`:
    share of the posterior under which no planned rebuild would be best.
    """

    kind: str  # in words
    lives: int  # of that kind in the record
    in_season: bool  # planned work is done in season, at its prices; else it waits for a day off season
    rebuild_h: float | None
    within_5_percent: tuple[float, float | None]
    cost_per_100_h: Cost
    cost_never_per_100_h: Cost
    chance_never: float
    curve: CostCurve
    with_check: WithCheck | None


def service_intervals(fit: TwoStageFit, histories: Histories, prices: Prices) -> tuple[ServiceInterval, ...]:
    """Least-cost intervals of the fleet as it is, off season and in season, then by parts and water (off season).

    Water comes in at the fleet's own rate everywhere.
    """
    lives = histories.lives
    theta, rate = thinned(fit.theta, DRAWS), incident_rate(histories)
    x = _as_it_is(fit, histories)
    checked = _checked_lives(theta, fit.prior, x, rate)
    rows = []
    for in_season in (False, True):
        kind = f"as the fleet is, work done {'in season' if in_season else 'off season'}"
        rows.append(_interval(theta, fit.prior, x, rate, prices, in_season, kind, len(lives), checked))
    for parts, aftermarket in (("oem", 0.0), ("aftermarket", 1.0)):
        for water, salt in (("salt", 1.0), ("fresh", 0.0)):
            count = int(((lives["parts"] == parts) & (lives["water"] == water)).sum())
            if count:
                named = "original" if parts == "oem" else parts
                of_kind = np.array([aftermarket, salt, x[2]])
                kind = f"{named} parts, {water} water, work done off season"
                rows.append(_interval(theta, fit.prior, of_kind, rate, prices, False, kind, count, None))
    return tuple(rows)


def service_interval(
    fit: TwoStageFit, histories: Histories, prices: Prices, in_season: bool = False, with_check: bool = True
) -> ServiceInterval:
    """Least-cost interval of the fleet as it is, with water at its own rate.

    `in_season`: the planned rebuild (and the check) costs what it costs in season, lost rental days and all.
    """
    theta, rate = thinned(fit.theta, DRAWS), incident_rate(histories)
    x = _as_it_is(fit, histories)
    checked = _checked_lives(theta, fit.prior, x, rate) if with_check else None
    kind = f"as the fleet is, work done {'in season' if in_season else 'off season'}"
    return _interval(theta, fit.prior, x, rate, prices, in_season, kind, len(histories.lives), checked)


def interval_of(
    theta: np.ndarray,
    prior: Prior,
    x: np.ndarray,
    rate: IncidentRate | None,
    prices: Prices,
    in_season: bool = False,
    with_check: bool = False,
) -> ServiceInterval:
    """Least-cost interval of a unit with covariates `x` (3,) over posterior draws `theta` (d, p), all of them.

    `rate`: water to come; None: none.
    """
    checked = _checked_lives(theta, prior, x, rate) if with_check else None
    return _interval(theta, prior, x, rate, prices, in_season, "", 0, checked)


def thinned(theta: np.ndarray, draws: int) -> np.ndarray:
    """At most `draws` of the posterior's draws (d, p), evenly spaced."""
    if len(theta) <= draws:
        return theta
    few: np.ndarray = theta[np.linspace(0, len(theta) - 1, draws).round().astype(int)]
    return few


def _as_it_is(fit: TwoStageFit, histories: Histories) -> np.ndarray:
    """Covariates of the fleet's mean unit, (3,); where it has no lives, those of any fleet."""
    lives = histories.lives
    if not len(lives):
        return np.array(list(fit.shares.values()))
    mean: np.ndarray = covariates(lives, fit.shares).mean(axis=0)
    return mean


def _checked_lives(theta: np.ndarray, prior: Prior, x: np.ndarray, rate: IncidentRate | None) -> list[FreshLife]:
    """One fresh life by age and age at its check for each draw."""
    return fresh_lives(theta, prior, x, rate, STEP_H, OLDEST_H)


@dataclass(frozen=True)
class UncheckedLife:
    """A fresh unit that nobody checks, by draw and step: all (d, n), chances seen from fresh.

    `running`: reaches the step's start; `fails`, `noticed`: in the step.
    """

    running: np.ndarray
    fails: np.ndarray
    noticed: np.ndarray


def unchecked_life(theta: np.ndarray, prior: Prior, x: np.ndarray, rate: IncidentRate | None) -> UncheckedLife:
    """What ``fresh_life`` says of a unit without a check, for each draw on its own, (d, n) with n steps to OLDEST_H."""
    n = round(OLDEST_H / STEP_H) + 1
    sound = chance_sound(theta, prior, x, rate, np.arange(n + 1) * STEP_H)
    turned = sound[:, :-1] - sound[:, 1:]
    steps = stage_2_steps(theta, n, STEP_H)
    running, fails, noticed = sound[:, :n].copy(), np.zeros_like(turned), np.zeros_like(turned)
    for i in range(n):
        lag = np.arange(i - 1, -1, -1)
        running[:, i] += (turned[:, :i] * steps.running[:, lag]).sum(axis=1)
        fails[:, i] = (turned[:, :i] * steps.fails[:, lag]).sum(axis=1) + turned[:, i] * steps.fails_at_once
        noticed[:, i] = (turned[:, :i] * steps.noticed[:, lag]).sum(axis=1) + turned[:, i] * steps.noticed_at_once
    return UncheckedLife(running, fails, noticed)


def _interval(
    theta: np.ndarray,
    prior: Prior,
    x: np.ndarray,
    rate: IncidentRate | None,
    prices: Prices,
    in_season: bool,
    kind: str,
    lives: int,
    checked: list[FreshLife] | None,
) -> ServiceInterval:
    costs = _unchecked_costs(unchecked_life(theta, prior, x, rate), prices, in_season)  # (d, ages)
    ages = np.arange(1, costs.shape[1] + 1) * STEP_H
    mean = costs.mean(axis=0)
    best = _least(mean)
    never = best == len(ages) - 1
    first, last = _near(mean, best)
    low, high = np.quantile(costs, [0.05, 0.95], axis=0)
    return ServiceInterval(
        kind,
        lives,
        in_season,
        None if never else float(ages[best]),
        (float(ages[first]), None if last == len(ages) - 1 else float(ages[last])),
        _cost(costs[:, best]),
        _cost(costs[:, -1]),
        float(np.mean([_least(row) == len(ages) - 1 for row in costs])),
        CostCurve(ages, mean, low, high),
        None if checked is None else _with_check(checked, prices, in_season, costs[:, best]),
    )


def _least(cost: np.ndarray) -> int:
    """Place of the least cost (n,); the last one where it falls to the end, rounding aside."""
    at = int(np.argmin(cost))
    return len(cost) - 1 if cost[-1] <= cost[at] * (1 + FLAT) else at


def _near(cost: np.ndarray, best: int) -> tuple[int, int]:
    """First and last place of the stretch around the best one that costs at most NEAR_LEAST more."""
    dear = np.flatnonzero(cost > cost[best] * (1 + NEAR_LEAST))
    before, after = dear[dear < best], dear[dear > best]
    return int(before[-1]) + 1 if len(before) else 0, int(after[0]) - 1 if len(after) else len(cost) - 1


def _unchecked_costs(life: UncheckedLife, prices: Prices, in_season: bool) -> np.ndarray:
    """Cost per 100 h of rebuilding at the end of each step, (d, n - 1)."""
    spent = np.cumsum(life.fails * prices.failure() + life.noticed * prices.noticed(), axis=1)[:, :-1]
    reaching = life.running[:, 1:]
    hours = np.cumsum((life.running[:, :-1] + reaching) / 2 * STEP_H, axis=1)
    costs: np.ndarray = PER_H * (spent + reaching * prices.planned(in_season)) / hours
    return costs


def checked_costs(life: FreshLife, prices: Prices, in_season: bool) -> np.ndarray:
    """Cost per 100 h of rebuilding at age i after a check at age c, (n, n) in steps [i, c]; NaN unless 0 < c < i."""
    n = life.n
    running = np.nan_to_num(life.alive)
    fails, noticed = running * np.nan_to_num(life.fails), running * np.nan_to_num(life.noticed)
    step_spent = fails * prices.failure() + noticed * prices.noticed()
    step_hours = (running - (fails + noticed) / 2) * life.step_h
    start = np.zeros((1, n))
    spent = np.concatenate([start, np.cumsum(step_spent, axis=0)])[:n]  # before age i, since the check at c
    hours = np.concatenate([start, np.cumsum(step_hours, axis=0)])[:n]
    reaching, quiet = running[:, 0], np.diagonal(running)
    at_check = prices.looked_at(in_season) * reaching + prices.planned(in_season) * (reaching - quiet)
    money = spent[:, 0] + at_check + spent + running * prices.planned(in_season)
    after = np.tril(np.ones((n, n), dtype=bool), k=-1)
    after[:, 0] = False
    costs: np.ndarray = np.divide(PER_H * money, hours[:, 0] + hours, out=np.full((n, n), np.nan), where=after)
    return costs


def _with_check(lives: list[FreshLife], prices: Prices, in_season: bool, without: np.ndarray) -> WithCheck:
    """The best check and rebuild by mean cost, beside the costs `without` (d,) of the best rule that has no check."""
    costs = np.stack([checked_costs(life, prices, in_season) for life in lives])
    mean = costs.mean(axis=0)
    c = int(np.nanargmin(np.nanmin(mean[:, 1:-1], axis=0))) + 1
    i = c + 1 + _least(mean[c + 1 :, c])
    there = costs[:, i, c]
    return WithCheck(
        c * STEP_H,
        None if i == len(mean) - 1 else i * STEP_H,
        _cost(there),
        _cost(without - there),
    )


def _cost(values: np.ndarray) -> Cost:
    low, high = np.quantile(values, [0.05, 0.95])
    return float(values.mean()), float(low), float(high)
