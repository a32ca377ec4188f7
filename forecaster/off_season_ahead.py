"""An off-season ahead of one unit: what each work in it costs, and what leaving the unit through it costs.

In season the season at hand is played first, by its own triggers and the same for all that may follow: whatever is
planned for the off-season, a unit that is due now is dealt with now, and else it runs on to the close, fails or is
noticed. So the last day of a season and the day after it tell the same costs but for a day's wear.

A unit that is left is either closed through the season after, or acted on at that season's triggers. The first takes no
money and no bench place until that season's close; the second takes both, and may find neither.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from forecaster.by_week import ActingByWeek, ByWeek
from forecaster.craft_weeks import CraftWeeks
from forecaster.season_triggers import NO_TRIGGERS, SeasonAct, Stopped, Triggers, stopped


@dataclass(frozen=True)
class UnitPath:
    """A unit that nobody has opened yet, week by week, per posterior draw; money from today to the horizon.

    `age_h` (w + 1,): its mean age at each week's start and at the horizon. `running`, `rattles`, `failed` (d, w + 1):
    chance that it still runs then, that it does and would rattle when spun, and that it has failed before. `rebuild`,
    `check` (d, w): cost of acting in each week and not before; `worn` (d, w + 1): of not acting before a week, and from
    then on what a unit of its age is worth.
    """

    weeks: CraftWeeks
    age_h: np.ndarray
    running: np.ndarray
    rattles: np.ndarray
    failed: np.ndarray
    rebuild: np.ndarray
    check: np.ndarray
    worn: np.ndarray

    @cached_property
    def rebuild_weeks(self) -> ByWeek:
        """`rebuild`, to be kept."""
        return ByWeek.of(self.rebuild)

    @cached_property
    def check_weeks(self) -> ByWeek:
        """`check`, to be kept."""
        return ByWeek.of(self.check)

    def acting(self, act: SeasonAct) -> np.ndarray:
        """The cost of acting so, (d,)."""
        cost: np.ndarray = (self.rebuild if act.action == "rebuild" else self.check)[:, act.week]
        return cost

    def stopped(self, weeks: np.ndarray, at_close: float) -> Stopped:
        """Act or go on, in each of some weeks in which it runs; `at_close`: cost of doing nothing in any of them."""
        used = weeks[np.diff(self.weeks.step_of_week)[weeks] > 0]
        days = [self.weeks.first_day[week] for week in used]
        rebuild, check = self.rebuild[:, used].mean(axis=0), self.check[:, used].mean(axis=0)
        return stopped(used, days, self.age_h[used], rebuild, check, at_close)


@dataclass(frozen=True)
class OffSeasonAhead(ActingByWeek):
    """One unit's off-season, from week `begins` to the one before `opens`; the season at hand is played before it.

    Costs from today to the horizon per posterior draw: `rebuild_weeks`, `check_weeks` of doing that in each week, where
    what the season at hand asks for in an earlier one comes first; `closed` (d,) left and not worked on before the
    close of the season that opens, where it is rebuilt or goes on, whichever costs less; `at_triggers` (d,) left and
    acted on in that season at its `triggers`. `act`: what is then done first, if it still runs, with chance `act_runs`;
    `act_bench`: the bench places expected to be taken.

    `before`: what is done first in the season at hand. `running`, `rattles` (d,): chance that the unit still runs
    unopened when the off-season begins, and that it would rattle; `fails` (d,): that it has failed by then;
    `comes_off` (d, begins): that it comes off in each week before, failed or opened.
    """

    begins: int
    opens: int
    rebuild_weeks: ByWeek
    check_weeks: ByWeek
    closed: np.ndarray
    at_triggers: np.ndarray
    triggers: Triggers
    act: SeasonAct | None
    act_runs: float
    act_bench: float
    before: SeasonAct | None
    running: np.ndarray
    rattles: np.ndarray
    fails: np.ndarray
    comes_off: np.ndarray

    @property
    def opened(self) -> np.ndarray:
        """Chance that it is opened before the off-season: noticed, found by a check, or rebuilt at its hours, (d,)."""
        chance: np.ndarray = np.clip(self.comes_off.sum(axis=1) - self.fails, 0.0, 1.0)
        return chance

    @cached_property
    def best(self) -> float:
        """The least expected cost of anything that may be done."""
        means = [part[:, self.begins : self.opens].mean(axis=0) for part in (self.rebuild, self.check)]
        return float(np.concatenate([*means, [self.at_triggers.mean()]]).min())


def first_opening(weeks: CraftWeeks) -> int:
    """The week in which the next season opens that is not on yet; w where none does before the horizon."""
    openings = np.flatnonzero(weeks.in_season[1:] & ~weeks.in_season[:-1]) + 1
    return int(openings[0]) if len(openings) else weeks.n


def off_season_ahead(
    path: UnitPath, after_check: Callable[[int], UnitPath], opens: int | None = None
) -> tuple[Stopped, OffSeasonAhead]:
    """The off-season before week `opens` (None: the next opening), and the seasons before it played by their triggers.

    `after_check`: the path of a unit that is checked in a week, at what that costs, and was quiet. The first answer is
    the stopping of what comes before the off-season; of nothing where the off-season is on.
    """
    opens = first_opening(path.weeks) if opens is None else opens
    in_season = path.weeks.in_season[:opens]
    begins = int(np.flatnonzero(in_season)[-1]) + 1 if in_season.any() else 0
    as_it_is = _laid_out(path, begins, opens, None)
    now = path.stopped(np.flatnonzero(in_season), as_it_is.best)
    if now.first is None:
        return now, as_it_is
    if now.first.action == "rebuild":
        return now, _rebuilt_before(path, begins, opens, now.first)
    checked = _laid_out(after_check(now.first.week), begins, opens, now.first)
    week = now.first.week
    return now, replace(
        checked,
        rebuild_weeks=ByWeek.of(_until(week, path.rebuild, checked.rebuild)),
        check_weeks=ByWeek.of(_until(week, path.check, checked.check)),
        comes_off=_comes_off(path, week, path.rattles, checked.comes_off),
    )


def _until(week: int, before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Costs by week (d, w): those up to and in a week, and others from the next one on."""
    return np.concatenate([before[:, : week + 1], after[:, week + 1 :]], axis=1)


