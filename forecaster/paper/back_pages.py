"""The second half of the printed report: curves, costs, parts, what stands behind it, cautions."""

from __future__ import annotations

from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table, TableStyle

from forecaster.paper import wording
from forecaster.paper.content import PaperContent, UnitOnPaper
from forecaster.paper.curve_drawing import curve_drawing, legend_drawing
from forecaster.paper.page_parts import HEADING, NOTE, SMALL, SUBHEADING, TEXT_WIDTH, bullets, cut, grid, words
from forecaster.problems import how_many
from forecaster.rebuild_parts import REUSED
from forecaster.report import figures
from forecaster.report.figures import counted
from forecaster.unit_curve import UnitCurve

PROBLEMS_TOLD = 5
REMARKS_TOLD = 6
MOST_WHY = 400  # characters of a unit's reasons beside its curve
CURVE_HEIGHT = 48 * mm
CURVE_WIDTH = 0.62 * TEXT_WIDTH


def curves(content: PaperContent) -> list[Flowable]:
    """The curves of the units most at risk, each beside its figures."""
    by_id = {unit.unit_id: unit for unit in content.units}
    many = "unit" if len(content.curves) == 1 else f"{figures.NUMBER_WORDS[len(content.curves)]} units"
    heading = words(f"The {many} most at risk, hour by hour", HEADING)
    pictures = [_picture(curve, by_id[curve.unit_id], content) for curve in content.curves]
    legend: list[Flowable] = [legend_drawing(TEXT_WIDTH), Spacer(0, 2)]
    note = (
        "Left of \u201cnow\u201d: the chance that the bearing was defective, by what was known at each hour. Right of "
        "it: what follows if nobody opens the unit and no more water gets in."
    )
    return [KeepTogether([heading, *legend, *pictures, words(note, NOTE)])]


def _picture(curve: UnitCurve, unit: UnitOnPaper, content: PaperContent) -> Table:
    one = unit.forecast
    told = [
        words(cut(f"{unit.unit_id} on craft {wording.craft(unit)}", 80), SUBHEADING),
        words(f"To do: {wording.work(unit, content)}.", SMALL),
        words(f"Fails within {content.hours:g} h: {wording.chance(one.fails_within)}.", SMALL),
        words(f"Defective now: {wording.chance(one.defective_now)}.", SMALL),
        words(f"Fails by {wording.day(content.season[1], content)}: {wording.chance(one.fails_this_season)}.", SMALL),
        words(f"{wording.in_season(unit, content.in_season)}.", SMALL),
        words(cut(f"Why: {wording.reasons(unit)}.", MOST_WHY), SMALL),
    ]
    table = Table(
        [[curve_drawing(curve, CURVE_WIDTH, CURVE_HEIGHT), told]], colWidths=[CURVE_WIDTH, TEXT_WIDTH - CURVE_WIDTH]
    )
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (0, 0), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 4),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 8),
            ]
        )
    )
    return table


def costs(content: PaperContent) -> list[Flowable]:
    """What the plan costs, saves and is measured against, and the prices that it counts with."""
    currency, prices = content.currency, content.prices
    told: list[Flowable] = [words("What it costs", HEADING)]
    rows = [
        ["To spend on the off-season's work, as expected", wording.amount(content.spent, currency)],
        [
            f"Expected saving until {wording.day(content.horizon_on, content)}, beside doing nothing (90 % interval)",
            wording.saving(content.saving, currency),
        ],
        [
            "\u2026 beside working in season only",
            wording.saving(content.plan.saving_beside_triggers, currency),
        ],
    ]
    plan, rule = content.plan.plan, content.plan.rule
    never = "never rebuild by hours" if rule.n_hours is None else f"every unit past {figures.hours(rule.n_hours)}"
    rows += [
        [
            "Budget kept for these craft" if content.kept_budget else "Budget",
            "no limit" if plan.budget is None else wording.amount(plan.budget, currency),
        ],
        ["Expected cost of all units until then: with this plan", wording.amount(plan.expected_cost, currency)],
        *_best(content),
        [
            "\u2026 working in season only: each unit at its hours, whatever places and money that takes",
            wording.amount(plan.expected_cost_at_triggers, currency),
        ],
        [
            "\u2026 doing nothing: no unit opened before it fails or is noticed",
            wording.amount(plan.expected_cost_do_nothing, currency),
        ],
        [
            f"\u2026 by the best simple rule within the same limits ({never})",
            wording.amount(rule.plan.expected_cost, currency),
        ],
        ["A planned rebuild off season", wording.amount(prices.planned(in_season=False), currency)],
        ["A check off season (a check that rattles ends in a rebuild)", wording.amount(prices.check, currency)],
        ["Rental income of an in-season day, the mean of these craft", wording.amount(prices.day_rate, currency)],
        [
            "A failure in season, as expected: unit, engine, lost rental days",
            wording.amount(prices.failure(), currency),
        ],
    ]
    told.append(grid(["", "Amount"], rows, (75, 25), right=(1,)))
    within = wording.planned_within(content)
    notes = [*filter(None, [within, wording.assumed_rates(content)]), *wording.limits(content)]
    return [KeepTogether(told), *([Spacer(0, 3), *bullets(notes, SMALL)] if notes else [])]


