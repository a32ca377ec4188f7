"""What the screen says of water beside the answer's own words: the scenarios, what was told, what the costs count."""

from __future__ import annotations

from typing import Protocol

import forecaster
from answers import BAND_TOLD
from words import SPACE, day_words, hours_words, listed, plain, signed, span

NAME_OF_SCENARIO = {
    "untreated": "not treated",
    "late": "treated late",
    "treated": "treated in a day",
    "no_incident": "without water",
}
IS_SO_NOW = {
    "treated": "What is so now: treated within a day.",
    "late": "What is so now: treated later than a day after.",
    "untreated": "What is so now: not treated.",
    "unknown": "Nobody knows whether and how soon it was treated, so what is so now is a mixture of the first three.",
}
RISK_TOLD = (
    f"{BAND_TOLD} If nobody opens the supercharger and no more water comes in. "
    "The chances know the hours, earlier water, the treatment and the spin by hand; how long it was under, "
    "whether the engine ran and what the oil looks like decide the steps instead."
)


class Way(Protocol):
    """One way on, with its expected cost and the central 90 % interval of that; ``action``: open, check or ride."""

    @property
    def action(self) -> str:
        """What is done: open, check or ride."""
        ...

    @property
    def check_after_h(self) -> float:
        """Engine hours until a check."""
        ...

    @property
    def expected_cost(self) -> float:
        """Best estimate, in the fleet's currency."""
        ...

    @property
    def low(self) -> float:
        """Lower end."""
        ...

    @property
    def high(self) -> float:
        """Upper end."""
        ...


def option_name(option: Way) -> str:
    """A way on, in a table: "Check after 10 h"."""
    if option.action == "check":
        return f"Check after {option.check_after_h:g}{SPACE}h"
    return {"open": "Open it now", "ride": "Ride, no check"}[option.action]


def money_words(option: Way) -> str:
    """Expected cost with its interval: "583 (195–1,311)"."""
    return f"{signed(option.expected_cost)} ({span(option.low, option.high)})".replace(" ", SPACE)


def cost_sentence(answer: forecaster.AfterWater, currency: str) -> str:
    """What the table of costs counts; without a fleet no rental income is lost."""
    days = " and lost rental days" if answer.craft_id else "; no lost rental income"
    return (
        f"On average over the next {hours_words(answer.costed_hours)}, in {plain(currency)}, once the treatment that "
        f"can still be had was done: failures, rebuilds, checks{days}. In brackets the 90 % interval. The steps above "
        "come with each way."
    )


def prices_sentence(settings: forecaster.FleetSettings, whose: str) -> str:
    """Which prices the costs are reckoned with; `whose`: "the defaults of the program" or the fleet's."""
    costs = settings.costs
    return (
        f"Prices, {plain(whose)}: rebuild {costs.rebuild:,.0f}, new unit {costs.new_unit:,.0f}, engine repair "
        f"{costs.engine_damage:,.0f}, check {costs.check:,.0f} {plain(settings.currency)}."
    )


def told_words(flooding: forecaster.Flooding) -> str:
    """What is known of the water, in a line: what was told, and what the records filled in."""
    facts = [day_words(flooding.happened_on)]
    if flooding.hours_ago is not None:
        facts.append(f"about {flooding.hours_ago:g}{SPACE}h ago")
    minutes = flooding.under_minutes
    if minutes is not None:
        facts.append(f"under for {minutes:g}{SPACE}min" if minutes else "never under")
    within = "" if flooding.treated_within_h is None else f" within {flooding.treated_within_h:g}{SPACE}h"
    told = {
        "water": f"{flooding.water} water",
        "engine": f"engine {flooding.engine}",
        "water_in_cylinder": {"yes": "water in a cylinder", "no": "no water in the cylinders"}.get(
            flooding.water_in_cylinder, ""
        ),
        "oil": f"oil {flooding.oil}",
        "compression": f"compression {flooding.compression}",
        "treated": {"yes": f"treated{within}", "no": "not treated yet"}.get(flooding.treated, ""),
        "spin": {"slight": "spun with a little noise", "rattle": "rattles when spun"}.get(
            flooding.spin, f"spun {flooding.spin}"
        ),
    }
    facts += [words for name, words in told.items() if getattr(flooding, name) not in ("unknown", "not_done")]
    return f"Your answers: {plain(listed(facts))}." if len(facts) > 1 else f"Known so far: the day, {plain(facts[0])}."
