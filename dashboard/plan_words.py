"""The off-season plan in sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence

import forecaster
from fleet_rows import Instructions
from words import (
    DASH,
    SPACE,
    amount_words,
    capital,
    count_words,
    day_words,
    hours_words,
    listed,
    money,
    percent,
    plain,
    signed,
)

CAUTION = (
    "A plan is no inspection, and no leave to run anything. A unit that rattles when spun by hand or has milky oil "
    "does not run, whatever the plan says of it; whether a housing, an impeller or a shaft may run again is for a "
    "licensed mechanic to measure and decide. The maker's manual and local rules come first."
)
BENCH_EXPLAINED = (
    "One block is one unit, in the week that its work is planned for: plain is a rebuild, which takes one place; low "
    "and hatched is a check, which takes a place only if the unit rattles. Dotted line: what the bench can finish. Of "
    "weeks that cost the same, work gets the earliest, what saves most first."
)
RULES_EXPLAINED = (
    "Each mark is one rule within the same limits; shaded: 90 % interval of what it costs more than the plan. Below "
    "the line at 0 a rule would be cheaper than the plan."
)
COMING = "in the coming off-season"
NUMBERS = ("no", "one", "two", "three", "four", "five")


def about(amount: float) -> str:
    """An expected amount in two figures, for more would claim too much: 23,412 is "23,000"."""
    return signed(_rounded(amount))


def _rounded(amount: float) -> float:
    if abs(amount) < 1:
        return 0.0
    return round(amount, min(1 - math.floor(math.log10(abs(amount))), 0))


def with_range(saving: forecaster.Saving, currency: str) -> str:
    """An expected amount with its interval: "USD 23,000 (12,000–35,000)"."""
    rounded = forecaster.Amount(_rounded(saving.mean), _rounded(saving.low), _rounded(saving.high))
    return amount_words(rounded, currency)


def answer_words(answer: forecaster.PlanAnswer, currency: str) -> str:
    """The plan in one sentence: what is done, what it takes now, what it saves."""
    plan = answer.plan
    units = count_words(len(plan.actions), "unit")
    when, then = ("this off-season", "now") if answer.to_come.season_closes is None else (COMING, "then")
    told = [f"{action} {plan.count(action)}" for action in ("rebuild", "check") if plan.count(action)]  # type: ignore[arg-type]
    if not told:
        return f"Leave all of {units} {when}: within the limits no work pays."
    told[0] += f" of {units}"
    head = capital(f"{listed(told)} {when}: {money(plan.spent, currency)} {then}")
    return f"{head}, {_beside(answer.saving, currency)} over {seasons(answer.seasons)} than doing nothing."


def _beside(saving: forecaster.Saving, currency: str) -> str:
    """What is saved as a comparison: "about USD 23,000 (12,000–35,000) less"."""
    if saving.mean < 0:
        return f"about {with_range(saving.opposite, currency)} more"
    return f"about {with_range(saving, currency)} less"


def to_come_words(answer: forecaster.PlanAnswer) -> str:
    """In season: what the rest of it brings, and how many rebuilds the off-season then does; "" off season."""
    come, order = answer.to_come, answer.parts
    if come.season_closes is None:
        return ""
    told = (
        f"If nothing changes, the off-season brings **{_number(come.rebuilds, 'rebuild')}**. Until the season closes "
        f"on {day_words(come.season_closes)}, expect {_number(come.failures, 'failure')} of the units now in service, "
        f"and {_number(come.openings, 'unit')} opened before: noticed, found by a check, or rebuilt at their hours."
    )
    if order.order_by is None or not order.rebuilds:
        return told
    shelf = f", beside the {count_words(order.kits, 'kit')} on the shelf" if order.kits else ""
    return f"{told} **Order {count_words(order.rebuilds, 'kit')} by {day_words(order.order_by)}{shelf}.**"


def _number(of: forecaster.NumberOfUnits, one: str) -> str:
    """How many, with the central 90 %: "18 to 22 rebuilds", "1 failure"."""
    return count_words(of.low, one) if of.low == of.high else f"{of.low} to {count_words(of.high, one)}"


def left_words(answer: forecaster.PlanAnswer) -> str:
    """Which units are left now, to be worked on in the season after; "" for none."""
    told = []
    if now := [f"{plain(unit)} ({due})" for unit, due in answer.due.items()]:
        told.append(f"Due now, having run the hours at which that pays in season: {listed(now)}.")
    if later := [plain(one.unit_id) for one in answer.plan.actions if one.in_season]:
        told.append(
            "Left now, to be checked or rebuilt in the coming season at their hours, within that season's bench and "
            f"money: {listed(later)}."
        )
    if at_once := [f"{plain(unit)} ({due})" for unit, due in answer.due_at_opening.items()]:
        told.append(
            "Left, though at the season's opening they have run the hours at which that pays in season: "
            f"{listed(at_once)}."
        )
    return " ".join(told)


def seasons(number: int) -> str:
    """A number of seasons in words."""
    told = NUMBERS[number] if number < len(NUMBERS) else str(number)
    return f"{told} {'season' if number == 1 else 'seasons'}"


def by_hand_words(made: forecaster.PlanByHand, currency: str) -> str:
    """What the changes by hand cost beside the best plan."""
    units = listed([plain(unit) for unit in sorted(made.edits)][:6]) + (" and more" if len(made.edits) > 6 else "")
    cost = made.costs_more
    if cost.is_nothing:
        return f"Changed by hand: {units}. It costs the same as the best plan."
    if cost.mean < 0:
        return (
            f"Changed by hand: {units}. It costs about {with_range(cost.opposite, currency)} less than the best plan."
        )
    return f"Changed by hand: {units}. It costs about {with_range(cost, currency)} more than the best plan."


def account(answer: forecaster.PlanAnswer, currency: str) -> str:
    """Beneath the answer: the money, the days, what it is counted over."""
    plan = answer.plan
    budget = "no budget limit" if plan.budget is None else f"a budget of {money(plan.budget, currency)}"
    told = (
        f"Spent: {money(plan.spent, currency)}, with {budget}; a check counts as expected, with the rebuild of those "
        f"that rattle.{season_money(answer, currency)}{overspending(answer)} "
        f"Costs are counted to {day_words(answer.horizon_on)}: {money(plan.expected_cost, currency)} with "
        f"this plan; {money(plan.expected_cost_at_triggers, currency)} working in season only, with nothing opened off "
        "season and each unit checked or rebuilt in season when it reaches its hours, whatever places and money that "
        f"takes (the plan costs {_beside(answer.saving_beside_triggers, currency)}); "
        f"{money(plan.expected_cost_do_nothing, currency)} doing nothing, where no unit now in service is opened "
        f"before it fails or is noticed. In brackets: 90{SPACE}% interval."
    )
    if math.isfinite(plan.gap) and plan.gap >= 0.0005:
        told += f" No plan could save over {100 * plan.gap:.1f}{SPACE}% more than this one."
    return told


def season_money(answer: forecaster.PlanAnswer, currency: str) -> str:
    """What acting in season on units that are left is expected to cost on top."""
    plan = answer.plan
    if not plan.acts_in_season:
        return ""
    units = count_words(plan.acts_in_season, "unit that is left", "units that are left")
    return f" Expected on top in season, on {units}: {money(plan.season_spent, currency)}."


def overspending(answer: forecaster.PlanAnswer) -> str:
    """The chance that all costs more than there is, where there is a limit."""
    plan = answer.plan
    if not plan.may_overspend:
        return ""
    return f" The chance that the work costs more than there is: {percent(plan.overspend_chance)}."


def little_more(answer: forecaster.PlanAnswer, currency: str) -> list[str]:
    """What the next 1,000, one more bench place and one more spare unit would save: each a sentence."""
    plan = answer.plan
    found = "would save nothing more" if plan.gap < 0.0005 else "was not found to save more"
    if plan.budget is None:
        budget = "no limit was set."
    elif plan.next_1000 > 0:
        budget = f"would save a further {money(_rounded(plan.next_1000), currency)}."
    else:
        budget = f"{found}."
    told = [f"**The next 1,000 of budget:** {budget}"]
    if plan.next_bench_place > 0 and plan.next_bench_week is not None:
        place = (
            f"in the week of {day_words(plan.next_bench_week)} it would save a further "
            f"{money(_rounded(plan.next_bench_place), currency)}."
        )
    else:
        place = f"{found}."
    told.append(f"**One more bench place:** {place}")
    for what, saves in (
        ("No limit on the chance of overspending", plan.no_overspend_limit),
        ("The next 1,000 of the season's budget", plan.next_season_1000),
        ("One more rebuild a week in season", plan.next_season_place),
        ("One more set of parts on the shelf", plan.next_kit),
        ("One more spare unit", plan.next_spare_unit),
    ):
        if saves > 0:
            told.append(f"**{what}:** would save a further {money(_rounded(saves), currency)}.")
    return told


def rule_words(answer: forecaster.PlanAnswer, currency: str) -> str:
    """The best rule of its kind beside the plan."""
    beside = answer.saving_beside_rule
    cost = "" if beside is None else f", about {with_range(beside, currency)} more than this plan"
    if beside is not None and beside.mean < 0:
        cost = f", about {with_range(beside.opposite, currency)} less than this plan: {forecaster.GAINS_TOO_LITTLE}"
    if answer.rule.n_hours is None:
        return f"At its best the rule never rebuilds by hours{cost}."
    rebuilds = answer.rule.plan.count("rebuild")
    at_close = "" if answer.to_come.season_closes is None else " at the season's close"
    return (
        f"At its best it rebuilds every unit past {hours_words(answer.rule.n_hours)}{at_close}: "
        f"{count_words(rebuilds, 'rebuild')}, {money(answer.rule.plan.spent, currency)} now{cost}."
    )


def parts_words(answer: forecaster.PlanAnswer) -> str:
    """By when to order what."""
    order = answer.parts
    shelf = f"the {count_words(order.kits, 'set')} on the shelf"
    if order.order_by is None and order.from_stock:
        return f"No parts are to be ordered: {shelf} are enough for this plan."
    if order.order_by is None:
        return "No parts are needed for this plan."
    first = f"work beyond {shelf}" if order.from_stock else "work"
    told = (
        f"Order by **{day_words(order.order_by)}**, {order.lead_time_weeks:g} weeks before the first {first}: parts "
        f"for {count_words(order.rebuilds, 'rebuild')}"
    )
    if order.rattles:
        told += f", and in reserve for {count_words(order.rattles, 'checked unit')} that may rattle"
    told += "."
    if order.late:
        told += (
            f" That day is past: ordered today they are here by {day_words(order.here_on)}. Let that work begin "
            "then, unless its parts are on the shelf (Kits on the shelf, above)."
        )
    return told + " Both housings and the impeller are cleaned, inspected and used again."


def spares_words(answer: forecaster.PlanAnswer) -> str:
    """How many spare units to hold so that nobody waits."""
    s = answer.spares
    return (
        f"Hold **{count_words(s.units, 'spare unit')}** in season: enough, with {percent(s.covers)} chance, for all "
        f"units that come off within the {s.lead_time_weeks:g} weeks until one comes back, at the busiest of the "
        f"season. Expected then: {s.demand:.1f} units (90{SPACE}% interval {span_of(s.demand_low, s.demand_high)})."
    )


def span_of(low: float, high: float) -> str:
    """Both ends of a small number's interval."""
    return f"{low:.1f}{DASH}{high:.1f}"


