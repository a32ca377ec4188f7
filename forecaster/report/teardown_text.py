"""What to do with an opened unit, as text and as JSON: the answer first, then parts, quote, what follows, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from forecaster.opened_unit import Finding
from forecaster.report.as_json import Json
from forecaster.report.bench_sentences import quote_lines, quote_notes, teardown_headline, teardown_parts
from forecaster.report.figures import money
from forecaster.report.table import TextColumn, plain_table
from forecaster.report.teardown_sentences import slip_sentence, teardown_reasons, teardown_steps
from forecaster.report.text import Page
from forecaster.teardown import TeardownAdvice


def teardown_text(advice: TeardownAdvice, page: Page, currency: str, in_season: bool, prices_of: str) -> str:
    """What is done with the unit, as text; `prices_of`: whose prices the quote is made with."""
    blocks = [page.strong(page.wrapped(teardown_headline(advice, partial(money, currency=currency))))]
    blocks.append(_listed("Why", teardown_reasons(advice), page))
    blocks.append("\n".join(page.wrapped(line, "  ") for line in teardown_parts(advice)))
    blocks.append(page.wrapped(f"Clutch slip: {slip_sentence(advice)}"))
    blocks.append(_quote(advice, page, currency, in_season, prices_of))
    blocks.append(_numbered("What follows", teardown_steps(advice), page))
    blocks.append(_listed("Cautions", advice.cautions, page))
    return "\n\n".join(blocks)


def _quote(advice: TeardownAdvice, page: Page, currency: str, in_season: bool, prices_of: str) -> str:
    columns = [TextColumn("quote", widest=40), TextColumn(currency, right=True)]
    rows = quote_lines(advice, "{:,.0f}".format)
    notes = [
        f"Prices: {prices_of}. Rental days lost are not in them.",
        *quote_notes(advice, partial(money, currency=currency), in_season),
    ]
    return f"{plain_table(columns, rows, [''] * len(rows), page.width)}\n\n{page.wrapped(' '.join(notes))}"


def _listed(title: str, lines: Sequence[str], page: Page) -> str:
    return "\n".join([f"{title}:", *(page.wrapped(f"- {line}", "  ") for line in lines)])


def _numbered(title: str, lines: Sequence[str], page: Page) -> str:
    return "\n".join([f"{title}:", *(page.wrapped(f"{n:>2}. {line}", "    ") for n, line in enumerate(lines, 1))])


def teardown_json(finding: Finding, advice: TeardownAdvice, currency: str, in_season: bool, prices_of: str) -> Json:
    """The answer for other programs; see DEVELOPERS.md for the keys."""
    quote = advice.quote
    return {
        "finding": finding.model_dump(mode="json"),
        "decision": advice.decision,
        "at_least": advice.at_least,
        "at_most": advice.at_most,
        "core": advice.core,
        "reused": list(advice.reused),
        "inspected_first": list(advice.inspected_first),
        "measured_first": list(advice.measured_first),
        "renewed": [{"part": line.part, "count": line.count} for line in advice.renewed],
        "bought": [{"part": line.part, "price": line.price} for line in advice.bought],
        "not_reused": list(advice.not_reused),
        "slip": slip_sentence(advice),
        "slip_code": advice.slip,
        "currency": currency,
        "in_season": in_season,
        "prices_of": prices_of,
        "quote": {
            "low": quote.low,
            "high": quote.high,
            "put_back": quote.put_back,
            "rebuild": quote.rebuild,
            "new_unit": quote.new_unit,
            "surcharge": quote.surcharge,
            "engine_if_hit": quote.engine_if_hit,
            "not_priced": list(quote.not_priced),
        },
        "because": teardown_reasons(advice),
        "because_codes": list(advice.because),
        "follow_up": teardown_steps(advice),
        "follow_up_codes": list(advice.follow_up),
        "cautions": list(advice.cautions),
    }
