"""From what is found on the bench to what is done: reuse, renew, rebuild or new unit, the quote, what to look at next.

Everything here is common practice of the trade, no source, unless it says otherwise: the maker's manual comes before
it, and whether a worn housing or impeller may run again is the judgement of the licensed mechanic who measures it.

The rules, all of them (what a rebuild takes is listed in ``rebuild_parts``; ``core_condition`` judges the core):

1. A rebuild always renews what turns or seals: shaft assembly with bearings, drive gear, clutch washers, spring
   washers, seals. Only the two housings and the impeller are cleaned, inspected and used again.
2. The core is lost where the impeller is destroyed, or a housing scored deeply or destroyed: then a new unit. Scored to
   an unknown depth, or an impeller scored at all: doubtful, to be measured first, with both prices quoted. Corroded or
   rubbed: used again if it passes inspection. A part of the core of which nothing was told is not known to be sound
   until it is inspected: both prices are quoted, from the rebuild to the new unit.
3. A bearing that is rough, rusted or failed means a rebuild, however little play the shaft has: noise when spun by hand
   with hardly any play still means that it will fail. So does a bent shaft, or play beyond the manual's limit.
4. A sound unit that was opened for its scheduled rebuild is rebuilt; opened for something else it is put together
   again. Low slip alone is reset, and is never a reason for a new unit.
5. Where a rebuild would cost more than a new unit, a new unit is advised, core or no core.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from forecaster.core_condition import Core, core_reasons, core_states, inspection, lost_and_doubtful, not_inspected
from forecaster.opened_unit import Finding
from forecaster.rebuild_parts import REUSED, PartLine, parts_for
from forecaster.settings import Costs
from forecaster.slip import SlipLimits

Decision = Literal["put back", "reset and put back", "rebuild", "measure first", "new unit"]


@dataclass(frozen=True)
class Quote:
    """Prices in the fleet's currency. ``low`` to ``high`` is what the job may come to: one price unless it is open.

    ``rebuild`` and ``new_unit`` stand beside each other, each with ``surcharge`` in season. What an inspection may
    find in the engine is not in it: ``engine_if_hit`` names that risk, 0 where no debris is feared.
    """

    low: float
    high: float
    rebuild: float
    new_unit: float
    surcharge: float
    engine_if_hit: float


@dataclass(frozen=True)
class TeardownAdvice:
    """What to do with an opened unit.

    Of the core: ``reused``, cleaned, inspected and used again if they pass; ``measured_first``; ``not_reused``; it is
    "not inspected" where nothing was told of one of them. ``renewed``: what a rebuild always renews; nothing where the
    unit goes back as it was, or a new one takes its place. ``slip``: what to do about the clutch's slip. ``because``:
    the reasons. ``follow_up``: what comes next, in order.
    """

    decision: Decision
    core: Core
    reused: tuple[str, ...]
    measured_first: tuple[str, ...]
    renewed: tuple[PartLine, ...]
    not_reused: tuple[str, ...]
    slip: str
    quote: Quote
    because: tuple[str, ...]
    follow_up: tuple[str, ...]
    cautions: tuple[str, ...]


CAUTIONS = (
    "The maker's manual comes first: its limits, torques and procedures overrule what stands here.",
    "Whether a housing, an impeller or a shaft may run again is for a licensed mechanic to measure and decide.",
    "Battery off and engine cold before the unit comes off; let hot and spinning parts stand.",
    "Ventilate the hull before any spark: fuel vapour gathers in it.",
    "Spring washers are under tension and housings have sharp edges: glasses and gloves.",
    "Waste oil and cleaning fluid go to a collection point, not into the water.",
)


def advise_teardown(
    finding: Finding, costs: Costs, in_season: bool, limits: SlipLimits | None = None
) -> TeardownAdvice:
    """What is reused and renewed, rebuild or new unit, at what price, and what to look at next.

    `costs`: prices of fleet.toml; `in_season`: whether the rush surcharge applies. A worse finding never makes more of
    the core reusable and never makes the job cheaper.
    """
    limits = limits if limits is not None else SlipLimits()
    lost, doubtful = lost_and_doubtful(finding)
    unseen = tuple(part for part, state in core_states(finding).items() if state == "unknown")
    core: Core = "lost" if lost else "doubtful" if doubtful else "not inspected" if unseen else "sound"
    reasons_to_rebuild = _reasons_to_rebuild(finding)
    low_slip = finding.slip_found_lb_ft is not None and finding.slip_found_lb_ft < _too_low(finding, limits)
    dearer = costs.rebuild > costs.new_unit
    decision = _decision(core, bool(reasons_to_rebuild), low_slip, finding, dearer)
    rebuilt = decision in ("rebuild", "measure first")
    return TeardownAdvice(
        decision=decision,
        core=core,
        reused=() if decision == "new unit" else tuple(part for part in REUSED if part not in doubtful),
        measured_first=() if decision == "new unit" else doubtful,
        renewed=parts_for(1) if rebuilt else (),
        not_reused=REUSED if decision == "new unit" else (),
        slip=_slip(finding, decision, limits),
        quote=_quote(finding, costs, in_season, decision, core),
        because=(
            *core_reasons(lost, doubtful),
            *reasons_to_rebuild,
            *(not_inspected(unseen) if core == "not inspected" else ()),
            *_other_reasons(decision, core, dearer, finding),
        ),
        follow_up=_follow_up(finding, decision, doubtful),
        cautions=CAUTIONS,
    )


# -- the decision ------------------------------------------------------------------------------------------------------


def _reasons_to_rebuild(finding: Finding) -> tuple[str, ...]:
    reasons = []
    if finding.bearing in ("rough", "rusted"):
        little = finding.shaft_play_mm is not None and not _too_much_play(finding)
        play = f", though the shaft has only {finding.shaft_play_mm:g} mm of play" if little else ""
        reasons.append(f"The bearing is {finding.bearing}{play}: it will fail, also with hardly any play.")
    if finding.bearing == "failed":
        reasons.append("The bearing has failed.")
    if _too_much_play(finding):
        reasons.append(f"The shaft has {finding.shaft_play_mm:g} mm of play; {finding.play_limit_mm:g} mm are allowed.")
    if finding.shaft_true == "no":
        reasons.append("The shaft does not run true.")
    if {finding.impeller, finding.front_housing} & {"rubbed", "scored", "destroyed"}:
        reasons.append("The impeller has touched the housing: the shaft was not held.")
    if finding.clutch_washers == "broken":
        reasons.append("The clutch washers are broken.")
    if finding.debris == "yes":
        reasons.append("Metal was found: something in the unit is breaking up.")
    if finding.reason == "scheduled":
        reasons.append("It was opened for its scheduled rebuild.")
    return tuple(reasons)


def _too_much_play(finding: Finding) -> bool:
    play, limit = finding.shaft_play_mm, finding.play_limit_mm
    return play is not None and limit is not None and play > limit


def _decision(core: Core, rebuild: bool, low_slip: bool, finding: Finding, dearer: bool) -> Decision:
    if core == "lost" or (dearer and (rebuild or core == "doubtful")):
        return "new unit"
    if core == "doubtful" or (finding.bearing == "unknown" and not rebuild):
        return "measure first"
    if rebuild:
        return "rebuild"
    return "reset and put back" if low_slip or finding.clutch_washers == "worn" else "put back"


def _other_reasons(decision: Decision, core: Core, dearer: bool, finding: Finding) -> tuple[str, ...]:
    reasons = []
    if decision == "new unit" and core != "lost" and dearer:
        reasons.append("A rebuild would cost more than a new unit.")
    if decision == "measure first" and finding.bearing == "unknown":
        reasons.append("Nobody has said yet how the bearing turns: spin it by hand.")
    if decision in ("put back", "reset and put back"):
        reasons.append("The bearing is sound; a little bearing noise is normal.")
    if finding.parts_fitted == "aftermarket":
        reasons.append("Its parts were aftermarket: cheap ones may last only a few hours.")
    return tuple(reasons)


# -- slip, quote, what follows -----------------------------------------------------------------------------------------


def _tuned_share(finding: Finding) -> float:
    return 1.0 if finding.tuned == "yes" else 0.0


def _too_low(finding: Finding, limits: SlipLimits) -> float:
    return limits.too_low(_tuned_share(finding))


def _slip(finding: Finding, decision: Decision, limits: SlipLimits) -> str:
    setting = limits.setting(_tuned_share(finding))
    to = f"about {setting:g} lb·ft, or what its manual says"
    if finding.tuned != "yes":
        to += "; more where the boost is raised"
    found = finding.slip_found_lb_ft
    if decision == "new unit":
        return f"Check that the new unit's slip is set to {to}."
    if decision == "rebuild":
        return f"Set the slip to {to}, and write it down as slip_set."
    if decision == "measure first":
        return (
            f"If it is rebuilt, set the slip to {to}; else reset it where it is below {_too_low(finding, limits):.1f}."
        )
    if found is None:
        return f"Measure the slip before it goes back; below {_too_low(finding, limits):.1f} lb·ft, reset it to {to}."
    if found < _too_low(finding, limits):
        return f"Slip was {found:g} lb·ft, too low for full boost: reset it to {to}. That is no reason for a new unit."
    if finding.clutch_washers == "worn":
        return f"Renew the clutch and spring washers, which the quote does not hold, and reset the slip to {to}."
    return f"Slip was {found:g} lb·ft: leave it."


def _quote(finding: Finding, costs: Costs, in_season: bool, decision: Decision, core: Core) -> Quote:
    """What the job may come to. Putting a unit back costs what a check does: pull, look, refit.

    A rebuild whose core nobody has inspected may end with a new unit.
    """
    surcharge = costs.rebuild_in_season_extra if in_season else 0.0
    rebuild, new = costs.rebuild + surcharge, costs.new_unit + surcharge
    low, high = {
        "put back": (costs.check, costs.check),
        "reset and put back": (costs.check, costs.check),
        "rebuild": (rebuild, new if core == "not inspected" else rebuild),
        "measure first": (rebuild, max(rebuild, new)),
        "new unit": (new, new),
    }[decision]
    if decision == "measure first" and core == "sound":
        low, high = costs.check, min(rebuild, new)  # only the bearing is open
    if decision == "measure first" and core == "not inspected":
        low, high = costs.check, max(rebuild, new)
    return Quote(low, high, rebuild, new, surcharge, costs.engine_damage if _debris_feared(finding) else 0.0)


def _debris_feared(finding: Finding) -> bool:
    """Whether metal may have gone down the duct towards the engine."""
    if finding.debris != "unknown":
        return finding.debris == "yes"
    broken = finding.bearing == "failed" or finding.clutch_washers == "broken"
    return broken or bool({finding.impeller, finding.front_housing, finding.rear_housing} & {"scored", "destroyed"})


def _follow_up(finding: Finding, decision: Decision, doubtful: tuple[str, ...]) -> tuple[str, ...]:
    steps = [f"Have the {part} measured by a licensed mechanic against its manual." for part in doubtful]
    if finding.bearing == "unknown" and decision == "measure first":
        steps.append("Spin the unit by hand, off the engine: rebuild it if it rattles or feels rough.")
    if _debris_feared(finding) or finding.bearing == "failed":
        steps.append("Do not run the engine before duct, intercooler, throttle and engine were inspected for metal.")
    wet = finding.reason == "water" or finding.oil == "milky"
    if _debris_feared(finding) or finding.bearing == "failed" or finding.oil_in_intercooler == "yes" or wet:
        steps.append("Drain and clean the intercooler, and test it for leaks.")
    if finding.oil == "milky":
        steps.append("Water is in the oil: change oil and filter until it stays clear, and run it warm to dry it.")
    elif decision != "put back" or wet:
        steps.append("Change oil and filter: the unit runs in the engine's oil.")
    if wet:
        steps.append("Find where the water came in. Rust starts at once: leave nothing wet overnight.")
    if finding.oil_in_intercooler == "yes":
        steps.append(
            "Empty the catch can and check the breather: oil went past it into the intercooler."
            if finding.catch_can == "yes"
            else "Fit a catch can: without one, oil vapour from the breather ends in the intercooler."
        )
    if decision in ("rebuild", "measure first"):
        steps.append(inspection(finding))
        steps.append("Fit original parts: cheap aftermarket ones may last only a few hours.")
    if decision in ("put back", "reset and put back"):
        steps.append("Renew any seal that was disturbed, and spin the unit by hand again after some hours.")
    steps.append("Write down finding, slip, parts and cost in rebuilds.csv: the forecast learns from them.")
    return tuple(steps)
