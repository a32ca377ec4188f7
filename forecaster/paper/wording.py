"""The paper's sentences and figures: what its files have in common in words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from forecaster.forecast import Chance
from forecaster.paper.content import PaperContent, UnitOnPaper
from forecaster.plan import MORE_BUDGET
from forecaster.plan_answer import Saving
from forecaster.rebuilds_to_come import NumberOfUnits
from forecaster.report import figures
from forecaster.report.figures import counted, listed, seasons
from forecaster.report.instruction_wording import instruction_in_words, short, until_then
from forecaster.report.plan_text import PLAN_CAUTION
from forecaster.written_days import SPACE, written_day, written_text

UNITS_NAMED = 8  # in one sentence
GENERAL = "general experience"  # what a model starts from where no other experience was given
DASH = "\N{EN DASH}"
_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:%|h|units?|hours?)(?!\w))")
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


def to_do(unit: UnitOnPaper) -> str:
    """The instruction for a unit without its week, the same words in every file: "do not run; rebuild"."""
    return short(unit.instruction)


def work(unit: UnitOnPaper, content: PaperContent) -> str:
    """The instruction for a unit with its week: "rebuild, week of 2 Nov 2026"."""
    return written_text(instruction_in_words(unit.instruction), content.date_format)


def reasons(unit: UnitOnPaper, hours_told: bool = False) -> str:
    """Why, in words: a change by hand, what is on record, what drives its risk, what casts doubt, extrapolation.

    `hours_told`: its hours since rebuild stand beside it already, and are not told again; "" where they are all.
    """
    hours, *rest = unit.because
    told = rest if hours_told and unit.forecast.hours_since_rebuild is not None else [hours, *rest]
    if unit.changed:
        told.insert(0, f"changed by hand: {unit.note}" if unit.note else "changed by hand")
    if unit.forecast.beyond_seen:
        told.append("older than any unit whose life was seen to end here: extrapolated")
    if unit.doubtful:
        told.append(f"take with care: {unit.doubtful}")
    return together("; ".join(told))


def why_stopped(unit: UnitOnPaper) -> str:
    """A unit that must not run, and why: "S0036 on craft C012, North Pier 12: oil milky ... It must be checked ..."."""
    return together(
        f"{unit.unit_id} on craft {craft(unit)}: {'; '.join(unit.stop)}. It must be {until_then(unit.instruction)}."
    )


def in_season(unit: UnitOnPaper, season_is_on: bool) -> str:
    """When to act in the season: "In season: check at 130 h since rebuild"."""
    at = (("check", unit.triggers.check_at_hours), ("rebuild", unit.triggers.rebuild_at_hours))
    told = [f"{act} at {figures.hours(hours)}" for act, hours in at if hours is not None]
    since = "after this rebuild" if unit.planned.action == "rebuild" and not season_is_on else "since rebuild"
    act = f"{listed(told)} {since}" if told else "no check or rebuild by hours pays"
    return f"In season: {act}; after water ask again at once"


def off_season(content: PaperContent) -> str:
    """Which off-season the plan is for."""
    return "in the next off-season" if content.in_season else "this off-season"


def stopped(content: PaperContent) -> str:
    """Which units must not run: "Do not run S0036 as it is."; "" for none."""
    units = [unit.unit_id for unit in content.stopped]
    return f"Do not run {_named(units)} as {'it is' if len(units) == 1 else 'they are'}." if units else ""


def due(content: PaperContent) -> str:
    """What is to be done at once with units that may run: "Now: check S0014. ..."; "" for nothing."""
    told = []
    for order, when in (("first", "Before the next ride"), ("now", "Now"), ("soon", "Within the week")):
        own = [unit for unit in content.at_once if unit.instruction.order == order]
        by_act = [(act, [unit.unit_id for unit in own if unit.instruction.act == act]) for act in ("rebuild", "check")]
        acts = [f"{act} {_named(units)}" for act, units in by_act if units]
        told += [f"{when}: {'; '.join(acts)}."] if acts else []
    return " ".join(told)


def _named(units: Sequence[str]) -> str:
    """Units by name, the first few, and how many more."""
    more = [f"{len(units) - UNITS_NAMED} more"] if len(units) > UNITS_NAMED else []
    return listed([*units[:UNITS_NAMED], *more])


def season(content: PaperContent) -> str:
    """In season, that it is on, and what that means for units that are due now; "" off season."""
    if not content.in_season:
        return ""
    on = f"The season is on, until {day(content.season[1], content)}."
    reached = any(unit.instruction.order == "now" for unit in content.units)
    return f"{on} Units to check or rebuild now have run the hours at which that pays in season." if reached else on


def answer(content: PaperContent) -> str:
    """The answer in one sentence, or in two where something is due at once."""
    total, now = counted(len(content.units), "unit"), due(content)
    counts = [(act, len(content.of_action(act))) for act in ("rebuild", "check")]
    told = [f"{act} {number}" for act, number in counts if number]
    if not told:
        rest = len(content.units) - len(content.at_once)
        whom = f"all {total}" if len(content.units) > 1 else "the one unit"
        if content.at_once:
            whom = f"the other {counted(rest, 'unit')}" if rest > 1 else "the other unit"
        why = "no work pays within the limits"
        if content.kept_bench and not any(week.places for week in content.plan.bench):
            why = "the workshop has no bench place free then"
        leave = f"Leave {whom} {off_season(content)}: {why}." if rest else ""
        return f"{now} {leave}".strip()
    first = content.by_week()[0][0]
    plan = (
        f"{listed(told).capitalize()} of {total} {off_season(content)}, from the week of {day(first, content)}: "
        f"{amount(content.spent, content.currency)} {'then' if content.in_season else 'now'}, "
        f"{less_or_more(content.saving, content)} over {seasons(content.seasons)} than with nothing done."
    )
    return f"{now} {plan}".strip()


def less_or_more(saved: Saving, content: PaperContent) -> str:
    """What is saved as a comparison: "about USD 11,000 (9,900–12,000) less"."""
    return figures.less_or_more(saved, DASH, f"{content.currency}{SPACE}")


def to_come(content: PaperContent) -> tuple[str, ...]:
    """In season: how many rebuilds the off-season brings if nothing changes, and what comes before; none off season."""
    come, order = content.plan.to_come, content.parts
    if come.season_closes is None:
        return ()
    kits = ""
    if order.order_by is not None and order.rebuilds:
        kits = f": order {counted(order.rebuilds, 'kit')} by {day(order.order_by, content)}"
    return (
        together(
            f"If nothing changes, the off-season brings {_number(come.rebuilds, 'rebuild')}{kits}. Until the season "
            f"closes on {day(come.season_closes, content)}, expect {_number(come.failures, 'failure')} of the units "
            f"now in service, and {_number(come.openings, 'unit')} opened before: noticed, found by a check, or "
            "rebuilt at their hours."
        ),
    )


def _number(of: NumberOfUnits, one: str) -> str:
    """How many, with the central 90 %: "18 to 22 rebuilds", "1 failure"."""
    return counted(of.low, one) if of.low == of.high else f"{of.low} to {counted(of.high, one)}"


def ready(content: PaperContent) -> str:
    """By when all planned work is to be done; "" where none is planned."""
    if not content.by_week():
        return ""
    opens = day(content.season_opens, content)
    late = f", but for {_named(content.by_hand.late)}," if content.by_hand and content.by_hand.late else ""
    if content.ready_by == content.season_opens:
        return f"All work{late} is to be ready by {opens}, when the season opens."
    return f"All work{late} is to be ready by {day(content.ready_by, content)}; the season opens on {opens}."


def by_hand(content: PaperContent) -> str:
    """What was changed by hand and what that costs beside the best plan; "" where nothing was."""
    made = content.by_hand
    if made is None:
        return ""
    cost, than = made.costs_more, "than the best plan"
    if cost.is_nothing:
        told = "it costs the same as the best plan"
    elif cost.mean < 0:
        told = f"it costs about {saving(cost.opposite, content.currency)} less {than}"
    else:
        told = f"it costs about {saving(cost, content.currency)} more {than}"
    first = [unit.unit_id for unit in content.units if unit.changed and unit.instruction.at_once]
    now = f" What must be done now on {_named(sorted(first))} comes before its change." if first else ""
    return f"The plan was changed by hand for {_named(made.units)}: {told}.{now}"


def broken(content: PaperContent) -> tuple[str, ...]:
    """Which limits the changes by hand break, each in a sentence."""
    made = content.by_hand
    return () if made is None else tuple(written_text(line, content.date_format) for line in made.broken)


def planned_within(content: PaperContent) -> str:
    """The limits that the plan was made within, but for the budget: days, bench, closed weeks, spare units."""
    answer = content.plan
    told = [
        f"work from {day(answer.begins, content)}" if answer.begins else "",
        f"to be ready by {day(answer.ready_by, content)}",
        _bench(content),
        f"{counted(answer.spare_units, 'spare unit')} to stand in" if answer.spare_units else "",
    ]
    return f"Planned within: {'; '.join(filter(None, told))}."


def _bench(content: PaperContent) -> str:
    """The bench's places, and the weeks in which it is closed."""
    bench = content.plan.bench
    opened = sorted({week.places for week in bench if not week.closed})
    if not opened:
        return ""
    places = counted(int(opened[-1]), "bench place") if len(opened) == 1 else f"{opened[0]:g} to {opened[-1]:g} places"
    closed = [day(week.monday, content) for week in bench if week.closed]
    shut = f", closed in the week{'' if len(closed) == 1 else 's'} of {listed(closed)}" if closed else ""
    return f"{places} in each week{shut}"


