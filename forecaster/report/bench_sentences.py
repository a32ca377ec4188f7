"""What every face says of an opened unit and of a fleet's clutches; how each writes money and counts is its own."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

from forecaster.bench_quote import Quote
from forecaster.core_condition import core_states
from forecaster.job_reasons import GOES_BACK, ReasonCode
from forecaster.rebuild_parts import PartLine
from forecaster.report.figures import listed
from forecaster.report.teardown_sentences import named, with_marks
from forecaster.slip import FleetSlip
from forecaster.teardown import TeardownAdvice

Money = Callable[[float], str]  # writes an amount with its currency
# Action of a clutch -> the words that follow its number in the headline.
DONE = {
    "reset now": "reset now",
    "plan a reset": "reset at the next opening",
    "measure": "measured, since nobody has yet",
}
NOT_REPLACED = "Low slip is reset; it is never by itself a reason for a new unit."
# What fails, for the headline: the first of these that is a reason.
FAILS: dict[ReasonCode, str] = {
    "bearing_failed": "the supercharger's bearing has failed",
    "bearing_noisy": "the supercharger's bearing is {bearing} and will fail",
    "contact": "the supercharger's {touched}",
    "play_beyond_limit": "the supercharger's shaft has too much play",
    "play_felt": "the supercharger's shaft has too much play",
    "wobble": "the supercharger's shaft wobbles",
    "shaft_bent": "the supercharger's shaft does not run true",
    "washers_broken": "the washers of the supercharger's clutch are broken",
    "metal_found": "metal was found, so something in the supercharger is breaking up",
    "scheduled": "the supercharger's scheduled rebuild is due",
}
# What must be known before anybody can decide, for the headline: the first of these.
OPEN: dict[ReasonCode, str] = {
    "core_doubtful": "{fails}, and whether {doubtful} can be used again is not known",
    "bearing_not_spun": "how the supercharger's bearing turns is not known",
    "cause_not_found": "the supercharger failed in use, and why has not been found",
    "play_unjudged": "whether {play:g} mm of play of the supercharger's shaft is too much is for the manual to say",
}


CLEANED = "Cleaned, inspected and used again if they pass"


def job_price(quote: Quote, money: Money) -> str:
    """What the job may come to: "USD 650" or "USD 650 to 1,700"; `money` writes an amount with its currency."""
    return _span(quote.low, quote.high, money)


def teardown_headline(advice: TeardownAdvice, money: Money) -> str:
    """What fails, what to do with the unit and what it comes to, in one sentence."""
    price = job_price(advice.quote, money)
    if advice.decision == "measure first":
        return f"Measure before you decide: {_what_is_open(advice)}. The job may come to {price}."
    if advice.decision in GOES_BACK:
        return f"{_capital(_goes_back(advice, money))}."
    fails = _capital(_what_fails(advice))
    if advice.decision == "new unit":
        dearer = "dearer_than_new" in advice.because
        rebuilt = f"; a rebuild would cost {money(advice.quote.rebuild)}" if dearer else ""
        return f"{fails}: fit a new unit for about {price}{rebuilt}."
    return f"{fails}: {_rebuild(advice, money)}."


def _what_fails(advice: TeardownAdvice) -> str:
    """What is wrong, as a clause that begins small."""
    lost = advice.condition.lost if advice.decision == "new unit" else ()
    code = next(code for code in FAILS if code in advice.because)
    if lost and code == "contact":
        return f"the supercharger's {listed(lost)} cannot be used again"
    states = core_states(advice.finding)
    touched = " and its ".join(f"{part} is {states[part]}" for part in advice.condition.touched)
    told = FAILS[code].format(bearing=advice.finding.bearing, touched=touched)
    return f"{told}, and {named(lost)} cannot be used again" if lost else told


def _what_is_open(advice: TeardownAdvice) -> str:
    words = next(words for code, words in OPEN.items() if code in advice.because)
    fails = _what_fails(advice) if "core_doubtful" in advice.because else ""
    return words.format(fails=fails, doubtful=named(advice.condition.doubtful), play=advice.finding.shaft_play_mm)


def _rebuild(advice: TeardownAdvice, money: Money) -> str:
    quote, condition = advice.quote, advice.condition
    with_new = f" with {listed([f'a new {line.part}' for line in advice.bought])}" if advice.bought else ""
    rebuilt = f"rebuild the unit{with_new} for about {money(quote.low)}"
    new = f"a new unit would cost {money(quote.new_unit)}"
    suspect = [*condition.doubtful, *condition.not_inspected, *condition.marked]
    passing = f"if {named(suspect)} {_passes(suspect)} inspection"
    if quote.low == quote.high:
        passing = f" {passing}" if suspect else ""
        return f"{rebuilt}{passing}; {new}"
    if advice.at_most == "new unit":
        return f"{rebuilt} {passing}; else fit a new unit for {money(quote.new_unit)}"
    return (
        f"rebuild the unit{with_new} for about {money(quote.low)} {passing}, else for up to {money(quote.high)}; {new}"
    )


def _goes_back(advice: TeardownAdvice, money: Money) -> str:
    quote = advice.quote
    worn, reset = advice.finding.clutch_washers == "worn", advice.decision == "reset and put back"
    clutch = "renew its clutch's washers, reset its slip" if worn else "reset its clutch"
    back = f"{clutch} and put the unit back" if reset else "put the unit back"
    price = money(quote.put_back)
    suspect = [*advice.condition.marked, *advice.condition.not_inspected]
    passing = f"if {named(suspect)} {_passes(suspect)} inspection" if suspect else ""
    if advice.at_most in GOES_BACK:
        once = f" {passing}" if passing else ""
        return f"the supercharger's bearing is sound: {back} for about {price}{once}; it needs no rebuild"
    once = f", {passing}," if passing else ""
    now = _span(min(quote.rebuild, quote.new_unit), quote.high, money)
    if quote.rebuild > quote.new_unit:
        instead = f"fit a new unit now for about {now}"
    else:
        instead = f"rebuild it now with original parts for about {now}"
    return (
        "the supercharger's bearing is sound, but its aftermarket parts may not last: "
        f"{back} for about {price}{once} and check it again after a few hours, or {instead}"
    )


def teardown_parts(advice: TeardownAdvice) -> list[str]:
    """What is reused, measured, bought, renewed and given up: a sentence each."""
    lines = []
    if advice.decision in GOES_BACK:
        as_it_is = [part for part in advice.reused if part not in advice.inspected_first]
        lines += [f"Goes back as it is: {listed(as_it_is)}."] if as_it_is else []
    if advice.inspected_first:
        inspected = with_marks(advice.inspected_first, advice)
        again = "Used again only after an inspection" if advice.at_least in GOES_BACK else CLEANED
        lines.append(f"{again}: {inspected}.")
    if advice.measured_first:
        lines.append(f"Measured before anybody can say: {listed(advice.measured_first)}.")
    if advice.bought:
        lines.append(f"Bought new: {listed([line.part for line in advice.bought])}.")
    lines.append(_renewed(advice))
    if advice.at_least == "new unit":
        lines.append(f"Not used again: {listed(advice.not_reused)}; the new unit brings its own.")
    elif advice.not_reused:
        lines.append(f"Not used again: {listed(advice.not_reused)}.")
    return [line for line in lines if line]


def _renewed(advice: TeardownAdvice) -> str:
    if advice.at_least == "new unit":
        return ""
    if not advice.renewed:
        return "Renewed: nothing, but any seal that was disturbed."
    told = _counted(advice.renewed)
    if advice.decision in GOES_BACK:
        return f"Renewed: {told}, and any seal that was disturbed."
    if advice.decision == "rebuild":
        return f"Renewed: {told}."
    anyway = advice.finding.clutch_washers == "worn" and advice.at_least in GOES_BACK
    return f"Renewed, if it is rebuilt: {told}.{' The washers are renewed in any case.' if anyway else ''}"


def _counted(lines: tuple[PartLine, ...]) -> str:
    return listed([f"{line.count} {line.part}" for line in lines])


def quote_lines(advice: TeardownAdvice, money: Money) -> list[tuple[str, str]]:
    """The quote as rows of a label and a price: this job, and the ways that it may go beside each other."""
    quote = advice.quote
    lines = [("this job", job_price(quote, money))]
    if advice.at_least in GOES_BACK:
        lines.append((advice.at_least, money(quote.put_back)))
    if "part_price_unknown" not in advice.because:
        with_new = f", {listed([f'new {line.part}' for line in advice.bought])}" if advice.bought else ""
        lines.append((f"rebuild{with_new}", money(quote.rebuild)))
    return [*lines, ("new unit", money(quote.new_unit))]


def quote_notes(advice: TeardownAdvice, money: Money, in_season: bool) -> list[str]:
    """What the quote holds for the season and what it leaves out: a sentence each."""
    quote = advice.quote
    notes = [
        f"The price of a rebuild holds {money(quote.surcharge)} for the rush in season; that of a new unit does not."
        if in_season
        else "Reckoned off season, with no rush surcharge."
    ]
    if "washers" in quote.not_priced:
        notes.append("Not in it: the worn washers, whose price is not known (washers under [parts] in fleet.toml).")
    if "parts of the core" in quote.not_priced:
        notes.append(
            "What a housing or an impeller costs alone is not known: with its price under [parts] in fleet.toml, a "
            "rebuild with that part bought is weighed too."
        )
    if quote.engine_if_hit:
        engine = money(quote.engine_if_hit)
        notes.append(f"Not in it: an engine repair, about {engine}, if metal has reached the engine.")
    return notes


def _span(low: float, high: float, money: Money) -> str:
    return money(low) if low == high else f"{money(low)} to {high:,.0f}"


def _passes(parts: list[str]) -> str:
    return "passes" if len(parts) == 1 else "pass"


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def slip_headline(slip: FleetSlip, clutches: str, lowest: str) -> str:
    """The clutches in one sentence, which begins small, then `lowest`: the sentence about the one most likely too low.

    How many to reset and to measure; `clutches`: how many there are, with the noun.
    """
    number = Counter(one.action for one in slip.units)
    told = [f"{number[action]} should be {words}" for action, words in DONE.items() if number[action]]
    answer = f"of {clutches}, {listed(told)}" if told else f"none of {clutches} needs a reset or a look now"
    return f"{answer}. {lowest} {NOT_REPLACED}"
