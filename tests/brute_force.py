"""What every option of a unit costs, by simulation of the rules that ``forecaster.waiting`` and ``policy`` state.

Nothing of the costs' own rooms is asked but the policy that lives to come are kept by: at the start of each week in
season, and of the off-season, its action for the unit's age and age at the last quiet check. Lives run in continuous
time (``tests.simulated_lives``). What a fresh unit costs from a week on is worked out once, from the last week back:
lives that begin in it are run to their end, and what comes then is known. It goes on some years past the horizon, where
a fresh unit is worth 0 under each posterior draw. All of it is done several times over with other numbers: from how
these differ comes the noise.

    python -m tests.brute_force --units 20        every option of 20 units of the sample fleet
"""

from __future__ import annotations

import argparse
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from forecaster import open_fleet, sample_fleet_folder
from forecaster.decisions import DRAWS, Decisions
from forecaster.policy import ACTIONS, Upkeep
from forecaster.prices import Prices
from forecaster.waiting import Waiting
from tests.simulated_lives import Lives, Nature

WEEKS = 104
YEARS_BEYOND = 5  # by then what was fitted at the horizon is forgotten
TIMES = 4  # over
CHECK, REBUILD = ACTIONS.index("check"), ACTIONS.index("rebuild")
RUNS = 0.05  # h a week: less is a craft moved at the dock


class Costs(NamedTuple):
    """Costs of options of one kind, (m,), and their standard error, pooled: so few times over tell little of one."""

    mean: np.ndarray
    error: float


@dataclass(frozen=True)
class Simulated:
    """Mean cost from today to the horizon, by week of acting (WEEKS,), or never, (1,)."""

    rebuild: Costs
    check: Costs
    none: Costs


class Weeks:
    """The weeks of a craft to some years past the horizon: `hours` (d, w) under each draw, seasons, hours to close."""

    def __init__(self, decisions: Decisions, craft_id: str, upkeep: Upkeep) -> None:
        """Past the horizon each week runs what it did a year before."""
        mean = decisions.weekly_hours[craft_id]
        n = WEEKS + 52 * YEARS_BEYOND
        again = [w if w < WEEKS else WEEKS - 52 + (w - WEEKS) % 52 for w in range(n)]
        mean = np.where(mean > RUNS, mean, 0.0)[again]
        self.hours = np.where(mean > 0, decisions.weekly_draws([craft_id])[craft_id][:, again], 0.0)
        self.run = np.concatenate([np.zeros((len(self.hours), 1)), np.cumsum(self.hours, axis=1)], axis=1)
        season = decisions.records.settings.season
        days = [decisions.as_of + timedelta(weeks=w) for w in range(WEEKS)]
        self.in_season = np.array([season.contains(day) for day in days])[again]
        self.closes = np.flatnonzero(self.in_season[:-1] & ~self.in_season[1:]) + 1
        self.n = n
        done = np.concatenate([[0.0], np.cumsum(mean)])
        close = np.searchsorted(self.closes, np.arange(n), side="right")
        ends = np.append(done[self.closes], done[-1])
        steps_left = (ends[close] - done[:-1]) / upkeep.life.step_h
        in_season = np.clip(np.rint(upkeep.steps - steps_left), 0, upkeep.steps - 1).astype(int)
        self.stage = np.where(self.in_season, in_season, upkeep.steps)
        self.decides = self.in_season.copy()
        self.decides[self.closes] = True

    def next_close(self, week: int) -> int:
        """The first off-season week after the season that a week is in or that comes; at most the horizon."""
        later = self.closes[self.closes > week]
        return int(min(later[0], WEEKS)) if len(later) else WEEKS


