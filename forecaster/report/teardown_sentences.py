"""The codes of a teardown's advice in words: why, what to do about the slip, and what follows; one sentence a code."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from forecaster.bench_steps import FollowUp
from forecaster.core_condition import MARKED, core_states
from forecaster.job_reasons import FELT_PLAY_MM, GOES_BACK, ReasonCode, believed_limit, tuned_share
from forecaster.rebuild_parts import PRE_OIL, REUSED
from forecaster.report.figures import listed
from forecaster.teardown import SlipStep, TeardownAdvice

Wording = Callable[[TeardownAdvice], str]
VAPOUR = "without one, oil vapour from the breather ends in the supercharger and the intercooler"


def named(parts: Sequence[str]) -> str:
    """Parts of the core in a sentence: "the front housing and the impeller", "both housings and the impeller"."""
    if set(parts) == set(REUSED):
        return "both housings and the impeller"
    return listed([f"the {part}" for part in REUSED if part in parts])


def with_marks(parts: Sequence[str], advice: TeardownAdvice) -> str:
    """Parts of the core, each with what marks it: "front housing (corroded) and impeller"."""
    states = core_states(advice.finding)
    return listed([f"{part} ({states[part]})" if states[part] in MARKED else part for part in parts])


def teardown_reasons(advice: TeardownAdvice) -> list[str]:
    """Why: a sentence for each reason, in their order."""
    return [REASONS[code](advice) for code in advice.because]


def teardown_steps(advice: TeardownAdvice) -> list[str]:
    """What follows: a sentence for each step, in their order."""
    return [STEPS[code](advice) for code in advice.follow_up]


def slip_sentence(advice: TeardownAdvice) -> str:
    """What to do about the clutch's slip."""
    told = SLIP[advice.slip](advice)
    if advice.slip in ("check_new", "set"):
        may_be_new = advice.slip == "set" and advice.at_most == "new unit"
        return f"{told} Where a new unit is fitted, check that its slip is set to that." if may_be_new else told
    if advice.at_most in GOES_BACK:
        return told
    return f"If it goes back, {_small(told)} {_if_rebuilt(advice)}, set the slip to {_to(advice)}."


# -- reasons -----------------------------------------------------------------------------------------------------------


def _lost(advice: TeardownAdvice) -> str:
    return f"{_capital(named(advice.condition.lost))} cannot be used again."


def _bought(advice: TeardownAdvice) -> str:
    return f"With {named(advice.condition.lost)} bought new, a rebuild costs no more than a new unit."


def _price_unknown(advice: TeardownAdvice) -> str:
    if len(advice.condition.lost) > 1:
        return "Not all of their prices alone are known, so that the core counts as lost."
    return "What a new one costs alone is not known, so that the core counts as lost."


def _noisy(advice: TeardownAdvice) -> str:
    finding, limit = advice.finding, believed_limit(advice.finding)
    play = finding.shaft_play_mm
    within = play is not None and limit is not None and play <= limit and finding.wobble != "yes"
    only = f", though the shaft has only {play:g} mm of play" if within else ""
    return f"The supercharger's bearing is {finding.bearing}{only}: it will fail, also with hardly any play."


def _contact(advice: TeardownAdvice) -> str:
    states = core_states(advice.finding)
    told = listed([f"the {part} is {states[part]}" for part in advice.condition.touched])
    return f"{_capital(told)}: what turns has touched what stands still, so that the shaft was not held true."


def _unjudged(advice: TeardownAdvice) -> str:
    told = "no limit that can be believed" if advice.finding.play_limit_mm is not None else "no limit"
    play = f"{advice.finding.shaft_play_mm:g} mm of play"
    return f"The shaft has {play}, and {told} was given: measure it against the manual's limit."


def _limit_not_believed(advice: TeardownAdvice) -> str:
    return (
        f"A limit of {advice.finding.play_limit_mm:g} mm cannot be right: a shaft with {FELT_PLAY_MM:g} mm of play or "
        "more can be felt to wobble."
    )


def _too_low(advice: TeardownAdvice) -> str:
    limit = advice.limits.too_low(tuned_share(advice.finding))
    return f"The clutch slips at {_found(advice)} already: below {_moment(limit)} it is too low for full boost."