def _best(content: PaperContent) -> list[list[str]]:
    """What the best plan would cost, where it was changed by hand."""
    if content.by_hand is None:
        return []
    cost = content.plan.plan.expected_cost - content.by_hand.costs_more.mean
    return [["\u2026 with the best plan, not changed by hand", wording.amount(cost, content.currency)]]


def parts(content: PaperContent) -> list[Flowable]:
    """What to order and by when, and how many spare units to hold."""
    order = content.parts
    told: list[Flowable] = [words("Parts and spares", HEADING), words(wording.order_of_parts(content))]
    if content.parts_now:
        told.append(words(wording.parts_now(content)))
    if order.by_part:
        reserve = "in reserve, for checks that may rattle"
        if order.rattles:
            reserve = f"in reserve, for up to {counted(order.rattles, 'checked unit')} that may rattle"
        head = ["Part", f"for {counted(order.rebuilds, 'rebuild')}", reserve]
        rows = [[part, *(str(n) if n else "\N{EN DASH}" for n in counts)] for part, counts in order.by_part.items()]
        reused = f"{figures.listed(list(REUSED)).capitalize()} are cleaned, inspected and used again."
        told.append(grid(head, rows, (50, 20, 40), right=(1, 2)))
        told += [Spacer(0, 3), words(reused, NOTE), Spacer(0, 4)]
    if content.owner is None:  # the workshop holds the spare units, for all owners together
        spares = content.plan.spares
        told.append(
            words(
                f"Spare units to hold: {spares.units}, enough with {figures.percent(spares.covers)} chance at the "
                f"busiest of the season ({spares.demand:.1f} units expected to be away then, 90 % interval "
                f"{spares.demand_low:.1f}\N{EN DASH}{spares.demand_high:.1f})."
            )
        )
    return [KeepTogether(told)]


def evidence(content: PaperContent) -> list[Flowable]:
    """What stands behind the figures, how past forecasts fared, and where knowledge ends."""
    told: list[Any] = [words("How sure this is", HEADING)]
    told += bullets(wording.evidence(content))
    told += bullets(wording.past(content))
    told += bullets(wording.limits_of_knowledge(content))
    return [KeepTogether(told[:2]), *told[2:]]


def records(content: PaperContent) -> list[Flowable]:
    """Remarks on the records, and the first of their problems."""
    told: list[Flowable] = bullets([cut(r, 300) for r in content.remarks[:REMARKS_TOLD]], SMALL)
    rest = len(content.remarks) - REMARKS_TOLD
    if rest > 0:
        told += bullets([f"and {counted(rest, 'remark')} more."], SMALL)
    if content.problems:
        first = [cut(str(problem), 240) for problem in content.problems[:PROBLEMS_TOLD]]
        more = how_many(content.problems) - len(first)
        told += bullets(first, SMALL)
        told += (
            bullets([f"and {counted(more, 'problem')} more, listed in the work list (.xlsx)."], SMALL) if more else []
        )
    return [words("Remarks on the records", HEADING), *told] if told else []


def cautions() -> list[Flowable]:
    """The usual cautions."""
    return [KeepTogether([words("Cautions", HEADING), *bullets(wording.CAUTIONS)])]
