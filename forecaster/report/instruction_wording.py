"""The one instruction of a unit in words: the one wording of its codes, for terminal, JSON, screens and paper.

A code of ``forecaster.instruction_codes`` has one phrase here. Common practice of the trade, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from forecaster.instruction_codes import Act, Code
from forecaster.report.figures import about_with_range, hours, listed
from forecaster.written_days import DatedText, joined

if TYPE_CHECKING:  # the forecast alone needs none of it
    from forecaster.instruction import Instruction
    from forecaster.now_or_later import NowOrLater, Stands

CODE_WORDS: dict[Code, str] = {
    "stop, rebuild": "do not run; rebuild",
    "stop, check": "do not run; check",
    "stop": "do not run",
    "treat, rebuild": "do not start before it is treated; rebuild",
    "treat, check": "do not start before it is treated; check",
    "treat": "do not start before it is treated",
    "rebuild first": "rebuild before the next ride",
    "check first": "check before the next ride",
    "look first": "look at it before the next ride",
    "rebuild now": "rebuild now",
    "check now": "check now",
    "rebuild soon": "rebuild within the week",
    "check soon": "check within the week",
    "rebuild": "rebuild",
    "check": "check",
    "leave": "leave",
    "as planned": "as the plan says",
}
# The same to whoever does the work.
_TREAT = "spark plugs out, cylinders dry, oil changed until it stays clear; only then run it warm"
DO_WORDS: dict[Code, str] = {
    "stop, rebuild": "do not run it: open it before it runs again",
    "stop, check": "do not run it: check it before it runs again",
    "stop": "do not run it as it is",
    "treat, rebuild": f"do not start it before it is treated: {_TREAT}. Open and rebuild the supercharger before the "
    "next ride",
    "treat, check": f"do not start it before it is treated: {_TREAT}. Spin the supercharger by hand before the next "
    "ride",
    "treat": f"do not start it before it is treated: {_TREAT}",
    "rebuild first": "open and rebuild it before the next ride",
    "check first": "spin it by hand before the next ride",
    "look first": "spin it by hand before the next ride",
    "rebuild now": "rebuild it",
    "check now": "check it: off the engine, spun by hand",
    "rebuild soon": "rebuild it",
    "check soon": "check it: off the engine, spun by hand",
    "rebuild": "rebuild it",
    "check": "check it: off the engine, spun by hand",
    "leave": "leave it",
    "as planned": "do as the plan says",
}
ENTER_UNIT = "and enter in fittings.csv which unit was on it"
FIND_OUT = "find out whether it was treated; until then "
ACT_WORDS: dict[Act, str] = {"rebuild": "rebuild it", "check": "check it", "leave": "leave it"}
# What a picture's legend calls them; one name an act, whatever the order.
Group = Literal["stop", "rebuild", "check", "leave", "unweighed"]
LEGEND_WORDS: dict[Group, str] = {
    "stop": "do not run as it is",
    "rebuild": "rebuild",
    "check": "check",
    "leave": "leave",
    "unweighed": "not weighed yet",
}
NOT_WEIGHED = "not weighed yet"


def legend_group(told: Instruction) -> Group:
    """Which of a legend's names an instruction goes by."""
    return "stop" if told.stops else told.act or ("check" if told.order == "first" else "unweighed")


def short(told: Instruction) -> str:
    """An instruction without its week: "do not run; check before it runs again"."""
    open_ended = told.order == "stop" and told.act is not None and told.week_of is None
    return CODE_WORDS[told.code] + (" before it runs again" if open_ended else "")


def instruction_in_words(told: Instruction) -> str:
    """An instruction with its week: "rebuild, week of 2026-11-02"."""
    return short(told) if told.week_of is None else DatedText(short(told), ", week of ", told.week_of)


def what_to_do(told: Instruction) -> str:
    """What to do, to whoever does it."""
    find_out = FIND_OUT if told.order == "treat" and told.reasons[0] == "treatment_unknown" else ""
    week = () if told.week_of is None else (", in the week of ", told.week_of)
    enter = "" if told.unit_id else f"; {ENTER_UNIT}"
    return DatedText(find_out, DO_WORDS[told.code], *week, enter)


def until_then(told: Instruction) -> str:
    """What must be done with a unit that must not run, before it does: "checked before it runs again"."""
    done = {"rebuild": "opened and rebuilt", "check": "checked", "leave": ""}[told.act or "check"]
    if told.order != "treat":
        return f"{done} before it runs again"
    return "treated before it is started" + (f", and {done} before it is ridden" if done else "")


def why_so(told: Instruction) -> str:
    """Why, in words: what is on record, the hours that have come, what drives its risk where it is planned."""
    if told.found:
        return joined("; ", told.found)
    if told.source == "trigger" and told.at_hours is not None:
        by = told.by or told.as_of
        when = DatedText("has run") if told.order == "now" else DatedText("reaches by ", by, ", at the hours expected,")
        return DatedText(when, f" {hours(told.at_hours)} since rebuild, at which a {told.act} in season pays")
    because = joined("; ", told.because)
    if told.week_of is not None:
        return DatedText("planned for the week of ", told.week_of, ": " if because else "", because)
    return because or ("no plan could be made" if told.reasons == ("no_plan",) else NOT_WEIGHED)


def what_waiting_costs(told: Instruction, currency: str) -> str:
    """What it costs more to wait: "Put off by a month it costs about USD 420 (90-800) more."; "" where not weighed."""
    cost = told.waiting_costs
    if cost is None:
        return ""
    if max(abs(cost.mean), abs(cost.low), abs(cost.high)) < 1:
        return "Put off by a month it costs the same."
    if cost.mean < 0:
        return f"Put off by a month it costs about {currency} {about_with_range(cost.opposite)} less."
    return f"Put off by a month it costs about {currency} {about_with_range(cost)} more."


def instruction_sentence(told: Instruction) -> str:
    """The instruction as a sentence: "S0003: rebuild it, in the week of 2026-11-02. Why: 118 h since rebuild."."""
    return DatedText(f"{told.unit_id}: ", what_to_do(told), ". Why: ", why_so(told), ".")


def beside_costs(told: NowOrLater) -> str:
    """What the costs alone would say, and why the instruction stands; "" where both say the same."""
    if told.instruction is None or told.alone is None or told.alone == told.instruction.act:
        return ""
    if told.instruction.order == "unweighed":
        return f"Whether that fits budget and bench is not said here: {STANDS_WORDS['plan_not_asked']}."
    return (
        f"By these costs alone one would {ACT_WORDS[told.alone]} {_by_when(told.instruction)}; the instruction stands, "
        f"since {listed([STANDS_WORDS[code] for code in told.stands])}."
    )


def _by_when(told: Instruction) -> str:
    return "this week" if told.at_once else "in the off-season that is planned"


STANDS_WORDS: dict[Stands, str] = {
    "safety": "safety is not outweighed by cost",
    "hours": "it has run, or runs this week, the hours at which that pays in season, decided week by week",
    "budget": "the plan's budget goes where it saves most",
    "bench": "the plan's bench is taken by what saves more",
    "spares": "the plan has no spare unit to stand in for it",
    "gain": "the plan weighs all units together, and the gain on this one is too small or comes too late",
    "no_plan": "no plan could be made",
    "plan_not_asked": "the plan was not asked, which weighs all units together",
}
