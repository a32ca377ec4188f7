"""The off-season plan as text and as JSON: what to do with each unit and when, and what it is worth."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date

from forecaster.instruction import Instruction
from forecaster.off_season import PlanByHand
from forecaster.parts_order import PartsOrder
from forecaster.plan_answer import PlanAnswer, Saving
from forecaster.plan_problem import PlanEdit, PlannedAction
from forecaster.rebuild_parts import REUSED, PartLine
from forecaster.rebuilds_to_come import NumberOfUnits
from forecaster.report import sentences
from forecaster.report.as_json import Json, day_or_null, evidence_json, instruction_json, triggers_json, with_interval
from forecaster.report.figures import (
    about,
    about_with_range,
    counted,
    hours,
    less_or_more,
    listed,
    percent,
    seasons,
    whole,
)
from forecaster.report.instruction_wording import instruction_in_words, why_so
from forecaster.report.table import TextColumn, plain_table
from forecaster.report.text import Page
from forecaster.season_triggers import Triggers

GAINS_TOO_LITTLE = "the plan leaves work that saves too little for its money (the least gain)"
SURE_GAP = 0.0005  # of the saving: below, the plan counts as the best there is
PLAN_CAUTION = (
    "Whether a housing, an impeller or a shaft may run again is for a licensed mechanic to measure and decide. "
    + sentences.CAUTION
)


def plan_text(
    answer: PlanAnswer, instructions: Mapping[str, Instruction], page: Page, made: PlanByHand | None = None
) -> str:
    """The answer in one sentence, the work by week, the season's triggers, spares, parts, limits and the cautions.

    `instructions`: of each unit, by this plan: what does not wait for its weeks stands before them. `made`: how it was
    changed by hand.
    """
    by_hand = made if made is not None and made.edits else None
    work = sorted(
        (a for a in answer.plan.actions if a.week_of is not None), key=lambda a: (str(a.week_of), a.action, a.unit_id)
    )
    blocks = [page.strong(page.wrapped(headline(answer)))]
    blocks += at_once_blocks(instructions, page)
    if answer.to_come.season_closes is not None:
        blocks.append(page.wrapped(_to_come(answer, answer.to_come.season_closes)))
    if by_hand:
        blocks.append(page.wrapped(changed_by_hand(by_hand)))
        if by_hand.broken:
            blocks.append(page.bullets("As changed by hand, the plan breaks a limit", by_hand.broken))
    if work:
        blocks.append(work_table(work, answer, page))
    blocks += [page.wrapped(told) for told in _left_for_the_season(answer)]
    blocks.append(page.wrapped(_account(answer)))
    blocks.append(page.wrapped(_triggers_sentence(answer)))
    blocks.append(triggers_table(answer, page))
    blocks += [page.wrapped(_spares(answer)), *_parts(answer, page)]
    if by_hand is None:  # what a little more would save is known of the best plan alone
        limits = list(answer.plan.limits) or ["No limit was found to keep the plan from saving more."]
        blocks.append(page.bullets("Limits", [*limits, *_more(answer)]))
    if answer.doubtful:
        told = [f"{unit} {why}" for unit, why in answer.doubtful.items()]
        blocks.append(page.bullets("Take these units with care until their records are mended", told))
    if answer.remarks:
        blocks.append(page.bullets("Remarks", answer.remarks))
    blocks.append(page.wrapped(sentences.evidence_sentence(answer.evidence, answer.model)))
    blocks.append(page.wrapped(PLAN_CAUTION))
    return "\n\n".join(blocks)


def changed_by_hand(made: PlanByHand) -> str:
    """What was changed by hand, unit by unit, and what it costs beside the best plan."""
    told = [_change(unit, edit) for unit, edit in sorted(made.edits.items())]
    cost = made.costs_more
    if cost.is_nothing:
        beside = "It costs the same as the best plan."
    elif cost.mean < 0:
        beside = f"It costs about {about_with_range(cost.opposite)} less than the best plan."
    else:
        beside = f"It costs about {about_with_range(cost)} more than the best plan."
    return f"Changed by hand: {'; '.join(told)}. {beside}"


def _change(unit_id: str, edit: PlanEdit) -> str:
    week = f" in the week of {edit.week_of}" if edit.week_of else ""
    return f"{edit.action} {unit_id}{week}" + (f" ({edit.note})" if edit.note else "")


def at_once_blocks(instructions: Mapping[str, Instruction], page: Page) -> list[str]:
    """What must not run, and what else is not done in a week of the plan."""
    told = sorted(instructions.values(), key=lambda one: one.unit_id)
    stops, others = [one for one in told if one.stops], [one for one in told if one.at_once and not one.stops]
    blocks = []
    if stops:
        blocks.append(page.bullets("Do not run these as they are, whatever the plan says", list(map(_line, stops))))
    if others:
        blocks.append(page.bullets("Before any week of the plan", list(map(_line, others))))
    return blocks


def _line(told: Instruction) -> str:
    return f"{told.unit_id}: {why_so(told)}. {instruction_in_words(told).capitalize()}."


def headline(answer: PlanAnswer) -> str:
    """The answer in one sentence: "Rebuild 11 of 28 units this off-season: 7,150 now, about 23,000 less ..."."""
    plan = answer.plan
    total = counted(len(plan.actions), "unit")
    told: list[str] = []
    for action in ("rebuild", "check"):
        number = sum(a.action == action for a in plan.actions)
        if number:
            told.append(f"{action} {number}" + (f" of {total}" if not told else ""))
    in_season = answer.to_come.season_closes is not None
    when, then = ("in the coming off-season", "then") if in_season else ("this off-season", "now")
    if not told:
        return f"{answer.as_of}: leave all of {total} {when}; within the limits no work pays."
    return (
        f"{answer.as_of}: {listed(told)} {when}: {whole(plan.spent)} {then}, over {seasons(answer.seasons)} "
        f"{less_or_more(answer.saving)} than doing nothing and {less_or_more(answer.saving_beside_triggers)} than "
        "working in season only."
    )


def _to_come(answer: PlanAnswer, closes: date) -> str:
    """In season: what the rest of it brings, and how many rebuilds the off-season then does."""
    come, order = answer.to_come, answer.parts
    told = (
        f"Until the season closes on {closes} expect {_number(come.failures, 'failure')} of the units now in service, "
        f"and {_number(come.openings, 'unit')} opened before (noticed, found by a check, or rebuilt at their hours). "
        f"If nothing changes, the off-season brings {_number(come.rebuilds, 'rebuild')}"
    )
    if order.order_by is None or not order.rebuilds:
        return f"{told}."
    return f"{told}: order {counted(order.rebuilds, 'kit')} by {order.order_by}{_from_shelf(order)}."


def _from_shelf(order: PartsOrder) -> str:
    return f", beside the {counted(order.kits, 'kit')} on the shelf" if order.kits else ""


def _number(of: NumberOfUnits, one: str) -> str:
    """How many, with the central 90 %: "18 to 22 rebuilds", "1 failure"."""
    return counted(of.low, one) if of.low == of.high else f"{of.low} to {counted(of.high, one)}"


def _left_for_the_season(answer: PlanAnswer) -> list[str]:
    """Which units are left now, to be worked on in the season after."""
    told = []
    if now := [f"{unit} ({due})" for unit, due in answer.due.items()]:
        told.append(f"Due now, having run the hours at which that pays in season: {', '.join(now)}.")
    if later := [one.unit_id for one in answer.plan.actions if one.in_season]:
        told.append(
            "Left now, to be checked or rebuilt in the coming season at their hours, within that season's bench and "
            f"money: {', '.join(later)}."
        )
    if at_once := [f"{unit} ({due})" for unit, due in answer.due_at_opening.items()]:
        told.append(
            "Left, though at the season's opening they have run the hours at which that pays in season: "
            f"{', '.join(at_once)}."
        )
    return told


def work_table(work: list[PlannedAction], answer: PlanAnswer, page: Page) -> str:
    """The work in order of its weeks, each with what it costs now and what it saves to the horizon."""
    columns = [
        TextColumn("week of"),
        TextColumn("unit", least=8),
        TextColumn("craft", least=8),
        TextColumn("work"),
        TextColumn("costs", right=True),
        TextColumn("saves about\n(90 %)", right=True, least=11),
        TextColumn("rattles\n(chance)", right=True),
    ]
    rows = [
        (
            _day(a.week_of),
            a.unit_id + ("?" if a.unit_id in answer.doubtful else ""),
            a.craft_id,
            a.action,
            whole(a.cost),
            about_with_range(answer.savings[a.unit_id]) if a.unit_id in answer.savings else about(a.saves),
            percent(a.rattle) if a.action == "check" else "",
        )
        for a in work
    ]
    notes = ["; ".join(answer.because.get(a.unit_id, ())) for a in work]
    return plain_table(columns, rows, notes, page.width)


def _day(monday: date | None) -> str:
    return "" if monday is None else monday.isoformat()


def _account(answer: PlanAnswer) -> str:
    plan, rule = answer.plan, answer.rule
    budget = "no budget limit" if plan.budget is None else f"a budget of {whole(plan.budget)}"
    told = (
        f"Amounts in {answer.currency}. Spent {whole(plan.spent)}, with {budget}; a check's cost is as expected: the "
        f"check, and the rebuild of those that rattle.{_later(answer)}{_overspending(answer)} "
        "Expected cost of the whole fleet from today to "
        f"{answer.horizon_on}: {whole(plan.expected_cost)} with this plan; {whole(plan.expected_cost_at_triggers)} "
        "working in season only (nothing opened off season, and in season each unit checked or rebuilt when it reaches "
        f"its hours, whatever places and money that takes); {whole(plan.expected_cost_do_nothing)} doing nothing (no "
        "unit now in service opened before it fails or is noticed); "
    )
    at_close = "" if answer.to_come.season_closes is None else " when the season closes"
    if rule.n_hours is None:
        told += f'{whole(rule.plan.expected_cost)} by the rule "every N hours", which is at its best never.'
    else:
        told += (
            f'{whole(rule.plan.expected_cost)} by the best rule of the kind "every unit past N hours" within the same '
            f"limits (N = {rule.n_hours:.0f} h{at_close})."
        )
    if answer.saving_beside_rule is not None:
        told += _beside_rule(answer, answer.saving_beside_rule)
    if math.isfinite(plan.gap) and plan.gap >= SURE_GAP:
        told += f" No plan could save over {100 * plan.gap:.1f} % more than this one."
    told += " What a unit's work saves is counted beside leaving it closed until the close of the coming season."
    return told + f" In brackets the central 90 % interval. All must be ready by {answer.ready_by}."


def _beside_rule(answer: PlanAnswer, saves: Saving) -> str:
    if saves.mean >= 0:
        return f" Beside that rule the plan saves about {about_with_range(saves)}."
    return (
        f" That rule costs about {about_with_range(saves.opposite)} less, and takes "
        f"{whole(answer.rule.plan.spent - answer.plan.spent)} more money now: {GAINS_TOO_LITTLE}."
    )


def _later(answer: PlanAnswer) -> str:
    """The money of the season's own work."""
    plan = answer.plan
    if not plan.acts_in_season:
        return ""
    units = counted(plan.acts_in_season, "unit that is left", "units that are left")
    return f" Expected on top in season, on {units}: {whole(plan.season_spent)}."


