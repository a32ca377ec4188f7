"""The limits of a plan: what the user set, and where nothing was set fleet.toml's, or an owner's part of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date, timedelta
from typing import TypedDict

import numpy as np

from forecaster.bench_shares import BenchShare
from forecaster.errors import WrongUsage
from forecaster.plan_days import open_weeks
from forecaster.plan_problem import bench_places_by_week
from forecaster.ranges import (
    A_WEEK,
    BUDGET,
    CHANCE,
    KITS,
    LEAD_WEEKS,
    LEAST_GAIN,
    SPARE_UNITS,
    NumberRange,
    refuse_day,
)
from forecaster.settings import Bench, FleetSettings, Stock


class SharedLimits(TypedDict):
    """Fields of ``PlanProblem`` that follow from the limits alone."""

    budget: float | None
    bench_places: np.ndarray
    season_budget: float | None
    season_places: np.ndarray
    spare_units: int
    kits: float
    parts_week: int
    least_gain: float
    overspend_chance: float
    least_wait: float


# Of a rebuild's price: what a later week must save, or no work waits for it. Hours that a craft runs in winter move the
# cost of a check by less, and nobody leaves the bench empty until April for that.
LEAST_WAIT = 0.01


RANGES: dict[str, tuple[NumberRange, str]] = {  # of each number among the limits: its range, and how a refusal begins
    "budget": (BUDGET, "The budget"),
    "bench_per_week": (A_WEEK, "Rebuilds a week"),
    "spare_units": (SPARE_UNITS, "Spare units"),
    "season_rebuilds_per_week": (A_WEEK, "Rebuilds a week in season"),
    "season_budget": (BUDGET, "The season's budget"),
    "overspend_chance": (CHANCE, "The chance of overspending"),
    "kits": (KITS, "Kits"),
    "lead_time_weeks": (LEAD_WEEKS, "Weeks to get parts"),
    "least_gain": (LEAST_GAIN, "The least gain"),
}


@dataclass(frozen=True)
class PlanLimits:
    """What the user may set of a plan; what is left out is fleet.toml's.

    `budget`, `season_budget`: infinite for no limit; `bench_per_week`, `season_rebuilds_per_week`: rebuilds a week;
    `spare_units`: units on the shelf that stand in where work reaches into the season; `closed`: days whose whole week
    the bench is closed; `overspend_chance`: that the work may cost more than its budget; `kits`: sets of parts on the
    shelf; `lead_time_weeks`: from ordering parts to having them; `least_gain`: share of its money that work must save.
    `share`: where the plan is one owner's, the part of fleet.toml's bench, budgets and shelf that counts; None: all.
    """

    budget: float | None = None
    begins: date | None = None
    ready_by: date | None = None
    bench_per_week: float | None = None
    spare_units: int | None = None
    closed: tuple[date, ...] = ()
    share: BenchShare | None = None
    season_rebuilds_per_week: float | None = None
    season_budget: float | None = None
    overspend_chance: float | None = None
    kits: int | None = None
    lead_time_weeks: float | None = None
    least_gain: float | None = None

    def of_problem(self, weeks: list[date], season_weeks: int, as_of: date, settings: FleetSettings) -> SharedLimits:
        """The limits of a plan over these Mondays, and of a season of so many weeks after it."""
        bench, stock = settings.bench, settings.stock
        return SharedLimits(
            budget=self.money(bench),
            bench_places=self.bench_places(weeks, bench),
            season_budget=self.season_money(bench),
            season_places=self.season_places(season_weeks, bench),
            spare_units=self.spares(stock),
            kits=self.kits_here(stock),
            parts_week=self.parts_week(weeks, as_of, bench),
            least_gain=bench.least_gain if self.least_gain is None else self.least_gain,
            overspend_chance=bench.overspend_chance if self.overspend_chance is None else self.overspend_chance,
            least_wait=LEAST_WAIT * settings.costs.rebuild,
        )

    def bench_places(self, weeks: list[date], bench: Bench) -> np.ndarray:
        """Rebuilds that the bench takes each week, (W,): as set here, else fleet.toml's, or the part of them."""
        opened = open_weeks(weeks, self.closed)
        if self.bench_per_week is not None:
            return bench_places_by_week(self.bench_per_week, opened)
        whole = bench_places_by_week(bench.rebuilds_per_week, opened)
        return whole if self.share is None else self.share.places(whole)

    def season_places(self, season_weeks: int, bench: Bench) -> np.ndarray:
        """The same of the coming season's weeks, (S,): where nothing is set for them, the bench of the off-season."""
        wished = self.season_rebuilds_per_week
        if wished is None and bench.season_rebuilds_per_week is None:
            wished = self.bench_per_week
        if wished is not None:
            return bench_places_by_week(wished, [True] * season_weeks)
        own = bench.season_rebuilds_per_week
        whole = bench_places_by_week(bench.rebuilds_per_week if own is None else own, [True] * season_weeks)
        return whole if self.share is None else self.share.places(whole)

    def money(self, bench: Bench) -> float | None:
        """The budget: as set here, else fleet.toml's, or the part of it; None: no limit."""
        if self.budget is not None:
            return None if self.budget == math.inf else self.budget
        return bench.budget if self.share is None else self.share.budget(bench.budget)

    def season_money(self, bench: Bench) -> float | None:
        """The season's own budget likewise, infinite for no limit; None: what is left of the budget."""
        if self.season_budget is not None:
            return self.season_budget
        return bench.season_budget if self.share is None else self.share.budget(bench.season_budget)

    def spares(self, stock: Stock) -> int:
        """Spare units on the shelf."""
        return self._from_shelf(self.spare_units, stock.spare_units)

    def kits_here(self, stock: Stock) -> int:
        """Sets of parts on the shelf."""
        return self._from_shelf(self.kits, stock.kits)

    def _from_shelf(self, wished: int | None, whole: int) -> int:
        if wished is not None:
            return wished
        return whole if self.share is None else int(self.share.places(np.array([float(whole)])).sum())

    def lead_time(self, bench: Bench) -> float:
        """Weeks from ordering parts to having them."""
        return bench.lead_time_weeks if self.lead_time_weeks is None else self.lead_time_weeks

    def parts_week(self, weeks: list[date], as_of: date, bench: Bench) -> int:
        """Which of the weeks is the first that begins when parts ordered today are here; their number: none is."""
        return sum(monday < self.here_on(as_of, bench) for monday in weeks)

    def here_on(self, as_of: date, bench: Bench) -> date:
        """When parts that are ordered today are on the shelf."""
        return as_of + timedelta(days=round(7 * self.lead_time(bench)))


