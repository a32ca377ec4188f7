"""Fleet today: which units should be opened, and how sure that is."""

from __future__ import annotations

import time
from datetime import date

import pandas as pd
import streamlit as st

import forecaster
import link
from answers import CAUTION, checks_also, evidence_line, fleet_answer, mostly_general
from asking import PLACES, Asked, ask
from chart_parts import CHART_CONFIG
from charts import risk_by_unit
from fleet_rows import (
    Instructions,
    choices,
    craft_places,
    craft_told,
    filled,
    first_day,
    fleet_rows,
    remarks_of,
    risk_rows,
    units_at,
)
from loading import Loaded, chosen_source, decided_if_known, forecast, is_invented, load, on_record, risks
from plan_form import plan_shown
from report_panel import report_panel
from tables import safe_table
from this_week_panel import SeenWeek, empty_craft_panel, stop_panel, week_line, week_panel
from words import all_told, capital, chance_words, count_words, day_words, hours_words, plain

TABLES_SHOWN = "tables shown"  # in the session: how many tables had a row chosen
DRAWN = "fleet drawn"  # in the session: whether the picture was drawn before, and its program is there
SECONDS_TO_DRAW = 0.4  # of a browser that has not drawn a picture yet and is busy starting what draws it
MOST_DRAWN = 30  # units in the picture unless all are asked for: what an eye takes in
CARDS = 10  # cards on one page of the list
LINKS = 5  # links beneath the answer


def main() -> None:
    """Ask, call, draw."""
    today = date.today()
    loaded = load(chosen_source() or "", today)
    places = craft_places(loaded.fleet.records)
    answer = st.container()
    asked = ask(today, first_day(loaded.fleet.records), {name: choices(places, name) for name in PLACES})
    plan = plan_shown()
    link.show({**asked.in_link(today), **plan.in_link})
    first = risks(loaded, asked.as_of, asked.hours, asked.model)
    weighed = decided_if_known(loaded, asked.as_of, plan.limits, plan.edits)
    instructions = (weighed or on_record(loaded, asked.as_of)).instructions
    units = units_at(first.units, places, asked.places)
    with answer:
        stop_panel(loaded, asked.as_of, places, asked.places)
        show_answer(units, first, instructions, asked.among, loaded)
        empty_craft_panel(first.craft_without_unit, places, asked.places)
        week = SeenWeek(loaded, asked.as_of, places, asked.places, len(first.units), weighed, plan)
        if units:
            week_line(week)
    if not units:
        return
    doubtful = loaded.fleet.reading.doubtful_units
    show_picture(units, places, instructions, asked)
    # Sentence and picture stand; the rest is asked for now, so that a large fleet's do not wait for it.
    let_it_draw()
    units = units_at(forecast(loaded, asked.as_of, asked.hours, asked.model).units, places, asked.places)
    show_table(fleet_rows(units, places, doubtful, instructions), asked)
    show_cards(units, places, doubtful, instructions, asked)
    of_week = st.container()
    report_panel(loaded, asked.as_of, asked.hours, plan, asked.places.get("owner", ()))
    st.caption(CAUTION)
    with of_week:  # last: it takes seconds, and the ranked table need not wait for it
        week_panel(week)


def let_it_draw() -> None:
    """A moment for the browser to draw the picture: the table's program and some sixty others would come in between."""
    if forecaster.PREPARATIONS.serving and not st.session_state.get(DRAWN):
        st.session_state[DRAWN] = True
        time.sleep(SECONDS_TO_DRAW)


def show_answer(
    units: list[forecaster.UnitForecast],
    whole: forecaster.FleetForecast,
    instructions: Instructions,
    among: str,
    loaded: Loaded,
) -> None:
    """The sentence, what stands behind it, and what the reader should know before trusting it."""
    invented = ", an invented sample" if is_invented(chosen_source()) else ""
    st.caption(f"{plain(loaded.fleet.name)}{invented}, as of {day_words(whole.as_of)}")
    st.title(fleet_answer(units, whole, instructions, among), anchor=False)
    st.markdown(" ".join(filter(None, [checks_also(units, whole, instructions), evidence_line(whole.evidence)])))
    if whole.evidence.mostly_prior:
        st.info(mostly_general(whole.evidence), icon=":material/lightbulb:")
    for remark in (*whole.remarks, *whole.evidence.remarks):
        st.caption(plain(remark))
    refused = sum(loaded.fleet.reading.refused_counts.values())
    if refused:
        told = count_words(refused, "row was", "rows were")
        st.page_link(
            "screens/data_problems.py",
            label=f"{told} refused: see which, and what to do",
            icon=":material/rule:",
        )
    if units:
        with st.container(horizontal=True, vertical_alignment="center", key="first-units"):
            st.markdown("At most risk:", width="content")
            for unit in units[:LINKS]:
                st.page_link(
                    link.UNIT_SCREEN, label=plain(unit.unit_id), icon="", query_params=link.to_unit(unit.unit_id)
                )


