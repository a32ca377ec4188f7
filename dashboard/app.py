"""The dashboard's door: finds the fleet, offers the screens, and says every refusal in plain words."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import streamlit as st

import forecaster
import told_wrong
from days_panel import begin, days_panel
from loading import chosen_source, date_format
from upload_panel import open_handed_over
from words import plain, told

FOLDER = Path(__file__).parent

st.set_page_config(page_title="Supercharger forecaster", page_icon=FOLDER / "icon.svg", layout="wide")
open_handed_over()

data_screen = st.Page("screens/data_problems.py", title="Data", icon=":material/fact_check:")
water_screen = st.Page("screens/after_water.py", title="After water", icon=":material/water_drop:")
bench_screen = st.Page("screens/bench.py", title="Bench", icon=":material/handyman:")
if chosen_source() is None:
    start_screen = st.Page("screens/no_fleet.py", title="Open a fleet", icon=":material/folder_open:")
    screen = st.navigation([start_screen, water_screen, bench_screen], position="top")
else:
    screen = st.navigation(
        [
            st.Page("screens/fleet_today.py", title="Fleet today", icon=":material/monitoring:", default=True),
            st.Page("screens/one_unit.py", title="One unit", icon=":material/settings:"),
            st.Page("screens/now_or_later.py", title="Now or later", icon=":material/schedule:"),
            st.Page("screens/off_season_plan.py", title="Off-season plan", icon=":material/calendar_month:"),
            water_screen,
            bench_screen,
            st.Page("screens/evidence.py", title="Evidence", icon=":material/query_stats:"),
            data_screen,
        ],
        position="top",
    )

told_wrong.begin()
try:
    forecaster.refuse_day(date.today(), "The day of this computer's clock", "Set the clock right.")
except forecaster.WrongUsage as refusal:
    st.error(plain(refusal), icon=":material/info:")
    st.stop()
of_fleet = date_format(chosen_source(), date.today())
begin(of_fleet)
try:
    screen.run()
except forecaster.ForecasterError as refusal:
    first, *rest = told(refusal).splitlines()
    st.error(f"**{plain(first)}**", icon=":material/info:")
    for line in rest:
        st.markdown(plain(line.strip()))
    if chosen_source() is not None and screen != data_screen:
        st.page_link(data_screen, label="See what was read, row by row")
days_panel(of_fleet)