def _too_high(advice: TeardownAdvice) -> str:
    limit = advice.limits.too_high(tuned_share(advice.finding))
    return (
        f"The clutch slips only at {_found(advice)}: above {_moment(limit)} it no longer spares shaft, gear and "
        "bearing the shock of the throttle."
    )


def _not_inspected(advice: TeardownAdvice) -> str:
    unseen = advice.condition.not_inspected
    parts = listed([f"the {part}" for part in unseen])
    they = "they are" if len(unseen) > 1 else "it is"
    return f"Nothing is known of {parts}: the core is not known to be sound until {they} inspected."


def _unexplained(advice: TeardownAdvice) -> str:
    why = "because a check was noisy" if advice.finding.reason == "check" else "for noise or lost boost in use"
    return f"It was opened {why}, and nothing was found that explains it: the cause is not found."


def _always(sentence: str) -> Wording:
    return lambda advice: sentence


REASONS: Mapping[ReasonCode, Wording] = {
    "core_lost": _lost,
    "part_bought": _bought,
    "part_price_unknown": _price_unknown,
    "dearer_than_new": _always("A rebuild would cost more than a new unit."),
    "core_doubtful": lambda a: f"Whether {named(a.condition.doubtful)} can be used again must be measured first.",
    "bearing_noisy": _noisy,
    "bearing_failed": _always("The supercharger's bearing has failed."),
    "play_beyond_limit": lambda a: (
        f"The shaft has {a.finding.shaft_play_mm:g} mm of play; the manual allows {a.finding.play_limit_mm:g} mm."
    ),
    "play_felt": lambda a: (
        f"The shaft has {a.finding.shaft_play_mm:g} mm of play: from {FELT_PLAY_MM:g} mm on it can be felt to wobble, "
        "which is too much."
    ),
    "wobble": _always("The shaft can be felt to wobble."),
    "shaft_bent": _always("The shaft does not run true."),
    "contact": _contact,
    "washers_broken": _always("The clutch washers are broken."),
    "metal_found": _always("Metal was found: something in the unit is breaking up."),
    "scheduled": _always("It was opened for its scheduled rebuild."),
    "bearing_not_spun": _always("Nobody has said yet how the supercharger's bearing turns: spin it by hand."),
    "play_unjudged": _unjudged,
    "cause_not_found": _always("It failed in use, and nothing found so far explains that: the cause is not found."),
    "slip_too_low": _too_low,
    "slip_too_high": _too_high,
    "washers_worn": _always("The clutch washers are worn."),
    "slip_not_measured": _always("The moment at which the clutch slips was not measured."),
    "aftermarket_found": _always("Its parts are aftermarket: cheap ones may last only a few hours."),
    "limit_not_believed": _limit_not_believed,
    "core_not_inspected": _not_inspected,
    "sound_goes_back": _always("The supercharger's bearing is sound; a little bearing noise is normal."),
    "rust_may_follow": _always("Water has been in the unit or in the oil: a bearing that is quiet now may still rust."),
    "noise_unexplained": _unexplained,
}


# -- the slip ----------------------------------------------------------------------------------------------------------


def _moment(lb_ft: float) -> str:
    return f"{round(lb_ft, 1):g} lb·ft"


def _found(advice: TeardownAdvice) -> str:
    return f"{advice.finding.slip_found_lb_ft:g} lb·ft"


def _to(advice: TeardownAdvice) -> str:
    setting = advice.limits.setting(tuned_share(advice.finding))
    more = "" if advice.finding.tuned == "yes" else " (more where the boost is raised)"
    return f"about {_moment(setting)}{more}, or what the manual says"


def _measure(advice: TeardownAdvice) -> str:
    tuned = tuned_share(advice.finding)
    low, high = advice.limits.too_low(tuned), advice.limits.too_high(tuned)
    outside = f"below {_moment(low)} or above {_moment(high)}"
    return f"Measure the slip; where it is {outside}, reset it to {_to(advice)}."


def _with_washers(advice: TeardownAdvice) -> str:
    found = "" if advice.finding.slip_found_lb_ft is None else f"; it was {_found(advice)}"
    return f"Renew the clutch and spring washers, and reset the slip to {_to(advice)}{found}."


