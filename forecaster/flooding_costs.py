"""Open it now, check it after some hours, or ride on: what each costs on average over the next engine hours.

The unit is followed step by step to the horizon. At the start of each step it runs, unnoticed, and the life model is
asked about it as it would then be known: so many hours older, with a quiet check where one was made. That gives the
chance of failing within the step exactly, and of being noticed in use nearly so (the two compete within a step only).

Counted in every option: a rebuild in season when it is noticed or rattles, and the cost of a failure. After a rebuild
or a failure a fresh unit of the same kind runs on to the horizon and its first failure counts. Not counted: that a
rebuilt unit has its whole life before it at the horizon, so opening looks a little dearer than it is for a worn unit.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
import pandas as pd

from forecaster.core_loss import CoreLoss
from forecaster.findings import RUST_UNHEARD_DAYS
from forecaster.forecast import INTERVAL
from forecaster.learning import TwoStageFit
from forecaster.lives import CHECKS, Histories, frame
from forecaster.prices import Prices
from forecaster.priors import INDEX
from forecaster.told_numbers import told_numbers

HORIZON_H = 100.0
CHECK_AFTER_H = (5.0, 10.0, 25.0)
# Fine where rust from an untreated incident shows, coarse later; holds CHECK_AFTER_H and ends at HORIZON_H.
EDGES_H = np.array([0.0, 5.0, 10.0, 17.5, 25.0, 37.5, 50.0, 75.0, 100.0])
FRESH = "fresh"
WayOn = Literal["open", "check", "ride"]
SEED = 1  # of the draws of core and engine: the same question gives the same answer


@dataclass(frozen=True)
class Option:
    """One thing that can be done: its expected cost to the horizon, with the central 90 % of its posterior.

    `check_after_h`: NaN except for a check. `chance_best`: share of the posterior in which it is the cheapest.
    """

    action: WayOn
    check_after_h: float
    expected_cost: float
    low: float
    high: float
    chance_best: float


def options_after(
    model: TwoStageFit,
    unit: Histories,
    prices: Prices,
    loss: CoreLoss,
    in_season: bool,
    safe: Collection[WayOn] = get_args(WayOn),
) -> tuple[Option, ...]:
    """Opening now, checking after each of `CHECK_AFTER_H`, riding to `HORIZON_H`, in that order; those that are `safe`.

    `unit`: one running life with its incidents and checks. `prices`: its core_lost and engine_hit are not read, the
    draws of `loss` are. `in_season`: whether opening it now costs rental days; what comes later comes while it is used.
    """
    ride, checked, fresh = _paths(model, unit)
    n = len(model.theta)
    bills = _Bills(_failure_cost(prices, *loss.draws(n, SEED)), prices.noticed())
    renewed = np.concatenate([np.zeros((n, 1)), np.cumsum(fresh.costs(bills), axis=1)], axis=1)
    ways: list[tuple[WayOn, float, np.ndarray]] = [("open", np.nan, prices.planned(in_season) + renewed[:, -1])]
    for hours, quiet in checked.items():
        ways.append(("check", hours, _checked_cost(model, ride, quiet, hours, bills, prices, renewed)))
    ways.append(("ride", np.nan, ride.costs(bills, renewed).sum(axis=1)))
    ways = [way for way in ways if way[0] in safe]
    drawn = np.column_stack([cost for *_, cost in ways])
    best = np.bincount(drawn.argmin(axis=1), minlength=len(ways)) / n
    low, high = np.quantile(told_numbers(drawn, "A cost"), INTERVAL, axis=0)
    return tuple(
        Option(action, hours, float(cost.mean()), float(low[i]), float(high[i]), float(best[i]))
        for i, (action, hours, cost) in enumerate(ways)
    )


@dataclass(frozen=True)
class _Bills:
    """What it costs when a unit ends in use: `failure` (d,) for each draw of core and engine, `noticed`."""

    failure: np.ndarray
    noticed: float


def _failure_cost(prices: Prices, core_lost: np.ndarray, engine_hit: np.ndarray) -> np.ndarray:
    """Cost of a failure for each draw of the two chances, (d,): it is linear in both."""
    neither = prices.with_values(core_lost=0.0, engine_hit=0.0)
    core = neither.with_values(core_lost=1.0).failure() - neither.failure()
    engine = neither.with_values(engine_hit=1.0).failure() - neither.failure()
    answer: np.ndarray = neither.failure() + core_lost * core + engine_hit * engine
    return answer


@dataclass(frozen=True)
class _Path:
    """One unit from edge to edge, (d, steps) each.

    `edges` (steps + 1,) hours ahead. Given that it runs unnoticed at a step's start: `fails` and `noticed` within the
    step, and `defective` (d, steps) at its start.
    """

    edges: np.ndarray
    fails: np.ndarray
    noticed: np.ndarray
    defective: np.ndarray

    def running(self) -> np.ndarray:
        """Chance of running unnoticed at each edge, given that it does at the first, (d, steps + 1)."""
        goes_on = np.cumprod(1.0 - self.fails - self.noticed, axis=1)
        return np.concatenate([np.ones((len(goes_on), 1)), goes_on], axis=1)

    def costs(self, bills: _Bills, renewed: np.ndarray | None = None) -> np.ndarray:
        """Expected cost of ending within each step, (d, steps).

        `renewed` (d, len(EDGES_H)): expected cost of a fresh unit up to each of `EDGES_H`; it takes over where this one
        ends, until the horizon. None: what follows is not counted.
        """
        middles = (self.edges[:-1] + self.edges[1:]) / 2
        after = 0.0 if renewed is None else _up_to(renewed, HORIZON_H - middles)
        ends = self.fails * (bills.failure[:, None] + after) + self.noticed * (bills.noticed + after)
        answer: np.ndarray = self.running()[:, :-1] * ends
        return answer


def _up_to(renewed: np.ndarray, hours: np.ndarray) -> np.ndarray:
    """Expected cost of a fresh unit up to `hours` (k,), (d, k): linear between the edges."""
    right = np.clip(np.searchsorted(EDGES_H, hours), 1, len(EDGES_H) - 1)
    share = (hours - EDGES_H[right - 1]) / (EDGES_H[right] - EDGES_H[right - 1])
    answer: np.ndarray = renewed[:, right - 1] + share * (renewed[:, right] - renewed[:, right - 1])
    return answer


def _checked_cost(
    model: TwoStageFit,
    ride: _Path,
    quiet: _Path,
    hours: float,
    bills: _Bills,
    prices: Prices,
    renewed: np.ndarray,
) -> np.ndarray:
    """Expected cost (d,) of running `hours`, then checking: a rattle means a rebuild, else it runs on."""
    at = int(np.searchsorted(EDGES_H, hours))
    before = ride.costs(bills, renewed)[:, :at].sum(axis=1)
    rattles = _chance_of_rattle(model, ride.defective[:, at])
    rebuilt = bills.noticed + _up_to(renewed, np.array([HORIZON_H - hours]))[:, 0]
    runs_on = quiet.costs(bills, renewed).sum(axis=1)
    checked = prices.looked_at(in_season=True) + rattles * rebuilt + (1.0 - rattles) * runs_on
    answer: np.ndarray = before + ride.running()[:, at] * checked
    return answer


def _chance_of_rattle(model: TwoStageFit, defective: np.ndarray) -> np.ndarray:
    """Chance that a check hears a rattle, (d,): true ones and false alarms."""
    sensitivity, specificity = (
        1.0 / (1.0 + np.exp(-model.theta[:, INDEX[name]])) for name in ("logit_sensitivity", "logit_specificity")
    )
    answer: np.ndarray = defective * sensitivity + (1.0 - defective) * (1.0 - specificity)
    return answer


def _paths(model: TwoStageFit, unit: Histories) -> tuple[_Path, dict[float, _Path], _Path]:
    """Riding on; riding on after a quiet check, by the hours of the check; a fresh unit. One question to the model."""
    stretches = [(0.0, np.nan), *((hours, hours) for hours in CHECK_AFTER_H), (0.0, np.nan)]
    edges = [EDGES_H[start <= EDGES_H] for start, _ in stretches]
    ahead = np.concatenate([e[:-1] for e in edges])
    step = np.concatenate([np.diff(e) for e in edges])
    quiet_at = np.concatenate([np.full(len(e) - 1, check) for e, (_, check) in zip(edges, stretches, strict=True)])
    n_fresh = len(edges[-1]) - 1
    later = as_known_later(unit, ahead[:-n_fresh], quiet_at[:-n_fresh])
    what_if = _together(later, _fresh(unit, ahead[-n_fresh:]))
    both = np.column_stack([np.zeros(len(step)), step])
    fails = model.chance_of_failing(what_if, both)[:, :, 1]
    defect = model.chance_of_defect(what_if, both)
    fails, noticed = _first_of_both(fails, defect[:, :, 0], defect[:, :, 1], _rate_noticed(model), step)
    paths, at = [], 0
    for own in edges:
        part = slice(at, at + len(own) - 1)
        paths.append(_Path(own, fails[:, part], noticed[:, part], defect[:, part, 0]))
        at += len(own) - 1
    return paths[0], dict(zip(CHECK_AFTER_H, paths[1:-1], strict=True)), paths[-1]


def _rate_noticed(model: TwoStageFit) -> np.ndarray:
    rate: np.ndarray = np.exp(model.theta[:, INDEX["log_rate_noticed_per_h"], None])
    return rate


def _first_of_both(
    fails: np.ndarray, defective: np.ndarray, defective_after: np.ndarray, rate: np.ndarray, step: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Failing, and being noticed, within a step, whichever is first; (d, k) each, from chances without noticing.

    What fails in the step has been defective for half of it on average. What is defective at its end has been so for
    all of it, where it was at the start, else for half.
    """
    noticed_in_half = -np.expm1(-rate * step / 2)
    noticed_in_all = -np.expm1(-rate * step)
    throughout = np.minimum(defective, defective_after)
    noticed = throughout * noticed_in_all + (defective_after - throughout + fails) * noticed_in_half
    return fails * (1.0 - noticed_in_half), noticed