def show_picture(
    units: list[forecaster.UnitForecast], places: pd.DataFrame, instructions: Instructions, asked: Asked
) -> None:
    """The ranked risks."""
    drawn = units
    if len(units) > MOST_DRAWN and not st.toggle(f"Draw all {len(units)} units", key="all_units"):
        drawn = units[:MOST_DRAWN]
    first = drawn[0]
    st.plotly_chart(
        risk_by_unit(risk_rows(drawn, places, instructions), asked.hours),
        config=CHART_CONFIG,
        key="risk-picture",
        alt=f"Chance of failing within {asked.hours:g} engine hours for {len(drawn)} units, highest first: "
        f"{first.unit_id} {chance_words(first.fails_within)}. The table below has every number.",
    )
    st.caption(
        "Mark: best estimate. Line: 90 % interval. A unit counts as failing if nobody opens it and no further water "
        "gets in. What to do comes from the records, from the hours that pay in season and from the off-season plan "
        "within budget and bench; every other screen and paper says the same."
    )


def show_table(rows: pd.DataFrame, asked: Asked) -> None:
    """The table, for a wide screen; choosing a row opens that unit."""
    column = st.column_config
    shown = int(st.session_state.get(TABLES_SHOWN, 0))
    with st.container(key="wide-table"):
        st.subheader("Every unit", anchor=False)
        st.caption(
            "Tick a row to open that unit; by keyboard: arrow keys, then Shift and space. Escape, then Tab, leaves the "
            "table."
        )
        chosen = safe_table(
            rows,
            hide_index=True,
            placeholder="",
            height="content",
            # Other units, another table: a row chosen while the fleet is narrowed down must not open a stranger.
            key=f"units-table-{shown}-{hash(frozenset(rows['unit']))}",
            on_select="rerun",
            # A cell is chosen by sorting, or by passing with Tab: nobody wants a unit then.
            selection_mode="single-row",
            alt="The fleet's units with what to do, their risks, hours left and reasons",
            column_order=filled(rows),
            column_config={
                "unit": column.TextColumn("Unit", pinned=True, help="The supercharger"),
                "craft": column.TextColumn("On craft"),
                "base": column.TextColumn("Base"),
                "instruction": column.TextColumn("What to do", help="By records, triggers and plan; safety first"),
                "fails": column.ProgressColumn(
                    f"Fails within {asked.hours:g} h",
                    format="%.0f %%",
                    min_value=0,
                    max_value=100,
                    help="Chance of failing within so many more engine hours",
                ),
                "fails_interval": column.TextColumn("90 % interval", help="Of the chance to its left"),
                "defective": column.NumberColumn(
                    "Defective now", format="%.0f %%", help="Chance that its bearing is rusted or rough, not yet failed"
                ),
                "defective_interval": column.TextColumn("90 % interval ", help="Of the chance to its left"),
                "season": column.NumberColumn(
                    "Fails this season", format="%.0f %%", help="Chance of failing by the close of the season"
                ),
                "season_interval": column.TextColumn("90 % interval  ", help="Of the chance to its left"),
                "since_rebuild": column.NumberColumn(
                    "Since rebuild", format="%.0f h", help="Engine hours since new or since the last rebuild"
                ),
                "since_rebuild_bounds": column.TextColumn("by the meter", help="What the meter readings allow, h"),
                "incidents": column.NumberColumn("Water incidents", format="%d", help="In this life of the unit"),
                "p10": column.NumberColumn(
                    "1 in 10 fail within", format="%.0f h", help="Engine hours within which 1 in 10 such units fail"
                ),
                "p50": column.NumberColumn("Half within", format="%.0f h", help="Engine hours left, middle estimate"),
                "p90": column.NumberColumn("9 in 10 within", format="%.0f h", help="9 in 10 such units fail within"),
                "because": column.TextColumn("Because", width="large"),
                "remarks": column.TextColumn("Remarks", width="large"),
            },
        )
    if picked := chosen.selection.rows:
        # The next table is a new one: with its row still chosen, the way back would lead here again.
        st.session_state[TABLES_SHOWN] = shown + 1
        st.switch_page(link.UNIT_SCREEN, query_params=link.to_unit(str(rows["unit"].iloc[picked[0]])))


def show_cards(
    units: list[forecaster.UnitForecast],
    places: pd.DataFrame,
    doubtful: dict[str, str],
    instructions: Instructions,
    asked: Asked,
) -> None:
    """The same rows as cards, for a phone."""
    with st.container(key="cards"):
        st.subheader("Every unit", anchor=False)
        pages = -(-len(units) // CARDS)
        page = st.pagination(pages, key=f"cards-of-{pages}") if pages > 1 else 1
        for unit in units[(page - 1) * CARDS : page * CARDS]:
            with st.container(border=True, gap="xxsmall"):
                st.page_link(
                    link.UNIT_SCREEN,
                    label=f"**{plain(unit.unit_id)}** on {plain(craft_told(unit.craft_id, places))}",
                    icon="",
                    query_params=link.to_unit(unit.unit_id),
                )
                lines = [
                    f"**{plain(capital(forecaster.instruction_in_words(instructions[unit.unit_id])))}**",
                    f"Fails within {hours_words(asked.hours)}: {chance_words(unit.fails_within)}",
                    f"Since rebuild: {hours_words(unit.hours_since_rebuild)}",
                    *([f"Because: {plain(all_told(unit.because))}"] if unit.because else []),
                    *(plain(remark) for remark in remarks_of(unit, doubtful)),
                ]
                st.markdown("  \n".join(lines))


main()
