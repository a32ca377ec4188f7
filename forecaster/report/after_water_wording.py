"""After water in words: the one wording of stop, steps, mechanic's list, cautions, risk and reasons, for every face.

A code of ``forecaster.flooding_steps`` has one sentence here. Common practice of the trade, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from forecaster.flooding import AfterWater
from forecaster.flooding_facts import Flooding
from forecaster.flooding_steps import (
    AFLOAT,
    FIRST_STEPS,
    RECHECK_OIL_H,
    CautionCode,
    MechanicCode,
    Order,
    Step,
    StepCode,
    Stop,
    StopCode,
    When,
    reasons_to_stop,
)
from forecaster.rebuild_parts import PRE_OIL
from forecaster.report import figures
from forecaster.report.instruction_wording import instruction_in_words
from forecaster.report.sentences import evidence_sentence
from forecaster.written_days import DatedText

ORDER_WORDS: dict[Order, str] = {
    "stop": "STOP: do not run it.",
    "do_not_start": "Do not start it. Do not crank it.",
    "none": "",
}
HURRY = "Rust starts at once: every hour counts. Do all of it today."

STOP_WORDS: dict[StopCode, str] = {
    "water_in_cylinder": "there is water in a cylinder: it does not compress, and cranking it with the plugs in breaks "
    "things",
    "ran_under_water": "the engine ran as it went under and may have drawn in water, which bends rods: a mechanic must "
    "look at it and test its compression first",
    "low_compression": "its compression is low: something in the engine is bent, cracked or stuck",
    "rattle": "the supercharger rattles when spun by hand: its bearing will fail, however little play there is",
    "milky_oil": "the oil is milky: there is water in it, and rust starts if that is not dealt with at once",
}

CAUTION_WORDS: dict[CautionCode, str] = {
    "no_cranking": "Never crank an engine with water in a cylinder and its plugs in: it can bend or break what moves.",
    "fuel_vapour": "Fuel vapour collects in the hull: ventilate before any spark, and keep the battery off until it "
    "has aired.",
    "hot_and_spinning": "Parts are hot and spin: engine off, stop cord out, everything cooled, before hands go near.",
    "on_land": "On land, run the engine only with cooling water, turned on and off in the order that its manual says.",
    "waste_oil": "Waste oil and oily water go to a collection point, not overboard.",
    "noise": "Noise when spun by hand, with hardly any play of the shaft, still means that the bearing will fail; a "
    "little bearing noise is normal.",
    "manual_first": "The maker's manual, local rules and a licensed mechanic come before anything printed here.",
}

MECHANIC_WORDS: dict[MechanicCode, str] = {
    "ran_under_water": "the engine ran, or may have run, as it went under",
    "water_in_cylinder": "there is water in a cylinder, or some comes out of a plug hole",
    "low_compression": "the compression is low, or differs from cylinder to cylinder",
    "rattle": "the supercharger rattles, grinds or wobbles when spun by hand",
    "milky_oil": "the oil is milky, or turns milky again after it was changed",
    "stood_wet": "it stood wet and untreated for more than a day",
    "will_not_turn": "the engine does not turn freely by hand, plugs out",
    "fuel_smell": "you smell fuel that airing the hull does not clear",
    "unsure": "you cannot do one of the steps, or have no manual that shows it",
}

_GET_OUT = (
    "hull aired, battery on for this alone, plugs out, ignition and fuel off as the manual says; short turns of the "
    "starter, face and hands clear of the plug holes, until only air comes"
)
_AGAIN = "until it stays clear"
STEP_WORDS: dict[StepCode, str] = {
    "people_first": "People first: everybody out of the water, counted and warm. The craft can wait.",
    "key_and_cord_out": "Take the key and the stop cord out, and leave the start button alone.",
    "turn_upright": "If it lies upside down: turn it upright the way that its label or manual says, and no other way. "
    "The wrong way lets more water into the engine.",
    "tow_slowly": "If it is still afloat: tow it slowly, at walking pace, so that no water is forced in through the "
    "exhaust; clamp the cooling hose first where the manual says so.",
    "air_the_hull": "Open the seat and all hatches and let the hull air before anything that can spark: fuel vapour "
    "collects in it.",
    "battery_off": "Take the battery off, negative lead first.",
    "plugs_out": "Take all spark plugs out before the engine is turned at all.",
    "drain_the_hull": "Drain the hull: on land, bow up, drain plugs out. Catch water that has oil in it.",
    "look_into_cylinders": "Look into each cylinder for water.",
    "open_supercharger": "Take the supercharger off and have it opened: what turns in it and what seals it is renewed; "
    "housings and impeller are cleaned, inspected and used again if they are good.",
    "fuel_and_intake": "Look for water in the fuel and in the air intake, and drain it.",
    "drain_intercooler": "Take the intercooler's hoses off and drain it: water lies in it, with the oil that the "
    "breather leaves there.",
    "spin_by_hand": "Take the supercharger off the engine, cold and stopped, and spin it by hand. Quiet or a little "
    "noise: refit it as its manual says. A rattle, or a wobble of the shaft: do not run it.",
    "refit": "Refit the supercharger as its manual says, if it is still off.",
    "look_at_oil": "Look at the oil. Milky means that there is water in it.",
    "change_oil": f"Change oil and filter before the engine runs, and again {_AGAIN}.",
    "change_oil_unless_done": f"Unless you know that it was done: change oil and filter before the engine runs, and "
    f"again {_AGAIN}.",
    "oil_not_today": "If the oil cannot be changed today: do not run the engine. Put a little clean engine oil into "
    "each cylinder through its plug hole, and have the oil changed as soon as can be.",
    "compression_test": "Have a mechanic test the compression of every cylinder before the engine is started: it ran "
    "as it went under, and a rod may be bent.",
    "pre_oil": PRE_OIL,
    "not_run_today": "If it may not run today: change the oil all the same, and oil each cylinder through its plug "
    "hole, as the manual says for storage. That slows the rust until it may run.",
    "flush_cooling": "On that run, flush the cooling with fresh water as the manual says.",
    "oil_after_run": f"After the run, look at the oil again; change oil and filter after each short run {_AGAIN}.",
    "inhibit_rust": "Once it is dry: corrosion inhibitor on the engine's outside and its plugs and terminals, and "
    "fogging oil into the intake as the manual says.",
    "spin_again": "Spin the supercharger by hand once more when two days have passed: a quiet spin sooner says little "
    "about rust that this water began.",
    "open_before_ride": "Have the supercharger opened: what turns in it and what seals it is renewed; housings and "
    "impeller are cleaned, inspected and used again if they are good.",
    "fit_catch_can": "Fit an oil catch can on the breather: craft.csv says that there is none, and oil vapour then "
    "ends in supercharger and intercooler.",
    "write_down": "Write down the day, the engine hours, which water, what the oil looked like, what was done and how "
    "soon: the next forecast needs it.",
}  # fmt: skip


@dataclass(frozen=True)
class WordedStep:
    """One step in words. `number` counts on through all of them; `cautions`: of this very work."""

    code: StepCode
    number: int
    when: When
    do: str
    cautions: tuple[str, ...]

    @property
    def comes_first(self) -> bool:
        """Whether it is one of those that come before any question."""
        return self.code in (*FIRST_STEPS, *AFLOAT)


@dataclass(frozen=True)
class WordedCall:
    """When to call a mechanic now, in words, and whether that is so here."""

    applies: bool
    told: str


@dataclass(frozen=True)
class WaterWords:
    """The whole answer after water in words; every face sets this out.

    `order`: STOP, or not to start it; empty where neither. `hurry`: that hours count; empty where it was treated.
    `advice`: what to do in one sentence, which begins small; `headline`: the same after its subject. `instruction`: the
    unit's, as every other face says it; empty without a fleet. `risk`: in words
    first, `risk_figures` with the intervals. `calls`: when to call a mechanic now. `cautions`: all;
    `standing_cautions`: those that belong to no single step. `hand_over`: what to tell a mechanic, (what, answer).
    """

    subject: str
    order: str
    hurry: str
    stops: tuple[str, ...]
    advice: str
    instruction: str
    risk: str
    risk_figures: str
    steps: tuple[WordedStep, ...]
    calls: tuple[WordedCall, ...]
    cautions: tuple[str, ...]
    reasons: tuple[str, ...]
    evidence: str
    remarks: tuple[str, ...]
    hand_over: tuple[tuple[str, str], ...]

    @property
    def headline(self) -> str:
        """The answer in one sentence: which craft and unit, and what to do."""
        return DatedText(f"{self.subject}: ", self.advice)

    @property
    def standing_cautions(self) -> tuple[str, ...]:
        """The cautions that belong to no single step."""
        at_work = {caution for step in self.steps for caution in step.cautions}
        return tuple(caution for caution in self.cautions if caution not in at_work)


def words_after_water(answer: AfterWater, name: str = "") -> WaterWords:
    """The answer in words; `name`: the craft as people call it, its id when left out."""
    days = answer.flooding.days_since(answer.as_of)
    evidence = answer.evidence
    return WaterWords(
        subject=_subject(answer, name),
        order=ORDER_WORDS[answer.order],
        hurry="" if answer.flooding.treated == "yes" and not answer.stop else HURRY,
        stops=tuple(stop_words(stop) for stop in answer.stops),
        advice=_advice_sentence(answer),
        instruction=instruction_words(answer),
        risk=_risk_in_words(answer),
        risk_figures=_risk_figures(answer),
        steps=_steps(answer),
        calls=tuple(WordedCall(call.applies, MECHANIC_WORDS[call.code]) for call in answer.calls),
        cautions=tuple(_caution(code, days) for code in answer.cautions),
        reasons=_reasons(answer),
        evidence=evidence_words(answer),
        remarks=(*(evidence.remarks if evidence.lives else ()), *answer.remarks, *_order_of_scenarios(answer)),
        hand_over=_hand_over(answer, name),
    )


def first_steps() -> tuple[str, ...]:
    """What to do before any question is asked, in words and in order."""
    return tuple(STEP_WORDS[code] for code in FIRST_STEPS)


def stops_by_fact(flooding: Flooding) -> dict[str, str]:
    """Why it must not be run, a sentence for each field of ``Flooding`` that says so: to be told where it was asked."""
    told: dict[str, str] = {}
    for stop in reasons_to_stop(flooding):
        reason = stop_words(stop)
        told[stop.fact] = f"{ORDER_WORDS['stop']} {reason[:1].upper()}{reason[1:]}."
    return told


def stop_words(stop: Stop) -> str:
    """Why it must not be run as it is, a phrase."""
    return DatedText(stop.found, ", says its record") if stop.code == "on_record" else STOP_WORDS[stop.code]


def _caution(code: CautionCode, days: int) -> str:
    if code != "standing_rusts":
        return CAUTION_WORDS[code]
    return (
        f"It is {days} days since the water. Time standing still rusts too, and the figures count engine hours only: "
        "the risk may be higher than they say."
    )


# -- steps -------------------------------------------------------------------------------------------------------------


def _steps(answer: AfterWater) -> tuple[WordedStep, ...]:
    days = answer.flooding.days_since(answer.as_of)
    return tuple(
        WordedStep(
            step.code, number, step.when, _step(step, answer), tuple(_caution(code, days) for code in step.cautions)
        )
        for number, step in enumerate(answer.steps, 1)
    )


def _step(step: Step, answer: AfterWater) -> str:
    own: dict[StepCode, Callable[[Step, AfterWater], str]] = {
        "call_mechanic": _call_mechanic,
        "clear_cylinders": _clear_cylinders,
        "rinse": _rinse,
        "change_oil_again": _change_oil_again,
        "run_warm": _run_warm,
        "recheck_oil": _recheck_oil,
        "plan_check": _plan_check,
        "log_in_water_csv": _log_in_water_csv,
    }
    return own[step.code](step, answer) if step.code in own else STEP_WORDS[step.code]


def _call_mechanic(step: Step, answer: AfterWater) -> str:
    codes = {stop.code for stop in answer.stops}
    so = [
        ("ran_under_water", "it ran as it went under, and a rod may be bent"),
        ("water_in_cylinder", "there is water in a cylinder"),
        ("low_compression", "its compression is low"),
        ("rattle", "the supercharger rattles"),
        ("milky_oil", "the oil is milky"),
        ("on_record", "its record says that it must not run"),
    ]
    why = figures.listed([words for code, words in so if code in codes])
    return f"Call a licensed mechanic, who looks at it before the engine is turned or run: {why}."


def _clear_cylinders(step: Step, answer: AfterWater) -> str:
    by_mechanic = _before_mechanic(answer)
    if answer.flooding.water_in_cylinder == "yes":
        return f"{'The mechanic gets' if by_mechanic else 'Get'} the water out of the cylinders: {_GET_OUT}."
    do = "let the mechanic get it out" if by_mechanic else "get it out"
    return f"Where a cylinder has water in it, {do}: {_GET_OUT}."


def _before_mechanic(answer: AfterWater) -> bool:
    """Whether a mechanic looks before the engine is turned at all: it ran as it went under."""
    return any(stop.code == "ran_under_water" for stop in answer.stops)


def _rinse(step: Step, answer: AfterWater) -> str:
    rinse = "rinse the engine's outside and the hull inside with fresh water, engine off"
    if answer.flooding.water == "unknown":
        return f"Unless it was fresh water: {rinse}. Salt goes on eating once the water is gone."
    return f"{rinse[:1].upper()}{rinse[1:]}: salt goes on eating once the water is gone."


def _change_oil_again(step: Step, answer: AfterWater) -> str:
    if answer.flooding.oil == "milky":
        why = "The oil is milky although it was changed"
    else:
        why = "Water in a cylinder finds its way into the oil, which was changed before"
    return (
        f"{why}: change oil and filter again before the engine runs, {_AGAIN}, and find where the water comes in "
        "(intercooler, oil cooler, a seal)."
    )


def _run_warm(step: Step, answer: AfterWater) -> str:
    codes = {stop.code for stop in answer.stops}
    first = ["the oil is changed", "the plugs are back"]
    if any(one.code == "open_supercharger" for one in answer.steps):
        first.insert(0, "the supercharger has been opened and is back")
    if codes & {"ran_under_water", "water_in_cylinder", "low_compression"}:
        first.insert(0, "the cylinders are dry, the mechanic agrees")
    return (
        f"Once {figures.listed(first)}: run it warm, on cooling water as its manual says and no longer than that "
        "allows, to drive the rest of the water out."
    )


def _recheck_oil(step: Step, answer: AfterWater) -> str:
    hours = figures.listed([str(hours) for hours in RECHECK_OIL_H])
    return f"Plan to look at the oil again after {hours} engine hours: milky means stop."


def _plan_check(step: Step, answer: AfterWater) -> str:
    return (
        f"Plan a check after {step.after_h:g} engine hours, and no sooner than two days after the water: supercharger "
        "off the engine and spun by hand, oil looked at."
    )


def _log_in_water_csv(step: Step, answer: AfterWater) -> str:
    flooding = answer.flooding
    told = {"water": flooding.water, "oil": flooding.oil, "treated": flooding.treated}
    listed = "".join(f", {name} {value}" for name, value in told.items() if value != "unknown")
    row = f"Write it into water.csv: {answer.craft_id}, {flooding.happened_on}, its kind{listed}"
    if flooding.treated_within_h is not None:
        return f"{row}, treated_within_h {flooding.treated_within_h:g}."
    if flooding.treated == "yes":
        return f"{row}, and treated_within_h, the clock hours from the water to the treatment."
    return f"{row}; once it is treated, treated yes and treated_within_h, the clock hours from the water to then."


# -- the answer in one sentence, and the risk -------------------------------------------------------------------------


def _subject(answer: AfterWater, name: str) -> str:
    age = answer.hours_since_rebuild
    hours = "hours since rebuild unknown" if age is None else f"{figures.hours(age)} since rebuild"
    craft = name or answer.craft_id
    return f"{craft} (unit {answer.unit_id}, {hours})" if answer.craft_id else f"This craft ({hours})"


def advice_words(answer: AfterWater) -> str:
    """What to do about the supercharger: "check the supercharger after 10 engine hours"."""
    told = answer.instruction
    if told is not None and told.week_of is not None and told.act is not None:
        do = {"rebuild": "have the supercharger rebuilt", "check": "check the supercharger", "leave": ""}[told.act]
        return DatedText(f"{do} in the week of ", told.week_of, ", as planned")
    if answer.best.action == "check":
        return f"check the supercharger after {answer.best.check_after_h:g} engine hours"
    return {
        "open": "have the supercharger opened before the next ride",
        "ride": "ride, with no check beyond those steps",
    }[answer.best.action]


def advice_in_short(answer: AfterWater) -> str:
    """What to do about the supercharger, for other programs: "check it after 10 hours"."""
    told = answer.instruction
    if told is not None and told.week_of is not None and told.act is not None:
        return DatedText(f"{told.act} it in the week of ", told.week_of)
    if answer.best.action == "check":
        return f"check it after {answer.best.check_after_h:g} hours"
    return {"open": "open it now", "ride": "ride"}[answer.best.action]


def instruction_words(answer: AfterWater) -> str:
    """The unit's instruction, as every face has it, and whether it rests on what is told only here; "" of no fleet."""
    told = answer.instruction
    if told is None:
        return ""
    now = ""
    if answer.told_now:
        now = (
            " What is told here is not in the records yet: once it is written down, every other screen and list says "
            "the same."
        )
    return DatedText(f"Instruction for {answer.unit_id}: ", instruction_in_words(told), f".{now}")


