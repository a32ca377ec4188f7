"""Whole seasons played forward with the true law: the plan and its triggers against rules of fixed hours.

Invented fleets run three seasons under their usual habits, which is what the plan learns from. Then two more seasons
are played with the same customers and the same water, once for each rule: the program's own (at each season's end it
reads the books, learns and plans; in season it follows the triggers, and weighs each craft that was under water anew),
and "every unit past N hours", in the off-season and, past a higher limit, in season. What counts is money really spent
and rental income really lost; a unit still running at the end is charged what it would truly cost to run it one more
season, or a rebuild, whichever is less. The rival is the best of its kind in hindsight, over all fleets of a world.

Each is played without a limit, and with money for half of the units each winter: then the rule takes the most hours
first. The plan learns from the fleet's own records alone, or from ten other fleets' experience too. Beside it plans one
that knows the law of nature (`KnowsTheLaw`): what having to learn it costs, all that better learning could still gain.
Costs are levelled for luck (``tests.luck``).

    python -m tests.closed_loop --fleets 20
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cache
from typing import Literal
from unittest.mock import patch

import numpy as np
import pandas as pd

from forecaster.caretaking import FixedHours, FleetView, Policy, Reason, Spin, UnitView, Work
from forecaster.craft_weeks import craft_weeks
from forecaster.decisions import Decisions, decisions_for
from forecaster.experience import pooled_experience
from forecaster.histories import build_histories
from forecaster.learning import TwoStageFit, fit_two_stage
from forecaster.life_model import Evidence
from forecaster.lives import Histories
from forecaster.off_season import plan_off_season
from forecaster.pieces import known_shares
from forecaster.posterior import Draws
from forecaster.prices import prices_of
from forecaster.priors import FIXED_VARIANCE, PARAMETERS, RANGES, Prior, on_its_scale, read_priors
from forecaster.records import FleetRecords
from forecaster.season_triggers import Triggers
from forecaster.simulate import SimulatedFleet, simulate_fleet
from forecaster.truth import true_chances
from forecaster.unit_ahead import unit_ahead
from forecaster.waiting import Waiting, waiting
from forecaster.workshop import CORE_LOST, ENGINE_HIT
from forecaster.worlds import World
from tests.bare_lives import BareLife, histories_of
from tests.luck import levelled, luck_since

WORLDS = ("rust_at_incident", "lasting_rise", "dry", "long_noise")
USES = {"busy": 176.0, "quiet": 80.0}  # engine hours a craft and season
USUAL_SEASONS, PLAYED_SEASONS, CRAFT = 3, 2, 24
OFF_SEASON_LIMITS = (40.0, 60.0, 80.0, 100.0, 120.0, 150.0)
IN_SEASON_LIMITS = (200.0, np.inf)
SWITCH = date(2024 + USUAL_SEASONS - 1, 11, 1)
BUDGET = 0.5 * CRAFT * 650.0  # a winter: half of what it costs to rebuild all
EXPERIENCED_FLEETS = 10
DRAWS = 12
KNOWN_DRAWS = 48  # of a law without any doubt, all the same: as many as any decision asks for
PLAN, PLAN_EXPERIENCED, USUAL = "plan", "plan, ten fleets' experience", "usual habits"
LAW = "the law known"


class FromForecasts(FixedHours):
    """The program's own rule: its plan in the off-season, its triggers in season. Parts as everybody buys them."""

    def __init__(self, budget: float | None = None, prior: Prior | None = None) -> None:
        super().__init__()
        # The usual policy is frozen; this one learns.
        self.__dict__.update(decisions=None, triggers={}, checked={}, monday=date.min, budget=budget, prior=prior)

    decisions: Decisions | None
    budget: float | None
    prior: Prior | None
    triggers: dict[str, Triggers]
    checked: dict[str, float]
    monday: date

    def plan(self, fleet: FleetView, rng: np.random.Generator) -> list[Work]:
        """In the second week of November the plan; on Mondays in season what the triggers ask for."""
        self.__dict__["monday"] = fleet.day
        if fleet.next_opening is None:
            return self._by_triggers(fleet)
        if not 167 <= (fleet.next_opening - fleet.day).days < 174:
            return []
        eve = fleet.day - timedelta(days=1)
        records = fleet.records()
        histories = build_histories(records, eve)
        if histories.in_service().n_lives == 0:
            return []
        self.__dict__["decisions"] = self.believed(records, histories)
        answer = plan_off_season(self.decisions, budget=self.budget, bench_per_week=10)
        self.__dict__["triggers"] = dict(answer.triggers)
        self.checked.clear()
        tasks: dict[str, Literal["open", "check"]] = {"rebuild": "open", "check": "check"}
        return [
            Work(a.unit_id, max(a.week_of, fleet.day), tasks[a.action])
            for a in answer.plan.actions
            if a.week_of is not None
        ]

    def believed(self, records: FleetRecords, histories: Histories) -> Decisions:
        """What the decisions rest on: the life model and the prices, as learned from the books."""
        return decisions_for(records, histories, fit_two_stage(histories, prior=self.prior))

    def _by_triggers(self, fleet: FleetView) -> list[Work]:
        work = []
        for unit in fleet.units():
            at = self.triggers.get(unit.unit_id, Triggers(None, None))
            hours = self._supposed(unit)
            if unit.craft_id is None:
                continue
            if _reached(hours, fleet.day, at.rebuild_at_hours, at.rebuild_until):
                work.append(Work(unit.unit_id, fleet.day + timedelta(days=1), "open"))
            elif _reached(hours, fleet.day, at.check_at_hours, at.check_until) and self.checked.get(
                unit.unit_id, -1.0
            ) < (at.check_at_hours or 0.0):
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
            self.triggers[unit.unit_id] = one.triggers
        return False

    def after_water(self, unit: UnitView, treatment: str, rng: np.random.Generator) -> Literal["open", "check", "ride"]:
        """Open, check or ride, whichever is expected to cost least from here; the triggers are drawn anew."""
        one = self._weighed(unit)
        if one is None:
            return "check" if treatment != "prompt" else "ride"
        self.triggers[unit.unit_id] = one.triggers
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
        # The weeks were laid out at the season's end: begin at this one.
        gone = (self.monday - d.as_of).days // 7
        weeks = craft_weeks(
            d.weekly_hours[unit.craft_id][gone:], d.as_of + timedelta(weeks=gone), d.records.settings.season, upkeep
        )
        ahead = unit_ahead(d.fit, life, weeks.step_hours, d.rate, 16)
        return waiting(ahead, weeks, upkeep, prices)

    def rebuilds(self, unit: UnitView, reason: Reason, bearing: str, rng: np.random.Generator) -> bool:
        """Always, except that a sound one opened for a rattle is put back."""
        return reason != "check" or bearing != "sound"


