"""From what is found on the bench to what is done: reuse, renew, rebuild or new unit, the quote, what to look at next.

Everything here is common practice of the trade, no source, unless it says otherwise: the maker's manual comes before
it, and whether a worn housing or impeller may run again is the judgement of the licensed mechanic who measures it.

The rules, all of them (``job_reasons`` holds what asks for which job, ``core_condition`` judges the core,
``bench_quote`` prices, ``bench_steps`` lists what follows, ``rebuild_parts`` what a rebuild takes):

1. Jobs stand on a scale: put back, reset and put back, rebuild, new unit. Each thing that was found asks for one at
   least, and for more at most where something is not known yet; the unit needs the greatest of all. Where that is
   still open, measure first.
2. A rebuild always renews what turns or seals: shaft assembly with bearings, drive gear, clutch washers, spring
   washers, seals. Only the two housings and the impeller are cleaned, inspected and used again.
3. A part of the core is lost where it is destroyed, or a housing where it is scored deeply. It is bought where its
   price is known and a new unit is not cheaper; else a new unit is fitted. Scored to an unknown depth, or an impeller
   scored at all: doubtful, to be measured first. Corroded, or rubbed: used again if it passes an inspection. Of which
   nothing was told: not known to be sound until it is inspected.
4. A bearing that is rough, rusted or failed means a rebuild, however little play the shaft has: noise when spun by hand
   with hardly any play still means that it will fail. So does a bent shaft, a part of the core that something turned
   against, broken clutch washers, metal that was found, and a scheduled rebuild that is due.
5. Shaft play is never passed unjudged: beyond the manual's limit, or felt as a wobble, it means a rebuild; without the
   limit it is measured against it first. A limit that lies where a wobble is felt is not believed.
6. Slip too low or too high is reset, worn washers are renewed with the reset; neither is a reason for a new unit.
7. Failed in use and nothing found: look further before it goes back. Aftermarket parts in a unit that would go back:
   both ways are offered, for they may last only a few hours.
8. Where a rebuild would cost more than a new unit on that day, a new unit is advised, core or no core.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from forecaster.bench_quote import BenchPrices, BoughtPart, NotPriced, Quote, Repair
from forecaster.bench_steps import FollowUp, Settled, debris_feared, follow_up, was_wet
from forecaster.core_condition import Core, CoreCondition, core_condition
from forecaster.job_reasons import (
    FELT_PLAY_MM,
    GOES_BACK,
    Ask,
    Decision,
    Job,
    ReasonCode,
    Scale,
    asks_of,
)
from forecaster.opened_unit import Finding
from forecaster.rebuild_parts import REUSED, PartLine, parts_for, washers_alone
from forecaster.settings import Costs, PartPrices
from forecaster.slip import SlipLimits

SlipStep = Literal["check_new", "set", "measure", "reset_low", "reset_high", "reset_with_washers", "leave"]
WHOLE_REBUILD, NEW_WASHERS = parts_for(1), washers_alone()
# What is told only where the question is still open, and then settles that it must be measured first.
OPEN: frozenset[ReasonCode] = frozenset({"bearing_not_spun", "play_unjudged", "cause_not_found", "core_doubtful"})


@dataclass(frozen=True)
class TeardownAdvice:
    """What to do with an opened unit, in codes that ``report.teardown_sentences`` words.

    ``at_least``, ``at_most``: the jobs that it may come to; ``decision``: "measure first" where something that is not
    known yet decides between them, else the job. Of the core: ``reused``, of which ``inspected_first`` only after an
    inspection; ``measured_first``; ``not_reused``; ``bought`` in place of lost parts. ``renewed``: what the job renews,
    or may renew where it is "measure first". ``slip``: what to do about the clutch's slip, if the unit goes back where
    it may. ``because``: the reasons. ``follow_up``: what comes next, in order.
    """

    finding: Finding
    limits: SlipLimits
    condition: CoreCondition
    decision: Decision
    at_least: Job
    at_most: Job
    reused: tuple[str, ...]
    inspected_first: tuple[str, ...]
    measured_first: tuple[str, ...]
    renewed: tuple[PartLine, ...]
    bought: tuple[BoughtPart, ...]
    not_reused: tuple[str, ...]
    slip: SlipStep
    quote: Quote
    because: tuple[ReasonCode, ...]
    follow_up: tuple[FollowUp, ...]
    cautions: tuple[str, ...]

    @property
    def core(self) -> Core:
        """The whole core in a word, by the part that is worst off."""
        return self.condition.word


CAUTIONS = (
    "The maker's manual comes first: its limits, torques and procedures overrule what stands here.",
    "Whether a housing, an impeller or a shaft may run again is for a licensed mechanic to measure and decide.",
    "Battery off and engine cold before the unit comes off; let what is hot cool and what spins come to rest.",
    "Ventilate the hull before any spark: fuel vapour gathers in it.",
    "Spring washers are under tension and housings have sharp edges: glasses and gloves.",
    "Waste oil and cleaning fluid go to a collection point, not into the water.",
)


def advise_teardown(
    finding: Finding,
    costs: Costs,
    in_season: bool,
    limits: SlipLimits | None = None,
    parts: PartPrices | None = None,
) -> TeardownAdvice:
    """What is reused and renewed, rebuild or new unit, at what price, and what to look at next.

    `costs`, `parts`: prices of fleet.toml; `in_season`: whether the rush surcharge applies. A worse finding never makes
    more of the core reusable, never asks for less, and never makes the job cheaper.
    """
    limits = limits if limits is not None else SlipLimits()
    core = core_condition(finding)
    asks = asks_of(finding, core, limits)
    least = max((ask.at_least for ask in asks), default=Scale.PUT_BACK)
    most = max((ask.at_most for ask in asks), default=Scale.PUT_BACK)
    prices = BenchPrices(
        costs, parts if parts is not None else PartPrices(), costs.rebuild_in_season_extra if in_season else 0.0
    )
    now = prices.repair(core.lost)
    worst = prices.repair((*core.lost, *core.doubtful, *core.not_inspected))
    at_least, at_most = _job(least, now), _job(most, worst)
    because = _because(finding, core, asks, least, at_least, now)
    decision = _decision(at_least, at_most, because)
    if decision in GOES_BACK:
        because += tuple(_why_it_goes_back(finding, decision))
    is_new = at_least == "new unit"
    reused = () if is_new else tuple(part for part in REUSED if part not in (*core.lost, *core.doubtful))
    suspect = (*core.marked, *core.not_inspected)
    inspected_first = tuple(part for part in reused if decision not in GOES_BACK or part in suspect)
    settled = Settled(decision, at_least, at_most, because, inspected_first)
    put_back = prices.put_back(finding)
    return TeardownAdvice(
        finding=finding,
        limits=limits,
        condition=core,
        decision=decision,
        at_least=at_least,
        at_most=at_most,
        reused=reused,
        inspected_first=inspected_first,
        measured_first=() if is_new else core.doubtful,
        renewed=_renewed(finding, settled),
        bought=now.bought if at_least == "rebuild" else (),
        not_reused=REUSED if is_new else core.lost,
        slip=_slip(finding, asks, settled),
        quote=Quote(
            low=put_back if at_least in GOES_BACK else now.price,
            high=put_back if at_most in GOES_BACK else worst.price,
            put_back=put_back,
            rebuild=prices.rebuild_with(core.lost),
            new_unit=costs.new_unit,
            surcharge=prices.surcharge,
            engine_if_hit=costs.engine_damage if debris_feared(finding) else 0.0,
            not_priced=_not_priced(finding, core, prices, settled, worst),
        ),
        because=because,
        follow_up=follow_up(finding, core, settled),
        cautions=CAUTIONS,
    )


# -- the decision ------------------------------------------------------------------------------------------------------


def _job(asked: Scale, repair: Repair) -> Job:
    if asked == Scale.REBUILD:
        return "new unit" if repair.new_unit else "rebuild"
    return "reset and put back" if asked == Scale.RESET else "put back"


def _decision(at_least: Job, at_most: Job, because: tuple[ReasonCode, ...]) -> Decision:
    return "measure first" if at_least != at_most and OPEN.intersection(because) else at_least


def _because(
    finding: Finding, core: CoreCondition, asks: list[Ask], least: Scale, at_least: Job, repair: Repair
) -> tuple[ReasonCode, ...]:
    because: list[ReasonCode] = [*_of_the_core(core, least, at_least, repair)]
    because += [ask.code for ask in asks if _told(ask, least)]
    if (finding.play_limit_mm or 0.0) >= FELT_PLAY_MM:
        because.append("limit_not_believed")
    if core.not_inspected and at_least != "new unit":
        because.append("core_not_inspected")
    return tuple(because)


def _of_the_core(core: CoreCondition, least: Scale, at_least: Job, repair: Repair) -> Iterator[ReasonCode]:
    if core.lost:
        yield "core_lost"
    if least == Scale.REBUILD and repair.way == "bought":
        yield "part_bought"
    if least == Scale.REBUILD and repair.way == "dearer":
        yield "dearer_than_new"
    if least == Scale.REBUILD and repair.way == "part price unknown":
        yield "part_price_unknown"
    if core.doubtful and at_least != "new unit":
        yield "core_doubtful"


def _told(ask: Ask, least: Scale) -> bool:
    """Whether it bears on the job: what asks for less than is needed anyway does not. Poor parts are always told."""
    return ask.at_least == least or ask.at_most > least or ask.code == "aftermarket_found"


def _why_it_goes_back(finding: Finding, decision: Decision) -> Iterator[ReasonCode]:
    """Only a bearing that is sound goes back: one that nobody spun is to be spun first."""
    yield "sound_goes_back"
    if was_wet(finding):
        yield "rust_may_follow"
    if decision == "put back" and finding.reason in ("symptom", "check"):
        yield "noise_unexplained"


# -- parts, slip, prices -----------------------------------------------------------------------------------------------


def _renewed(finding: Finding, job: Settled) -> tuple[PartLine, ...]:
    if job.decision in ("rebuild", "measure first"):
        return WHOLE_REBUILD
    return NEW_WASHERS if finding.clutch_washers == "worn" and job.goes_back else ()


def _slip(finding: Finding, asks: list[Ask], job: Settled) -> SlipStep:
    """What to do about the slip: if the unit goes back, where it may; else once it is rebuilt, or new."""
    if not job.may_go_back:
        return "check_new" if job.at_least == "new unit" else "set"
    asked = {ask.code for ask in asks}
    if finding.clutch_washers == "worn":
        return "reset_with_washers"
    if "slip_too_low" in asked:
        return "reset_low"
    if "slip_too_high" in asked:
        return "reset_high"
    return "measure" if "slip_not_measured" in asked else "leave"


def _not_priced(
    finding: Finding, core: CoreCondition, prices: BenchPrices, job: Settled, worst: Repair
) -> tuple[NotPriced, ...]:
    missing: list[NotPriced] = []
    if job.may_go_back and finding.clutch_washers == "worn" and prices.parts.washers is None:
        missing.append("washers")
    if (core.lost or core.doubtful) and worst.way == "part price unknown":
        missing.append("parts of the core")
    return tuple(missing)
