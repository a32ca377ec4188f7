"""What an off-season plan has to decide, within which limits, and what a plan is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np

from forecaster.errors import WrongUsage

Action = Literal["rebuild", "check", "leave"]
WEEK = timedelta(days=7)
LEAVE, CHECK, REBUILD, SEASON = 0, 1, 2, 3  # what is done with a unit: SEASON leaves it now, to act at its triggers
ACTIONS: tuple[Action, ...] = ("leave", "check", "rebuild", "leave")
# Money: work that saves less is not done. The same cost reached by two sums differs by rounding alone, and nobody
# spends the price of a rebuild on that.
LEAST_SAVING = 0.01
SAME_COST = 1e-6  # of money: weeks that cost the same but for rounding
TOLERANCE = 1e-5  # of money and bench places: what sums of floats and the solver may be off by


@dataclass(frozen=True)
class PlanEdit:
    """What is to be done with a unit instead: any day of the week meant; None for work: its cheapest free week.

    `note`: why, in the words of whoever changed it; on one line.
    """

    action: Action
    week_of: date | None = None
    note: str = ""


# Fields that hold one value, or one row, a unit.
PER_UNIT = (
    "rebuild_cost",
    "check_cost",
    "leave_cost",
    "rebuild_spend",
    "check_spend",
    "check_bench",
    "never_cost",
    "season_cost",
    "season_spend",
    "season_chance",
    "season_week",
    "season_bench",
    "rattle_draws",
    "check_reserve",
    "season_reserve",
)


def _not_given() -> np.ndarray:
    return np.empty(0)


@dataclass(frozen=True, eq=False)
class PlanProblem:
    """What may be done with each of n units in each of W weeks, what it leads to, and the limits.

    `weeks`: W Mondays, one after another; a closed week stays in the list with 0 bench places and takes no work at all.
    Expected total costs from today to the horizon: `rebuild_cost`, `check_cost` (n, W) if that is done in that week
    (after a check: rebuilt then if it rattles); `leave_cost` (n,) if the unit is left closed through the coming season;
    `season_cost` (n,) if it is left now and acted on at its triggers in that season (not given: as left closed);
    `never_cost` (n,) if nobody ever acts before it fails or is noticed (not given: likewise).
    Money out of the budget: `rebuild_spend` (n,); `check_spend` (n,) as expected, the check plus the chance of a rattle
    times the rebuild. `check_bench` (n,): expected bench places that a check takes, the chance of a rattle.
    `bench_places` (W,): rebuilds the bench finishes in each week (see ``bench_places_by_week``).
    `budget`: None is no limit. A unit on the bench is away for `out_weeks` weeks; in weeks in which craft earn,
    `craft_needed` (W,), one of `spare_units` must stand in for it. After the last week all stays as in it.
    `must`: units to be rebuilt whatever it costs, for example because they rattle.
    Acting in season: `season_spend` (n,) its expected money, `season_chance` (n,) the chance that it comes to that;
    `season_week` (n,) in which of the season's weeks it first acts (-1: in none), `season_bench` (n,) the bench places
    expected to be taken then, of `season_places` (S,) (empty: no limit). `season_budget`: money for it (inf: no limit);
    None: what is left of `budget`.
    `kits`: sets of parts on the shelf; until the week numbered `parts_week`, when ordered ones are here, no more is
    rebuilt (a check counts as its chance of a rattle). `least_gain`: the share of its money that work must save beyond
    what it is done instead of. `overspend_chance`: the work costs more than there is with at most this chance.
    `least_wait`: money that waiting for a later week must save, or work goes to an earlier one.
    `rattle_draws` (n, draws): `check_bench` under each posterior draw (not given: known for certain).
    `check_reserve`, `season_reserve` (n,): money set aside for such work beyond what it is expected to cost.

    WrongUsage names what does not fit: shapes, a figure that is no number, a unit twice, a week that is no Monday.
    """

    unit_ids: Sequence[str]
    craft_ids: Sequence[str]
    weeks: Sequence[date]
    rebuild_cost: np.ndarray
    check_cost: np.ndarray
    leave_cost: np.ndarray
    rebuild_spend: np.ndarray
    check_spend: np.ndarray
    check_bench: np.ndarray
    bench_places: np.ndarray
    craft_needed: np.ndarray
    budget: float | None = None
    out_weeks: int = 1
    spare_units: int = 0
    must: frozenset[str] = frozenset()
    never_cost: np.ndarray = field(default_factory=_not_given)
    season_cost: np.ndarray = field(default_factory=_not_given)
    season_spend: np.ndarray = field(default_factory=_not_given)
    season_chance: np.ndarray = field(default_factory=_not_given)
    season_week: np.ndarray = field(default_factory=_not_given)
    season_bench: np.ndarray = field(default_factory=_not_given)
    season_places: np.ndarray = field(default_factory=_not_given)
    season_budget: float | None = None
    kits: float = math.inf
    parts_week: int = 0
    least_gain: float = 0.0
    overspend_chance: float = 1.0
    least_wait: float = 0.0
    rattle_draws: np.ndarray = field(default_factory=_not_given)
    check_reserve: np.ndarray = field(default_factory=_not_given)
    season_reserve: np.ndarray = field(default_factory=_not_given)

    def __post_init__(self) -> None:
        """Refuse what would make the plan wrong."""
        n, w = len(self.unit_ids), len(self.weeks)
        shapes = {
            **dict.fromkeys(("rebuild_cost", "check_cost"), (n, w)),
            **dict.fromkeys(("leave_cost", "rebuild_spend", "check_spend", "check_bench"), (n,)),
            "bench_places": (w,),
        }
        for name, shape in shapes.items():
            object.__setattr__(self, name, _numbers(name, getattr(self, name), shape))
        for name in ("rebuild_spend", "check_spend", "check_bench", "bench_places"):
            _at_least_0(name, getattr(self, name))
        if (self.check_bench > 1).any():
            raise WrongUsage("check_bench is the chance that a check ends on the bench: it cannot be above 1.")
        needed = np.asarray(self.craft_needed, dtype=bool)
        if needed.shape != (w,):
            raise WrongUsage(f"craft_needed must hold one value for each of {w} weeks, not shape {needed.shape}.")
        object.__setattr__(self, "craft_needed", needed)
        self._check_names(n)
        self._check_weeks()
        if self.budget is not None and not (math.isfinite(self.budget) and self.budget >= 0):
            raise WrongUsage(f"The budget must be an amount of at least 0, or none at all; it is {self.budget}.")
        if self.out_weeks < 1 or self.spare_units < 0:
            raise WrongUsage("A unit is away for at least 1 week, and there cannot be fewer than 0 spare units.")
        self._check_season(n)
        self._check_shares()

    def _check_season(self, n: int) -> None:
        """Fill in what was not given of the season, and refuse what does not fit."""
        usual = {**dict.fromkeys(("never_cost", "season_cost"), self.leave_cost), "season_week": np.full(n, -1.0)}
        reserves = ("check_reserve", "season_reserve")
        season = ("season_cost", "season_spend", "season_chance", "season_week", "season_bench")
        for name in ("never_cost", *season, *reserves):
            given = getattr(self, name)
            values = given if np.size(given) else usual.get(name, np.zeros(n))
            object.__setattr__(self, name, _numbers(name, values, (n,)))
        object.__setattr__(self, "season_week", self.season_week.astype(int))
        object.__setattr__(self, "season_places", np.array(self.season_places, dtype=float).ravel())
        draws = np.array(self.rattle_draws, dtype=float)
        draws = draws if draws.size else self.check_bench[:, None]
        object.__setattr__(self, "rattle_draws", _numbers("rattle_draws", draws, (n, draws.shape[-1])))
        for name in ("season_spend", "season_chance", "season_bench", "season_places", "rattle_draws", *reserves):
            _at_least_0(name, getattr(self, name))
        if (self.season_chance > 1).any() or (self.season_bench > 1).any() or (self.rattle_draws > 1).any():
            raise WrongUsage("season_chance, season_bench and rattle_draws are chances: they cannot be above 1.")
        weeks = len(self.season_places)
        if (self.season_week < -1).any() or (weeks and (self.season_week >= weeks).any()):
            raise WrongUsage(f"season_week must name one of the season's {weeks} weeks, or -1 for none.")
        if self.season_budget is not None and not self.season_budget >= 0:
            raise WrongUsage(f"The season's budget must be an amount of at least 0; it is {self.season_budget}.")

    def _check_shares(self) -> None:
        if not self.kits >= 0 or self.parts_week < 0:
            raise WrongUsage("There cannot be fewer than 0 kits on the shelf, nor parts before the first week.")
        if not (math.isfinite(self.least_gain) and self.least_gain >= 0):
            raise WrongUsage(f"The least gain is a share of the money of at least 0, not {self.least_gain}.")
        if not 0 <= self.overspend_chance <= 1:
            raise WrongUsage(f"The chance of overspending must be from 0 to 1, not {self.overspend_chance}.")

    def _check_names(self, n: int) -> None:
        if len(self.craft_ids) != n:
            raise WrongUsage(f"{n} units, but {len(self.craft_ids)} craft: each unit needs the craft that it sits on.")
        if len(set(self.unit_ids)) < n:
            twice = next(u for u in self.unit_ids if list(self.unit_ids).count(u) > 1)
            raise WrongUsage(f"Unit {twice} is listed more than once.")
        unknown = sorted(self.must - set(self.unit_ids))
        if unknown:
            raise WrongUsage(f"{', '.join(unknown)} must be rebuilt, but is not among the units of the plan.")

    def _check_weeks(self) -> None:
        if not self.weeks:
            raise WrongUsage("A plan needs at least one week.")
        wrong = [monday for monday in self.weeks if monday.weekday() != 0]
        if wrong:
            raise WrongUsage(f"Weeks are named by their Monday; {wrong[0]} is none.")
        for before, after in zip(self.weeks, self.weeks[1:], strict=False):
            if after - before != WEEK:
                raise WrongUsage(f"Weeks follow one another; after {before} comes {after}. Closed weeks get 0 places.")

    def of_units(self, order: Sequence[int]) -> PlanProblem:
        """The same problem with its units in another order, each given by its place in this one."""
        per_unit = {name: getattr(self, name)[list(order)] for name in PER_UNIT}
        names = {name: [getattr(self, name)[i] for i in order] for name in ("unit_ids", "craft_ids")}
        return replace(self, **names, **per_unit)  # type: ignore[arg-type]

    @property
    def n(self) -> int:
        """How many units."""
        return len(self.unit_ids)

    @property
    def leave_all(self) -> float:
        """Expected cost to the horizon if every unit is left closed through the coming season."""
        return float(self.leave_cost.sum())

    def worth(self, act: int) -> np.ndarray:
        """What work saves beside leaving the unit closed, less the least that its money must bring: (n, W).

        Of SEASON (n,). Of two works the dearer is worth more only where it saves that much more for what it costs more.
        """
        if act == SEASON:
            season: np.ndarray = self.leave_cost - self.season_cost - self.least_gain * self.season_spend
            return season
        cost, spend = (self.rebuild_cost, self.rebuild_spend) if act == REBUILD else (self.check_cost, self.check_spend)
        work: np.ndarray = self.leave_cost[:, None] - cost - self.least_gain * spend[:, None]
        return work

    @property
    def never_all(self) -> float:
        """Expected cost to the horizon if nobody ever acts."""
        return float(self.never_cost.sum())

    @property
    def triggers_all(self) -> float:
        """Expected cost to the horizon with no off-season work, acting at the season's triggers without any limit."""
        return float(self.season_cost.sum())

    @property
    def spares_by_week(self) -> np.ndarray:
        """Units that may be away in each week, (W + out_weeks - 1,): the last goes out and comes back later."""
        needed = np.concatenate([self.craft_needed, np.repeat(self.craft_needed[-1], self.out_weeks - 1)])
        allowed: np.ndarray = np.where(needed, float(self.spare_units), np.inf)
        return allowed


