"""Which steps after water were ticked off: kept by craft and day for the visit, and in the link, for a reload."""

from __future__ import annotations

from datetime import date

import streamlit as st

import link

TICKED = "ticked"  # in the link, and the session's own
About = tuple[str, date]  # the craft, "" for one of no fleet, and the day that it was under water


def ticked_off(about: About) -> set[str]:
    """Codes of the steps that were ticked off for one craft and day; those that the link tells, on the first look."""
    if TICKED not in st.session_state:
        st.session_state[TICKED] = {about: set(link.wanted(TICKED))}
    kept: dict[About, set[str]] = st.session_state[TICKED]
    return kept.setdefault(about, set())


def tick_or_untick(about: About, code: str) -> None:
    """What a tap on a step's box does."""
    ticked_off(about).symmetric_difference_update({code})