def _advice_sentence(answer: AfterWater) -> str:
    if answer.stop:
        return DatedText("once the steps have put that right, ", advice_words(answer), ".")
    return DatedText("do the steps first, then ", advice_words(answer), ".")


def _risk_in_words(answer: AfterWater) -> str:
    row = answer.risk[-1]
    now, dry = figures.out_of_ten(row.as_it_is.mean), figures.out_of_ten(row.no_incident.mean)
    told = f"{now[:1].upper()}{now[1:]} such superchargers fail within {row.hours:g} engine hours"
    if now == dry:
        return f"{told} if nobody opens them, and as many without this water. What fails is the bearing."
    return f"{told} if nobody opens them; without this water {dry}. What fails is the bearing."


def _risk_figures(answer: AfterWater) -> str:
    row = answer.risk[-1]
    return (
        f"The chance that the supercharger's bearing fails within {figures.hours(row.hours)} is "
        f"{figures.percent_with_range(row.as_it_is)} as it is, and {figures.percent_with_range(row.no_incident)} "
        "without this water; in brackets the 90 % interval."
    )


HEARD = {
    "quiet": "it was spun by hand since then and was quiet",
    "slight": "it was spun by hand since then and made a little noise, which is normal",
    "rattle": "it was spun by hand since then and rattled",
    "not_done": "it was not spun by hand since then: what is heard then changes this answer, so ask again",
}


