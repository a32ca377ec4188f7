"""Everything that the decisions about one fleet share, as of a day: prices, use ahead, incidents, the best upkeep.

Made once, and asked unit by unit or for all units at once, which takes less time each. Craft that run alike at the same
rate share their upkeep.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

import numpy as np

from forecaster.craft_weeks import CraftWeeks, craft_weeks
from forecaster.fleet_prices import prices_by_craft
from forecaster.fresh_life import FreshLife, fresh_life, fresh_lives
from forecaster.kept import Kept
from forecaster.later_lives import cost_scatter, scatter_elsewhere, sooner_worn
from forecaster.learning import TwoStageFit
from forecaster.lives import Histories
from forecaster.off_season_ahead import OffSeasonAhead
from forecaster.pieces import covariates
from forecaster.policy import Asked, Upkeep, best_upkeeps
from forecaster.prices import Prices
from forecaster.records import FleetRecords
from forecaster.service_life import IncidentRate, incident_rate
from forecaster.two_threads import in_two_threads
from forecaster.unit_ahead import UnitAhead, UnitsToFollow, unit_ahead
from forecaster.usage_forecast import forecast_usage
from forecaster.waiting import Waiting, off_season_before, waiting
from forecaster.weekly_hours import WeeklyHours

DRAWS = 48  # posterior draws behind a decision: an interval's ends move by a few per cent with more
STEP_H = 10.0  # the grid of the best upkeep
WEEKS_A_YEAR = 365.25 / 7
LEAST_SEASON_H = 1.0  # a craft that hardly runs is planned as if it ran so much
# So many solved upkeeps are kept, about 0.7 MB each: a face that asks for price after price must not fill the memory.
KEPT_UPKEEPS = 400
KEPT_AHEADS = 120  # units followed ahead, some 2 MB each
WEIGHED_AT_ONCE = 32  # units by each of two threads: together half a second, after which whoever waits is told
# What moves the answer most: each input is raised and lowered by this share in turn.
SWING = 0.25
SWUNG = ("rebuild", "new_unit", "engine_damage", "day_rate", "core_lost", "engine_hit", "check")
UpkeepKey = tuple[float, ...]  # all that an upkeep depends on


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
    hours: WeeklyHours = field(repr=False)
    prices_by_craft: dict[str, Prices]
    _upkeeps: Kept[UpkeepKey, Upkeep] = field(default_factory=lambda: Kept(KEPT_UPKEEPS), repr=False)
    _fresh: dict[tuple[float, ...], FreshLife] = field(default_factory=dict, repr=False)
    _aheads: Kept[str, UnitAhead] = field(default_factory=lambda: Kept(KEPT_AHEADS), repr=False)
    _weighed: dict[str, Waiting] = field(default_factory=dict, repr=False)  # by unit, at its craft's own prices
    _rebuilt_at_close: dict[str, np.ndarray] = field(
        default_factory=dict, repr=False
    )  # by craft, of its next off-season

    @property
    def as_of(self) -> date:
        """The day."""
        return self.histories.as_of

    def unit(self, unit_id: str) -> Histories:
        """The running life of a unit in service. Raises WrongUsage where it is none."""
        return self._in_service.unit_in_service(unit_id)

    def prices(self, craft_id: str) -> Prices:
        """The prices that count on a craft, at its own day rate."""
        return self.prices_by_craft[craft_id]

    @property
    def weekly_hours(self) -> dict[str, np.ndarray]:
        """Engine hours expected of each craft in each week from the day on, by craft_id, (HORIZON_WEEKS,)."""
        return self.hours.means

    def weekly_draws(self, craft_ids: Sequence[str]) -> dict[str, np.ndarray]:
        """Joint draws of those hours of some craft, (DRAWS, HORIZON_WEEKS) each: draw k goes with posterior draw k."""
        return self.hours.draws(DRAWS, craft_ids)

    @property
    def hours_this_week(self) -> dict[str, float]:
        """Engine hours that each craft is expected to run within seven days, by craft_id."""
        return {craft_id: float(hours[0]) for craft_id, hours in self.weekly_hours.items()}

    def season_hours(self, craft_id: str) -> float:
        """Engine hours of a season: the mean of a year ahead, h.

        The weeks ahead fall short of whole years by some days, whose hours are those of the same days a year before.
        """
        weeks = self.weekly_hours[craft_id]
        short = len(weeks) / 52 * (WEEKS_A_YEAR - 52)
        a_year_before = (weeks[51] + weeks[min(52, len(weeks) - 1)]) / 2
        return max(float(weeks.sum() + short * a_year_before) * 52 / len(weeks), LEAST_SEASON_H)

    def upkeep(self, craft_id: str, prices: Prices | None = None) -> Upkeep:
        """The best upkeep of units on a craft, at its own prices or at others."""
        (found,) = self._upkeeps_of([(craft_id, self.prices(craft_id) if prices is None else prices)])
        return found

    def _upkeeps_of(self, wanted: Sequence[tuple[str, Prices]]) -> list[Upkeep]:
        """The upkeeps of some craft, each at some prices: those that are not known yet are found at once, and kept."""
        return self._upkeeps.get_all(*self._upkeeps_to_find(wanted))

    def own_upkeeps(self, craft_ids: Sequence[str]) -> list[Upkeep]:
        """The upkeeps of some craft at their own prices, found at once.

        Kept only where those of the whole fleet can be: else they would but push each other out.
        """
        keys, find = self._upkeeps_to_find([(craft_id, self.prices(craft_id)) for craft_id in craft_ids])
        if len(self.prices_by_craft) <= KEPT_UPKEEPS:
            return self._upkeeps.get_all(keys, find)
        each = list(dict.fromkeys(keys))
        found = dict(zip(each, find(each), strict=True))
        return [found[key] for key in keys]

    def _upkeeps_to_find(
        self, wanted: Sequence[tuple[str, Prices]]
    ) -> tuple[list[UpkeepKey], Callable[[list[UpkeepKey]], list[Upkeep]]]:
        """By what each wanted upkeep is known, and what finds those that are not known yet."""
        keys = [self._upkeep_key(craft_id, prices) for craft_id, prices in wanted]
        asked = dict(zip(keys, wanted, strict=True))

        def find(missing: list[UpkeepKey]) -> list[Upkeep]:
            return best_upkeeps([self._asked(*asked[key]) for key in missing])

        return keys, find

    def _asked(self, craft_id: str, prices: Prices) -> Asked:
        """All that finding an upkeep needs."""
        life, near = self.fresh_life(craft_id), self._near(craft_id, prices)
        return Asked(life, prices, self.season_hours(craft_id), near)

    def _upkeep_key(self, craft_id: str, prices: Prices) -> UpkeepKey:
        """What an upkeep depends on."""
        x = self._covariates(craft_id)
        return (self.season_hours(craft_id), *x, *(float(v) for v in vars(prices).values()))

    def fresh_life(self, craft_id: str) -> FreshLife:
        """The chances of a fresh unit on a craft."""
        return self._fresh_life(self._covariates(craft_id))

    def _fresh_life(self, x: np.ndarray) -> FreshLife:
        """A fresh unit's chances, which no price changes."""
        key = tuple(float(v) for v in x)
        if key not in self._fresh:
            self._fresh[key] = fresh_life(self.fit.theta[:DRAWS], self.fit.prior, x, self.rate, STEP_H)
        return self._fresh[key]

    def _near(self, craft_id: str, prices: Prices) -> Upkeep | None:
        """The upkeep from which the search for another starts; it does not depend on what was asked before.

        For other prices that of the craft itself, else the typical craft's, whose own search starts from nothing.
        """
        if prices != self.prices(craft_id):
            return self.upkeep(craft_id)
        return None if craft_id == self._typical_craft else self.upkeep(self._typical_craft)

    @cached_property
    def _in_service(self) -> Histories:
        return self.histories.in_service()

    @cached_property
    def _typical_craft(self) -> str:
        """Of the craft that units run on the one in the middle by hours, whatever it is called.

        The same whoever's units are asked about (``Fleet.of_owner``).
        """
        lives = self.histories.lives
        running = lives.loc[lives["ended_by"] == "running", "craft_id"].unique()
        craft = running if len(running) else self.records.craft["craft_id"]
        by_hours = sorted(craft, key=lambda one: (self.season_hours(one), *self._covariates(one)))
        return str(by_hours[len(by_hours) // 2])

    @cached_property
    def scatter(self) -> np.ndarray:
        """How the cost of lives to come scatters over the posterior draws, by the fleet's typical craft, (DRAWS,).

        As ratios to their mean.
        """
        return self._scatter_and_hazard[0]

    @cached_property
    def _scatter_and_hazard(self) -> tuple[np.ndarray, float]:
        """``scatter``, and by what power of the hazard the cost of lives to come grows on the typical craft."""
        typical, x = self.upkeep(self._typical_craft), self._covariates(self._typical_craft)
        theta, by = self.fit.theta[:DRAWS], np.log1p(SWING)
        lives = fresh_lives(theta, self.fit.prior, x, self.rate, STEP_H)
        sooner = fresh_life(sooner_worn(theta, by), self.fit.prior, x, self.rate, STEP_H)
        *scatter, raised = cost_scatter(typical, [*lives, sooner])
        # Beside their own mean: a policy that is best for the posterior as a whole turns over at some price or season,
        # where what it costs under single draws jumps, and the posterior's cost does not.
        return np.array(scatter) / np.mean(scatter), float(np.log(raised) / by)

    def _scatter_on(self, craft_id: str) -> np.ndarray:
        """``scatter`` of lives on a craft, by its own water and tune, (DRAWS,)."""
        scatter, cost_by_hazard = self._scatter_and_hazard
        apart = self._covariates(craft_id) - self._covariates(self._typical_craft)
        return scatter_elsewhere(scatter, self.fit.theta[:DRAWS], apart, cost_by_hazard)

    @cached_property
    def _covariates_by_craft(self) -> tuple[np.ndarray, dict[str, np.ndarray]]:
        """Means over every life on record, (3,), and over those of each craft, by craft_id."""
        lives = self.histories.lives
        x = covariates(lives, self.fit.shares)
        rows = lives.groupby("craft_id").indices
        return x.mean(axis=0), {str(craft_id): x[own].mean(axis=0) for craft_id, own in rows.items()}

    def _covariates(self, craft_id: str) -> np.ndarray:
        """Covariates of the next unit on a craft: its own water and tune, parts as the fleet has them."""
        fleet, by_craft = self._covariates_by_craft
        here = by_craft.get(craft_id, fleet)
        answer: np.ndarray = np.round(np.array([fleet[0], here[1], here[2]]), 1)
        return answer

    def weeks(self, craft_id: str, upkeep: Upkeep) -> CraftWeeks:
        """The craft's weeks ahead, laid out for an upkeep."""
        return craft_weeks(self.weekly_hours[craft_id], self.as_of, self.records.settings.season, upkeep)

    def _drawn_steps(self, craft_ids: Sequence[str], weeks: Sequence[CraftWeeks]) -> list[np.ndarray]:
        """What each craft runs in each step of its weeks under each posterior draw, (DRAWS, n) each."""
        drawn = self.weekly_draws(craft_ids)
        return [drawn[craft_id][:, one.week_of_step] for craft_id, one in zip(craft_ids, weeks, strict=True)]

    @cached_property
    def _craft_by_unit(self) -> dict[str, str]:
        lives = self._in_service.lives
        return dict(zip(lives["unit_id"], lives["craft_id"], strict=True))

    def _craft_of(self, unit_id: str) -> str:
        """The craft of a unit in service. Raises WrongUsage where it is none."""
        if unit_id not in self._craft_by_unit:
            self.unit(unit_id)
        return self._craft_by_unit[unit_id]

    def ahead(self, unit_id: str) -> UnitAhead:
        """The unit followed ahead over its craft's weeks."""
        craft_id = self._craft_of(unit_id)

        def follow() -> UnitAhead:
            weeks = self.weeks(craft_id, self.upkeep(craft_id))
            (drawn,) = self._drawn_steps([craft_id], [weeks])
            return unit_ahead(self.fit, self.unit(unit_id), weeks.step_hours, self.rate, DRAWS, drawn)

        return self._aheads.get(unit_id, follow)

    def waiting(self, unit_id: str, **prices: float) -> Waiting:
        """Rebuild now or later: every option of one unit; `prices` replaces some of them, for what-if questions."""
        craft_id = self._craft_of(unit_id)
        own = self.prices(craft_id)
        given = own.with_values(**prices)
        if given == own and unit_id in self._weighed:
            return self._weighed[unit_id]
        upkeep = self.upkeep(craft_id, given)
        one = waiting(self.ahead(unit_id), self.weeks(craft_id, upkeep), upkeep, given, self._scatter_on(craft_id))
        if given == own:
            self._weighed[unit_id] = one
        return one

    def weigh(self, progress: Callable[[int, int], None] | None = None) -> Mapping[str, Waiting]:
        """Every unit in service at its craft's own prices, as ``waiting`` weighs it, by unit_id; kept.

        `progress` is told which unit's turn it is, and of how many; what is done by the time it raises is kept.
        """
        tell = progress or (lambda _number, _of: None)
        units = self._craft_by_unit
        # Seasons of equal length next to each other: their upkeeps are found at once.
        left = sorted(
            units.keys() - self._weighed.keys(), key=lambda unit_id: (self.season_hours(units[unit_id]), unit_id)
        )
        at_once = 2 * WEIGHED_AT_ONCE
        for begun in range(0, len(left), at_once):
            tell(len(units) - len(left) + begun + 1, len(units))
            if not begun:
                _ = self._scatter_and_hazard  # of the typical craft, whose upkeep all others start from
            some = left[begun : begun + at_once]
            parts = [part for part in (some[::2], some[1::2]) if part]
            for weighed in in_two_threads(self._weighed_at_once, parts, len(parts) > 1):
                self._weighed |= weighed
        return {unit_id: self._weighed[unit_id] for unit_id in units}

    def _weighed_at_once(self, unit_ids: Collection[str]) -> dict[str, Waiting]:
        """A few units weighed, by unit_id. What each comes to does not depend on the others."""
        some = self._in_service.select(self._in_service.lives["unit_id"].isin(unit_ids))
        craft_ids = list(some.lives["craft_id"])
        upkeeps = self.own_upkeeps(craft_ids)
        weeks = [self.weeks(craft_id, upkeep) for craft_id, upkeep in zip(craft_ids, upkeeps, strict=True)]
        drawn = self._drawn_steps(craft_ids, weeks)
        units = UnitsToFollow(self.fit, some, [one.step_hours for one in weeks], self.rate, DRAWS, drawn)
        scatter = [self._scatter_on(craft_id) for craft_id in craft_ids]
        weighed = {}
        for i, unit_id in enumerate(some.lives["unit_id"]):
            one = waiting(units.follow(i), weeks[i], upkeeps[i], self.prices(craft_ids[i]), scatter[i])
            weighed[unit_id] = one
            # While its upkeep is at hand, which thousands of are too large to keep.
            self._rebuilt_at_close[craft_ids[i]] = self._rebuilt_by(upkeeps[i], craft_ids[i], one.off_season.begins)
        return weighed

    def rebuilt_at_close(self, craft_id: str, begins: int) -> np.ndarray:
        """Chance that a fresh unit is rebuilt in the off-season from week `begins` on, (begins,).

        By the week amid which it is put on the craft; it runs to the off-season unopened.
        """
        kept = self._rebuilt_at_close.get(craft_id)
        if kept is None or len(kept) != begins:
            return self._rebuilt_by(self.upkeep(craft_id), craft_id, begins)
        return kept

    def _rebuilt_by(self, upkeep: Upkeep, craft_id: str, begins: int) -> np.ndarray:
        hours = self.weekly_hours[craft_id][:begins]
        age_h = np.cumsum(hours[::-1])[::-1] - hours / 2
        return np.array([upkeep.rebuilt_at_close(age) for age in age_h])

    def off_season_before(self, unit_id: str, opens: int) -> OffSeasonAhead:
        """A unit's off-season before the season that opens in week `opens`, for one that is not the next."""
        craft_id = self._craft_of(unit_id)
        upkeep, prices = self.upkeep(craft_id), self.prices(craft_id)
        return off_season_before(self.ahead(unit_id), self.weeks(craft_id, upkeep), upkeep, prices, self.scatter, opens)

    def swings(self, unit_id: str, progress: Callable[[str], None] | None = None, **prices: float) -> tuple[Swing, ...]:
        """What moves the answer most: each input lower and higher by a quarter, greatest movement first.

        `prices` replaces some of them, as for ``waiting``. `progress` is told the input before it is tried.
        """
        craft_id = self._craft_of(unit_id)
        base = self.prices(craft_id).with_values(**prices)

        def changed(what: str, factor: float) -> float:
            value = getattr(base, what) * factor
            return min(value, 1.0) if what in ("core_lost", "engine_hit") else float(value)

        def gain(what: str, value: float) -> float:
            one = self.waiting(unit_id, **{**prices, what: value})
            return one.best_later.expected_cost - one.best_now.expected_cost

        found = []
        for what in SWUNG:
            if progress is not None:
                progress(what)
            ends = [changed(what, 1 - SWING), changed(what, 1 + SWING)]
            self._upkeeps_of([(craft_id, base.with_values(**{what: value})) for value in ends])  # both at once
            found.append(Swing(what, *(gain(what, value) for value in ends)))
        return tuple(sorted(found, key=lambda swing: -abs(swing.high - swing.low)))


def decisions_for(
    records: FleetRecords,
    histories: Histories,
    fit: TwoStageFit,
    overrides: dict[str, float] | None = None,
    hours: WeeklyHours | None = None,
) -> Decisions:
    """Gather what decisions need. `overrides`: values for fields of `Prices` that any face may set.

    `hours`: engine hours ahead as known on the day of the histories, where they are worked out already. Raises
    WrongUsage for a price that is not known or negative.
    """
    as_of = histories.as_of
    prices = prices_by_craft(records, as_of, overrides)
    hours = WeeklyHours(forecast_usage(records, as_of)) if hours is None else hours
    return Decisions(records, histories, fit, incident_rate(histories), hours, prices)
