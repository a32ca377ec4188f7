"""What needs doing this week, drawn: what must not run stands above all, the rest below the ranked table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd
import streamlit as st

import forecaster
import link
from days import day_style
from fleet_rows import craft_told, filled, units_at
from loading import WEIGHED_AT_ONCE, Decided, Loaded, decided, on_record
from plan_form import USUAL_PLAN, PlanShown
from tables import safe_table
from this_week_words import (
    EMPTY_ICON,
    HEADINGS,
    NAMED,
    empty_craft_lines,
    looked_at_words,
    stop_lines,
    task_words,
    week_sentence,
    why_words,
    without_unit,
)
from told_wrong import draw_anew
from words import STOP_ICON, count_words, do_not_run, label, plain, told

ANCHOR = "this-week"
WEIGH = "weigh the week"  # in the session: of which fleet and day the viewer asked for it
DRAWN_NOW = "week drawn now"  # in the session: this run draws the whole page, so that it is too early to weigh
SOON_SECONDS = 2.5
YOUR_PLAN = (
    "The plan's work is that of your own plan, with the limits and the changes by hand of the screen Off-season plan."
)
SHOWN = 8  # tasks of a kind written out; the table has all of them


def stop_panel(loaded: Loaded, as_of: date, places: pd.DataFrame, chosen: dict[str, list[str]]) -> None:
    """Units that must not run, above everything; from those that are wet, the way to what to do about it."""
    known = list(on_record(loaded, as_of).instructions.values())
    stops = [one for one in units_at(known, places, chosen) if one.stops]
    stops.sort(key=lambda one: (one.order != "stop", one.unit_id))
    if not stops:
        return
    st.error(do_not_run(stop_lines(stops, places)), icon=STOP_ICON)
    for one in [one for one in stops if one.water_on is not None][:NAMED]:
        _way_to_after_water(one)


def _way_to_after_water(one: forecaster.Instruction) -> None:
    st.page_link(
        link.WATER_SCREEN,
        label=label(f"After water: what to do with {one.craft_id}, step by step"),
        icon=":material/water_drop:",
        query_params=link.to_after_water(one.craft_id, one.water_on),
    )


def empty_craft_panel(
    empty: Sequence[forecaster.CraftWithoutUnit], places: pd.DataFrame, chosen: dict[str, list[str]]
) -> None:
    """Craft in service with no unit on them, so that nobody takes them for well."""
    lines = empty_craft_lines(units_at(empty, places, chosen))
    if lines:
        st.warning(without_unit(lines), icon=EMPTY_ICON)


@dataclass(frozen=True)
class SeenWeek:
    """The week as one viewer sees it: of the units at the chosen places, as far as it is known."""

    loaded: Loaded
    as_of: date
    places: pd.DataFrame
    chosen: dict[str, list[str]]
    units: int
    """Units in service: they take the time."""
    weighed: Decided | None
    """All of it; None where it was not worked out yet."""
    plan: PlanShown = USUAL_PLAN
    """The plan whose work it tells."""

    @property
    def known(self) -> forecaster.ThisWeek:
        """All of it, or what the records say alone."""
        return (self.weighed or on_record(self.loaded, self.as_of)).week

    @property
    def tasks(self) -> list[forecaster.Instruction]:
        """What is known to need doing at the chosen places."""
        return units_at(self.known.tasks, self.places, self.chosen)

    @property
    def sentence(self) -> str:
        """How much there is to do, and what, as far as it is known."""
        return week_sentence(self.known, self.tasks)

    @property
    def weighs_itself(self) -> bool:
        """Whether what is not known yet is worked out unasked."""
        return self.weighed is None and self.units <= WEIGHED_AT_ONCE


def week_line(week: SeenWeek) -> None:
    """The week's sentence, to stand high on the page."""
    told = "weighing each unit ..." if week.weighs_itself else f"{week.sentence[0].lower()}{week.sentence[1:]}"
    st.markdown(f":material/event: [This week](#{ANCHOR}): {told}")


