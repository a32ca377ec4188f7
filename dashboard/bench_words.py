"""What to do with an opened unit and with the fleet's clutches, in sentences."""

from __future__ import annotations

import math
from collections import Counter
from typing import Protocol

import forecaster
from words import DASH, JOINER, SPACE, count_words, hours_words, listed, percent, plain

GOES_BACK = ("put back", "reset and put back")
NOT_REPLACED = "Low slip is reset; it is never by itself a reason for a new unit."
SLIP_CAUTION = (
    "Measuring and resetting a clutch is work on an opened machine: the maker's manual, with its own figure for the "
    "slip, and a licensed mechanic come before anything shown here."
)
SLIP_TOLD = (
    "Slip in lb·ft: the clutch's true moment now, not one reading's; in brackets the 90 % interval. Limit: below it, "
    "too low for full boost. Hours left: engine hours until then if nobody resets it."
)
DONE = {
    "reset now": "reset now",
    "plan a reset": "reset at the next opening",
    "measure": "measured, since nobody has yet",
}


class Estimate(Protocol):
    """A mean with its central 90 % interval."""

    @property
    def mean(self) -> float:
        """Best estimate."""
        ...

    @property
    def low(self) -> float:
        """Lower end."""
        ...

    @property
    def high(self) -> float:
        """Upper end."""
        ...


class HoursToLimit(Protocol):
    """Engine hours until slip is too low: 5, 50 and 95 %; 0 now, None never."""

    @property
    def p05(self) -> float | None:
        """With 5 % chance by then."""
        ...

    @property
    def p50(self) -> float | None:
        """With even chance by then."""
        ...

    @property
    def p95(self) -> float | None:
        """With 95 % chance by then."""
        ...


def money(amount: float, currency: str) -> str:
    """An amount with its currency: "USD 1,700"."""
    return f"{plain(currency)}{SPACE}{amount:,.0f}"


def quote_words(advice: forecaster.TeardownAdvice, currency: str) -> str:
    """What the job may come to: "USD 650" or "USD 650 to 1,700"."""
    low, high = advice.quote.low, advice.quote.high
    return money(low, currency) if low == high else f"{money(low, currency)} to {high:,.0f}"


def teardown_answer(advice: forecaster.TeardownAdvice, currency: str) -> str:
    """What to do with the unit and what it comes to, in one sentence."""
    price, new = quote_words(advice, currency), money(advice.quote.new_unit, currency)
    if advice.decision == "rebuild" and advice.core == "not inspected":
        rebuild = money(advice.quote.rebuild, currency)
        return (
            f"Rebuild it for about {rebuild} if both housings and the impeller pass inspection; else a new one, {new}."
        )
    if advice.decision == "rebuild":
        return f"Rebuild it for about {price}; a new one would cost {new}."
    if advice.decision == "new unit":
        why = "the core is lost" if advice.core == "lost" else "a rebuild would cost more"
        return f"Fit a new unit for about {price}: {why}."
    if advice.decision == "measure first":
        return f"Measure before you decide: the job may come to {price}."
    done = "Reset its clutch and put it back" if advice.decision == "reset and put back" else "Put it back"
    return f"{done} for about {price}: no rebuild and no new unit."


def parts_lines(advice: forecaster.TeardownAdvice) -> list[str]:
    """What is reused, measured, renewed and given up."""
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


def quote_notes(advice: forecaster.TeardownAdvice, currency: str, in_season: bool, whose: str) -> str:
    """What the quote holds and what it does not."""
    quote = advice.quote
    notes = [f"Prices: {plain(whose)}. Lost rental days are not in them."]
    notes.append(
        f"Rebuild and new unit each hold {money(quote.surcharge, currency)} for the rush in season."
        if in_season
        else "Reckoned off season, with no rush surcharge."
    )
    if quote.engine_if_hit:
        engine = money(quote.engine_if_hit, currency)
        notes.append(f"Not in them: an engine repair, about {engine}, if metal has reached the engine.")
    return " ".join(notes)


def slip_answer(slip: forecaster.FleetSlip) -> str:
    """The clutches in one sentence: how many to reset and to measure, and the one most likely too low."""
    number = Counter(one.action for one in slip.units)
    total = count_words(len(slip.units), "clutch", "clutches")
    told = [f"{number[action]} should be {words}" for action, words in DONE.items() if number[action]]
    answer = f"Of {total}, {listed(told)}" if told else f"None of {total} needs a reset or a look now"
    low = slip.units[0]
    return (
        f"{answer}. Most likely too low: {plain(low.unit_id)}, {moment(low.slip_now)}{SPACE}lb·ft, too low below "
        f"{low.limit:.1f}. {NOT_REPLACED}"
    )


def slip_evidence(slip: forecaster.FleetSlip) -> str:
    """What the slip forecast was learned from."""
    told = (
        f"Learned from {count_words(slip.readings, 'slip reading')} of {count_words(slip.clutches, 'clutch setting')}; "
        f"one reading is good to about {slip.reading_error:.1f}{SPACE}lb·ft (one standard deviation)."
    )
    return f"{told} Mostly general experience." if slip.mostly_prior else told


def moment(estimate: Estimate) -> str:
    """A moment with its interval: "12.3 (10.7–14.0)"; "to" where a dash would read as a minus."""
    between = " to " if estimate.low < 0 else f"{JOINER}{DASH}{JOINER}"
    return f"{estimate.mean:.1f} ({estimate.low:.1f}{between}{estimate.high:.1f})".replace(" ", SPACE)


def hours_to_limit(left: HoursToLimit) -> str:
    """Engine hours until slip is too low, median with 90 % interval: "112 h (22–285 h)"; "never" where it is not."""
    return f"{_hours(left.p50)} ({_hours(left.p05)}{JOINER}{DASH}{JOINER}{_hours(left.p95)})".replace(" ", SPACE)


def _hours(value: float | None) -> str:
    return "never" if value is None else hours_words(value)


def since_set(hours: float) -> str:
    """Hours since a clutch was set."""
    return hours_words(hours) if math.isfinite(hours) else "unknown"


def low_share(share: float) -> str:
    """A chance from draws, which show neither a nought nor a certainty."""
    if share < 0.01:
        return f"less than 1{SPACE}%"
    return f"more than 99{SPACE}%" if share > 0.99 else percent(share)
