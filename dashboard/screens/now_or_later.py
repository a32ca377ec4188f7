"""Now or later: what rebuilding one unit costs in each week to come, and how sure it is that now is the cheaper one."""

from __future__ import annotations

from datetime import date
from html import escape

import pandas as pd
import streamlit as st

import forecaster
import link
import told_wrong
from answers import evidence_line, mostly_general
from asking import ask_day
from chart_parts import CHART_CONFIG
from days import day_style
from download import download_button
from fleet_rows import craft_places, first_day
from loading import Loaded, chosen_source, forecast, load, now_or_later, swings
from now_or_later_charts import cost_by_week, what_moves_it
from now_or_later_prices import ask_prices, in_link
from now_or_later_rows import month_rows, swing_rows, swing_table, week_file, week_rows
from now_or_later_words import (
    BANDS,
    CAUTION,
    COUNTED,
    answer,
    changed_sentence,
    costs_beside,
    figures,
    instead_explained,
    instruction_lines,
    swing_sentence,
    waiting_sentence,
)
from tables import safe_table
from unit_heading import choose_unit, describe, notes_and_way_on
from words import STOP_ICON, day_words, plain


def main() -> None:
    """Ask, call, draw."""
    today = date.today()
    loaded = load(chosen_source() or "", today)
    places = craft_places(loaded.fleet.records)
    with st.container(horizontal=True, vertical_alignment="bottom", key="controls"):
        of_unit = st.container(width="content")
        as_of = ask_day(today, first_day(loaded.fleet.records))
    whole = forecast(loaded, as_of, forecaster.DEFAULT_HOURS, forecaster.DEFAULT_MODEL)
    with of_unit:
        unit_id = choose_unit(whole, places)
    choices = {"unit": [unit_id], "as_of": link.as_of(as_of, today)}
    show_unit(loaded, whole.unit(unit_id), places, as_of, choices)


def show_unit(
    loaded: Loaded,
    unit: forecaster.UnitForecast,
    places: pd.DataFrame,
    as_of: date,
    choices: dict[str, list[str]],
) -> None:
    """All that a price moves.

    No fragment: Streamlit does not break off a fragment's run for another run of it, so that a second price moved at
    once would wait for the seconds of `show_swings`, which stands last. A run of the whole screen is broken off there.
    """
    currency = loaded.fleet.settings.currency
    top = st.container()
    left, right = st.columns([3, 1], gap="large")
    own = now_or_later(loaded, unit.unit_id, as_of, {})
    with right:
        st.markdown(f"**Prices**, {plain(currency)}")
        prices = ask_prices(own.fleet_prices)
    link.show({**choices, **in_link(prices)})
    if refused := told_wrong.refusal():
        with top:
            show_stops(own)  # these hold at any price
        told_wrong.show_refusal(top, refused)
        return
    told = now_or_later(loaded, unit.unit_id, as_of, prices)
    with top:
        show_answer(told, unit, places, loaded, currency)
    with left:
        show_picture(told, currency)
    show_waiting(told, currency)
    show_swings(told, swings(loaded, unit.unit_id, as_of, prices), currency)
    st.markdown(evidence_line(told.evidence))
    st.caption(CAUTION)


def show_stops(told: forecaster.NowOrLater) -> None:
    """What must stop it at any price, or be looked at before its next ride; else its instruction. Costs come after."""
    for reason in told.stop:
        st.error(
            f"**Do not run {plain(told.unit_id)} as it is:** {plain(reason)}. Settle that first; the costs below are "
            "no leave to run it.",
            icon=STOP_ICON,
        )
    for reason in told.check_first:
        st.warning(f"**Check {plain(told.unit_id)} before its next ride:** {plain(reason)}.", icon=":material/search:")
    for line in instruction_lines(told):
        st.info(line, icon=":material/task_alt:")


