"""After water, as text and JSON: STOP before all, then the steps, the mechanic's list, the cautions, risk and costs."""

from __future__ import annotations

import math

from forecaster.flooding import AfterWater, RiskAhead
from forecaster.flooding_costs import Option
from forecaster.flooding_steps import WHENS
from forecaster.report import figures
from forecaster.report.after_water_wording import WaterWords, advice_in_short, words_after_water
from forecaster.report.as_json import Json, evidence_json, instruction_json, with_interval
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
    """What to do after water, as text: stop, the answer in a sentence, steps, cautions, risk, costs, evidence."""
    words = words_after_water(answer)
    blocks = [page.strong(page.wrapped(words.order))] if words.order else []
    if words.stops:
        blocks.append("\n".join(page.wrapped(f"- {reason}", "  ") for reason in words.stops))
    blocks.append(page.strong(page.wrapped(words.headline)))
    if words.instruction:
        blocks.append(page.wrapped(words.instruction))
    blocks.append(page.wrapped(words.risk))
    blocks.append(_steps(words, page))
    blocks.append(_calls(words, page))
    blocks.append(page.bullets("Cautions", words.cautions))
    blocks.append(page.wrapped(words.risk_figures))
    blocks.append(f"{page.wrapped('Chance of failing within the next engine hours:')}\n\n{_risk(answer, page)}")
    blocks.append(page.wrapped(f"{IS_SO_NOW[answer.applies]} {LEGEND}"))
    blocks.append(_costs(answer, page, currency))
    blocks.append(page.bullets("Why", words.reasons))
    blocks.append(page.wrapped(words.evidence))
    if words.remarks:
        blocks.append(page.bullets("Remarks", words.remarks))
    return "\n\n".join(blocks)


def _steps(words: WaterWords, page: Page) -> str:
    lines = [page.wrapped(words.hurry)] if words.hurry else []
    for when in WHENS:
        own = [step for step in words.steps if step.when == when]
        if own:
            lines.append(page.strong(f"{when.capitalize()}:"))
        lines += [page.wrapped(f"{step.number:>2}. {step.do}", "    ") for step in own]
    return "\n".join(lines)


def _calls(words: WaterWords, page: Page) -> str:
    told = [f"{call.told} (so here)" if call.applies else call.told for call in words.calls]
    return page.bullets("Call a mechanic now if", told)


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
        f"What each way costs on average over the next {answer.costed_hours:g} engine hours, in {currency}, once the "
        "treatment that can still be had was done (failures, rebuilds, checks and lost rental days; the steps above "
        "come with each):"
    )
    columns = [TextColumn("supercharger", widest=30), TextColumn("expected cost (90 %)", right=True, widest=30)]
    rows = [
        (_named(option, answer), f"{option.expected_cost:z,.0f} ({option.low:z,.0f}-{option.high:z,.0f})")
        for option in answer.options
    ]
    return f"{page.wrapped(intro)}\n\n{plain_table(columns, rows, [''] * len(rows), page.width)}"


def _named(option: Option, answer: AfterWater) -> str:
    advised = " (advised)" if option is answer.best else ""
    if option.action == "check":
        return f"check after {option.check_after_h:g} h{advised}"
    return {"open": "open now", "ride": "ride, no check"}[option.action] + advised


def flooding_json(answer: AfterWater, currency: str) -> Json:
    """The answer for other programs; see DEVELOPERS.md for the keys."""
    flooding, evidence, words = answer.flooding, answer.evidence, words_after_water(answer)
    return {
        "as_of": answer.as_of.isoformat(),
        "craft_id": answer.craft_id or None,
        "unit_id": answer.unit_id or None,
        "hours_since_rebuild": answer.hours_since_rebuild,
        "flooding": flooding.model_dump(mode="json"),
        "stop": answer.stop,
        "stops": list(words.stops),
        "stop_codes": [stop.code for stop in answer.stops],
        "order": words.order,
        "steps": [{"when": step.when, "do": step.do, "code": step.code} for step in words.steps],
        "call_mechanic": [
            {"if": told.told, "applies": call.applies, "code": call.code}
            for told, call in zip(words.calls, answer.calls, strict=True)
        ],
        "cautions": list(words.cautions),
        "applies": answer.applies,
        "defective_now": with_interval(answer.defective_now),
        "risk": [_row(row) for row in answer.risk],
        "advice": advice_in_short(answer),
        "instruction": None if answer.instruction is None else instruction_json(answer.instruction),
        "told_now": answer.told_now,
        "because": [*words.stops, *words.reasons],
        "risk_in_words": words.risk,
        "currency": currency,
        "options": [_option(option) for option in answer.options],
        "fit": {**evidence_json(evidence), "remarks": list(evidence.remarks)},
        "remarks": list(words.remarks),
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