def triggers_words(answer: forecaster.PlanAnswer) -> str:
    """How many units have something to do at so many hours in the coming season."""
    triggers = [answer.triggers[one.unit_id] for one in answer.plan.actions]
    checks = sum(t.check_at_hours is not None for t in triggers)
    rebuilds = sum(t.rebuild_at_hours is not None for t in triggers)
    told = (
        f"{count_words(checks, 'unit')} to check and {count_words(rebuilds, 'unit')} to rebuild at so many hours since "
        "the rebuild (from 0 again for one that is rebuilt now); for the others nothing pays before noise or the close."
    )
    return f"From {day_words(answer.season_opens)}: {told} A water incident makes them void: ask again at once."


def stop_lines(instructions: Instructions) -> list[str]:
    """Units that must not run as they are, each with why and what is to be done."""
    return [_line(one) for one in _by_name(instructions) if one.stops]


def at_once_lines(instructions: Instructions) -> list[str]:
    """Units that may run, whose work does not wait for a week of the plan."""
    return [_line(one) for one in _by_name(instructions) if one.at_once and not one.stops]


def _by_name(instructions: Instructions) -> list[forecaster.Instruction]:
    return sorted(instructions.values(), key=lambda one: one.unit_id)


def _line(one: forecaster.Instruction) -> str:
    return f"{plain(one.unit_id)}: {plain(forecaster.why_so(one))}; {plain(forecaster.instruction_in_words(one))}"


def week_lines(answer: forecaster.PlanAnswer) -> list[str]:
    """The work week by week, in a line each: for a narrow screen."""
    by_week: dict[str, list[str]] = {}
    for planned in in_order(answer.plan.actions):
        if planned.week_of is not None:
            told = f"{plain(planned.unit_id)}" + (" (check)" if planned.action == "check" else "")
            by_week.setdefault(day_words(planned.week_of), []).append(told)
    return [f"**{week}:** {', '.join(units)}" for week, units in by_week.items()]


def in_order(actions: Sequence[forecaster.PlannedAction]) -> list[forecaster.PlannedAction]:
    """By week, rebuilds first, what saves most first; units that are left come last."""
    return sorted(actions, key=lambda a: (a.week_of is None, str(a.week_of), a.action == "check", -a.saves, a.unit_id))
