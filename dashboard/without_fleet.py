"""What the screens that answer without a fleet's records too have in common: after water, and the bench."""

from __future__ import annotations

from datetime import date

import streamlit as st

import forecaster
from asking import wanted_day
from loading import Loaded, chosen_source, load
from words import plain, told

STEPS = "what-to-do"  # where the answer stands on the page


def fleet_and_day(today: date, instead: str) -> tuple[Loaded | None, date]:
    """The chosen fleet, and the day that the link asks for. No fleet where none is open or it cannot be asked.

    Nobody waits for tidy records here: why they cannot be used is told after `instead`.
    """
    source, loaded = chosen_source(), None
    if source is not None:
        try:
            loaded = load(source, today)
        except forecaster.ForecasterError as refusal:
            st.warning(f"{instead} {plain(told(refusal).splitlines()[0])}", icon=":material/info:")
    return loaded, wanted_day(date(today.year - 20, today.month, 1), today)


def settings_of(loaded: Loaded | None) -> forecaster.FleetSettings:
    """The fleet's settings, or the program's defaults."""
    return forecaster.FleetSettings() if loaded is None else loaded.fleet.settings


def jump_to_steps() -> None:
    """On a phone the answer stands far below the form: a way there."""
    with st.container(key="to-the-steps"):
        st.markdown(f"[:material/arrow_downward: Show what to do](#{STEPS})")