def week_panel(week: SeenWeek) -> None:
    """The week's list.

    Where it was not worked out yet, what the records say alone is shown, and the rest worked out once the page stands:
    the browser fetches what draws the picture from the same program, and would wait for it.
    """
    with st.container(key="this-week"):
        st.subheader("This week", anchor=ANCHOR)
        if week.weighed is None and st.session_state.get(WEIGH) == (week.loaded.content, week.as_of):
            decided(week.loaded, week.as_of, week.plan.limits, week.plan.edits)
            draw_anew()  # the line above all this knows it too then
        st.markdown(week.sentence)
        if not week.plan.is_usual:
            st.caption(YOUR_PLAN)
        _show(week.known, week.tasks, week.places, week.loaded.fleet.settings.currency)
        if week.weighs_itself:
            st.session_state[DRAWN_NOW] = True
            _weigh_soon(week.loaded, week.as_of, week.plan)
        elif week.weighed is None:
            _offer(week.loaded, week.as_of, week.units)


@st.fragment(run_every=SOON_SECONDS)
def _weigh_soon(loaded: Loaded, as_of: date, plan: PlanShown) -> None:
    """Weigh each unit at the second run of this fragment, when the page has been drawn, and draw it anew."""
    if st.session_state.pop(DRAWN_NOW, False):
        st.caption("Weighing each unit ...")
        return
    decided(loaded, as_of, plan.limits, plan.edits)
    draw_anew()


def _offer(loaded: Loaded, as_of: date, units: int) -> None:
    st.button(
        f"Weigh all {units:,} units too: triggers in season, the plan off season",
        icon=":material/balance:",
        key="weigh-all",
        help="About a second for each 50 units.",
        on_click=st.session_state.__setitem__,
        args=(WEIGH, (loaded.content, as_of)),
    )


def _show(week: forecaster.ThisWeek, tasks: list[forecaster.Instruction], places: pd.DataFrame, currency: str) -> None:
    for kind, heading in HEADINGS.items():
        own = [task for task in tasks if task.kind == kind]
        if not own:
            continue
        st.markdown(f"**{heading}**")
        for task in own[:SHOWN]:
            with st.container(gap="xxsmall"):
                if task.unit_id:
                    to_unit = link.to_unit(task.unit_id)
                    st.page_link(link.UNIT_SCREEN, label=task_words(task, places), query_params=to_unit)
                else:
                    st.markdown(task_words(task, places))
                st.caption(plain(why_words(task, currency)))
                if task.water_on is not None:
                    _way_to_after_water(task)
        if len(own) > SHOWN:
            st.caption(f"{count_words(len(own) - SHOWN, 'more unit')} in the table.")
    if len(tasks) > 1:
        _table(tasks, places, currency)
    st.caption(looked_at_words(week))
    for remark in week.remarks:
        st.caption(f"Note: {plain(remark)}")


def _table(tasks: list[forecaster.Instruction], places: pd.DataFrame, currency: str) -> None:
    with st.expander("All of it as a table"):
        column = st.column_config
        rows = pd.DataFrame(
            [
                {
                    "unit": task.unit_id,
                    "craft": craft_told(task.craft_id, places),
                    "base": str(places["base"].get(task.craft_id, "")),
                    "do": told(forecaster.what_to_do(task)),
                    "why": why_words(task, currency),
                    "hours": task.age_h,
                    "until": task.pays_until,
                }
                for task in tasks
            ]
        )
        safe_table(
            rows,
            hide_index=True,
            placeholder="",
            column_order=filled(rows),
            column_config={
                "unit": column.TextColumn("Unit", pinned=True),
                "craft": "On craft",
                "base": "Base",
                "do": column.TextColumn("Do", width="medium"),
                "why": column.TextColumn("Because", width="large"),
                "hours": column.NumberColumn("Since rebuild", format="%.0f h", help="Engine hours, best estimate"),
                "until": column.DateColumn("Pays until", format=day_style().column),
            },
            alt="What needs doing this week, unit by unit",
        )