class KnowsTheLaw(FromForecasts):
    """The same planning by somebody who need learn nothing of bearings: the headroom of whoever must.

    The law of nature stands in for the life model, and the true chances that a failure takes core or engine with it for
    those of the books. All else is as the program knows it: the books with their blanks and round figures, the rate of
    water, the hours ahead, what a failure costs on average.
    """

    def __init__(self, world: World, budget: float | None = None) -> None:
        super().__init__(budget)
        self.__dict__["world"] = world

    world: World

    def believed(self, records: FleetRecords, histories: Histories) -> Decisions:
        """The true law and chances."""
        chances = {"core_lost": CORE_LOST, "engine_hit": ENGINE_HIT}
        return decisions_for(records, histories, law_known(self.world, histories), chances)


def law_known(world: World, histories: Histories) -> TwoStageFit:
    """A world's law as if it had been learned without any doubt: the same parameters in every draw.

    Every world of `WORLDS` has its exact counterpart among the two stages. A late treatment is there a mixture of the
    other two: the one that passes as many bearings sound, or wholly untreated, as in the world, where water starts no
    rust at once but raises the hazard for good. A world with both, or whose jumps depend on the water found in the oil,
    has none and is refused.
    """
    if world.water_exponent or (world.lasting_log_ratio and world.kappa_none):
        raise ValueError(f"world {world.name} has no exact counterpart among the two stages")
    never = RANGES["log_jump_treated"][0]  # a jump of 0 has no logarithm: so small a one starts no rust
    values = {
        "log_shape_1": world.beta1,
        "log_scale_1_h": world.eta1,
        "log_shape_2": world.beta2,
        "log_scale_2_h": world.eta2,
        "log_jump_untreated": max(world.kappa_none, never),
        "log_jump_treated": max(world.kappa_prompt, never),
        "log_ratio_aftermarket": world.aftermarket_ratio,
        "log_ratio_salt": world.salt_ratio,
        "log_ratio_tuned": world.tuned_ratio,
        "log_rate_noticed_per_h": world.rho,
        "lasting_log_ratio": world.lasting_log_ratio,
        "logit_sensitivity": world.sensitivity,
        "logit_specificity": world.specificity,
    }
    theta = np.array([on_its_scale(name, values[name]) for name in PARAMETERS])
    passes = np.exp(-np.array([world.kappa_prompt, world.kappa_late, world.kappa_none]))
    late = 1.0 if passes[0] == passes[2] else float((passes[0] - passes[1]) / (passes[0] - passes[2]))
    general = read_priors()
    prior = replace(
        general.with_normal(theta, np.eye(len(theta)) * FIXED_VARIANCE, "the law known"),
        untreated_share=general.untreated_share | {"late": late},
        oil_water_exponent=0.0,
    )
    draws = Draws(np.tile(theta, (KNOWN_DRAWS, 1)), KNOWN_DRAWS, "the law known", theta, prior.covariance)
    evidence = Evidence(histories.n_lives, histories.n_failures, KNOWN_DRAWS, mostly_prior=False, prior=prior.source)
    return TwoStageFit(prior, draws, known_shares(histories, prior), evidence)