def readers(content: PaperContent) -> str:
    """Whom the paper is for."""
    return f"Craft of {content.owner}" if content.owner else "Whole fleet"


def title(content: PaperContent) -> str:
    """The paper's title: "Supercharger report: craft of Old Mole, 2 Nov 2026"."""
    whose = f"craft of {content.owner}" if content.owner else "whole fleet"
    return f"Supercharger report: {whose}, {day(content.as_of, content)}"


def evidence(content: PaperContent) -> tuple[str, ...]:
    """What stands behind the figures and where they end, in sentences."""
    told = [_experience(content)]
    if content.owner:
        told.append(
            "Of other customers' craft nothing else is used: their names, prices and bills move no figure here."
        )
        told.append(
            "The weeks are planned for these craft alone"
            + (", in the bench places that the workshop keeps for them" if content.kept_bench else "")
            + "; the workshop confirms them."
        )
    prior = content.evidence.prior
    given = " (the experience file that was given)" if prior != GENERAL else ""
    told.append(f"What these lives cannot tell comes from {prior}{given}.")
    told.append(
        "Every chance stands with its central 90 % interval: if the model holds, the true chance lies in it nine times "
        "in ten. A wide interval is an answer: the records cannot tell. Chances are for a unit that nobody opens and "
        "that takes in no more water."
    )
    return tuple(told)


