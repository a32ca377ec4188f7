"""The prices of a what-if: the fleet's own to begin with, moved here, carried by the link where they differ."""

from __future__ import annotations

import math
from dataclasses import dataclass

import streamlit as st

import forecaster
import link
import told_wrong
from now_or_later_words import CHANCES, NAME_OF_PRICE
from number_field import number_field, number_text
from words import plain

FIRST = ("rebuild", "new_unit", "engine_damage", "check", "day_rate")
FURTHER = ("rebuild_in_season_extra", "rebuild_days", "failure_days", "check_days")
EXPLAINED = {
    "rebuild": "A planned rebuild: parts kit, labour, shipping.",
    "new_unit": "A new unit, where the core is lost.",
    "engine_damage": "Engine repair when debris reaches it.",
    "check": "Pull the unit, spin it by hand, refit it.",
    "day_rate": "Of this craft, in season. Nothing is lost off season.",
    "core_lost": "Chance that a failure costs the housings or the impeller, so that a new unit is needed.",
    "engine_hit": "Chance that a failure sends debris into the engine.",
}
CENTS = 2  # decimals of an amount that a field shows
MORE = "further prices unfolded"  # in the session


@dataclass(frozen=True)
class _Input:
    """One price: its name in ``Prices``, the fleet's value, and the key of its widget, new where that value is."""

    name: str
    own: float

    @property
    def key(self) -> str:
        return f"price_{self.name}_{self.own:.10g}"

    @property
    def shown(self) -> float:
        """As the widget shows it: chances in whole percent, amounts to the cent, which a mean day rate goes beyond."""
        if self.name in CHANCES:
            return float(round(100 * self.own))
        return self.own if self.in_days else round(self.own, CENTS)

    @property
    def in_days(self) -> bool:
        """Whether it is a number of days, no amount."""
        return self.name.endswith("_days")

    def given(self, shown: float | None) -> float | None:
        """The price that the widget asks for; None where it is the fleet's own, or the field was cleared."""
        if shown is None or math.isclose(shown, self.shown):
            return None
        return shown / 100 if self.name in CHANCES else float(shown)


def ask_prices(own: forecaster.Prices) -> dict[str, float]:
    """The prices that differ from the craft's `own`, asked beside the picture; whatever the link says comes first."""
    inputs = {name: _Input(name, getattr(own, name)) for name in (*FIRST, *CHANCES, *FURTHER)}
    with st.container(key="prices"):
        given = {name: _ask(inputs[name]) for name in (*FIRST, *CHANCES)}
        more = st.expander("More", st.session_state.get(MORE, False), icon=":material/tune:", type="compact")
        with more, told_wrong.unfolding(MORE):
            given |= {name: _ask(inputs[name]) for name in FURTHER}
        asked = {name: value for name, value in given.items() if value is not None}
        st.button(
            "Back to the fleet's prices",
            icon=":material/undo:",
            key="fleet-prices",
            disabled=not asked and told_wrong.refusal() is None,
            on_click=_reset,
            args=(tuple(inputs.values()),),
        )
    return asked


def in_link(asked: dict[str, float]) -> dict[str, list[str]]:
    """The prices as the link tells them; the fleet's own are left out, what is refused stands as it was typed."""
    names = (*FIRST, *CHANCES, *FURTHER)
    return {name: [number_text(asked[name])] if name in asked else [] for name in names} | told_wrong.in_link()


def _reset(inputs: tuple[_Input, ...]) -> None:
    for one in inputs:
        st.session_state[one.key] = one.shown if one.name in CHANCES else number_text(one.shown)


def _wanted_percent(one: _Input) -> float:
    """The chance that the link asks for; the fleet's own, with a word of warning, where that makes no sense."""
    for text in link.wanted(one.name):
        value = link.number_in(text)
        if value is not None and value <= 1:
            return float(round(100 * value))
        asked = plain(f"{one.name}={text}")
        told_wrong.say_at_top(
            f"The link asks for {asked}: a number from 0 to 1 is needed; the fleet's own chance is shown."
        )
    return one.shown


def _ask(one: _Input) -> float | None:
    label, explained = NAME_OF_PRICE[one.name], EXPLAINED.get(one.name)
    if one.name in CHANCES:
        if one.key not in st.session_state:
            st.session_state[one.key] = _wanted_percent(one)
        return one.given(st.slider(label, 0.0, 100.0, step=1.0, format="%.0f %%", key=one.key, help=explained))
    limits = forecaster.range_of_price(one.name)
    return one.given(
        number_field(
            one.name,
            label,
            (limits.least, limits.most),
            0.5 if one.in_days else _step(one.own),
            one.key,
            usual=one.shown,
            blank=number_text(one.shown),
            explained=explained,
        )
    )


def _step(price: float) -> float:
    """A tenth of the price's first digit's place: 10 for 650, 100 for 1,700; at least 1."""
    return max(10.0 ** (math.floor(math.log10(price)) - 1), 1.0) if price > 0 else 1.0