class BruteForce:
    """One unit, simulated once: `n` lives for each posterior draw."""

    def __init__(self, decisions: Decisions, unit_id: str, n: int, seed: int) -> None:
        """`decisions` give records, posterior, prices, hours ahead and the policy, and no cost."""
        unit = decisions.unit(unit_id)
        self.craft_id = str(unit.lives["craft_id"].iloc[0])
        self.upkeep: Upkeep = decisions.upkeep(self.craft_id)
        self.prices: Prices = decisions.prices(self.craft_id)
        self.weeks = Weeks(decisions, self.craft_id, self.upkeep)
        theta = decisions.fit.theta[:DRAWS]
        self.nature = Nature(theta, decisions.fit.prior, decisions.rate, np.random.default_rng(seed))
        self.n, self.x = n, decisions._covariates(self.craft_id)
        self.fresh = self._fresh()
        self.unit = self.nature.standing(decisions.fit, unit, theta, n)

    def _fresh(self) -> np.ndarray:
        """Cost of a fresh unit from each week on, under each draw, beside one at the horizon, (d, w + 1)."""
        weeks, d = self.weeks, self.nature.d
        fresh = np.zeros((d, weeks.n + 1))
        for week in range(weeks.n - 1, -1, -1):
            if not weeks.hours[:, week].any():
                fresh[:, week] = fresh[:, week + 1]
                continue
            lives = self.nature.fresh(self.x, self.n)
            cost = self._kept(lives, week, week + 1, np.zeros(len(lives.draw)), fresh)
            fresh[:, week] = cost.reshape(d, self.n).mean(axis=1)
        return fresh - fresh[:, [WEEKS]]

    def _worth(self, fresh: np.ndarray, draw: np.ndarray, run_by: np.ndarray, week: int) -> np.ndarray:
        """What a unit fitted amid a week costs from there on, when the craft has run so many hours in all."""
        run, hours = self.weeks.run[draw, week], self.weeks.hours[draw, week]
        share = (run_by - run) / np.maximum(hours, 1e-9)
        worth: np.ndarray = fresh[draw, week] * (1 - share) + fresh[draw, week + 1] * share
        return worth

    def _kept(self, lives: Lives, week: int, acts_from: int, checked: np.ndarray, fresh: np.ndarray) -> np.ndarray:
        """Cost of each life from a week's start on, kept by the policy from another on, and of all that follow it.

        `checked` (m,): age at the last quiet check, h.
        """
        weeks, prices, life = self.weeks, self.prices, self.upkeep.life
        cost, going = np.zeros(len(lives.draw)), np.arange(len(lives.draw))
        start = weeks.run[lives.draw, week]
        checked = checked.copy()
        ear = self.nature.rng.random(len(lives.draw))
        while len(going) and week < weeks.n:
            draw, in_season = lives.draw[going], bool(weeks.in_season[week])
            run = weeks.run[draw, week] - start[going]
            if week == acts_from or (week > acts_from and weeks.decides[week]):
                age = lives.age_h[going] + run
                i, j = (
                    np.minimum(np.rint(hours / life.step_h).astype(int), life.n - 1) for hours in (age, checked[going])
                )
                act = self.upkeep.action[weeks.stage[week], i, np.minimum(j, i)]
                looks = act == CHECK
                rattles = looks & self._rattles(lives.of_these(going), run, (ear[going] + week * 0.618034) % 1.0)
                cost[going[looks]] += prices.looked_at(in_season)
                checked[going[looks]] = age[looks]
                out = rattles | (act == REBUILD)
                cost[going[out]] += prices.planned(in_season) + fresh[draw[out], week]
                going, draw, run = going[~out], draw[~out], run[~out]
            after = weeks.run[draw, week + 1] - start[going]
            ends = lives.ends_in[going] < after
            gone, of = going[ends], draw[ends]
            cost[gone] += self._ended(lives.fails[gone])
            cost[gone] += self._worth(fresh, of, start[gone] + lives.ends_in[gone], week)
            going, week = going[~ends], week + 1
        return cost

    def _rattles(self, lives: Lives, run: np.ndarray, ear: np.ndarray) -> np.ndarray:
        """Whether units rattle when spun after so many hours, given a number from 0 to 1 for each."""
        sensitivity, specificity = self.nature.sensitivity[lives.draw], self.nature.specificity[lives.draw]
        heard: np.ndarray = ear < np.where(lives.defective_in <= run, sensitivity, 1 - specificity)
        return heard

    def _ended(self, fails: np.ndarray) -> np.ndarray:
        return np.where(fails, self.prices.failure(), self.prices.noticed())

    def options(self, looks: Collection[int]) -> tuple[np.ndarray, np.ndarray, float]:
        """Mean cost of rebuilding in each week, of checking in each of `looks`, (WEEKS,) each, and of neither."""
        weeks, lives, fresh = self.weeks, self.unit, self.fresh
        ended = np.zeros(len(lives.draw))  # cost of what has ended by the week, and of all that follows it
        runs = np.ones(len(lives.draw), dtype=bool)
        rebuild, check = np.zeros(WEEKS), np.full(WEEKS, np.nan)
        ear = self.nature.uniform(self.n)
        for week in range(WEEKS):
            in_season = bool(weeks.in_season[week])
            planned = self.prices.planned(in_season) + fresh[lives.draw, week]
            rebuild[week] = np.where(runs, planned, ended).mean()
            idle = week > 0 and not weeks.hours[:, week - 1].any() and in_season == weeks.in_season[week - 1]
            if week in looks:
                known = idle and week - 1 in looks
                check[week] = check[week - 1] if known else self._checked(week, runs, ended, ear)
            run = weeks.run[lives.draw, week + 1]
            gone = runs & (lives.ends_in < run)
            then = self._worth(fresh, lives.draw[gone], lives.ends_in[gone], week)
            ended[gone] = self._ended(lives.fails[gone]) + then
            runs &= ~gone
        at_end = lives.of_these(runs).after(weeks.run[lives.draw[runs], WEEKS])
        ended[runs] = self._kept(at_end, WEEKS, WEEKS, np.zeros(runs.sum()), fresh)
        return rebuild, check, float(ended.mean())

    def _checked(self, week: int, runs: np.ndarray, ended: np.ndarray, ear: np.ndarray) -> float:
        """Mean cost of checking in a week what still runs then: a rebuild on a rattle, else on to the off-season."""
        weeks, cost = self.weeks, ended.copy()
        lives = self.unit.of_these(runs)
        run, in_season = weeks.run[lives.draw, week], bool(weeks.in_season[week])
        rattles = self._rattles(lives, run, ear[runs])
        now = lives.after(run)
        then = np.empty(len(lives.draw))
        then[rattles] = self.prices.planned(in_season) + self.fresh[lives.draw[rattles], week]
        passed = now.of_these(~rattles)
        then[~rattles] = self._kept(passed, week, weeks.next_close(week), passed.age_h, self.fresh)
        cost[runs] = self.prices.looked_at(in_season) + then
        return float(cost.mean())


