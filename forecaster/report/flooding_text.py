"""After water, in words and JSON: the answer first, STOP before all, then the steps, the cautions and the risk."""

from __future__ import annotations

import math

from forecaster.flooding import AfterWater, RiskAhead
from forecaster.flooding_costs import HORIZON_H, Option
from forecaster.flooding_steps import WHENS
from forecaster.report import figures, sentences
from forecaster.report.as_json import Json, evidence_json, with_interval
from forecaster.report.table import TextColumn, plain_table
from forecaster.report.text import Page

IS_SO_NOW = {
    "treated": "What is so now: treated within 24 h.",
    "late": "What is so now: treated later.",
    "untreated": "What is so now: not treated.",
    "unknown": "Nobody knows whether and how soon it was treated; what is so now is a mixture of the first three.",
}
LEGEND = (
    "Chances that the supercharger's bearing fails, if nobody opens it and no more water comes in; in brackets the "
    "central 90 % interval. They know the hours, earlier water, the treatment and the spin by hand. How long it was "
    "under, whether the engine ran and what the oil looks like they do not know: those decide the steps."
)


def flooding_text(answer: AfterWater, page: Page, currency: str) -> str:
    """What to do after water, as text: the answer in a sentence, steps by when, cautions, risk, costs, evidence."""
    blocks = [page.strong(page.wrapped(headline(answer)))]
    if len(answer.stops) > 1:
        blocks.append("\n".join(page.wrapped(f"- Also: {reason}.", "  ") for reason in answer.stops[1:]))
    blocks.append(_steps(answer, page))
    blocks.append(page.bullets("Cautions", answer.cautions))
    blocks.append(f"{page.wrapped('Chance of failing within the next engine hours:')}\n\n{_risk(answer, page)}")
    blocks.append(page.wrapped(f"{IS_SO_NOW[answer.applies]} {LEGEND}"))
    blocks.append(_costs(answer, page, currency))
    blocks.append(page.bullets("Why", _why(answer)))
    blocks.append(page.wrapped(evidence_line(answer)))
    remarks = [*(answer.evidence.remarks if answer.evidence.lives else ()), *answer.remarks]
    if remarks:
        blocks.append(page.bullets("Remarks", remarks))
    return "\n\n".join(blocks)


def headline(answer: AfterWater) -> str:
    """The answer in one sentence: STOP with its gravest reason where it is so, then what to do about the unit."""
    if answer.stop:
        return f"STOP, do not run it: {answer.stops[0]}. Once the steps below have put that right: {_advice(answer)}."
    return f"{subject(answer)}: do the steps below, then {_advice(answer)}. {_within(answer.risk[-1])}"


def subject(answer: AfterWater) -> str:
    """Which craft and unit, as far as known."""
    age = answer.hours_since_rebuild
    hours = "hours since rebuild unknown" if age is None else f"{figures.hours(age)} since rebuild"
    if answer.craft_id:
        return f"{answer.craft_id} (unit {answer.unit_id}, {hours})"
    return f"This craft ({hours})"


def _advice(answer: AfterWater) -> str:
    if answer.best.action == "check":
        return f"check the supercharger after {answer.best.check_after_h:g} engine hours"
    return {"open": "have the supercharger opened before the next ride", "ride": "ride"}[answer.best.action]


def _within(row: RiskAhead) -> str:
    return (
        f"As it is, the chance that its bearing fails within {row.hours:g} engine hours is "
        f"{figures.percent_with_range(row.as_it_is)}; without this water it would be "
        f"{figures.percent_with_range(row.no_incident)}."
    )


def _why(answer: AfterWater) -> tuple[str, ...]:
    return tuple(reason for reason in answer.because if reason not in answer.stops)


def _steps(answer: AfterWater, page: Page) -> str:
    lines, number = [], 0
    for when in WHENS:
        own = [step.do for step in answer.steps if step.when == when]
        if own:
            lines.append(page.strong(f"{when.capitalize()}:"))
        for do in own:
            number += 1
            lines.append(page.wrapped(f"{number:>2}. {do}", "    "))
    return "\n".join(lines)