def _overspending(answer: PlanAnswer) -> str:
    """The chance that all costs more than there is, where there is a limit."""
    plan = answer.plan
    if not plan.may_overspend:
        return ""
    return f" The chance that the work costs more than there is: {percent(plan.overspend_chance)}."


def _triggers_sentence(answer: PlanAnswer) -> str:
    return (
        f"In the season from {answer.season_opens}, check or rebuild a unit when it reaches these hours since its "
        "rebuild (from 0 again for a unit that is rebuilt now) by the day named; later it can wait for the season's "
        "close. A water incident makes them void: ask again at once."
    )


def triggers_table(answer: PlanAnswer, page: Page) -> str:
    """The season's triggers of each unit, units with equal ones on one line."""
    alike: dict[Triggers, list[str]] = {}
    for planned in answer.plan.actions:
        alike.setdefault(answer.triggers[planned.unit_id], []).append(planned.unit_id)
    columns = [
        TextColumn("check at", right=True),
        TextColumn("rebuild at", right=True),
        TextColumn("units", widest=max(page.width - 48, 20), least=20),
    ]
    order = sorted(alike, key=lambda t: (_or_never(t.rebuild_at_hours), _or_never(t.check_at_hours)))
    rows = [
        (_at(t.check_at_hours, t.check_until), _at(t.rebuild_at_hours, t.rebuild_until), ", ".join(alike[t]))
        for t in order
    ]
    return plain_table(columns, rows, [""] * len(rows), page.width)


