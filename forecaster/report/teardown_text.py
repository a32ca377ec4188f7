"""What to do with an opened unit, as text and as JSON: the answer first, then parts, quote, what follows, cautions."""

from __future__ import annotations

from forecaster.opened_unit import Finding
from forecaster.report.as_json import Json
from forecaster.report.figures import listed, money
from forecaster.report.table import TextColumn, plain_table
from forecaster.report.text import Page
from forecaster.teardown import Quote, TeardownAdvice

GOES_BACK = ("put back", "reset and put back")


def teardown_text(advice: TeardownAdvice, page: Page, currency: str, in_season: bool, prices_of: str) -> str:
    """What is done with the unit, as text; `prices_of`: whose prices the quote is made with."""
    blocks = [page.strong(page.wrapped(headline(advice, currency)))]
    if advice.because:
        blocks.append(_listed("Why", advice.because, page))
    blocks.append("\n".join(page.wrapped(line, "  ") for line in _parts(advice)))
    blocks.append(page.wrapped(f"Clutch slip: {advice.slip}"))
    blocks.append(_quote(advice, page, currency, in_season, prices_of))
    blocks.append(_numbered("What follows", advice.follow_up, page))
    blocks.append(_listed("Cautions", advice.cautions, page))
    return "\n\n".join(blocks)


def headline(advice: TeardownAdvice, currency: str) -> str:
    """The answer in one sentence, with what it comes to."""
    quote = advice.quote
    price = _range(quote, currency)
    new = money(quote.new_unit, currency)
    if advice.decision == "rebuild" and advice.core == "not inspected":
        rebuild = money(quote.rebuild, currency)
        return (
            f"Rebuild this unit for about {rebuild} if both housings and the impeller pass inspection; else a new one, "
            f"{new}."
        )
    if advice.decision == "rebuild":
        return f"Rebuild this unit for about {price}; a new one would cost {new}."
    if advice.decision == "new unit":
        why = "the core is lost" if advice.core == "lost" else "a rebuild would cost more"
        return f"Fit a new unit for about {price}: {why}."
    if advice.decision == "measure first":
        return f"Measure before you decide: the job may come to {price}."
    done = (
        "Reset its clutch and put this unit back" if advice.decision == "reset and put back" else "Put this unit back"
    )
    return f"{done} for about {price}: no rebuild and no new unit."


def _range(quote: Quote, currency: str) -> str:
    low = money(quote.low, currency)
    return low if quote.low == quote.high else f"{low} to {quote.high:,.0f}"


def _parts(advice: TeardownAdvice) -> list[str]:
    lines = []
    if advice.reused:
        again = "Goes back as it is" if advice.decision in GOES_BACK else "Cleaned, inspected and used again"
        again += ", if they pass" if advice.core == "not inspected" and advice.decision not in GOES_BACK else ""
        lines.append(f"{again}: {listed(list(advice.reused))}.")
    if advice.measured_first:
        lines.append(f"Measured before anybody can say: {listed(list(advice.measured_first))}.")
    if advice.renewed:
        if_so = "Renewed, if it is rebuilt" if advice.decision == "measure first" else "Renewed"
        lines.append(f"{if_so}: {listed([f'{line.count} {line.part}' for line in advice.renewed])}.")
    elif advice.decision in GOES_BACK:
        lines.append("Renewed: nothing, but any seal that was disturbed.")
    if advice.not_reused:
        lines.append(f"Not used again: {listed(list(advice.not_reused))}; the new unit brings its own.")
    return lines


def _quote(advice: TeardownAdvice, page: Page, currency: str, in_season: bool, prices_of: str) -> str:
    quote = advice.quote
    columns = [TextColumn("quote", widest=40), TextColumn(currency, right=True)]
    rows = [
        ("this job", _range(quote, "").strip()),
        ("rebuild", f"{quote.rebuild:,.0f}"),
        ("new unit", f"{quote.new_unit:,.0f}"),
    ]
    notes = [f"Prices: {prices_of}. Rental days lost are not in them."]
    if in_season:
        notes.append(f"Rebuild and new unit each hold {money(quote.surcharge, currency)} for the rush in season.")
    else:
        notes.append("Reckoned off season, with no rush surcharge.")
    if quote.engine_if_hit:
        engine = money(quote.engine_if_hit, currency)
        notes.append(f"Not in them: an engine repair, about {engine}, if metal has reached the engine.")
    return f"{plain_table(columns, rows, [''] * len(rows), page.width)}\n\n{page.wrapped(' '.join(notes))}"


def _listed(title: str, lines: tuple[str, ...], page: Page) -> str:
    return "\n".join([f"{title}:", *(page.wrapped(f"- {line}", "  ") for line in lines)])


def _numbered(title: str, lines: tuple[str, ...], page: Page) -> str:
    return "\n".join([f"{title}:", *(page.wrapped(f"{n:>2}. {line}", "    ") for n, line in enumerate(lines, 1))])


def teardown_json(finding: Finding, advice: TeardownAdvice, currency: str, in_season: bool, prices_of: str) -> Json:
    """The answer for other programs; see DEVELOPERS.md for the keys."""
    quote = advice.quote
    return {
        "finding": finding.model_dump(mode="json"),
        "decision": advice.decision,
        "core": advice.core,
        "reused": list(advice.reused),
        "measured_first": list(advice.measured_first),
        "renewed": [{"part": line.part, "count": line.count} for line in advice.renewed],
        "not_reused": list(advice.not_reused),
        "slip": advice.slip,
        "currency": currency,
        "in_season": in_season,
        "prices_of": prices_of,
        "quote": {
            "low": quote.low,
            "high": quote.high,
            "rebuild": quote.rebuild,
            "new_unit": quote.new_unit,
            "surcharge": quote.surcharge,
            "engine_if_hit": quote.engine_if_hit,
        },
        "because": list(advice.because),
        "follow_up": list(advice.follow_up),
        "cautions": list(advice.cautions),
    }