def show_answer(
    told: forecaster.NowOrLater,
    unit: forecaster.UnitForecast,
    places: pd.DataFrame,
    loaded: Loaded,
    currency: str,
) -> None:
    """What must stop it, the sentence, and what the figures of the sentence are."""
    show_stops(told)
    st.title(answer(told, currency), anchor=False)
    st.markdown(" ".join(filter(None, [costs_beside(told), describe(unit, places), instead_explained(told)])))
    if changed := changed_sentence(told, currency):
        st.info(changed, icon=":material/sell:")
    if told.evidence.mostly_prior:
        st.info(mostly_general(told.evidence), icon=":material/lightbulb:")
    if any(model != forecaster.DEFAULT_MODEL for model in link.wanted("model")):
        st.caption("What pays is always reckoned with the two stages, whatever model other screens show.")
    label = f"{plain(told.unit_id)} hour by hour: its chances, its lives, its records"
    notes_and_way_on(unit, loaded, link.UNIT_SCREEN, label, ":material/settings:")


def show_picture(told: forecaster.NowOrLater, currency: str) -> None:
    """The cost of each option by week, the figures beneath, and the table behind."""
    never, best = told.never, told.best
    st.plotly_chart(
        cost_by_week(
            told.weeks,
            (never.expected_cost, never.low, never.high),
            told.seasons,
            (best.action, best.on, best.expected_cost),
            escape(currency),
        ),
        config=CHART_CONFIG,
        key="now-or-later-picture",
        alt=f"Expected cost over two years by the week in which {told.unit_id} is rebuilt or checked, and if it never "
        f"is. {answer(told, currency)}",
    )
    st.caption(f"{BANDS} {COUNTED}")
    st.markdown("\n".join(f"- {line}" for line in figures(told, currency)))
    with st.expander("The table behind the picture"):
        column = st.column_config
        costs = {
            f"{action}{part}": column.NumberColumn(f"{named}, {ending}", format="%,.0f")
            for action, named in (("rebuild", "Rebuild then"), ("check", "Check then"))
            for part, ending in (("", "best"), ("_low", "low"), ("_high", "high"))
        }
        safe_table(
            week_rows(told),
            hide_index=True,
            column_config={
                "first_day": column.DateColumn("Week of", format=day_style().column, pinned=True),
                "in_season": column.CheckboxColumn("In season"),
                **costs,
                "runs": column.NumberColumn("Still runs", format="%.0f %%", help="Unopened, at the week's start"),
                "rattles": column.NumberColumn(
                    "Would rattle", format="%.0f %%", help="Still runs, and rattles if spun"
                ),
            },
            alt=f"Expected cost by week in {currency}, with 90 % intervals, and the chances that it still runs",
        )
        file = f"now_or_later_{told.unit_id}_{told.as_of}.csv"
        download_button("Download this table (CSV)", week_file(told, currency), file, key="weeks-csv")


def show_waiting(told: forecaster.NowOrLater, currency: str) -> None:
    """What each month of putting the rebuild off costs."""
    st.subheader("What waiting costs, month by month", anchor=False)
    st.markdown(waiting_sentence(told, currency))
    st.table(
        month_rows(told, currency),
        hide_index=True,
        border="horizontal",
        alt="What putting the rebuild off to each month costs more than rebuilding now, with its 90 % interval",
    )
    st.caption(
        f"Beside a rebuild on {day_words(told.as_of)}, unless it fails or is noticed before; in brackets the 90 % "
        "interval."
    )


def show_swings(told: forecaster.NowOrLater, moved: tuple[forecaster.Swing, ...], currency: str) -> None:
    """Which price or chance moves the answer most."""
    st.subheader("What moves the answer most", anchor=False)
    st.markdown(swing_sentence(moved, currency))
    st.plotly_chart(
        what_moves_it(swing_rows(moved, currency), told.saved.mean, escape(currency)),
        config=CHART_CONFIG,
        key="swing-picture",
        alt="What a rebuild now saves with each price a quarter lower and higher. " + swing_sentence(moved, currency),
    )
    st.caption(
        "Marks: what a rebuild now saves beside the best of all else, with one price or chance a quarter lower "
        "(hollow) or higher (filled). Solid line: both cost the same; left of it waiting is cheaper. Dotted line: as "
        "priced."
    )
    with st.expander("The table behind this picture"):
        st.table(
            swing_table(moved, currency),
            hide_index=True,
            border="horizontal",
            alt="What a rebuild now saves with each price or chance a quarter lower and higher",
        )


main()