def _reasons(answer: AfterWater) -> tuple[str, ...]:
    """Why this advice, a phrase each; what the stop says is not said again."""
    flooding = answer.flooding
    reasons = [_treatment_words(answer)]
    heard = HEARD[flooding.spin]
    too_soon = any(step.code == "spin_again" for step in answer.steps)
    reasons.append(f"{heard}, but within two days of the water that says little" if too_soon else heard)
    if not answer.cheapest:
        reasons.append(_dearer(answer))
    elif answer.close_call:
        reasons.append("a close call: another way may well cost less")
    if answer.evidence.mostly_prior:
        reasons.append(f"mostly {answer.evidence.prior}")
    return tuple(reasons)


def _dearer(answer: AfterWater) -> str:
    """Why another way is advised than the one that costs least over the next engine hours."""
    told = answer.instruction
    if told is None or told.stops or told.order == "first":
        return "safety comes before the cheapest expected cost here"
    return (
        "over these engine hours alone another way costs less; the fleet's plan and its triggers look two years ahead, "
        "and what they say stands"
    )


def _treatment_words(answer: AfterWater) -> str:
    flooding = answer.flooding
    hours = "" if flooding.treated_within_h is None else f" ({flooding.treated_within_h:g} h after it)"
    words = {
        "treated": f"treated within a day{hours}",
        "late": f"treated late{hours}",
        "untreated": "not treated so far",
        "unknown": "whether and how soon it was treated is not known",
    }[answer.applies]
    if flooding.treated == "yes":
        return words
    counted = {
        "prompt": "; the costs assume that it is treated today, in time",
        "late": "; the costs assume that it is treated today, which is late and still worth more than never",
    }
    return f"{words}{counted.get(flooding.treatment_to_be_had(answer.as_of), '')}"