def _reached(hours: float, day: date, at: float | None, until: date | None) -> bool:
    return at is not None and hours >= at and (until is None or day <= until)


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


@dataclass(frozen=True)
class PastHours(FixedHours):
    """Every unit past a limit, most hours first while the winter's money lasts, and nothing else but rattles."""

    budget: float = np.inf

    def _off_season(self, fleet: FleetView, rng: np.random.Generator) -> list[Work]:
        due = [u for u in fleet.units() if u.craft_id is not None and self._supposed(u) >= self.limit_h]
        due.sort(key=lambda unit: -self._supposed(unit))
        for_all = len(due) if self.budget == np.inf else int(self.budget // 650.0)
        return [Work(unit.unit_id, fleet.day, "open") for unit in due[:for_all]]


def past_hours(off_season_h: float, in_season_h: float, budget: float = np.inf) -> PastHours:
    """The bare rule: it looks at nothing but hours; what is noticed or fails is mended."""
    return PastHours(
        limit_h=off_season_h,
        in_season_limit_h=in_season_h,
        in_season_adherence=1.0,
        checks_before_season=0.0,
        opens_on_rattle=1.0,
        opens_after_water=(0.0, 0.0),
        checks_after_water=(0.0, 0.0),
        opens_for_other_reasons=0.0,
        budget=budget,
    )


def played(world: str, use: str, seed: int, then: Policy) -> SimulatedFleet:
    """A fleet run under its usual habits, then under a policy."""
    switch = Switched(SWITCH, FixedHours(), then)
    seasons = USUAL_SEASONS + PLAYED_SEASONS
    return simulate_fleet(CRAFT, seasons, seed, world, policy=switch, hours_a_season=USES[use])


def cost_of(fleet: SimulatedFleet) -> float:
    """Money spent and rental income lost since the switch, and what the units that still run are charged."""
    since = pd.Timestamp(SWITCH)
    ledger = fleet.truth.ledger
    ledger = ledger[ledger["on"] >= since]
    spent = float(ledger["cost"].sum() + ledger["rental_lost"].sum())
    histories = build_histories(fleet.records, fleet.as_of)
    units = histories.in_service()
    hours = float(fleet.truth.daily_hours.loc[since:].sum().mean()) / PLAYED_SEASONS
    fails = true_chances(fleet.truth, units, np.array([hours]))[:, 0]
    prices = prices_of(fleet.records.settings, 350.0, CORE_LOST, ENGINE_HIT)
    return spent + float(np.minimum(fails * prices.failure(), prices.planned(in_season=False)).sum())


@cache
def others_experience(world: str, use: str) -> Prior:
    """What ten other fleets of the same kind taught."""
    fits = []
    for i in range(EXPERIENCED_FLEETS):
        fleet = simulate_fleet(CRAFT, USUAL_SEASONS, 9_000 + i, world, hours_a_season=USES[use])
        fits.append(fit_two_stage(build_histories(fleet.records, fleet.as_of)))
    return pooled_experience(fits)


def rules(budget: float | None) -> dict[str, Policy]:
    """The rivals of the kind "past N hours", by name."""
    money = np.inf if budget is None else budget
    return {
        f"{off:.0f} h" + (f", in season {inside:.0f} h" if inside < np.inf else ""): past_hours(off, inside, money)
        for off in OFF_SEASON_LIMITS
        for inside in IN_SEASON_LIMITS
    }


def one_fleet(task: tuple[str, str, int, bool]) -> list[dict[str, object]]:
    """Every rule on one fleet: its cost a craft and season, and its luck."""
    world, use, seed, limited = task
    budget = BUDGET if limited else None
    policies: dict[str, Policy] = {
        PLAN: FromForecasts(budget),
        LAW: KnowsTheLaw(World.named(world), budget),
        **({} if limited else {PLAN_EXPERIENCED: FromForecasts(None, others_experience(world, use))}),
        **({} if limited else {USUAL: FixedHours()}),
        **rules(budget),
    }
    rows: list[dict[str, object]] = []
    # Only means decide here: a dozen draws carry them, and intervals are not asked for: that saves most of the time.
    with (
        patch("forecaster.decisions.DRAWS", DRAWS),
        patch.object(Decisions, "scatter", np.ones(DRAWS)),
        patch.object(Decisions, "_scatter_on", lambda _self, _craft_id: np.ones(DRAWS)),
    ):
        for name, policy in policies.items():
            fleet = played(world, use, seed, policy)
            scale = CRAFT * PLAYED_SEASONS
            luck = luck_since(fleet, pd.Timestamp(SWITCH)) / scale
            told = {"limited": limited, "world": world, "use": use, "seed": seed, "rule": name}
            rows.append(told | {"cost": cost_of(fleet) / scale, "luck": luck})
    return rows


def summary(table: pd.DataFrame) -> pd.DataFrame:
    """By kind of fleet: the plan's mean cost a craft and season beside the best rule's, and differences with 90 %."""
    rows = []
    for (limited, use, world), part in table.groupby(["limited", "use", "world"], sort=False):
        costs = part.pivot_table(index="seed", columns="rule", values="cost")
        luck = {rule: np.stack(list(own.sort_values("seed")["luck"])) for rule, own in part.groupby("rule")}
        level = levelled(costs, luck)
        rivals = [rule for rule in level if rule not in (PLAN, PLAN_EXPERIENCED, USUAL, LAW)]
        best = level[rivals].mean().idxmin()
        row = {"money": "half" if limited else "no limit", "use": use, "world": world}
        row |= {PLAN: level[PLAN].mean(), "best rule in hindsight": best, "its cost": level[best].mean()}
        for name in (PLAN, PLAN_EXPERIENCED, LAW):
            if name in level:
                row[f"{name}: less by"] = _mean_and_spread(level[best] - level[name])
        row["plan above the law known, %"] = _mean_and_spread(100 * (level[PLAN] - level[LAW]) / level[LAW].mean(), 1)
        if USUAL in level:
            row[f"{USUAL}: more by"] = _mean_and_spread(level[USUAL] - level[PLAN])
        rows.append(row)
    return pd.DataFrame(rows)


def _mean_and_spread(less: pd.Series, decimals: int = 0) -> str:
    """Mean and 90 % interval over fleets; a single fleet has none."""
    mean = less.mean()
    if len(less) < 2:
        return f"{mean:+.{decimals}f}"
    spread = 1.645 * less.std(ddof=1) / np.sqrt(len(less))
    return f"{mean:+.{decimals}f} ({mean - spread:+.{decimals}f} to {mean + spread:+.{decimals}f})"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fleets", type=int, default=20)
    parser.add_argument("--seed", type=int, default=500)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--keep", help="a file for every fleet's costs (pickle)")
    given = parser.parse_args()
    kinds = [(world, use, limited) for limited in (False, True) for use in USES for world in WORLDS]
    tasks = [(world, use, given.seed + i, limited) for i in range(given.fleets) for world, use, limited in kinds]
    rows = []
    with ProcessPoolExecutor(given.processes) as pool:
        for done, found in enumerate(pool.map(one_fleet, tasks), 1):
            rows += found
            if given.keep and done % len(kinds) == 0:
                pd.DataFrame(rows).to_pickle(given.keep)
            print(f"\r{done}/{len(tasks)}", end="", file=sys.stderr, flush=True)
    table = pd.DataFrame(rows)
    print(f"\n{given.fleets} fleets of {CRAFT} craft of each kind, first seed {given.seed}; cost a craft and season")
    print(summary(table).fillna("").to_string(index=False, float_format=lambda x: f"{x:.0f}"))


if __name__ == "__main__":
    main()
