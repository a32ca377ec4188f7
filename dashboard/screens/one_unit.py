"""One unit: its chances hour by hour, why, and what is recorded of it."""

from __future__ import annotations

from datetime import date
from html import unescape
from typing import Any

import streamlit as st

import forecaster
import link
from answers import BAND_TOLD, CAUTION, hours_left_line, unit_answer
from asking import MOST_HOURS, Asked, ask
from chart_parts import CHART_CONFIG
from charts import state_over_hours
from days import day_style
from fleet_rows import craft_places, first_day
from loading import Loaded, chosen_source, curve, forecast, load, timeline
from tables import safe_table
from unit_heading import choose_unit, describe, notes_and_way_on, show_instruction
from unit_rows import ahead_rows, curve_rows, event_rows, event_words, life_rows, on_axis, rows_in_words, so_far_rows
from unit_timeline_charts import lives_over_hours
from unit_timeline_rows import WATER_TOLD, clock_of, life_lanes, on_lanes, timeline_table
from words import chance_words, plain

DECISION_SCREEN = "screens/now_or_later.py"
PICTURE_TOLD = (
    BAND_TOLD,
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
        show_instruction(loaded, asked.as_of, unit_id)
        st.title(unit_answer(unit, asked.hours, whole.season), anchor=False)
        st.markdown(describe(unit, places))
        label = f"Rebuild {plain(unit_id)} now or later: what each week costs"
        notes_and_way_on(unit, loaded, DECISION_SCREEN, label, ":material/schedule:")
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
    show_lives(timeline(loaded, unit_id, asked.as_of))
    show_records(loaded, unit_id, asked)
    st.caption(CAUTION)


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
    st.caption(" ".join(PICTURE_TOLD if len(shown.so_far) else PICTURE_TOLD[::2]))
    if len(events):
        st.markdown("\n".join(f"{n}. {plain(told)}" for n, told in enumerate(event_words(events), start=1)))
    with st.expander("The table behind the picture"):
        percent = {
            f"{state}_{end}": st.column_config.NumberColumn(f"{state}, {told}", format="%.1f %%")
            for state in ("failed", "defective", "sound")
            for end, told in (("mean", "best"), ("low", "low"), ("high", "high"))
        }
        safe_table(
            curve_rows(shown),
            hide_index=True,
            column_config={
                "hours_ahead": st.column_config.NumberColumn("Hours ahead", format="%.0f h", pinned=True),
                **percent,
            },
            alt="Chances of each state by hours ahead, with 90 % intervals",
        )


def show_lives(told: forecaster.UnitTimeline) -> None:
    """The unit's lives one above the other, what happened on the way, and what was found at each opening."""
    st.subheader("Its lives so far", anchor=False)
    lanes = life_lanes(told)
    st.plotly_chart(
        lives_over_hours(
            lanes,
            on_lanes(told.water, lanes),
            on_lanes(told.looks, lanes),
            on_lanes(told.readings, lanes),
            WATER_TOLD,
            clock_of(told),
        ),
        config=CHART_CONFIG,
        key="lives-picture",
        alt=f"The lives of unit {told.unit_id} against engine hours, the latest at the top. "
        + "; ".join(unescape(str(label)) for label in lanes["label"]),
    )
    st.caption(
        "Bar: one life, from new or rebuilt until it was opened. Dotted: hours run before the record. Water stands "
        "above the bar, looks below it; at its end what was found. Hours between two meter readings are taken to run "
        "evenly."
    )
    with st.expander("The table behind this picture"):
        column = st.column_config
        safe_table(
            timeline_table(told),
            hide_index=True,
            column_config={
                "on": column.DateColumn("Day", format=day_style().column),
                "life_number": column.NumberColumn("Life", format="%d"),
                "hours": column.NumberColumn("At hours", format="%.0f h", help="Engine hours since new or rebuilt"),
                "what": column.TextColumn("What", width="large"),
            },
            alt=f"What happened to unit {told.unit_id}, latest first",
        )


def show_records(loaded: Loaded, unit_id: str, asked: Asked) -> None:
    """What is recorded of the unit, latest first."""
    st.subheader("Records", anchor=False)
    column = st.column_config
    config: dict[str, Any] = {
        "on": column.DateColumn("Day", format=day_style().column),
        "from_on": column.DateColumn("From", format=day_style().column),
        "to_on": column.DateColumn("To", format=day_style().column),
        "began_on": column.DateColumn("Began", format=day_style().column),
        "ended_on": column.DateColumn("Ended", format=day_style().column),
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
            safe_table(rows, hide_index=True, placeholder="", column_config=config, alt=f"{title} of unit {unit_id}")
        with st.container(key=f"narrow-{name}"):
            st.markdown("\n".join(f"- {plain(line)}" for line in rows_in_words(rows)))


main()
