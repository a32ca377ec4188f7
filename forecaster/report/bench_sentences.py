"""What every face says of an opened unit and of a fleet's clutches; how each writes money and counts is its own."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

from forecaster.report.figures import listed
from forecaster.slip import FleetSlip
from forecaster.teardown import Quote, TeardownAdvice

GOES_BACK = ("put back", "reset and put back")
# Action of a clutch -> the words that follow its number in the headline.
DONE = {
    "reset now": "reset now",
    "plan a reset": "reset at the next opening",
    "measure": "measured, since nobody has yet",
}
NOT_REPLACED = "Low slip is reset; it is never by itself a reason for a new unit."


def job_price(quote: Quote, money: Callable[[float], str]) -> str:
    """What the job may come to: "USD 650" or "USD 650 to 1,700"; `money` writes an amount with its currency."""
    low = money(quote.low)
    return low if quote.low == quote.high else f"{low} to {quote.high:,.0f}"


def teardown_headline(advice: TeardownAdvice, money: Callable[[float], str], unit: str = "this unit") -> str:
    """What to do with the unit and what it comes to, in one sentence; `unit`: what it is called, "it" where it shows.

    `money` writes an amount with its currency.
    """
    quote = advice.quote
    price, new = job_price(quote, money), money(quote.new_unit)
    if advice.decision == "rebuild" and advice.core == "not inspected":
        return (
            f"Rebuild {unit} for about {money(quote.rebuild)} if both housings and the impeller pass inspection; else "
            f"a new one, {new}."
        )
    if advice.decision == "rebuild":
        return f"Rebuild {unit} for about {price}; a new one would cost {new}."
    if advice.decision == "new unit":
        why = "the core is lost" if advice.core == "lost" else "a rebuild would cost more"
        return f"Fit a new unit for about {price}: {why}."
    if advice.decision == "measure first":
        return f"Measure before you decide: the job may come to {price}."
    done = f"Reset its clutch and put {unit} back" if advice.decision == "reset and put back" else f"Put {unit} back"
    return f"{done} for about {price}: no rebuild and no new unit."


def teardown_parts(advice: TeardownAdvice) -> list[str]:
    """What is reused, measured, renewed and given up: a sentence each."""
    lines = []
    if advice.reused:
        again = "Goes back as it is" if advice.decision in GOES_BACK else "Cleaned, inspected and used again"
        again += ", if they pass" if advice.core == "not inspected" and advice.decision not in GOES_BACK else ""
        lines.append(f"{again}: {listed(advice.reused)}.")
    if advice.measured_first:
        lines.append(f"Measured before anybody can say: {listed(advice.measured_first)}.")
    if advice.renewed:
        if_so = "Renewed, if it is rebuilt" if advice.decision == "measure first" else "Renewed"
        lines.append(f"{if_so}: {listed([f'{line.count} {line.part}' for line in advice.renewed])}.")
    elif advice.decision in GOES_BACK:
        lines.append("Renewed: nothing, but any seal that was disturbed.")
    if advice.not_reused:
        lines.append(f"Not used again: {listed(advice.not_reused)}; the new unit brings its own.")
    return lines


def surcharge_notes(quote: Quote, money: Callable[[float], str], in_season: bool) -> list[str]:
    """What the quote holds for the season and what it leaves out of the engine: a sentence each."""
    notes = [
        f"Rebuild and new unit each hold {money(quote.surcharge)} for the rush in season."
        if in_season
        else "Reckoned off season, with no rush surcharge."
    ]
    if quote.engine_if_hit:
        engine = money(quote.engine_if_hit)
        notes.append(f"Not in them: an engine repair, about {engine}, if metal has reached the engine.")
    return notes


def slip_headline(slip: FleetSlip, clutches: str, lowest: str) -> str:
    """The clutches in one sentence, which begins small, then `lowest`: the sentence about the one most likely too low.

    How many to reset and to measure; `clutches`: how many there are, with the noun.
    """
    number = Counter(one.action for one in slip.units)
    told = [f"{number[action]} should be {words}" for action, words in DONE.items() if number[action]]
    answer = f"of {clutches}, {listed(told)}" if told else f"none of {clutches} needs a reset or a look now"
    return f"{answer}. {lowest} {NOT_REPLACED}"
