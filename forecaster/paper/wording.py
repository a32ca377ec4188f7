"""The paper's sentences and figures: what its three files have in common in words."""

from __future__ import annotations

import re
from datetime import date

from forecaster.forecast import Chance
from forecaster.paper.content import PaperContent, UnitOnPaper
from forecaster.plan_answer import Saving
from forecaster.report import figures
from forecaster.report.figures import counted, listed, seasons
from forecaster.report.plan_text import PLAN_CAUTION
from forecaster.report.sentences import evidence_sentence
from forecaster.report.sentences import reasons as reasons_of
from forecaster.written_days import SPACE, written_day

UNITS_NAMED = 8  # in one sentence
DASH = "\N{EN DASH}"
_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:%|h|units?|points|hours?)(?!\w))")
CAUTIONS = (
    "A forecast is no inspection. A unit that rattles when spun by hand, milky oil, or water in a cylinder means: do "
    "not run it. Noise with hardly any shaft play still means that the bearing will fail; a little bearing noise is "
    "normal.",
    "Whether a housing, an impeller or a shaft may run again is for a licensed mechanic to measure and decide.",
    "Never crank an engine with water in a cylinder while its plugs are in.",
    "Fuel vapour collects in the hull: ventilate before anything that may spark, and take the battery off first.",
    "Parts are hot and spin: let them stop and cool. On land, run the engine only with cooling water, as its manual "
    "says.",
    "Waste oil and oily water go to a collection point.",
    "The maker's manual, local rules and a licensed mechanic come before anything printed here.",
)
SHORT_CAUTION = PLAN_CAUTION


def day(on: date, content: PaperContent) -> str:
    """A day as the fleet writes days: "2 Nov 2026"."""
    return written_day(on, content.date_format)


def amount(value: float, currency: str) -> str:
    """Whole money: "USD 6,965"."""
    return f"{currency}{SPACE}{figures.whole(value)}"


def between(low: float, high: float) -> str:
    """Both ends of an interval of money in two figures each; "to" where one is below 0."""
    return figures.about_range(low, high, DASH)


def saving(saved: Saving, currency: str) -> str:
    """What is saved, with its central 90 % interval, in two figures each: "USD 11,000 (9,900–12,000)"."""
    return f"{currency}{SPACE}{figures.about_with_range(saved, DASH)}"


def together(text: str) -> str:
    """The text with each number kept on one line with its unit."""
    return _NUMBER_AND_UNIT.sub(SPACE, text)


def chance(told: Chance | None) -> str:
    """A chance with its central 90 % interval: "8 % (5–13 %)"; a dash where the model knows none."""
    if told is None:
        return DASH
    return figures.percent_with_range(told).replace("-", DASH).replace(" %", f"{SPACE}%")


def craft(unit: UnitOnPaper) -> str:
    """The craft as people call it: "C007, Ski 7"."""
    return unit.craft_id if unit.craft_name in ("", unit.craft_id) else f"{unit.craft_id}, {unit.craft_name}"


def craft_and_base(unit: UnitOnPaper) -> str:
    """The craft with its base, where its name does not say it: "C007, Heron (North Pier)"."""
    told = craft(unit)
    return told if not unit.base or unit.base in told else f"{told} ({unit.base})"


def work(unit: UnitOnPaper, content: PaperContent) -> str:
    """What is planned for a unit: "rebuild, week of 2 Nov 2026"."""
    planned = unit.planned
    return planned.action if planned.week_of is None else f"{planned.action}, week of {day(planned.week_of, content)}"


def reasons(unit: UnitOnPaper, hours_told: bool = False) -> str:
    """Why, in words: what drives its risk, what casts doubt on it, whether it is extrapolated.

    `hours_told`: its hours since rebuild stand beside it already, and are not told again; "" where they are all.
    """
    told = reasons_of(unit.forecast)
    if hours_told and unit.forecast.hours_since_rebuild is not None:
        told = told[1:]
    if unit.doubtful:
        told.append(f"take with care: {unit.doubtful}")
    return together("; ".join(told))


def in_season(unit: UnitOnPaper) -> str:
    """When to act in the season: "In season: check at 130 h since rebuild"."""
    at = (("check", unit.triggers.check_at_hours), ("rebuild", unit.triggers.rebuild_at_hours))
    told = [f"{act} at {figures.hours(hours)}" for act, hours in at if hours is not None]
    since = "after this rebuild" if unit.planned.action == "rebuild" else "since rebuild"
    act = f"{listed(told)} {since}" if told else "no check or rebuild by hours pays"
    return f"In season: {act}; after water ask again at once"


