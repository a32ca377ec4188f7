"""The bench: from what was found in an opened unit to what is done and quoted, and which clutches slip too low."""

from __future__ import annotations

from datetime import date

import streamlit as st

import forecaster
import link
import told_wrong
from asking import LEAST_HOURS, MOST_HOURS
from bench_form import ask_what_was_found
from bench_rows import quote_rows, slip_rows
from bench_words import (
    SLIP_CAUTION,
    SLIP_TOLD,
    quote_notes,
    slip_answer,
    slip_evidence,
    teardown_answer,
)
from loading import Loaded, slip
from tables import safe_table
from without_fleet import STEPS, fleet_and_day, jump_to_steps, settings_of
from words import CAUTION_ICON, STOP_ICON, count_words, day_words, plain

DO_NOT_RUN = "no_run_before_metal_looked_for"  # the step that stands where the eye is, before all others
SHOWN_IN_WORDS = 8  # clutches with advice written out on a phone; the table has all of them


def main() -> None:
    """Ask, call, draw."""
    today = date.today()
    loaded, as_of = fleet_and_day(today, "The fleet's prices and clutches cannot be read:")
    top = st.container()
    left, right = st.columns([2, 3], gap="large")
    with left, st.expander("What was found", icon=":material/handyman:", expanded=True):
        with st.container(key="touch-bench"):
            found, season, told = ask_what_was_found()
        jump_to_steps()
    link.show(told | {"as_of": link.as_of(as_of, today)})
    settings = settings_of(loaded)
    whose = "the program's defaults" if loaded is None else f"those of {loaded.fleet.name}"
    in_season = settings.season.contains(as_of) if not season else season == "in"
    if refused := told_wrong.refusal():
        told_wrong.show_refusal(top, refused)
    else:
        limits = forecaster.SlipLimits.of(settings)
        advice = forecaster.advise_teardown(
            forecaster.finding_of(found), settings.costs, in_season, limits, settings.parts
        )
        with top:
            st.title(teardown_answer(advice, settings.currency), anchor=False)
            if advice.follow_up[0] == DO_NOT_RUN:
                st.error(plain(forecaster.teardown_steps(advice)[0]), icon=STOP_ICON)
            st.caption(f"{CAUTION_ICON} {plain(advice.cautions[0])} {plain(advice.cautions[1])}")
        with right:
            show_advice(advice, settings.currency, in_season, whose)
    if loaded is not None:
        show_slip(loaded, as_of)
    else:
        st.caption("With a fleet open, the slip of each of its clutches is shown here too.")


def show_advice(advice: forecaster.TeardownAdvice, currency: str, in_season: bool, whose: str) -> None:
    """Why, the parts, the slip, the quote, what follows, and the cautions of the work."""
    st.subheader("Why", anchor=STEPS)
    st.markdown("\n".join(f"- {plain(reason)}" for reason in forecaster.teardown_reasons(advice)))
    st.subheader("Parts", anchor=False)
    st.markdown("\n".join(f"- {plain(line)}" for line in forecaster.teardown_parts(advice)))
    st.markdown(f"**Clutch slip.** {plain(forecaster.slip_sentence(advice))}")
    st.subheader("Quote", anchor=False)
    st.table(
        quote_rows(advice, currency), hide_index=True, border="horizontal", alt="Price of this job, of a rebuild, new"
    )
    st.caption(quote_notes(advice, currency, in_season, whose))
    st.subheader("Cautions", anchor=False)
    st.markdown("  \n".join(f"{CAUTION_ICON} {plain(caution)}" for caution in advice.cautions))
    st.subheader("What follows", anchor=False)
    steps = enumerate(forecaster.teardown_steps(advice), start=1)
    st.markdown("\n".join(f"{n}. {plain(step)}" for n, step in steps))


def show_slip(loaded: Loaded, as_of: date) -> None:
    """The clutches of the units in service, most likely too low first."""
    st.subheader("Clutch slip of the units in service", anchor=False)
    told = slip(loaded, as_of, _hours_ahead())
    lives = loaded.fleet.histories(as_of).in_service().lives
    rows = slip_rows(told, dict(zip(lives["unit_id"], lives["craft_id"], strict=True)))
    st.markdown(slip_answer(told))
    with st.container(key="narrow-slip"):
        urgent = [one for one in told.units if one.action != "leave"]
        st.markdown("\n".join(f"- **{plain(one.unit_id)}**: {plain(one.advice)}" for one in urgent[:SHOWN_IN_WORDS]))
        if len(urgent) > SHOWN_IN_WORDS:
            st.caption(f"{count_words(len(urgent) - SHOWN_IN_WORDS, 'more clutch', 'more clutches')} in the table.")
    column = st.column_config
    safe_table(
        rows,
        hide_index=True,
        column_config={
            "unit": column.TextColumn("Unit", pinned=True),
            "craft": "Craft",
            "action": "Do",
            "slip": column.TextColumn("Slip now, lb·ft (90 %)"),
            "limit": column.NumberColumn("Too low below", format="%.1f lb·ft"),
            "fall": column.TextColumn("Falls per 100 h, lb·ft (90 %)"),
            "left": column.TextColumn("Hours left (90 %)"),
            "low_now": "Too low now",
            "low_soon": f"Too low within {told.units[0].hours_ahead:g} h",
            "set": "Run since set",
            "readings": column.NumberColumn("Readings", format="%d"),
            "advice": column.TextColumn("Advice", width="large"),
        },
        alt=f"Clutch slip of each unit in service on {day_words(as_of)}",
    )
    st.caption(f"{SLIP_TOLD} {slip_evidence(told)}")
    for remark in told.remarks:
        st.caption(f"Note: {plain(remark)}")
    st.caption(f"{CAUTION_ICON} {SLIP_CAUTION}")


def _hours_ahead() -> float:
    """The horizon that the fleet's screen asks for, else the usual one."""
    number = link.number_in(link.first("hours") or "")
    known = number is not None and LEAST_HOURS <= number <= MOST_HOURS and number.is_integer()
    return number if number is not None and known else forecaster.DEFAULT_HOURS


main()