def _laid_out(path: UnitPath, begins: int, opens: int, before: SeasonAct | None) -> OffSeasonAhead:
    """The off-season of a unit that runs unopened until it begins."""
    weeks = path.weeks
    close = int(weeks.next_off[opens]) if opens < weeks.n else weeks.n
    closed = path.worn[:, close]
    if close < weeks.n and path.rebuild[:, close].mean() < closed.mean():
        closed = path.rebuild[:, close]
    acted = path.stopped(np.arange(opens, close), float(closed.mean()))
    first = acted.first
    taken = path.running if first is None or first.action == "rebuild" else path.rattles
    return OffSeasonAhead(
        begins=begins,
        opens=opens,
        rebuild_weeks=path.rebuild_weeks,
        check_weeks=path.check_weeks,
        closed=closed.copy(),  # copies, so that no part of the path is kept with them
        at_triggers=(closed if first is None else path.acting(first)).copy(),
        triggers=acted.triggers,
        act=first,
        act_runs=0.0 if first is None else float(path.running[:, first.week].mean()),
        act_bench=0.0 if first is None else float(taken[:, first.week].mean()),
        before=before,
        running=path.running[:, begins].copy(),
        rattles=path.rattles[:, begins].copy(),
        fails=path.failed[:, begins].copy(),
        comes_off=-np.diff(path.running[:, : begins + 1]),
    )


def _rebuilt_before(path: UnitPath, begins: int, opens: int, act: SeasonAct) -> OffSeasonAhead:
    """The same where the unit is rebuilt in the season before, so that nothing planned for the off-season meets it."""
    cost, nobody = path.acting(act).copy(), np.zeros(len(path.running))
    everywhere = np.broadcast_to(cost[:, None], path.rebuild.shape)
    return OffSeasonAhead(
        begins=begins,
        opens=opens,
        rebuild_weeks=ByWeek.of(_until(act.week, path.rebuild, everywhere)),
        check_weeks=ByWeek.of(_until(act.week, path.check, everywhere)),
        closed=cost,
        at_triggers=cost,
        triggers=NO_TRIGGERS,
        act=None,
        act_runs=0.0,
        act_bench=0.0,
        before=act,
        running=nobody,
        rattles=nobody,
        fails=path.failed[:, act.week].copy(),
        comes_off=_comes_off(path, act.week, path.running, np.zeros((len(cost), begins))),
    )


def _comes_off(path: UnitPath, week: int, then: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Chance of coming off in each week: as on its path before `week`, of `then` (d, w) in it, besides `after`."""
    chance = after.copy()
    chance[:, :week] = -np.diff(path.running[:, : week + 1])
    chance[:, week] += then[:, week]
    return chance
