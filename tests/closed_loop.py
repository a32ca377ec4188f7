"""Whole seasons played forward with the true law: the plan and its triggers against rules of fixed hours.

Invented fleets run two seasons under their usual habits, which is what the plan learns from. Then two more seasons are
played with the same customers and the same water, once for each rule: the program's own (at each season's end it reads
the books, learns and plans; in season it follows the triggers, and weighs each craft that was under water anew), and
"every unit past N hours", in the off-season and, past a higher limit, in season. What counts is money really spent and
rental income really lost; a unit still running at the end is charged what it would truly cost to run it one more
season, or a rebuild, whichever is less. The rival is the best of its kind in hindsight, over all fleets of a world.

    python -m tests.closed_loop --fleets 20
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal
from unittest.mock import patch

import numpy as np
import pandas as pd

from forecaster.caretaking import FixedHours, FleetView, Policy, Reason, Spin, UnitView, Work
from forecaster.decisions import Decisions, decisions_for
from forecaster.histories import build_histories
from forecaster.learning import fit_two_stage
from forecaster.off_season import plan_off_season
from forecaster.prices import prices_of
from forecaster.simulate import SimulatedFleet, simulate_fleet
from forecaster.truth import true_chances
from forecaster.unit_ahead import unit_ahead
from forecaster.waiting import Waiting, waiting
from tests.bare_lives import BareLife, histories_of

WORLDS = ("rust_at_incident", "lasting_rise", "dry", "long_noise")
USUAL_SEASONS, PLAYED_SEASONS, CRAFT = 2, 2, 16
OFF_SEASON_LIMITS = (60.0, 100.0, 140.0, 180.0)
IN_SEASON_LIMITS = (150.0, 200.0, 1e9)


class FromForecasts(FixedHours):
    """The program's own rule: its plan in the off-season, its triggers in season. Parts as everybody buys them."""

    def __init__(self) -> None:
        super().__init__()
        # The usual policy is frozen; this one learns.
        self.__dict__.update(decisions=None, triggers={}, checked={})

    decisions: Decisions | None
    triggers: dict[str, tuple[float | None, float | None]]
    checked: dict[str, float]

    def plan(self, fleet: FleetView, rng: np.random.Generator) -> list[Work]:
        """In the second week of November the plan; on Mondays in season what the triggers ask for."""
        if fleet.next_opening is None:
            return self._by_triggers(fleet)
        if not 167 <= (fleet.next_opening - fleet.day).days < 174:
            return []
        eve = fleet.day - timedelta(days=1)
        records = fleet.records()
        histories = build_histories(records, eve)
        if histories.in_service().n_lives == 0:
            return []
        self.__dict__["decisions"] = decisions_for(records, histories, fit_two_stage(histories))
        answer = plan_off_season(self.decisions, bench_per_week=10)
        self.__dict__["triggers"] = {u: (t.check_at_hours, t.rebuild_at_hours) for u, t in answer.triggers.items()}
        self.checked.clear()
        tasks: dict[str, Literal["open", "check"]] = {"rebuild": "open", "check": "check"}
        return [
            Work(a.unit_id, max(a.week_of, fleet.day), tasks[a.action])
            for a in answer.plan.actions
            if a.week_of is not None
        ]

    def _by_triggers(self, fleet: FleetView) -> list[Work]:
        work = []
        for unit in fleet.units():
            check_at, rebuild_at = self.triggers.get(unit.unit_id, (None, None))
            hours = self._supposed(unit)
            if unit.craft_id is None:
                continue
            if rebuild_at is not None and hours >= rebuild_at:
                work.append(Work(unit.unit_id, fleet.day + timedelta(days=1), "open"))
            elif check_at is not None and hours >= check_at and self.checked.get(unit.unit_id, -1.0) < check_at:
                self.checked[unit.unit_id] = hours
                work.append(Work(unit.unit_id, fleet.day + timedelta(days=1), "check"))
        return work

    def after_check(self, unit: UnitView, spin: Spin, rng: np.random.Generator) -> bool:
        """A rattle is opened; a quiet unit gets its triggers anew, knowing that."""
        if spin == "rattle":
            return True
        looked = (unit.hours_in_record, spin)
        known = unit if looked in unit.checks else replace(unit, checks=(*unit.checks, looked))
        if (one := self._weighed(known)) is not None:
            self.triggers[unit.unit_id] = (one.triggers.check_at_hours, one.triggers.rebuild_at_hours)
        return False

    def after_water(self, unit: UnitView, treatment: str, rng: np.random.Generator) -> Literal["open", "check", "ride"]:
        """Open, check or ride, whichever is expected to cost least from here; the triggers are drawn anew."""
        one = self._weighed(unit)
        if one is None:
            return "check" if treatment != "prompt" else "ride"
        self.triggers[unit.unit_id] = (one.triggers.check_at_hours, one.triggers.rebuild_at_hours)
        costs = {"open": float(one.rebuild[:, 0].mean()), "check": float(one.check[:, 0].mean()), "ride": one.left}
        best: Literal["open", "check", "ride"] = min(costs, key=costs.__getitem__)  # type: ignore[assignment]
        return best

    def _weighed(self, unit: UnitView) -> Waiting | None:
        if self.decisions is None or unit.craft_id is None:
            return None
        begun = self._supposed(unit) - unit.hours_in_record
        life = histories_of(
            BareLife(
                self._supposed(unit),
                entry=begun,
                incidents=[(begun + at, how) for at, how in unit.incidents],
                checks=[(begun + at, spin) for at, spin in unit.checks],
                parts=unit.parts,
            )
        ).with_lives(salt_share=np.nan, tuned_share=np.nan)
        d = self.decisions
        upkeep, prices = d.upkeep(unit.craft_id), d.prices(unit.craft_id)
        weeks = d.weeks(unit.craft_id, upkeep)
        # The weeks were laid out at the season's end; a craft under water is in the midst of one: begin at the opening.
        opening = int(np.argmax(weeks.in_season))
        later = d.weekly_hours[unit.craft_id][opening:]
        from forecaster.craft_weeks import craft_weeks

        weeks = craft_weeks(later, weeks.first_day[opening], d.records.settings.season, upkeep)
        ahead = unit_ahead(d.fit, life, weeks.step_hours, d.rate, 16)
        return waiting(ahead, weeks, upkeep, prices)

    def rebuilds(self, unit: UnitView, reason: Reason, bearing: str, rng: np.random.Generator) -> bool:
        """Always, except that a sound one opened for a rattle is put back."""
        return reason != "check" or bearing != "sound"


