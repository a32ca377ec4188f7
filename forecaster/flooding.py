"""After water: what to do, how high the risk is with and without treatment, and whether to open, check or ride."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from forecaster.core_loss import CoreLoss, core_loss
from forecaster.errors import WrongUsage
from forecaster.flooding_costs import HORIZON_H, Option, options_after
from forecaster.flooding_facts import Flooding, refuse_wrong_days
from forecaster.flooding_scenarios import SCENARIOS, hours_since, scenarios, with_spin, with_water, without_this_water
from forecaster.flooding_steps import Step, cautions, reasons_to_stop, steps_after
from forecaster.forecast import Chance, chance
from forecaster.learning import TwoStageFit
from forecaster.life_model import Evidence
from forecaster.lives import Histories
from forecaster.prices import prices_of
from forecaster.settings import Costs, DowntimeDays, FleetSettings
from forecaster.unsafe import Unsafe, not_to_run
from forecaster.written_days import DatedText

RISK_HOURS = np.array([5.0, 10.0, 25.0, 50.0, 100.0])
HEARD_TOLD = {
    "quiet": "it was spun by hand since then and was quiet",
    "slight": "it was spun by hand since then and made a little noise, which is normal",
    "rattle": "it was spun by hand since then and rattled",
}
CLEAR_CALL = 0.5  # below this share of the posterior, another way may well be the cheapest
WRITE_IT_DOWN = (
    "Write down the day, the engine hours, which water, what the oil looked like, what was done and how soon: the next "
    "forecast needs it."
)


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
    """The answer for one craft that was under water.

    `applies`: which of the scenarios is so now: "treated", "late", "untreated", or "unknown". `stops`: why it must not
    be run as it is, the gravest first; empty: nothing says so. `advice`: "open it now", "check it after 10 hours" or
    "ride", never the last where it must stop; `options`: what each costs on average over the next 100 engine hours,
    once the treatment that can still be had was done. `hours_since_rebuild`: None where nobody knows.
    """

    flooding: Flooding
    as_of: date
    craft_id: str
    unit_id: str
    hours_since_rebuild: float | None
    stops: tuple[str, ...]
    steps: tuple[Step, ...]
    cautions: tuple[str, ...]
    applies: str
    defective_now: Chance
    risk: tuple[RiskAhead, ...]
    options: tuple[Option, ...]
    best: Option
    because: tuple[str, ...]
    evidence: Evidence
    remarks: tuple[str, ...]

    @property
    def costed_hours(self) -> float:
        """Engine hours over which `options` are costed."""
        return HORIZON_H

    @property
    def stop(self) -> bool:
        """Whether it must not be run as it is."""
        return bool(self.stops)

    @property
    def advice(self) -> str:
        """What to do about the supercharger, in words."""
        if self.best.action == "check":
            return f"check it after {self.best.check_after_h:g} hours"
        return {"open": "open it now", "ride": "ride"}[self.best.action]


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
    to_log: str | None = WRITE_IT_DOWN,
    remarks: tuple[str, ...] = (),
    on_record: tuple[Unsafe, ...] = (),
) -> AfterWater:
    """What to do about one craft after water, and the risk of its supercharger.

    `unit_histories`: its unit's one running life as of `as_of`; an incident of the flooding's day in it is taken for
    this one and replaced, and a look since then that sounded as told is the look that is told. `day_rate`: rental
    income of one in-season day. `loss`: general experience when None. `in_season`: whether `as_of` is. `to_log`: how to
    write the incident down; None: it is written down. `remarks`: told with the answer. `on_record`: why the unit must
    not run by its record, which what is told of this water does not say already.

    The risk knows how it was treated and how the unit sounds when spun. How long it was under, in what water, whether
    the engine ran and what the oil looks like decide the steps and the stop.

    Raises WrongUsage where `unit_histories` is not one life as of `as_of`, where the water comes after that day, or
    where more hours were run since than the life has.
    """
    refuse_wrong_days(flooding, as_of)
    if unit_histories.n_lives != 1:
        raise WrongUsage(f"After water, one unit is asked about, not {unit_histories.n_lives}.")
    if unit_histories.as_of != as_of:
        raise WrongUsage(
            f"The unit is given as of {unit_histories.as_of}, but {as_of} is asked about. Mend one of the two."
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
    options = options_after(model, treated, prices, loss or core_loss(), in_season)
    stops = (*reasons_to_stop(facts), *(DatedText(found, ", says its record") for found in not_to_run(on_record)))
    recorded = _with_record(facts, on_record)
    best = _best(options, recorded, bool(stops))
    life = unit.lives.iloc[0]
    age = float(life["hours_at_entry"] + life["hours_observed"])
    answer = AfterWater(
        flooding=facts,
        as_of=as_of,
        craft_id=str(life["craft_id"]),
        unit_id=str(life["unit_id"]),
        hours_since_rebuild=age if np.isfinite(age) else None,
        stops=stops,
        steps=steps_after(recorded, as_of, to_log),
        cautions=cautions(facts, as_of),
        applies=next((name for name, code in SCENARIOS.items() if code == facts.treatment), "unknown"),
        defective_now=chance(defect[:, -1, 0]),
        risk=risk,
        options=options,
        best=best,
        because=(),
        evidence=model.evidence,
        remarks=(*remarks, *_order_of_scenarios(risk, facts)),
    )
    return replace(answer, because=_because(answer), steps=_with_advice(answer, recorded))


def _with_record(flooding: Flooding, on_record: tuple[Unsafe, ...]) -> Flooding:
    """The flooding as its steps are to take it: a unit that rattled before the water is opened as if it did so now."""
    acts = {one.act for one in on_record}
    spin = {"spin": "rattle"} if "rebuild" in acts else {}
    return flooding.with_facts(**spin, **({"oil": "milky"} if "check" in acts else {}))


def _best(options: tuple[Option, ...], flooding: Flooding, stop: bool) -> Option:
    """The cheapest on average; a rattle is opened, and nothing that must stop is advised to ride."""
    if flooding.spin == "rattle":
        return next(option for option in options if option.action == "open")
    allowed = [option for option in options if not (stop and option.action == "ride")]
    return min(allowed, key=lambda option: option.expected_cost)


def _with_advice(answer: AfterWater, flooding: Flooding) -> tuple[Step, ...]:
    """The steps, made for `flooding`, and, before the next ride, what the advice adds to them."""
    if answer.best.action == "check":
        after = f"{answer.best.check_after_h:g} engine hours"
        do = f"Plan a check after {after}: supercharger off the engine and spun by hand, oil looked at."
    elif answer.best.action == "open" and flooding.spin != "rattle":
        do = "Have the supercharger opened: what turns in it and seals it is renewed, housings and impeller are reused."
    else:
        return answer.steps
    return (*answer.steps, Step("before the next ride", do))


def _order_of_scenarios(risk: tuple[RiskAhead, ...], flooding: Flooding) -> tuple[str, ...]:
    """Why the scenarios may not stand in the order that one expects: nobody should act on that."""
    if flooding.spin == "rattle":
        return (
            "It rattles, so it is most likely defective already, whatever was done: the scenarios differ little, and a "
            "defect that is older than the water is nearer its end than one that the water began.",
        )
    if all(row.treated.mean <= row.untreated.mean for row in risk):
        return ()
    return (
        "In these records treated units happened to fail more often than untreated ones. Few incidents stand behind "
        "that: treat it all the same.",
    )


def _because(answer: AfterWater) -> tuple[str, ...]:
    """Reasons of the advice, in words."""
    furthest = answer.risk[-1]
    told = [*answer.stops, _treatment_words(answer)]
    if answer.flooding.spin != "not_done":
        told.append(HEARD_TOLD[answer.flooding.spin])
    else:
        told.append("it was not spun by hand since then: what is heard then changes this answer, so ask again")
    told.append(
        f"{_share(furthest.as_it_is.mean)} to fail within {furthest.hours:g} engine hours as it is, "
        f"{_share(furthest.no_incident.mean)} had the water not come"
    )
    cheapest = min(answer.options, key=lambda option: option.expected_cost)
    if answer.best is not cheapest:
        told.append("safety comes before the cheapest expected cost here")
    elif answer.best.chance_best < CLEAR_CALL:
        told.append(f"a close call: it is the cheapest way in {_share(answer.best.chance_best)} of what may be so")
    if answer.evidence.mostly_prior:
        told.append(f"mostly {answer.evidence.prior}")
    return tuple(told)


def _treatment_words(answer: AfterWater) -> str:
    flooding = answer.flooding
    hours = "" if flooding.treated_within_h is None else f" ({flooding.treated_within_h:g} h after it)"
    told = {
        "treated": f"treated within a day{hours}",
        "late": f"treated late{hours}",
        "untreated": "not treated so far",
        "unknown": "whether and how soon it was treated is not known",
    }[answer.applies]
    if flooding.treated == "yes":
        return told
    to_be_had = flooding.treatment_to_be_had(answer.as_of)
    if to_be_had == "prompt" and flooding.hours_left_to_treat is not None:
        left = f"the 24 h, of which about {flooding.hours_left_to_treat:g} are left"
        return f"{told}; the advice takes it that it is treated within {left}"
    if to_be_had == "prompt":
        return f"{told}; the advice takes it that it is treated today"
    if to_be_had == "late":
        return f"{told}; the advice takes it that it is treated today, which counts as late"
    return told


def _share(share: float) -> str:
    return "under 1 %" if share < 0.01 else f"{100 * share:.0f} %"
