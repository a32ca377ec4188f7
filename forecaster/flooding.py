"""After water: what to do, how high the risk is with and without treatment, and whether to open, check or ride.

For a craft of a fleet that last is no second opinion: the unit's instruction (``forecaster.instruction``) decides it,
as it stands once this water is in the records, and what each way costs stands beside it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from forecaster.core_loss import CoreLoss, core_loss
from forecaster.errors import WrongUsage
from forecaster.flooding_costs import HORIZON_H, Option, WayOn, options_after
from forecaster.flooding_facts import Flooding, refuse_impossible
from forecaster.flooding_scenarios import SCENARIOS, hours_since, scenarios, with_spin, with_water, without_this_water
from forecaster.flooding_steps import (
    CautionCode,
    Log,
    MechanicCall,
    Order,
    Step,
    Stop,
    cautions,
    may_ride,
    mechanic_calls,
    order_of,
    reasons_to_stop,
    steps_after,
)
from forecaster.forecast import Chance, chance
from forecaster.instruction import Instruction
from forecaster.instruction_codes import Act, most
from forecaster.learning import TwoStageFit
from forecaster.life_model import Evidence
from forecaster.lives import Histories
from forecaster.prices import prices_of
from forecaster.settings import Costs, DowntimeDays, FleetSettings
from forecaster.unsafe import Unsafe, not_to_run

RISK_HOURS = np.array([5.0, 10.0, 25.0, 50.0, 100.0])
WAYS: dict[Act, WayOn] = {"rebuild": "open", "check": "check", "leave": "ride"}
CLEAR_CALL = 0.5  # below this share of the posterior, another way may well be the cheapest


@dataclass(frozen=True)
class RiskAhead:
    """Chances that the bearing fails within `hours` engine hours, nobody opening it and no further water coming.

    Treated within a day, treated later, not treated; the same craft without this incident; and `as_it_is`: with what
    was done so far, which is one of the first three, or a mixture where nobody knows.
    """

    hours: float
    treated: Chance
    late: Chance
    untreated: Chance
    no_incident: Chance
    as_it_is: Chance


@dataclass(frozen=True)
class AfterWater:
    """The answer for one craft that was under water; ``forecaster.report.after_water_wording`` words it.

    `order`: what is said before all else. `stops`: why it must not be run as it is, the gravest first; empty: nothing
    says so. `steps` in their order, `calls`: when to call a mechanic, `cautions`: all three as codes. `applies`: which
    of the scenarios is so now: "treated", "late", "untreated", or "unknown". `options`: the ways on that are safe at
    all, and what each costs on average over the next 100 engine hours once the treatment that can still be had was
    done; `best` is the one advised. `instruction`: what is to be done with the unit of a fleet, this water included;
    `told_now`: whether something of it is not in the records yet. `hours_since_rebuild`: None where nobody knows.
    `scenarios_out_of_order`: the records make a treated unit look worse than an untreated one, on which nobody should
    act.
    """

    flooding: Flooding
    as_of: date
    craft_id: str
    unit_id: str
    hours_since_rebuild: float | None
    order: Order
    stops: tuple[Stop, ...]
    steps: tuple[Step, ...]
    calls: tuple[MechanicCall, ...]
    cautions: tuple[CautionCode, ...]
    applies: str
    defective_now: Chance
    risk: tuple[RiskAhead, ...]
    options: tuple[Option, ...]
    best: Option
    scenarios_out_of_order: bool
    evidence: Evidence
    remarks: tuple[str, ...]
    instruction: Instruction | None = None
    told_now: bool = False

    @property
    def costed_hours(self) -> float:
        """Engine hours over which `options` are costed."""
        return HORIZON_H

    @property
    def stop(self) -> bool:
        """Whether it must not be run as it is."""
        return bool(self.stops)

    @property
    def cheapest(self) -> bool:
        """Whether what is advised also costs least; if not, safety or the plan decides."""
        return self.best is min(self.options, key=lambda option: option.expected_cost)

    @property
    def close_call(self) -> bool:
        """Whether another way may well cost less."""
        return self.cheapest and len(self.options) > 1 and self.best.chance_best < CLEAR_CALL


def after_water(
    model: TwoStageFit,
    unit_histories: Histories,
    flooding: Flooding,
    costs: Costs,
    downtime: DowntimeDays,
    day_rate: float,
    as_of: date,
    *,
    loss: CoreLoss | None = None,
    in_season: bool = True,
    log: Log = "write_down",
    catch_can: str = "unknown",
    remarks: tuple[str, ...] = (),
    on_record: tuple[Unsafe, ...] = (),
    instruction: Instruction | None = None,
    told_now: bool = False,
) -> AfterWater:
    """What to do about one craft after water, and the risk of its supercharger.

    `unit_histories`: its unit's one running life as of `as_of`; an incident of the flooding's day in it is taken for
    this one and replaced, and a look since then that sounded as told is the look that is told. `day_rate`: rental
    income of one in-season day. `loss`: general experience when None. `in_season`: whether `as_of` is. `log`: whether
    the incident is written down already. `catch_can`: whether one is fitted, as craft.csv says. `remarks`: told with
    the answer. `on_record`: why the unit must not run by its record, which what is told of this water does not say
    already. `instruction`: the unit's, once this water is in the records, and `told_now` whether it is not yet;
    without, what is safe and costs least is advised.

    The risk knows how it was treated and how the unit sounds when spun. How long it was under, in what water, whether
    the engine ran and what the oil looks like decide the steps and the stop.

    Raises WrongUsage where `unit_histories` is not one life as of `as_of`, where what is told cannot be so, or where
    more hours were run since than the life has.
    """
    refuse_impossible(flooding, as_of)
    if unit_histories.n_lives != 1:
        raise WrongUsage(f"After water, one unit is asked about, not {unit_histories.n_lives}.")
    if unit_histories.as_of != as_of:
        raise WrongUsage(
            f"The unit is given as of {unit_histories.as_of}, but {as_of} is asked about. Correct one of the two days."
        )
    unit = with_spin(without_this_water(unit_histories, flooding), flooding)
    facts = flooding.with_facts(hours_run_since=hours_since(unit, flooding))
    by_scenario = scenarios(unit, facts)
    failing = model.chance_of_failing(by_scenario, RISK_HOURS)
    defect = model.chance_of_defect(by_scenario, np.array([0.0]))
    risk = tuple(
        RiskAhead(float(hours), *(chance(failing[:, i, j]) for i in range(by_scenario.n_lives)))
        for j, hours in enumerate(RISK_HOURS)
    )
    treated = with_water(unit, facts, facts.treatment_to_be_had(as_of))
    settings = FleetSettings(costs=costs, downtime_days=downtime)
    prices = prices_of(settings, day_rate, core_lost=0.0, engine_hit=0.0)  # the draws of CoreLoss stand for these
    stops = (*reasons_to_stop(facts), *(Stop("on_record", found) for found in not_to_run(on_record)))
    recorded = _with_record(facts, on_record)
    told = None if instruction is None else _at_least(instruction, stops, spin=recorded.spin)
    safe = _safe_ways(recorded, stops, told)
    options = options_after(model, treated, prices, loss or core_loss(), in_season, safe)
    best = _best(options, told)
    life = unit.lives.iloc[0]
    age = float(life["hours_at_entry"] + life["hours_observed"])
    return AfterWater(
        flooding=facts,
        as_of=as_of,
        craft_id=str(life["craft_id"]),
        unit_id=str(life["unit_id"]),
        hours_since_rebuild=age if np.isfinite(age) else None,
        order=order_of(facts, stops),
        stops=stops,
        steps=steps_after(
            recorded,
            as_of,
            log=log,
            opens=best.action == "open" and (told is None or told.at_once),
            check_after_h=best.check_after_h if best.action == "check" and (told is None or told.at_once) else None,
            catch_can=catch_can,
        ),
        calls=mechanic_calls(recorded, as_of),
        cautions=cautions(facts, as_of),
        applies=next((name for name, code in SCENARIOS.items() if code == facts.treatment), "unknown"),
        defective_now=chance(defect[:, -1, 0]),
        risk=risk,
        options=options,
        best=best,
        scenarios_out_of_order=not all(row.treated.mean <= row.untreated.mean for row in risk),
        evidence=model.evidence,
        remarks=remarks,
        instruction=told,
        told_now=told_now,
    )


def _at_least(instruction: Instruction, stops: tuple[Stop, ...], spin: str) -> Instruction:
    """The instruction with what the records have no place for: an engine that ran as it went under, a wet cylinder."""
    if not stops or instruction.order == "stop":
        return instruction
    act = most([instruction.act or "check", "rebuild" if spin == "rattle" else "check"])
    return replace(instruction, order="stop", act=act, source="water", by=instruction.by or instruction.as_of)


def _best(options: tuple[Option, ...], instruction: Instruction | None) -> Option:
    """The way that is advised: the one of the instruction, at the hours that cost least.

    Without any the cheapest that is safe; where the fleet was not weighed, of those that the record allows.
    """
    chosen = options
    if instruction is not None and instruction.act is not None:
        chosen = tuple(one for one in options if one.action == WAYS[instruction.act])
    elif instruction is not None and instruction.reasons:
        chosen = tuple(one for one in options if one.action != "ride")
    return min(chosen or options, key=lambda option: option.expected_cost)


def _with_record(flooding: Flooding, on_record: tuple[Unsafe, ...]) -> Flooding:
    """The flooding as its steps are to take it: a unit that rattled before the water is opened as if it did so now."""
    codes = {one.code for one in on_record}
    spin = {"spin": "rattle"} if codes & {"rattle", "put_back"} else {}
    return flooding.with_facts(**spin, **({"oil": "milky"} if "milky" in codes else {}))


def _safe_ways(flooding: Flooding, stops: tuple[Stop, ...], instruction: Instruction | None) -> frozenset[WayOn]:
    """The ways on that are safe at all: a rattle is opened, and nothing that must stop is ridden.

    Water that a fleet's record has as dealt with, or run out over hours, is weighed by the plan like any other.
    """
    if flooding.spin == "rattle":
        return frozenset({"open"})
    settled = instruction is not None and instruction.act == "leave" and not stops
    return frozenset({"open", "check", "ride"} if settled or may_ride(flooding, stops) else {"open", "check"})
