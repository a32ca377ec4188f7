"""Which unit a screen is about, and what it is, in one line: the same on every screen of one unit."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

import forecaster
import link
from fleet_rows import craft_told, remarks_of
from loading import WEIGHED_AT_ONCE, Loaded, decided, decided_if_known, on_record
from told_wrong import say_at_top
from words import STOP_ICON, capital, chance_words, day_words, hours_between, hours_words, label, plain


def choose_unit(whole: forecaster.FleetForecast, places: pd.DataFrame) -> str:
    """The unit to show: from the link, as last looked at, or chosen here; highest risk first."""
    craft = {u.unit_id: u.craft_id for u in whole.units}
    wanted = link.first("unit")
    if wanted is not None and wanted not in craft:
        say_at_top(
            f"Unit {plain(wanted)} is not in service on {day_words(whole.as_of)}. Shown instead: the unit at most risk."
        )
    known = list(craft)
    chosen: str = st.selectbox(
        "Unit, highest risk first",
        known,
        index=known.index(wanted) if wanted in craft else 0,
        format_func=lambda unit_id: f"{unit_id} on {craft_told(craft.get(unit_id, ''), places)}",
        key="unit_choice",
        width=380,
    )
    return chosen


def show_instruction(loaded: Loaded, as_of: date, unit_id: str) -> None:
    """What is to be done with the unit, before anything else: the same as on every other screen."""
    told = instructions_of(loaded, as_of, unit_id)
    said = f"**{plain(told.unit_id)}: {plain(forecaster.instruction_in_words(told))}.** {why_words(told, loaded)}"
    if told.stops:
        st.error(said, icon=STOP_ICON)
    elif told.order == "first":
        st.warning(said, icon=":material/search:")
    else:
        st.info(said, icon=":material/task_alt:")
    if told.water_on is not None:
        st.page_link(
            link.WATER_SCREEN,
            label=label(f"After water: what to do with {told.craft_id}, step by step"),
            icon=":material/water_drop:",
            query_params=link.to_after_water(told.craft_id, told.water_on),
        )


def instructions_of(loaded: Loaded, as_of: date, unit_id: str) -> forecaster.Instruction:
    """A unit's instruction; of a large fleet that was not weighed yet, what its record alone orders."""
    known = decided_if_known(loaded, as_of)
    if known is None:
        noted = on_record(loaded, as_of)
        known = noted if len(noted.instructions) > WEIGHED_AT_ONCE else decided(loaded, as_of)
    return known.instructions[unit_id]


def why_words(told: forecaster.Instruction, loaded: Loaded) -> str:
    """Why, and what it costs to wait."""
    if not told.weighed and not told.stops:
        return "The plan was not weighed yet: Fleet today and Off-season plan do."
    why = f"{plain(capital(forecaster.why_so(told)))}." if told.order != "leave" else ""
    return " ".join(filter(None, [why, plain(forecaster.what_waiting_costs(told, loaded.fleet.settings.currency))]))


def describe(unit: forecaster.UnitForecast, places: pd.DataFrame) -> str:
    """Hours, parts, water and the hidden state, in one line."""
    bounds = hours_between(unit.hours_low, unit.hours_high)
    since = (
        f"{hours_words(unit.hours_in_record)} in the record, hours before it unknown"
        if unit.hours_since_rebuild is None
        else f"{hours_words(unit.hours_since_rebuild)} since rebuild"
    )
    if bounds:
        since += f" (the meter allows {bounds})"
    hidden = "" if unit.defective_now is None else f" Defective now: {chance_words(unit.defective_now)}."
    read = "" if unit.last_reading_on is None else f" Meter last read on {day_words(unit.last_reading_on)}."
    return f"On {plain(craft_told(unit.craft_id, places))}. {since}.{hidden}{read}"


def notes_and_way_on(unit: forecaster.UnitForecast, loaded: Loaded, screen: str, label: str, icon: str) -> None:
    """What a reader of the unit's answer should know, and the way to another screen of the same unit."""
    for remark in remarks_of(unit, loaded.fleet.reading.doubtful_units):
        st.caption(f"Note: {plain(remark)}")
    st.page_link(screen, label=label, icon=icon, query_params=link.to_unit(unit.unit_id))