def _or_never(trigger: float | None) -> float:
    return math.inf if trigger is None else trigger


def _at(trigger: float | None, until: date | None) -> str:
    if trigger is None:
        return "-"
    return hours(trigger) if until is None else f"{hours(trigger)}, to {until}"


def _spares(answer: PlanAnswer) -> str:
    s = answer.spares
    return (
        f"Hold {counted(s.units, 'spare unit')}: enough, with {percent(s.covers)} chance, for all units that come off "
        f"within the {s.lead_time_weeks:g} weeks until one comes back, at the busiest of the season. Expected then: "
        f"{s.demand:.1f} units (90 % interval {s.demand_low:.1f}-{s.demand_high:.1f})."
    )


def _parts(answer: PlanAnswer, page: Page) -> list[str]:
    order = answer.parts
    if order.order_by is None and order.from_stock:
        return [page.wrapped(f"No parts are to be ordered: {sets_on_shelf(order)} are enough for this plan.")]
    if order.order_by is None:
        return ["No parts are needed for this plan."]
    late = (
        f" That day is past: ordered today they are here by {order.here_on}. Let that work begin then, unless its "
        "parts are on the shelf (--kits)."
    )
    first = f"work beyond {sets_on_shelf(order)}" if order.from_stock else "work"
    told = (
        f"Order parts by {order.order_by}, {order.lead_time_weeks:g} weeks before the first {first}."
        f"{late if order.late else ''} Housings and impeller ({', '.join(REUSED)}) are cleaned, inspected and used "
        "again."
    )
    blocks = [page.wrapped(told)]
    if order.parts:
        blocks.append(page.bullets(f"Parts for {counted(order.rebuilds, 'rebuild')}", _lines(order.parts)))
    if order.in_reserve:
        title = f"In reserve, for up to {counted(order.rattles, 'checked unit')} that may rattle"
        blocks.append(page.bullets(title, _lines(order.in_reserve)))
    return blocks


