"""After water: what to do with a craft that was just under water. Works with no fleet at all."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import groupby

import streamlit as st

import forecaster
import link
import told_wrong
from after_water_charts import risk_after_water
from after_water_form import OPEN, Told, ask_about_water, begin
from after_water_rows import cost_rows, risk_lines, risk_rows, scenario_rows
from after_water_words import (
    IS_SO_NOW,
    NAME_OF_SCENARIO,
    RISK_TOLD,
    STOP,
    advice_sentence,
    cost_sentence,
    evidence_sentence,
    hours_left_sentence,
    prices_sentence,
    reasons,
    risk_sentence,
    standing_cautions,
    stop_reasons,
    told_words,
)
from chart_parts import CHART_CONFIG
from fleet_rows import craft_places, craft_told
from loading import Loaded, after_water, after_water_alone
from without_fleet import STEPS, fleet_and_day, jump_to_steps, settings_of
from words import CAUTION_ICON, STOP_ICON, chance_words, day_words, plain

TICKED = "ticked"  # the steps that were ticked off, in the session
NOTHING_LEARNED = "The fleet's records cannot be used for this: general experience answers instead."


def main() -> None:
    """Ask, call, draw. STOP and the advice stand above the form, the steps right below it."""
    today = date.today()
    loaded, as_of = fleet_and_day(today, NOTHING_LEARNED)
    names = {} if loaded is None else _craft_names(loaded)
    begin()
    top = st.container(key="after-water-answer")
    left, right = st.columns([2, 3], gap="large")
    with left, st.expander("Tell what you know", icon=":material/edit_note:", key=OPEN, on_change="rerun"):
        with st.container(key="touch-water"):
            try:
                with told_wrong.unfolding(OPEN):
                    told = ask_about_water(as_of, names, {"as_of": link.as_of(as_of, today)})
            except forecaster.WrongUsage as refusal:
                refuse(top, refusal)
                return
        jump_to_steps()
    try:
        answer = answered(told, as_of, loaded)
    except forecaster.WrongUsage as refusal:
        refuse(top, refusal)
        return
    with top:
        show_answer(answer, names.get(answer.craft_id, answer.craft_id))
        if as_of != today:
            st.caption(f"Answered as of {day_words(as_of)}, as the link or an earlier screen asks.")
        if names and told.craft_id is None:
            st.caption(
                "No craft of the fleet is chosen: general experience answers. Choose the craft to use its records."
            )
    with left:
        st.caption(told_words(answer.flooding))
    with right:
        show_steps(answer)
    show_risk(answer)
    show_costs(
        answer,
        settings_of(loaded),
        "the defaults of the program" if loaded is None else f"those of {loaded.fleet.name}",
    )
    show_evidence(answer)


def _craft_names(loaded: Loaded) -> dict[str, str]:
    places = craft_places(loaded.fleet.records)
    return {str(craft_id): craft_told(str(craft_id), places) for craft_id in places.index}


def answered(told: Told, as_of: date, loaded: Loaded | None) -> forecaster.AfterWater:
    """The answer for the craft from its fleet's records, or from general experience where those do not know it.

    Raises WrongUsage where what is told cannot be.
    """
    if loaded is not None and told.craft_id is not None:
        try:
            return after_water(loaded, told.craft_id, told.flooding, as_of)
        except forecaster.DataStopsAnswer as refusal:
            st.warning(f"{NOTHING_LEARNED} {plain(refusal)}", icon=":material/info:")
    return after_water_alone(told.flooding, as_of, told.hours_since_rebuild, told.parts, settings_of(loaded))


def refuse(place: st.delta_generator.DeltaGenerator, refusal: forecaster.WrongUsage) -> None:
    """What is told cannot be: say so where the answer would stand, with the form open to mend it."""
    told_wrong.unfold(OPEN)
    of_number = isinstance(refusal, told_wrong.NumbersRefused)
    with place:
        st.title(told_wrong.NO_ANSWER if of_number else "Two of these answers cannot both be so", anchor=False)
        st.error(plain(refusal), icon=":material/info:")
        st.markdown("Until that is mended: do not start the engine, let the hull air, and keep the battery off.")


def show_answer(answer: forecaster.AfterWater, name: str) -> None:
    """STOP where it must not run, then the answer in one sentence, and how likely it is to fail."""
    advice = advice_sentence(answer, name)
    if answer.stop:
        with st.container(key="after-water-stop"):
            st.title(f"{STOP_ICON} {STOP}", anchor=False)
            st.markdown("\n".join(f"- {reason}" for reason in stop_reasons(answer)))
        st.markdown(f"**{advice}**")
    else:
        st.title(advice, anchor=False)
    st.markdown(risk_sentence(answer))
    if not answer.evidence.lives or answer.evidence.mostly_prior:
        st.caption(evidence_sentence(answer))


def show_steps(answer: forecaster.AfterWater) -> None:
    """The steps by when, to tick off, each with the cautions of its work."""
    st.subheader("What to do, in this order", anchor=STEPS)
    if answer.stop:
        st.markdown(f"{STOP_ICON} **{STOP}** until the steps below have put that right.")
    for caution in standing_cautions(answer):
        st.markdown(f"{CAUTION_ICON} {plain(caution)}")
    ticked: set[tuple[str, str, str]] = st.session_state.setdefault(TICKED, set())
    about = (answer.craft_id, answer.flooding.happened_on.isoformat())
    with st.container(key="steps"):
        for when, steps in groupby(answer.steps, key=lambda step: step.when):
            st.markdown(f"**{when.capitalize()}**")
            if when == "within a day" and (left := hours_left_sentence(answer)):
                st.markdown(left)
            told: set[str] = set()
            for number, step in enumerate(steps, start=1):
                this = (*about, step.do)
                st.checkbox(
                    plain(step.do),
                    value=this in ticked,
                    key=f"step {this}",
                    on_change=ticked.symmetric_difference_update,
                    args=({this},),
                )
                with st.container(key=f"caution-{when.replace(' ', '-')}-{number}"):
                    show_cautions([caution for caution in step.cautions if caution not in told])
                told.update(step.cautions)


def show_cautions(cautions: Sequence[str]) -> None:
    """What can hurt at one step's work."""
    if cautions:
        st.markdown("  \n".join(f"{CAUTION_ICON} {plain(caution)}" for caution in cautions))