def as_known_later(unit: Histories, ahead: np.ndarray, quiet_at: np.ndarray) -> Histories:
    """One unit as it would be known `ahead` (k,) engine hours from now, still running: k lives.

    `quiet_at` (k,): a check at so many hours from now, and no sooner than rust can be heard, was quiet; NaN: none made.
    """
    names = np.array([f"{unit.lives['life_id'].iloc[0]}+{i}" for i in range(len(ahead))], dtype=object)
    lives = _repeated(unit.lives, names)
    for column in ("hours_observed", "hours_observed_low", "hours_observed_high"):
        lives[column] = lives[column] + ahead
    now = float(unit.lives["hours_observed"].iloc[0])
    later = pd.Timestamp(unit.as_of) + pd.Timedelta(days=RUST_UNHEARD_DAYS + 1)  # when a quiet spin tells of rust
    looks = [
        {"life_id": name, "checked_on": later, "observed_hours": now + hours}
        | {"spin": "quiet", "known_state": "", "oil": "unknown"}
        for name, hours in zip(names, quiet_at, strict=True)
        if np.isfinite(hours)
    ]
    checks = pd.concat([t for t in (_repeated(unit.checks, names), frame(CHECKS, looks)) if len(t)] or [unit.checks])
    order = pd.Index(names).get_indexer(pd.Index(checks["life_id"]))
    checks = checks.iloc[np.argsort(order, kind="stable")].reset_index(drop=True)
    incidents = _repeated(unit.incidents, names)
    return replace(unit, lives=lives, incidents=incidents, checks=checks, stretches=unit.stretches.iloc[:0])


def _repeated(table: pd.DataFrame, names: np.ndarray) -> pd.DataFrame:
    """A one-life table once for each name, ordered by name."""
    copies = table.iloc[np.tile(np.arange(len(table)), len(names))].reset_index(drop=True)
    copies["life_id"] = np.repeat(names, len(table))
    return copies


def _fresh(unit: Histories, ages: np.ndarray) -> Histories:
    """A unit of the same kind, rebuilt, at `ages` (k,) without water or looks."""
    bare = unit.without_incidents().without_checks()
    bare = bare.with_lives(hours_at_entry=0.0, life_id=FRESH)
    bare = bare.with_lives(hours_observed=0.0, hours_observed_low=0.0, hours_observed_high=0.0)
    return as_known_later(bare, ages, np.full(len(ages), np.nan))


def _together(first: Histories, second: Histories) -> Histories:
    """The lives of both, and what happened to those of the first, which alone have had water or looks."""
    return replace(first, lives=pd.concat([first.lives, second.lives], ignore_index=True))