def off_season(content: PaperContent) -> str:
    """Which off-season the plan is for."""
    return "in the next off-season" if content.in_season else "this off-season"


def work_in_season(content: PaperContent) -> str:
    """In season, what should not wait for the plan; "" off season or where nothing presses."""
    if not content.in_season:
        return ""
    told = []
    for act in ("rebuild", "check"):
        units = [unit.unit_id for unit in content.units if unit.forecast.advice == f"{act} now"]
        if units:
            more = f" and {len(units) - UNITS_NAMED} more" if len(units) > UNITS_NAMED else ""
            told.append(f"{act} now {', '.join(units[:UNITS_NAMED])}{more}")
    season = f"The season is on, until {day(content.season[1], content)}."
    return f"{season} By what each costs until then, weighed alone: {'; '.join(told)}." if told else season


def answer(content: PaperContent) -> str:
    """The answer in one sentence."""
    total = counted(len(content.units), "unit")
    counts = [(act, len(content.of_action(act))) for act in ("rebuild", "check")]
    told = [f"{act} {number}" for act, number in counts if number]
    if not told:
        whom = "the one unit" if len(content.units) == 1 else f"all {total}"
        return f"Leave {whom} {off_season(content)}: no work pays within the limits."
    first = content.by_week()[0][0]
    saved = content.saving
    more = saved if saved.mean >= 0 else saved.opposite
    return (
        f"{listed(told).capitalize()} of {total} {off_season(content)}, from the week of {day(first, content)}: "
        f"{amount(content.spent, content.currency)} now, about {saving(more, content.currency)} "
        f"{'less' if saved.mean >= 0 else 'more'} over {seasons(content.seasons)} than with nothing done."
    )


def ready(content: PaperContent) -> str:
    """By when all work is to be done."""
    opens = day(content.season_opens, content)
    if content.ready_by == content.season_opens:
        return f"All work is to be ready by {opens}, when the season opens."
    return f"All work is to be ready by {day(content.ready_by, content)}; the season opens on {opens}."


def readers(content: PaperContent) -> str:
    """Whom the paper is for."""
    return f"Craft of {content.owner}" if content.owner else "Whole fleet"


def title(content: PaperContent) -> str:
    """The paper's title: "Supercharger report: harbour_fleet, craft of Old Mole, 2 Nov 2026"."""
    whose = f", craft of {content.owner}" if content.owner else ""
    return f"Supercharger report: {content.fleet}{whose}, {day(content.as_of, content)}"


def evidence(content: PaperContent) -> tuple[str, ...]:
    """What stands behind the figures and where they end, in sentences."""
    told = [evidence_sentence(content.evidence, content.model)]
    if content.owner:
        told.append(
            "The life model is learned from the lives of all units that the workshop keeps records of, other "
            "customers' too; none of theirs is named here. Prices, hours and risks are those of the craft named here."
        )
        if content.other_units:
            told.append("The weeks are planned together with other customers' work on the same bench.")
    prior = content.evidence.prior
    told.append(f"The model starts from {prior}, and records move it from there.")
    told.append(
        "Every chance stands with its central 90 % interval: if the model holds, the true chance lies in it nine times "
        "in ten. A wide interval is an answer: the records cannot tell. Chances are for a unit that nobody opens and "
        "that takes in no more water."
    )
    return tuple(told)


def limits_of_knowledge(content: PaperContent) -> tuple[str, ...]:
    """Where the forecast must not be trusted further."""
    extrapolated = sum(unit.forecast.beyond_seen for unit in content.units)
    doubted = sum(unit.doubtful is not None for unit in content.units)
    told = [
        "Engine hours are counted: a unit that stands for months after water got in rusts too, and no hour is run.",
        "An incident that nobody reported is not in it. Hours ahead follow past use; weather and bookings are not "
        "forecast.",
    ]
    if extrapolated:
        told.append(f"Older than any life seen to end here, so extrapolated: {counted(extrapolated, 'unit')}.")
    if doubted:
        told.append(f"To be taken with care until records are mended: {counted(doubted, 'unit')}, marked with \u2020.")
    if content.refused_rows and content.owner is None:
        told.append(f"Refused rows, which are not used: {content.refused_rows:,}. The work list names each problem.")
    return tuple(told)


def order_of_parts(content: PaperContent) -> str:
    """By when to order, and what is used again."""
    order = content.parts
    if order.order_by is None:
        return "No parts are needed for this plan."
    late = (
        f" That day is past on {day(content.as_of, content)}: order today, or let the work begin later."
        if order.late
        else ""
    )
    return (
        f"Order parts by {day(order.order_by, content)}, {order.lead_time_weeks:g} weeks before the first work.{late}"
    )