class PlanWishes(TypedDict, total=False):
    """The same, and prices (fields of ``Prices``), as keywords of ``Fleet.plan``."""

    budget: float | None
    begins: date | None
    ready_by: date | None
    bench_per_week: float | None
    spare_units: int | None
    closed: tuple[date, ...]
    season_rebuilds_per_week: float | None
    season_budget: float | None
    overspend_chance: float | None
    kits: int | None
    lead_time_weeks: float | None
    least_gain: float | None
    prices: Mapping[str, float]


def limits_of(wish: PlanWishes) -> PlanLimits:
    """The limits of what was wished, its prices left out.

    Raises WrongUsage for a wish that is not known, and for one beyond its range.
    """
    known = {limit.name for limit in fields(PlanLimits)} - {"share"}  # whose plan it is, is no wish
    unknown = sorted(set(wish) - known - {"prices"})
    if unknown:
        raise WrongUsage(
            f"{', '.join(unknown)} is nothing that a plan can be asked for; known: {', '.join(sorted(known))}, prices."
        )
    given = {name: value for name, value in wish.items() if name in known}
    for name, (limits, what) in RANGES.items():
        value = given.get(name)
        if value is not None and not (limits is BUDGET and value == math.inf):
            given[name] = limits.asked(value, what)
    for day in (given.get("begins"), given.get("ready_by"), *wish.get("closed", ())):
        if day is not None:
            refuse_day(day, "A day of the plan")
    return PlanLimits(**{**given, "closed": tuple(wish.get("closed", ()))})  # type: ignore[arg-type]