def _order_of_scenarios(answer: AfterWater) -> tuple[str, ...]:
    """Why the scenarios may not stand in the order that one expects: nobody should act on that."""
    if answer.flooding.spin == "rattle":
        return (
            "It rattles, so it is most likely defective already, whatever was done: the scenarios differ little, and a "
            "defect that is older than the water is nearer its end than one that the water began.",
        )
    if not answer.scenarios_out_of_order:
        return ()
    return (
        "In these records treated units happened to fail more often than untreated ones. Few incidents stand behind "
        "that: treat it all the same.",
    )


def evidence_words(answer: AfterWater) -> str:
    """What the figures rest on: the fleet's lives, or that they are general experience."""
    if answer.evidence.lives:
        return evidence_sentence(answer.evidence, "two-stage")
    return f"No fleet's records stand behind these figures: they are {answer.evidence.prior}."


# -- what to hand to a mechanic ----------------------------------------------------------------------------------------

NOT_KNOWN = "not known"
_ANSWERS: dict[str, dict[str, str]] = {
    "water": {"salt": "salt", "fresh": "fresh", "brackish": "brackish"},
    "engine": {"running": "running", "off": "off"},
    "water_in_cylinder": {"yes": "yes", "no": "no", "unknown": "not looked"},
    "oil": {"clear": "clear", "milky": "milky", "unknown": "not looked at"},
    "compression": {"good": "good", "low": "low", "unknown": "not tested"},
    "spin": {"quiet": "quiet", "slight": "a little noise", "rattle": "rattles", "not_done": "not spun yet"},
}


