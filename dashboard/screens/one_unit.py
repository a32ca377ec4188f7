"""One unit: its chances hour by hour, why, and what is recorded of it."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
import streamlit as st

import forecaster
import link
from answers import CAUTION, hours_left_line, unit_answer
from asking import MOST_HOURS, Asked, ask
from charts import CHART_CONFIG, state_over_hours
from fleet_rows import craft_places, craft_told, first_day, remarks_of
from loading import Loaded, chosen_source, curve, forecast, load
from unit_rows import ahead_rows, curve_rows, event_rows, event_words, life_rows, on_axis, rows_in_words, so_far_rows
from words import chance_words, day_words, hours_between, hours_words, plain

BAND_TOLD = (
    "Line: best estimate. Shaded band: 90 % interval, which holds the true chance nine times in ten.",
    "Left of now: the chance that it was already defective, by what was known then.",
    "Right of now: as it goes if nobody opens it and no further water gets in.",
)


def main() -> None:
    """Ask, call, draw."""
    today = date.today()
    loaded = load(chosen_source() or "", today)
    answer = st.container()
    asked = ask(today, first_day(loaded.fleet.records), {})
    whole = forecast(loaded, asked.as_of, asked.hours, asked.model)
    places = craft_places(loaded.fleet.records)
    with answer:
        unit_id = choose_unit(whole, places)
        link.show({**asked.in_link(today), "unit": [unit_id]})
        unit = whole.unit(unit_id)
        st.title(unit_answer(unit, asked.hours, whole.season), anchor=False)
        st.markdown(describe(unit, places))
        for remark in remarks_of(unit, loaded.fleet.reading.doubtful_units):
            st.caption(f"Note: {plain(remark)}")
    shown = curve(loaded, unit_id, asked.as_of, asked.model)
    if shown.ahead["hours_ahead"].iloc[-1] < asked.hours:
        shown = curve(loaded, unit_id, asked.as_of, asked.model, hours_ahead=float(MOST_HOURS))
    show_picture(shown, unit, asked)
    left, right = st.columns(2, gap="medium")
    with left:
        st.subheader("Hours left", anchor=False)
        st.markdown(hours_left_line(unit))
    with right:
        st.subheader("Because", anchor=False)
        st.markdown("\n".join(f"- {plain(reason)}" for reason in unit.because))
    show_records(loaded, unit_id, asked)
    st.caption(CAUTION)


def choose_unit(whole: forecaster.FleetForecast, places: pd.DataFrame) -> str:
    """The unit to show: from the link, as last looked at, or chosen here; highest risk first."""
    craft = {u.unit_id: u.craft_id for u in whole.units}
    wanted = next(iter(link.wanted("unit")), None)
    if wanted is not None and wanted not in craft:
        st.warning(
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


def show_picture(shown: forecaster.UnitCurve, unit: forecaster.UnitForecast, asked: Asked) -> None:
    """Chances of each state against hours, with what happened on the way, and the key to its numbers."""
    now, clock, _ = on_axis(shown)
    events = event_rows(shown)
    st.plotly_chart(
        state_over_hours(
            ahead_rows(shown),
            so_far_rows(shown),
            events[events["kind"] == "water"],
            events[events["kind"] == "check"],
            now=now,
            clock=clock,
            mark=(now + asked.hours, f"+{asked.hours:g} h"),
        ),
        config=CHART_CONFIG,
        key="unit-picture",
        alt=f"Chances of unit {shown.unit_id} being sound, defective or failed against {clock}. "
        f"Failed within {asked.hours:g} more hours: {chance_words(unit.fails_within)}.",
    )
    st.caption(" ".join(BAND_TOLD if len(shown.so_far) else BAND_TOLD[::2]))
    if len(events):
        st.markdown("\n".join(f"{n}. {plain(told)}" for n, told in enumerate(event_words(events), start=1)))
    with st.expander("The table behind the picture"):
        percent = {
            f"{state}_{end}": st.column_config.NumberColumn(f"{state}, {told}", format="%.1f %%")
            for state in ("failed", "defective", "sound")
            for end, told in (("mean", "best"), ("low", "low"), ("high", "high"))
        }
        st.dataframe(
            curve_rows(shown),
            hide_index=True,
            column_config={
                "hours_ahead": st.column_config.NumberColumn("Hours ahead", format="%.0f h", pinned=True),
                **percent,
            },
            alt="Chances of each state by hours ahead, with 90 % intervals",
        )


def show_records(loaded: Loaded, unit_id: str, asked: Asked) -> None:
    """What is recorded of the unit, latest first."""
    st.subheader("Records", anchor=False)
    column = st.column_config
    config: dict[str, Any] = {
        "on": column.DateColumn("Day", format="YYYY-MM-DD"),
        "from_on": column.DateColumn("From", format="YYYY-MM-DD"),
        "to_on": column.DateColumn("To", format="YYYY-MM-DD"),
        "began_on": column.DateColumn("Began", format="YYYY-MM-DD"),
        "ended_on": column.DateColumn("Ended", format="YYYY-MM-DD"),
        "hours": column.NumberColumn("At hours", format="%.0f h", help="Engine hours since rebuild at the time"),
        "from_hours": column.NumberColumn("From hours", format="%.0f h", help="Engine hours since rebuild"),
        "to_hours": column.NumberColumn("To hours", format="%.0f h", help="Engine hours since rebuild"),
        "age": column.NumberColumn("Hours run", format="%.0f h"),
        "what": column.TextColumn("What"),
        "water": "Water",
        "oil": "Oil",
        "treated": column.TextColumn("Treated", help="prompt: within 24 clock hours"),
        "water_ppm": column.NumberColumn("Water in oil", format="%.0f ppm"),
        "craft": "Craft",
        "spin": column.TextColumn("Spun by hand"),
        "found": column.TextColumn("Opened, found"),
        "play": column.NumberColumn("Shaft play", format="%.2f mm"),
        "boost": column.NumberColumn("Boost", format="%.0f kPa"),
        "slip": column.NumberColumn("Slip moment", format="%.1f lb·ft"),
        "tune": "Engine",
        "cooling": "Cooling",
        "catch_can": "Catch can",
        "life_number": column.NumberColumn("Life", format="%d"),
        "ended_by": "Ended by",
        "seen": "Bearing seen",
        "parts": "Parts",
    }
    told = {
        "incidents": "Water incidents",
        "checks": "Checks",
        "stretches": "Time on each craft",
        "lives": "Lives: from new or rebuilt until opened",
    }
    records = life_rows(loaded.fleet.histories(asked.as_of), unit_id)
    for name, title in told.items():
        rows = records[name]
        st.markdown(f"**{title}**")
        if rows.empty:
            st.caption("None recorded.")
            continue
        with st.container(key=f"wide-{name}"):
            st.dataframe(rows, hide_index=True, placeholder="", column_config=config, alt=f"{title} of unit {unit_id}")
        with st.container(key=f"narrow-{name}"):
            st.markdown("\n".join(f"- {plain(line)}" for line in rows_in_words(rows)))


main()