def show_risk(answer: forecaster.AfterWater) -> None:
    """The chances of failing with and without the water and its treatment."""
    st.subheader("How likely it is to fail", anchor=False)
    st.plotly_chart(
        risk_after_water(scenario_rows(answer), NAME_OF_SCENARIO),
        config=CHART_CONFIG,
        key="after-water-picture",
        alt="Chance that the bearing fails against engine hours from now. "
        + "; ".join(
            f"{told}, within {answer.risk[-1].hours:g} h: {chance_words(getattr(answer.risk[-1], scenario))}"
            for scenario, told in NAME_OF_SCENARIO.items()
        ),
    )
    st.caption(f"{IS_SO_NOW[answer.applies]} {RISK_TOLD}")
    with st.expander("The table behind the picture"):
        rows = risk_rows(answer)
        with st.container(key="wide-water-risk"):
            st.table(
                rows.rename(columns={"within": "Within"}),
                hide_index=True,
                border="horizontal",
                alt="Chance of failing by engine hours, with 90 % intervals, for each treatment and without this water",
            )
        with st.container(key="narrow-water-risk"):
            st.markdown("\n".join(f"- {line}" for line in risk_lines(rows)))


def show_costs(answer: forecaster.AfterWater, settings: forecaster.FleetSettings, whose: str) -> None:
    """What opening, checking and riding on cost."""
    st.subheader("What each way costs", anchor=False)
    st.table(
        cost_rows(answer, settings.currency),
        hide_index=True,
        border="horizontal",
        alt="Expected cost of each way on, with its 90 % interval and how often it is the cheapest",
    )
    st.caption(f"{cost_sentence(answer, settings.currency)} {prices_sentence(settings, whose)}")


def show_evidence(answer: forecaster.AfterWater) -> None:
    """Why this advice, and what it rests on."""
    st.subheader("What it rests on", anchor=False)
    st.markdown("\n".join(f"- {plain(reason)}" for reason in reasons(answer)))
    st.markdown(evidence_sentence(answer))
    for remark in (*(answer.evidence.remarks if answer.evidence.lives else ()), *answer.remarks):
        st.caption(f"Note: {plain(remark)}")


main()