def _hand_over(answer: AfterWater, name: str) -> tuple[tuple[str, str], ...]:
    """What a mechanic wants to know, as far as it is known: (what, answer)."""
    flooding = answer.flooding
    run = flooding.hours_run_since
    rows = [
        ("Craft and supercharger", _subject(answer, name)),
        ("Day of the water", DatedText(flooding.happened_on, _ago(flooding))),
        ("Which water", _answer(flooding, "water")),
        ("How long under", _under(flooding)),
        ("Engine as it went under", _answer(flooding, "engine")),
        ("Water in a cylinder", _answer(flooding, "water_in_cylinder")),
        ("Oil now", _answer(flooding, "oil")),
        ("Oil changed and run warm", _treated(flooding)),
        ("Compression", _answer(flooding, "compression")),
        ("Supercharger spun by hand", _answer(flooding, "spin")),
        ("Engine hours run since", figures.hours(run) if run else "none known"),
    ]
    return tuple(rows)


def _answer(flooding: Flooding, fact: str) -> str:
    return _ANSWERS[fact].get(getattr(flooding, fact), NOT_KNOWN)


def _ago(flooding: Flooding) -> str:
    return "" if flooding.hours_ago is None else f", about {flooding.hours_ago:g} h ago"


def _under(flooding: Flooding) -> str:
    minutes = flooding.under_minutes
    if minutes is None:
        return NOT_KNOWN
    return f"{minutes:g} min" if minutes else "swamped, never under"


def _treated(flooding: Flooding) -> str:
    if flooding.treated != "yes":
        return {"no": "not yet", "unknown": NOT_KNOWN}[flooding.treated]
    within = flooding.treated_within_h
    return "yes" if within is None else f"yes, {within:g} h after the water"