SLIP: Mapping[SlipStep, Wording] = {
    "check_new": lambda a: f"Check that the new unit's slip is set to {_to(a)}.",
    "set": lambda a: f"Set the slip to {_to(a)}, and write it down as slip_set.",
    "measure": _measure,
    "reset_low": lambda a: (
        f"Reset the slip to {_to(a)}: {_found(a)} is too low for full boost, but no reason for a new unit."
    ),
    "reset_high": lambda a: (
        f"Reset the slip to {_to(a)}: {_found(a)} is too high to spare shaft, gear and bearing, but no reason for a "
        "new unit."
    ),
    "reset_with_washers": _with_washers,
    "leave": lambda a: f"Leave the slip at {_found(a)}.",
}


# -- what follows ------------------------------------------------------------------------------------------------------


def _inspect(advice: TeardownAdvice) -> str:
    parts = advice.inspected_first
    states = core_states(advice.finding)
    marks = [f"the {part} is {states[part]}" for part in parts if states[part] in MARKED]
    first = f"Clean and inspect {named(parts)} before {'they are' if len(parts) > 1 else 'it is'} used again"
    if not marks:
        return f"{first}."
    they = "they" if len(marks) > 1 else "it"
    return f"{first}: {listed(marks)}. Whether {they} may be cleaned up or machined is for a licensed mechanic."


def _if_rebuilt(advice: TeardownAdvice) -> str:
    return "If it is rebuilt or replaced" if advice.at_most == "new unit" else "If it is rebuilt"


def _of_new_parts(sentence: str) -> Wording:
    """A step that new parts need: with its condition, where it is not settled that there will be any."""

    def told(advice: TeardownAdvice) -> str:
        settled = advice.at_least not in GOES_BACK or advice.finding.clutch_washers == "worn"
        return sentence if settled else f"{_if_rebuilt(advice)}: {_small(sentence)}"

    return told


STEPS: Mapping[FollowUp, Wording] = {
    "no_run_before_metal_looked_for": _always(
        "Do not run the engine before duct, intercooler, throttle and engine were inspected for metal."
    ),
    "measure_core": lambda a: f"Have {named(a.condition.doubtful)} measured by a licensed mechanic against the manual.",
    "spin_by_hand": _always("Spin the unit by hand, off the engine: rebuild it if it rattles or feels rough."),
    "find_play_limit": _always(
        "Look up how much shaft play the manual allows, and measure against that: beyond it, rebuild the unit."
    ),
    "measure_play": _always(
        "Before it goes back, measure the shaft's play against the manual's limit, and feel for a wobble: beyond the "
        "limit, or with a wobble, rebuild the unit."
    ),
    "look_further": _always(
        "Before it goes back, look further for the cause: clutch washers and slip, teeth of the drive gear, play and "
        "run-out of the shaft, fixing of the impeller, seals, intercooler and hoses for boost leaks, oil supply."
    ),
    "drain_intercooler": _always("Drain and clean the intercooler, and test it for leaks."),
    "change_milky_oil": _always(
        "Water is in the oil: take the spark plugs out and see that the cylinders are dry before the engine turns, and "
        "change oil and filter before it runs."
    ),
    "change_oil": _always("Change oil and filter: the unit runs in the engine's oil."),
    "trace_water": _always("Find where the water came in. Rust starts at once: leave nothing wet overnight."),
    "inspect_core": _inspect,
    "fit_original_parts": _of_new_parts("Fit original parts, for cheap aftermarket ones may last only a few hours."),
    "look_at_washers": _always(
        "While the clutch is open, look at its washers: renew worn ones, and the spring washers with them."
    ),
    "fit_catch_can": _always(f"Fit an oil catch can to the crankcase breather: {VAPOUR}."),
    "look_for_catch_can": _always(f"See whether an oil catch can is fitted, and fit one if not: {VAPOUR}."),
    "check_breather": _always("Empty the catch can and check the breather: oil went past it into the intercooler."),
    "renew_seals": _always("Renew any seal that was disturbed."),
    "pre_oil": _of_new_parts(PRE_OIL),
    "run_warm": _always(
        "Once the unit is back on, run the engine warm to dry it, on land only with cooling water, as its manual says. "
        "Change oil and filter again until the oil stays clear."
    ),
    "spin_again": _always("Spin the unit by hand again after some hours."),
    "spin_again_soon": _always(
        "Spin the unit by hand again after a few hours of riding, and once more some hours later."
    ),
    "write_down": _always("Write down finding, slip, parts and cost in rebuilds.csv: the forecast learns from them."),
}


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def _small(text: str) -> str:
    return text[0].lower() + text[1:]
