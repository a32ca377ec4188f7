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
from after_water_ticks import About, tick_or_untick, ticked_off
from after_water_words import (
    IS_SO_NOW,
    NAME_OF_SCENARIO,
    RISK_TOLD,
    cost_sentence,
    prices_sentence,
    told_words,
)
from chart_parts import CHART_CONFIG
from days import date_format
from download import download_button
from fleet_rows import craft_places, craft_told
from loading import Loaded, after_water, after_water_alone
from without_fleet import STEPS, fleet_and_day, jump_to_steps, settings_of
from words import CAUTION_ICON, STOP_ICON, capital, chance_words, day_words, label, plain, told

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
    name = names.get(answer.craft_id, answer.craft_id)
    words = forecaster.words_after_water(answer, name)
    about = (told.craft_id or "", told.flooding.happened_on)
    with top:
        show_answer(words, about)
        if as_of != today:
            st.caption(f"Answered as of {day_words(as_of)}, as the link or an earlier screen asks.")
        if names and told.craft_id is None:
            st.caption(
                "No craft of the fleet is chosen: general experience answers. Choose the craft to use its records."
            )
    with left:
        st.caption(told_words(answer.flooding))
    with right:
        show_steps(words, about)
        offer_sheet(answer, name)
    show_risk(answer, words)
    show_costs(
        answer,
        settings_of(loaded),
        "the defaults of the program" if loaded is None else f"those of {loaded.fleet.name}",
    )
    show_evidence(words)


def offer_sheet(answer: forecaster.AfterWater, name: str) -> None:
    """The answer on one page, made when it is asked for."""
    form = date_format()  # of this page: the file is made in another run
    file = f"after-water-{answer.craft_id or 'craft'}-{answer.as_of.isoformat()}.pdf"
    download_button(
        "Keep this answer: one page to print (PDF)",
        lambda: forecaster.water_sheet(answer, name, form),
        file,
        key="water-sheet",
    )


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
    """What is told cannot be: say so where the answer would stand, with the form open, above what cannot wait."""
    told_wrong.unfold(OPEN)
    of_number = isinstance(refusal, told_wrong.NumbersRefused)
    with place:
        st.title(told_wrong.NO_ANSWER if of_number else "Two of these answers cannot both be so", anchor=False)
        st.error(plain(refusal), icon=":material/info:")
        st.markdown("Until that is put right: **do not start it, do not crank it.**")
        st.markdown("\n".join(f"{n}. {plain(step)}" for n, step in enumerate(forecaster.first_steps(), start=1)))


def show_answer(words: forecaster.WaterWords, about: About) -> None:
    """STOP, or not to start it, and the first steps before all else; then the answer in one sentence and the risk."""
    headline = plain(words.headline)
    if words.order:
        stop = "stop" if words.stops else "wait"
        with st.container(key=f"after-water-{stop}"):
            st.title(f"{STOP_ICON} {plain(words.order)}", anchor=False)
            if words.stops:
                st.markdown("\n".join(f"- {plain(capital(reason))}." for reason in words.stops))
        show_first_steps(words, about)
        st.markdown(f"**{headline}**")
    else:
        st.title(headline, anchor=False)
    if words.instruction:
        st.markdown(plain(words.instruction))
    st.markdown(plain(words.risk))


def show_first_steps(words: forecaster.WaterWords, about: About) -> None:
    """What comes before any question, to tick off."""
    first = [step for step in words.steps if step.comes_first]
    if first:
        with st.container(key="first-steps"):
            st.markdown("**Now, before anything else**")
            for step in first:
                show_step(step, about, [])


def show_steps(words: forecaster.WaterWords, about: About) -> None:
    """The steps after the first, by when, to tick off, each with the cautions of its work; when to call a mechanic."""
    st.subheader("What to do, in this order", anchor=STEPS)
    for caution in words.standing_cautions:
        st.markdown(f"{CAUTION_ICON} {plain(caution)}")
    if words.hurry:
        st.markdown(f"**{plain(words.hurry)}**")
    with st.container(key="steps"):
        for when, steps in groupby(words.steps, key=lambda step: step.when):
            rest = [step for step in steps if not step.comes_first]
            if rest:
                st.markdown(f"**{when.capitalize()}**")
            said: set[str] = set()
            for step in rest:
                show_step(step, about, [caution for caution in step.cautions if caution not in said])
                said.update(step.cautions)
    st.markdown("**Call a mechanic now if**")
    st.markdown("\n".join(f"- {call_words(call)}" for call in words.calls))


def call_words(call: forecaster.WordedCall) -> str:
    """When to call a mechanic, marked where it is so here."""
    return f"**{plain(call.told)}** (so here)" if call.applies else plain(call.told)


def show_step(step: forecaster.WordedStep, about: About, cautions: Sequence[str]) -> None:
    """One step with its number and its box, and what can hurt at its work."""
    st.checkbox(
        label(f"Step {step.number}. {told(step.do)}"),
        value=step.code in ticked_off(about),
        key=f"step {about} {step.code}",
        on_change=tick_or_untick,
        args=(about, step.code),
    )
    with st.container(key=f"caution-{step.number}"):
        show_cautions(cautions)


def show_cautions(cautions: Sequence[str]) -> None:
    """What can hurt at one step's work."""
    if cautions:
        st.markdown("  \n".join(f"{CAUTION_ICON} {plain(caution)}" for caution in cautions))


def show_risk(answer: forecaster.AfterWater, words: forecaster.WaterWords) -> None:
    """The chances of failing with and without the water and its treatment."""
    st.subheader("How likely it is to fail", anchor=False)
    st.markdown(plain(words.risk_figures))
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
        alt="Expected cost of each way on, with its 90 % interval",
    )
    st.caption(f"{cost_sentence(answer, settings.currency)} {prices_sentence(settings, whose)}")


def show_evidence(words: forecaster.WaterWords) -> None:
    """Why this advice, and what it rests on."""
    st.subheader("What it rests on", anchor=False)
    st.markdown("\n".join(f"- {plain(capital(reason))}." for reason in words.reasons))
    st.markdown(plain(words.evidence))
    for remark in words.remarks:
        st.caption(f"Note: {plain(remark)}")


main()