def _experience(content: PaperContent) -> str:
    """Whose lives were learned from: "Learned from your 6 lives and 22 of the workshop's other customers' ..."."""
    known = content.evidence
    others = known.lives - content.own_lives
    if content.owner is None or not others:
        lives = counted(known.lives, "life", "lives")
        whose = f"your {lives}" if content.owner is not None else f"{lives} of this fleet's units"
    else:
        whose = f"your {counted(content.own_lives, 'life', 'lives')} and {others:,} of the workshop's other customers"
    meant = "a life is the run of a unit from new or rebuilt until it is opened or fails"
    sentence = f"Learned from {whose} ({meant}); in {known.failures:,} of them the bearing failed."
    if known.mostly_prior:
        sentence += " Mostly general experience: these records add little to what is known of such units anywhere."
    return sentence


def past(content: PaperContent) -> tuple[str, ...]:
    """How past forecasts fared, and whose they were."""
    if content.owner is None or not content.past:
        return content.past
    return (*content.past, "Those were forecasts for all units that the workshop keeps records of.")


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
        told.append(
            f"Older than any unit whose life was seen to end, so extrapolated: {counted(extrapolated, 'unit')}."
        )
    if doubted:
        told.append(f"To be taken with care until records are mended: {counted(doubted, 'unit')}, marked with \u2020.")
    if content.refused_rows and content.owner is None:
        told.append(f"Refused rows, which are not used: {content.refused_rows:,}. The work list names each problem.")
    return tuple(told)


def order_of_parts(content: PaperContent) -> str:
    """By when to order, and what is used again."""
    order = content.parts
    if order.order_by is None:
        return "The plan's weeks take no parts." if content.parts_now else "No parts are needed for this plan."
    late = (
        f" That day is past on {day(content.as_of, content)}: order today, or let the work begin later."
        if order.late
        else ""
    )
    return (
        f"Order parts by {day(order.order_by, content)}, {order.lead_time_weeks:g} weeks before the first work.{late}"
    )


def parts_now(content: PaperContent) -> str:
    """Which parts the rebuilds take that do not wait for the plan; "" where there are none."""
    if not content.parts_now:
        return ""
    rebuilds = sum(unit.instruction.act == "rebuild" for unit in content.at_once)
    lines = listed([f"{line.count} \N{MULTIPLICATION SIGN} {line.part}" for line in content.parts_now])
    return f"Needed at once, for {counted(rebuilds, 'rebuild')} that should not wait: {lines}."


def assumed_rates(content: PaperContent) -> str:
    """Of which craft the day rate is assumed, and how much it is; "" for none."""
    if not content.assumed_rates:
        return ""
    ids = list(content.assumed_rates)
    rate = amount(next(iter(content.assumed_rates.values())), content.currency)
    return (
        f"No rental income of a day is recorded for {_named(ids)}: {rate} an in-season day is assumed for "
        f"{'it' if len(ids) == 1 else 'each of them'}."
    )


def limits(content: PaperContent) -> tuple[str, ...]:
    """What keeps the plan from saving more, and what a little more of it would save."""
    plan, currency = content.plan.plan, content.currency
    told = []
    if plan.next_1000 > 0:
        more = f"{currency}{SPACE}{figures.about(plan.next_1000)}"
        told.append(f"The budget binds: {amount(MORE_BUDGET, currency)} more of it would save about {more} more.")
    if plan.next_bench_place > 0 and plan.next_bench_week is not None:
        more = f"{currency}{SPACE}{figures.about(plan.next_bench_place)}"
        week = day(plan.next_bench_week, content)
        told.append(f"The bench binds: one more place in the week of {week} would save about {more}.")
    if plan.next_spare_unit > 0:
        more = f"{currency}{SPACE}{figures.about(plan.next_spare_unit)}"
        told.append(f"Spare units bind in weeks in which the craft earn: one more would save about {more}.")
    return tuple(told)