def simulated(decisions: Decisions, unit_id: str, n: int, looks: Collection[int] = range(WEEKS)) -> Simulated:
    """Every option of one unit by brute force, TIMES over with `n` lives a posterior draw; checks in weeks `looks`."""
    found = [BruteForce(decisions, unit_id, n, seed).options(looks) for seed in range(TIMES)]

    def costs(kind: int) -> Costs:
        times = np.array([np.atleast_1d(one[kind]) for one in found])
        return Costs(times.mean(axis=0), float(np.sqrt(np.nanmean(times.var(axis=0, ddof=1)) / TIMES)))

    return Simulated(*(costs(kind) for kind in range(3)))


def told(one: Waiting) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The same costs as the program tells them: by week of a rebuild, of a check, (WEEKS,) each, and of neither."""
    return one.rebuild.mean(axis=0), one.check.mean(axis=0), np.array([one.none.mean()])


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=20)
    parser.add_argument("--lives", type=int, default=200, help="a posterior draw, each time over")
    parser.add_argument("--as-of", type=date.fromisoformat, default=date(2026, 10, 31))
    args = parser.parse_args()
    decisions = open_fleet(sample_fleet_folder(), args.as_of).decisions(args.as_of)
    print(
        f"{'unit':8}{'age, h':>7}   {'rebuild':24}{'check':24}none: largest difference, and the noise, in % of the cost"
    )
    beyond, most, count = 0, 0.0, 0
    for unit_id in list(decisions.weigh())[: args.units]:
        one, brute = decisions.waiting(unit_id), simulated(decisions, unit_id, args.lives)
        cells = []
        for cost, found in zip(told(one), vars(brute).values(), strict=True):
            off, noise = 100 * (cost / found.mean - 1), 100 * found.error / found.mean
            at = int(np.abs(off).argmax())
            cells.append(f"{off[at]:+.2f} (noise {noise[at]:.2f})")
            beyond += int((np.abs(off) > 1 + 2 * noise).sum())
            most, count = max(most, abs(float(off[at]))), count + len(off)
        print(f"{unit_id:8}{one.age_h:7.0f}   " + "".join(f"{cell:24}" for cell in cells), flush=True)
    print(f"{count:,} options: the largest difference is {most:.2f} %; {beyond} are beyond 1 % and twice the noise")


if __name__ == "__main__":
    main()