def sets_on_shelf(order: PartsOrder) -> str:
    """The sets of parts that are there already: "the 3 sets on the shelf"."""
    return f"the {counted(order.kits, 'set')} on the shelf"


def _lines(parts: tuple[PartLine, ...]) -> list[str]:
    return [f"{line.count} x {line.part}" for line in parts]


def _more(answer: PlanAnswer) -> list[str]:
    """What a little more of a limit buys, where the limits above have not said it."""
    plan = answer.plan
    # Where the plan itself may not be the best yet, neither is it known that more would save nothing.
    nothing = "would save nothing more" if plan.gap < SURE_GAP else "was not found to save more"
    told = []
    if plan.budget is not None and plan.next_1000 <= 0:
        told.append(f"The next 1,000 of budget {nothing}.")
    if plan.next_bench_place <= 0:
        told.append(f"One more bench place {nothing}.")
    return told


def plan_json(answer: PlanAnswer, instructions: Mapping[str, Instruction], made: PlanByHand | None = None) -> Json:
    """The same for other programs: the documented keys, and more. `made`: how it was changed by hand."""
    edits: Mapping[str, PlanEdit] = {} if made is None else made.edits
    plan, spares, parts, beside = answer.plan, answer.spares, answer.parts, answer.saving_beside_rule
    return {
        "as_of": answer.as_of.isoformat(),
        "actions": [
            _action(planned, answer, instructions[planned.unit_id], planned.unit_id in edits)
            for planned in plan.actions
        ],
        "spent": plan.spent,
        "budget": plan.budget,
        "expected_cost": plan.expected_cost,
        "expected_cost_do_nothing": plan.expected_cost_do_nothing,
        "expected_cost_at_triggers": plan.expected_cost_at_triggers,
        "expected_cost_every_n_hours": answer.rule.plan.expected_cost,
        "every_n_hours": answer.rule.n_hours,
        "saves": with_interval(answer.saving),
        "saves_beside_triggers": with_interval(answer.saving_beside_triggers),
        "saves_beside_every_n_hours": None if beside is None else with_interval(beside),
        "every_n_hours_rules": [
            {
                "n_hours": rule.n_hours,
                "rebuilds": rule.rebuilds,
                "spent": rule.spent,
                "expected_cost": rule.expected_cost,
                "costs_more": with_interval(rule.costs_more),
            }
            for rule in answer.rules
        ],
        "gap": plan.gap if math.isfinite(plan.gap) else None,
        "next_1000": plan.next_1000,
        "next_bench_place": plan.next_bench_place,
        "next_bench_week": day_or_null(plan.next_bench_week),
        "next_spare_unit": plan.next_spare_unit,
        "next_season_1000": plan.next_season_1000,
        "next_season_place": plan.next_season_place,
        "next_kit": plan.next_kit,
        "no_overspend_limit": plan.no_overspend_limit,
        "overspend_chance": plan.overspend_chance,
        "season_spent": plan.season_spent,
        "limits": list(plan.limits),
        "to_come": {
            "season_closes": day_or_null(answer.to_come.season_closes),
            **{name: vars(getattr(answer.to_come, name)) for name in ("rebuilds", "failures", "openings")},
        },
        "spare_units": spares.units,
        "spares": {
            "covers": spares.covers,
            "fill_rate": spares.fill_rate,
            "demand": {"mean": spares.demand, "low": spares.demand_low, "high": spares.demand_high},
            "lead_time_weeks": spares.lead_time_weeks,
        },
        "parts": [{"part": line.part, "count": line.count} for line in parts.parts],
        "parts_in_reserve": [{"part": line.part, "count": line.count} for line in parts.in_reserve],
        "order_by": day_or_null(parts.order_by),
        "parts_here_on": parts.here_on.isoformat(),
        "kits": parts.kits,
        "ready_by": answer.ready_by.isoformat(),
        "season_opens": answer.season_opens.isoformat(),
        "horizon_on": answer.horizon_on.isoformat(),
        "currency": answer.currency,
        "fit": evidence_json(answer.evidence),
        "remarks": list(answer.remarks),
        "edits": [
            {"unit_id": unit, "action": edit.action, "week_of": day_or_null(edit.week_of), "note": edit.note}
            for unit, edit in sorted(edits.items())
        ],
        "costs_more": with_interval(made.costs_more) if made is not None and edits else None,
        "broken": [] if made is None else list(made.broken),
    }


def _action(planned: PlannedAction, answer: PlanAnswer, told: Instruction, changed: bool) -> Json:
    saving, now = answer.savings.get(planned.unit_id), answer.triggers_now.get(planned.unit_id)
    return {
        "unit_id": planned.unit_id,
        "craft_id": planned.craft_id,
        "instruction": instruction_json(told),
        "action": planned.action,
        "week_of": day_or_null(planned.week_of),
        "cost": planned.cost,
        "saves": planned.saves,
        "saves_low": None if saving is None else saving.low,
        "saves_high": None if saving is None else saving.high,
        "in_season": planned.in_season,
        "season_spend": planned.season_spend,
        "season": triggers_json(answer.triggers[planned.unit_id]),
        "season_now": None if now is None else triggers_json(now),
        "due": answer.due.get(planned.unit_id),
        "due_at_opening": answer.due_at_opening.get(planned.unit_id),
        "because": list(answer.because.get(planned.unit_id, ())),
        "doubtful": answer.doubtful.get(planned.unit_id),
        "stop": list(answer.stop.get(planned.unit_id, ())),
        "changed_by_hand": changed,
    }