@dataclass(frozen=True)
class Switched:
    """The usual habits until a day, then another policy."""

    until: date
    before: Policy
    then: Policy

    def plan(self, fleet: FleetView, rng: np.random.Generator) -> Sequence[Work]:
        """Whoever is in charge that day."""
        self._now.append(fleet.day)
        return self._who(fleet.day).plan(fleet, rng)

    _now: list[date] = field(default_factory=list)

    def _who(self, day: date | None = None) -> Policy:
        day = day or (self._now[-1] if self._now else self.until)
        return self.before if day < self.until else self.then

    def after_check(self, unit: UnitView, spin: Spin, rng: np.random.Generator) -> bool:
        """Whoever is in charge."""
        return self._who().after_check(unit, spin, rng)

    def after_water(self, unit: UnitView, treatment: str, rng: np.random.Generator) -> Literal["open", "check", "ride"]:
        """Whoever is in charge."""
        return self._who().after_water(unit, treatment, rng)

    def rebuilds(self, unit: UnitView, reason: Reason, bearing: str, rng: np.random.Generator) -> bool:
        """Whoever is in charge."""
        return self._who().rebuilds(unit, reason, bearing, rng)

    def parts(self, unit: UnitView, rng: np.random.Generator) -> Literal["oem", "aftermarket"]:
        """Whoever is in charge."""
        return self._who().parts(unit, rng)