def _numbers(name: str, values: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    numbers = np.array(values, dtype=float)
    if numbers.shape != shape:
        raise WrongUsage(f"{name} must have shape {shape}, not {numbers.shape}.")
    if not np.isfinite(numbers).all():
        raise WrongUsage(f"{name} holds a value that is no number.")
    return numbers


def _at_least_0(name: str, values: np.ndarray) -> None:
    if (values < 0).any():
        raise WrongUsage(f"{name} cannot be below 0; the least is {values.min():g}.")


def bench_places_by_week(rebuilds_per_week: float, open_weeks: Sequence[bool]) -> np.ndarray:
    """Whole rebuilds that the bench finishes in each week, (W,): 2.5 a week is 2, 3, 2, 3; 0 in closed weeks.

    Half a rebuild is carried over to the next open week, since it can only come off the bench whole.
    """
    if not (math.isfinite(rebuilds_per_week) and rebuilds_per_week >= 0):
        raise WrongUsage(f"Rebuilds a week must be at least 0, not {rebuilds_per_week}.")
    worked = np.floor(np.cumsum(np.asarray(open_weeks, dtype=float)) * rebuilds_per_week + TOLERANCE)
    places: np.ndarray = np.diff(worked, prepend=0.0)
    return places


@dataclass(frozen=True)
class PlannedAction:
    """What is done with one unit: `week_of` its Monday (None: left), `cost` money out of the budget, as expected.

    `saves`: expected cost to the horizon if left closed through the coming season, less that of what is planned.
    `rattle`: for a check, the chance that it ends on the bench. `in_season`: left now, and acted on at its triggers in
    the coming season within that season's limits; `saves` counts that, and `season_spend` is its expected money.
    """

    unit_id: str
    craft_id: str
    action: Action
    week_of: date | None
    cost: float
    saves: float
    rattle: float = 0.0
    in_season: bool = False
    season_spend: float = 0.0


def act_of(planned: PlannedAction) -> int:
    """What is done with a unit, as a plan in the making tells it."""
    return SEASON if planned.in_season else ACTIONS.index(planned.action)


@dataclass(frozen=True)
class Plan:
    """A plan that keeps within all limits, one action a unit in the problem's order.

    `expected_cost`: to the horizon, the whole fleet's; `expected_cost_do_nothing` the same if nobody ever acts before a
    unit fails or is noticed; `expected_cost_at_triggers` with no off-season work, and units opened and checked in
    season when their hours come, without any limit.
    `gap`: at most so much more could be saved, as a share of what is saved; NaN: not asked (a rule's plan).
    What a little more would save over and above: `next_1000` of budget (0 where there is no budget limit),
    `next_bench_place` (a place in week `next_bench_week`, the best one), `next_spare_unit`.
    `next_season_1000`: of the season's own budget; `next_season_place`: one more rebuild in each week of the season;
    `next_kit`: one more set of parts on the shelf. `limits`: in words, what keeps the plan from saving more.
    `overspend_chance`: that the work costs more than there is; `no_overspend_limit`: what a plan whose chance of that
    is not limited would save more.
    """

    actions: tuple[PlannedAction, ...]
    spent: float
    budget: float | None
    expected_cost: float
    expected_cost_do_nothing: float
    expected_cost_at_triggers: float
    gap: float = math.nan
    next_1000: float = 0.0
    next_bench_place: float = 0.0
    next_bench_week: date | None = None
    next_spare_unit: float = 0.0
    limits: tuple[str, ...] = ()
    overspend_chance: float = 0.0
    next_season_1000: float = 0.0
    next_season_place: float = 0.0
    next_kit: float = 0.0
    no_overspend_limit: float = 0.0

    @property
    def saves(self) -> float:
        """Expected saving beside leaving every unit closed through the coming season."""
        return math.fsum(planned.saves for planned in self.actions)

    @property
    def season_spent(self) -> float:
        """Expected money of the work in season of units that are left now."""
        return math.fsum(planned.season_spend for planned in self.actions)

    @property
    def acts_in_season(self) -> int:
        """On how many units that are left the season's money is expected to be spent; 0 where that comes to nothing."""
        return sum(one.in_season for one in self.actions) if self.season_spent >= 0.5 else 0

    @property
    def may_overspend(self) -> bool:
        """Whether there is a limit of money that the work may exceed."""
        return self.budget is not None or self.overspend_chance != 0

    def count(self, action: Action) -> int:
        """How many units get this action."""
        return sum(planned.action == action for planned in self.actions)
