"""Everything that the decisions about one fleet share, as of a day: prices, use ahead, incidents, the best upkeep.

Made once and asked unit by unit. Craft that run alike at the same rate share their upkeep, since solving it is what
takes time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

import numpy as np

from forecaster.craft_weeks import HORIZON_WEEKS, CraftWeeks, craft_weeks
from forecaster.fleet_prices import prices_by_craft
from forecaster.fresh_life import FreshLife, fresh_life
from forecaster.learning import TwoStageFit
from forecaster.lives import Histories
from forecaster.pieces import covariates
from forecaster.policy import Upkeep, best_upkeep, cost_scatter
from forecaster.prices import Prices
from forecaster.records import FleetRecords
from forecaster.service_life import IncidentRate, incident_rate
from forecaster.unit_ahead import UnitAhead, unit_ahead
from forecaster.usage_forecast import forecast_usage
from forecaster.waiting import Waiting, waiting

DRAWS = 48  # posterior draws behind a decision: an interval's ends move by a few per cent with more
USAGE_DRAWS = 200
# The grid of the best upkeep, and how alike two craft's seasons must be to share one.
STEP_H = 10.0
SEASON_ROUNDED_H = STEP_H
# The oldest of the solved upkeeps are forgotten when there are so many, about 0.7 MB each: a face that asks for price
# after price must not fill the memory.
KEPT_UPKEEPS = 400
KEPT_AHEADS = 120  # units followed ahead, some 3 MB each
# What moves the answer most: each input is raised and lowered by this share in turn.
SWING = 0.25
SWUNG = ("rebuild", "new_unit", "engine_damage", "day_rate", "core_lost", "engine_hit", "check")


@dataclass(frozen=True)
class Swing:
    """How far an input moves the answer: extra cost of waiting (best later minus now) with it low and high."""

    what: str
    low: float
    high: float


@dataclass
class Decisions:
    """A fleet's decisions as of a day; made by `decisions_for`."""

    records: FleetRecords
    histories: Histories
    fit: TwoStageFit
    rate: IncidentRate
    weekly_hours: dict[str, np.ndarray]  # by craft, (HORIZON_WEEKS,)
    prices_by_craft: dict[str, Prices]
    _upkeeps: dict[tuple[float, ...], Upkeep] = field(default_factory=dict, repr=False)
    _fresh: dict[tuple[float, ...], FreshLife] = field(default_factory=dict, repr=False)
    _aheads: dict[str, UnitAhead] = field(default_factory=dict, repr=False)

    @property
    def as_of(self) -> date:
        """The day."""
        return self.histories.as_of

    def unit(self, unit_id: str) -> Histories:
        """The running life of a unit in service. Raises WrongUsage where it is none."""
        return self._in_service.unit_in_service(unit_id)

    def prices(self, craft_id: str) -> Prices:
        """The prices that count on a craft: its own day rate, or the fleet's usual one."""
        return self.prices_by_craft[craft_id]

    def season_hours(self, craft_id: str) -> float:
        """Engine hours of a season: the mean of those ahead, h."""
        weeks = self.weekly_hours[craft_id]
        return max(float(weeks.sum()) * 52 / len(weeks), SEASON_ROUNDED_H)

    def upkeep(self, craft_id: str, prices: Prices | None = None) -> Upkeep:
        """The best upkeep of units on a craft, at its own prices or at others."""
        own = self.prices(craft_id)
        prices = own if prices is None else prices
        season = max(round(self.season_hours(craft_id) / SEASON_ROUNDED_H) * SEASON_ROUNDED_H, SEASON_ROUNDED_H)
        x = self._covariates(craft_id)
        key = (season, *x, *(float(v) for v in vars(prices).values()))
        found = self._upkeeps.get(key)
        if found is None:
            found = best_upkeep(self._fresh_life(x), prices, season, self._near(craft_id, prices == own))
            while len(self._upkeeps) >= KEPT_UPKEEPS:
                self._upkeeps.pop(next(iter(self._upkeeps)))
            self._upkeeps[key] = found
        return found

    def _fresh_life(self, x: np.ndarray) -> FreshLife:
        """A fresh unit's chances, which no price changes."""
        key = tuple(float(v) for v in x)
        if key not in self._fresh:
            self._fresh[key] = fresh_life(self.fit.theta, self.fit.prior, x, self.rate, STEP_H)
        return self._fresh[key]

    def _near(self, craft_id: str, own_prices: bool) -> Upkeep | None:
        """The upkeep from which the search for another starts; it does not depend on what was asked before.

        For other prices that of the craft itself, else the typical craft's, whose own search starts from nothing.
        """
        if not own_prices:
            return self.upkeep(craft_id)
        return None if craft_id == self._typical_craft else self.upkeep(self._typical_craft)

    @cached_property
    def _in_service(self) -> Histories:
        return self.histories.in_service()

    @cached_property
    def _typical_craft(self) -> str:
        units = self._in_service.lives["craft_id"]
        return str(units.iloc[0]) if len(units) else str(self.records.craft["craft_id"].iloc[0])

    @cached_property
    def scatter(self) -> np.ndarray:
        """How the cost of lives to come scatters over the posterior draws, by the fleet's typical craft, (DRAWS,)."""
        typical, x = self.upkeep(self._typical_craft), self._covariates(self._typical_craft)
        theta = self.fit.theta[:DRAWS]
        lives = [fresh_life(theta[[k]], self.fit.prior, x, self.rate, STEP_H) for k in range(len(theta))]
        return cost_scatter(typical, lives, typical.steps * STEP_H)

    @cached_property
    def _known(self) -> tuple[np.ndarray, np.ndarray]:
        """Craft and covariates of every life on record, (n,) and (n, 3)."""
        lives = self.histories.lives
        return lives["craft_id"].to_numpy(dtype=object), covariates(lives, self.fit.shares)

    def _covariates(self, craft_id: str) -> np.ndarray:
        """Covariates of the next unit on a craft: its own water and tune, parts as the fleet has them."""
        craft, x = self._known
        fleet, own = x.mean(axis=0), craft == craft_id
        here = x[own].mean(axis=0) if own.any() else fleet
        answer: np.ndarray = np.round(np.array([fleet[0], here[1], here[2]]), 1)
        return answer

    def weeks(self, craft_id: str, upkeep: Upkeep) -> CraftWeeks:
        """The craft's weeks ahead, laid out for an upkeep."""
        return craft_weeks(self.weekly_hours[craft_id], self.as_of, self.records.settings.season, upkeep)

    def ahead(self, unit_id: str) -> UnitAhead:
        """The unit followed ahead over its craft's weeks."""
        if unit_id not in self._aheads:
            unit = self.unit(unit_id)
            craft_id = str(unit.lives["craft_id"].iloc[0])
            weeks = self.weeks(craft_id, self.upkeep(craft_id))
            while len(self._aheads) >= KEPT_AHEADS:
                self._aheads.pop(next(iter(self._aheads)))
            self._aheads[unit_id] = unit_ahead(self.fit, unit, weeks.step_hours, self.rate, DRAWS)
        return self._aheads[unit_id]

    def waiting(self, unit_id: str, **prices: float) -> Waiting:
        """Rebuild now or later: every option of one unit; `prices` replaces some of them, for what-if questions."""
        craft_id = str(self.unit(unit_id).lives["craft_id"].iloc[0])
        given = self.prices(craft_id).with_values(**prices)
        upkeep = self.upkeep(craft_id, given)
        return waiting(self.ahead(unit_id), self.weeks(craft_id, upkeep), upkeep, given, self.scatter)

    def swings(self, unit_id: str, progress: Callable[[str], None] | None = None, **prices: float) -> tuple[Swing, ...]:
        """What moves the answer most: each input lower and higher by a quarter, greatest movement first.

        `prices` replaces some of them, as for ``waiting``. `progress` is told the input before it is tried.
        """
        base = vars(self.prices(str(self.unit(unit_id).lives["craft_id"].iloc[0]))) | prices

        def gain(what: str, factor: float) -> float:
            if progress is not None:
                progress(what)
            changed = base[what] * factor
            changed = min(changed, 1.0) if what in ("core_lost", "engine_hit") else changed
            one = self.waiting(unit_id, **{**prices, what: changed})
            return one.best_later.expected_cost - one.option("rebuild").expected_cost

        found = [Swing(what, gain(what, 1 - SWING), gain(what, 1 + SWING)) for what in SWUNG]
        return tuple(sorted(found, key=lambda swing: -abs(swing.high - swing.low)))


def decisions_for(
    records: FleetRecords, histories: Histories, fit: TwoStageFit, overrides: dict[str, float] | None = None
) -> Decisions:
    """Gather what decisions need. `overrides`: values for fields of `Prices` that any face may set.

    Raises WrongUsage for a price that is not known or negative.
    """
    as_of = histories.as_of
    prices = prices_by_craft(records, as_of, overrides)
    names = list(records.craft["craft_id"])
    usage = forecast_usage(records, as_of)
    hours = usage.draws(names, as_of, HORIZON_WEEKS, USAGE_DRAWS).mean(axis=0)
    return Decisions(
        records,
        histories,
        fit,
        incident_rate(histories),
        dict(zip(names, hours, strict=True)),
        prices,
    )