def fixed_hours(off_season_h: float, in_season_h: float) -> FixedHours:
    """Open every unit past a limit, strictly; rattles are opened, water is looked at as usual."""
    return FixedHours(
        limit_h=off_season_h,
        adherence=1.0,
        early=0.0,
        in_season_limit_h=in_season_h,
        in_season_adherence=1.0,
        opens_on_rattle=1.0,
        opens_for_other_reasons=0.0,
    )


def played(world: str, seed: int, then: Policy) -> SimulatedFleet:
    """A fleet run under its usual habits, then under a policy."""
    switch = Switched(date(2024 + USUAL_SEASONS - 1, 11, 1), FixedHours(), then)
    return simulate_fleet(CRAFT, USUAL_SEASONS + PLAYED_SEASONS, seed, world, policy=switch)


def cost_of(fleet: SimulatedFleet) -> float:
    """Money spent and rental income lost since the switch, and what the units that still run are charged."""
    since = pd.Timestamp(2024 + USUAL_SEASONS - 1, 11, 1)
    ledger = fleet.truth.ledger
    ledger = ledger[ledger["on"] >= since]
    spent = float(ledger["cost"].sum() + ledger["rental_lost"].sum())
    histories = build_histories(fleet.records, fleet.as_of)
    units = histories.in_service()
    hours = float(fleet.truth.daily_hours.loc[since:].sum().mean()) / PLAYED_SEASONS
    fails = true_chances(fleet.truth, units, np.array([hours]))[:, 0]
    prices = prices_of(fleet.records.settings, 200.0, 0.5, 0.1)
    return spent + float(np.minimum(fails * prices.failure(), prices.planned(in_season=False)).sum())


def one_fleet(task: tuple[str, int]) -> dict[str, object]:
    """The cost of every rule on one fleet."""
    world, seed = task
    # Only means decide here: a dozen draws carry them, and save most of the time.
    with patch("forecaster.decisions.DRAWS", 12):
        row: dict[str, object] = {"world": world, "seed": seed, "plan": cost_of(played(world, seed, FromForecasts()))}
    for off in OFF_SEASON_LIMITS:
        for inside in IN_SEASON_LIMITS:
            name = f"{off:.0f} h" + (f", in season {inside:.0f} h" if inside < 1e8 else "")
            row[name] = cost_of(played(world, seed, fixed_hours(off, inside)))
    return row


def summary(table: pd.DataFrame) -> pd.DataFrame:
    """By world: the plan's mean cost a craft and season, the best fixed rule's, and the difference with its 90 %."""
    rules = [c for c in table.columns if c not in ("world", "seed", "plan")]
    rows = {}
    for world in dict.fromkeys(table["world"]):
        own = table[table["world"] == world]
        best = own[rules].mean().idxmin()
        scale = CRAFT * PLAYED_SEASONS
        less = (own[best] - own["plan"]).to_numpy(dtype=float) / scale
        spread = 1.645 * less.std(ddof=1) / np.sqrt(len(less)) if len(less) > 1 else np.nan
        rows[world] = {
            "plan": own["plan"].mean() / scale,
            "best rule in hindsight": best,
            "its cost": own[best].mean() / scale,
            "plan costs less by": less.mean(),
            "low": less.mean() - spread,
            "high": less.mean() + spread,
        }
    return pd.DataFrame(rows).T


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fleets", type=int, default=20)
    parser.add_argument("--seed", type=int, default=500)
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    tasks = [(world, given.seed + i) for world in WORLDS for i in range(given.fleets)]
    rows = []
    with ProcessPoolExecutor(given.processes) as pool:
        for done, row in enumerate(pool.map(one_fleet, tasks), 1):
            rows.append(row)
            print(f"\r{done}/{len(tasks)}", end="", file=sys.stderr, flush=True)
    table = pd.DataFrame(rows)
    print(f"\n{given.fleets} fleets of {CRAFT} craft in each world, first seed {given.seed}; cost a craft and season")
    print(summary(table).to_string(float_format=lambda x: f"{x:.0f}"))


if __name__ == "__main__":
    main()