def _risk(answer: AfterWater, page: Page) -> str:
    headings = ["treated\nwithin 24 h", "treated\nlater", "not\ntreated", "without\nthis water"]
    unknown = answer.applies == "unknown"
    columns = [TextColumn("within", right=True)]
    columns += [TextColumn(heading, right=True, least=9) for heading in [*headings, *["as it is"] * unknown]]
    rows = []
    for row in answer.risk:
        chances = [row.treated, row.late, row.untreated, row.no_incident, *[row.as_it_is] * unknown]
        rows.append((figures.hours(row.hours), *(figures.percent_with_range(one) for one in chances)))
    return plain_table(columns, rows, [""] * len(rows), page.width)


def _costs(answer: AfterWater, page: Page, currency: str) -> str:
    intro = (
        f"What each way costs on average over the next {HORIZON_H:g} engine hours, in {currency}, once the treatment "
        "that can still be had was done (failures, rebuilds, checks and lost rental days; the steps above come with "
        "each):"
    )
    columns = [
        TextColumn("supercharger", widest=30),
        TextColumn("expected cost (90 %)", right=True, widest=30),
        TextColumn("cheapest in", right=True),
    ]
    rows = [
        (_named(option), f"{option.expected_cost:,.0f} ({option.low:,.0f}-{option.high:,.0f})", _best_in(option))
        for option in answer.options
    ]
    return f"{page.wrapped(intro)}\n\n{plain_table(columns, rows, [''] * len(rows), page.width)}"


def _best_in(option: Option) -> str:
    return figures.percent(option.chance_best)


def _named(option: Option) -> str:
    if option.action == "check":
        return f"check after {option.check_after_h:g} h"
    return {"open": "open now", "ride": "ride, no check"}[option.action]


def evidence_line(answer: AfterWater) -> str:
    """What the figures rest on: the fleet's lives, or that they are general experience."""
    if answer.evidence.lives:
        return sentences.evidence_sentence(answer.evidence, "two-stage")
    return f"No fleet's records stand behind these figures: they are {answer.evidence.prior}."


def flooding_json(answer: AfterWater, currency: str) -> Json:
    """The answer for other programs; see DEVELOPERS.md for the keys."""
    flooding, evidence = answer.flooding, answer.evidence
    return {
        "as_of": answer.as_of.isoformat(),
        "craft_id": answer.craft_id or None,
        "unit_id": answer.unit_id or None,
        "hours_since_rebuild": answer.hours_since_rebuild,
        "flooding": flooding.model_dump(mode="json"),
        "stop": answer.stop,
        "stops": list(answer.stops),
        "steps": [{"when": step.when, "do": step.do} for step in answer.steps],
        "cautions": list(answer.cautions),
        "applies": answer.applies,
        "defective_now": with_interval(answer.defective_now),
        "risk": [_row(row) for row in answer.risk],
        "advice": answer.advice,
        "because": list(answer.because),
        "currency": currency,
        "options": [_option(option) for option in answer.options],
        "fit": {**evidence_json(evidence), "remarks": list(evidence.remarks)},
        "remarks": list(answer.remarks),
    }


def _row(row: RiskAhead) -> Json:
    return {
        "hours": row.hours,
        "treated": with_interval(row.treated),
        "late": with_interval(row.late),
        "untreated": with_interval(row.untreated),
        "no_incident": with_interval(row.no_incident),
        "as_it_is": with_interval(row.as_it_is),
    }


def _option(option: Option) -> Json:
    after = option.check_after_h
    return {
        "action": option.action,
        "check_after_h": after if math.isfinite(after) else None,
        "expected_cost": option.expected_cost,
        "low": option.low,
        "high": option.high,
        "chance_best": option.chance_best,
    }
