"""Rebuild one unit now or later, laid out to be read: the costs week by week, what now saves, what a check is worth.

The costs are those of ``forecaster.waiting``; here differences are taken draw by draw, so that what both ways share
falls out and the interval is that of the difference. They decide nothing: what is to be done with the unit is its
instruction (``forecaster.instruction``), and where the costs alone would say otherwise, that and why is told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np
import pandas as pd

from forecaster.amounts import Amount, amount_of
from forecaster.causes import REASON_HOURS, Causes
from forecaster.decisions import Decisions
from forecaster.fleet_prices import refuse_wrong_prices
from forecaster.forecast import INTERVAL
from forecaster.instruction import DAYS_AHEAD, Instruction, Limit, instruction_unplanned
from forecaster.instruction_codes import Act
from forecaster.life_model import Evidence
from forecaster.prices import Prices
from forecaster.season_triggers import Triggers
from forecaster.settings import Season
from forecaster.unsafe import check_first, found_unsafe, not_to_run
from forecaster.waiting import Option, Waiting

CHANCES = ("core_lost", "engine_hit", "use")
MONTHS_A_YEAR = 12
Stands = Literal[Limit, "safety", "hours", "gain", "no_plan", "plan_not_asked"]


@dataclass(frozen=True)
class NowOrLater:
    """Rebuild now or later, for one unit; money in the fleet's currency, from today to the horizon.

    ``weeks``: one row a week, columns ``first_day``, ``in_season``, ``rebuild``, ``check`` (expected cost of acting in
    that week) each with ``_low`` and ``_high`` (central 90 %), ``runs`` and ``rattles`` (chances that it still runs
    unopened at the week's start, and that it would then rattle when spun by hand).
    ``by_month``: what putting the rebuild off costs more than rebuilding now, columns ``until``, ``extra``,
    ``extra_low``, ``extra_high``, ``runs``; ``dearest_month``: what the dearest single month of the first twelve costs.
    ``now``: rebuild in the cheapest week before it runs again, as a rule this one; ``later``: the best of all else;
    ``best``: the least of all; ``never``: left until it fails. ``saved``: what now saves beside later; ``price_now``:
    what that rebuild is charged; ``instead``: what later comes to where now comes to that, all that both ways share
    left out; ``break_even``: the rebuild's price at which both cost the same. ``best_check`` and ``check_saves``: the
    best week for a check, and what it saves beside the best without one (below 0: it does not pay).
    ``seasons``: (opening, last day) of each season up to the horizon; ``runs_from``: first day of the first week in
    which its craft is expected to run, None where it does not. ``stop``: reasons not to run it at all as it is;
    ``check_first``: reasons to check it before its next ride, where it may run at all. ``instruction``: what is to be
    done with it, at the fleet's own prices, None where nobody asked; ``alone``: what these costs alone would do by
    then, and ``stands``: why the instruction stands where they would do otherwise.
    """

    unit_id: str
    craft_id: str
    as_of: date
    prices: Prices
    fleet_prices: Prices
    weeks: pd.DataFrame
    by_month: pd.DataFrame
    dearest_month: Amount
    now: Option
    later: Option
    best: Option
    now_is_best: bool
    never: Option
    saved: Amount
    price_now: float
    instead: Amount
    break_even: Amount
    best_check: Option
    check_saves: Amount
    chance_now_is_cheaper: float
    n_draws: int
    triggers: Triggers
    seasons: tuple[tuple[date, date], ...]
    runs_from: date | None
    stop: tuple[str, ...]
    check_first: tuple[str, ...]
    evidence: Evidence
    instruction: Instruction | None = None
    alone: Act | None = None
    stands: tuple[Stands, ...] = ()

    @property
    def changed(self) -> dict[str, tuple[float, float]]:
        """Prices that are not the fleet's own: name -> (here, the fleet's)."""
        here, own = vars(self.prices), vars(self.fleet_prices)
        return {name: (here[name], own[name]) for name in own if here[name] != own[name]}


def now_or_later(decisions: Decisions, unit_id: str, prices: Mapping[str, float] | None = None) -> NowOrLater:
    """Should one unit be rebuilt now, later or never, and how sure is that?

    `prices` replaces fields of ``Prices`` for a what-if question. Raises WrongUsage where the unit is not in service,
    or for a price that is not known, negative, or a chance above 1.
    """
    prices = dict(prices or {})
    refuse_wrong_prices(prices)
    unit = decisions.unit(unit_id)
    craft_id = str(unit.lives["craft_id"].iloc[0])
    unsafe = found_unsafe(unit).get(unit.lives["life_id"].iloc[0], ())
    one = decisions.waiting(unit_id, **prices)
    later, now = one.best_later, one.best_now
    saved = one.draws_of(later) - one.draws_of(now)
    checks = [option for option in one.options if option.action == "check"]
    unchecked = [option for option in one.options if option.action != "check"]
    best_check, without = (min(some, key=lambda option: option.expected_cost) for some in (checks, unchecked))
    weeks = one.weeks
    price_now = one.prices.planned(bool(weeks.in_season[now.week]))
    return NowOrLater(
        unit_id=unit_id,
        craft_id=craft_id,
        as_of=decisions.as_of,
        prices=one.prices,
        fleet_prices=decisions.prices(craft_id),
        weeks=_weeks(one),
        by_month=_by_month(one),
        dearest_month=_dearest_month(one),
        now=now,
        later=later,
        best=one.best,
        now_is_best=one.best.action == "rebuild" and int(weeks.step_of_week[one.best.week]) == 0,
        never=one.option("none"),
        saved=amount_of(saved),
        price_now=price_now,
        instead=amount_of(price_now + saved),
        break_even=amount_of(one.prices.rebuild + saved),
        best_check=best_check,
        check_saves=amount_of(one.draws_of(without) - one.draws_of(best_check)),
        chance_now_is_cheaper=float((saved >= 0).mean()),
        n_draws=len(one.none),
        triggers=one.triggers,
        seasons=seasons_within(decisions.records.settings.season, decisions.as_of, weeks.n),
        runs_from=weeks.first_day[weeks.week_of_step[0]] if len(weeks.week_of_step) else None,
        stop=not_to_run(unsafe),
        check_first=check_first(unsafe),
        evidence=decisions.fit.evidence,
    )


def unplanned(decisions: Decisions, unit_id: str) -> Instruction:
    """The instruction of one unit where the plan of its fleet was not asked; its own costs and reasons are known."""
    unit, one = decisions.unit(unit_id), decisions.waiting(unit_id)
    life = unit.lives.iloc[0]
    unsafe = found_unsafe(unit).get(life["life_id"], ())
    (because,) = Causes(decisions.fit, unit).because(REASON_HOURS, [unsafe])
    hours = float(decisions.weekly_hours[str(life["craft_id"])][0])
    return instruction_unplanned(unit, decisions.records.settings.season, one, hours, because)


def beside_instruction(told: NowOrLater, instruction: Instruction, plan_ends: date | None) -> NowOrLater:
    """The comparison beside the unit's instruction. `plan_ends`: by when the plan's work is done; None: no plan."""
    until = told.as_of + timedelta(days=DAYS_AHEAD - 1)
    if not instruction.at_once and plan_ends is not None:
        until = plan_ends
    if told.runs_from is not None:
        until = max(until, told.runs_from)  # as good as now: nothing runs until then
    best = told.best
    alone: Act = "leave"
    if best.on is not None and best.on <= until:
        alone = "rebuild" if best.action == "rebuild" else "check"
    return replace(told, instruction=instruction, alone=alone, stands=_stands(instruction))


def _stands(instruction: Instruction) -> tuple[Stands, ...]:
    """Why an instruction stands, whatever the costs of its unit alone say."""
    if instruction.order in ("stop", "treat", "first"):
        return ("safety",)
    if instruction.source == "trigger":
        return ("hours",)
    if instruction.order == "unweighed":
        return ("plan_not_asked",)
    return ("no_plan",) if instruction.source == "none" else instruction.held_by or ("gain",)


def _weeks(one: Waiting) -> pd.DataFrame:
    def columns(action: str) -> dict[str, list[float]]:
        options = [option for option in one.options if option.action == action]
        return {
            action: [option.expected_cost for option in options],
            f"{action}_low": [option.low for option in options],
            f"{action}_high": [option.high for option in options],
        }

    return pd.DataFrame(
        {
            "first_day": pd.to_datetime(list(one.weeks.first_day)),
            "in_season": one.weeks.in_season,
            **columns("rebuild"),
            **columns("check"),
            "runs": one.running,
            "rattles": one.rattles,
        }
    )


def _put_off(one: Waiting) -> tuple[list[int], np.ndarray]:
    """The week that each month of waiting leads to, and what a rebuild then costs more than one today, (d, months)."""
    week_of = {day: week for week, day in enumerate(one.weeks.first_day)}
    chosen = [week_of[day] for day, _ in one.cost_of_waiting]
    extra: np.ndarray = one.rebuild[:, chosen] - one.rebuild[:, :1]
    return chosen, extra


def _dearest_month(one: Waiting) -> Amount:
    _, extra = _put_off(one)
    by_month = np.diff(extra[:, :MONTHS_A_YEAR], axis=1, prepend=0.0)
    return amount_of(by_month[:, by_month.mean(axis=0).argmax()])


def _by_month(one: Waiting) -> pd.DataFrame:
    chosen, extra = _put_off(one)
    low, high = np.quantile(extra, INTERVAL, axis=0)
    return pd.DataFrame(
        {
            "until": pd.to_datetime([day for day, _ in one.cost_of_waiting]),
            "extra": [cost for _, cost in one.cost_of_waiting],
            "extra_low": low,
            "extra_high": high,
            "runs": one.running[chosen],
        }
    )


def seasons_within(season: Season, as_of: date, weeks: int) -> tuple[tuple[date, date], ...]:
    """Opening and last day of each season that touches the `weeks` from `as_of`, in order."""
    end = as_of + timedelta(weeks=weeks)
    found: list[tuple[date, date]] = []
    day = as_of
    while day < end:
        opens, closes = season.current_or_next(day)
        if opens >= end:
            break
        found.append((opens, closes))
        day = closes + timedelta(days=1)
    return tuple(found)
