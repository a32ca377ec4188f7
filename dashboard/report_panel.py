"""The paper, to take along: a printable report, a work list, a calendar and a plain table, made when asked for."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import streamlit as st

import forecaster
from download import download_button
from loading import Loaded, paper_files
from plan_form import PlanShown
from words import day_words, plain

WHOLE_FLEET = "the whole fleet"
WANTED = "paper wanted"  # in the session: which paper was asked for last
YOUR_PLAN = (
    "The plan in it is yours: with the limits and the changes by hand of the screen Off-season plan; an owner's paper "
    "holds the changes of that owner's units."
)
KINDS = {  # kind, which is the file's ending too: what its button says, its icon
    "pdf": ("Report to print (PDF)", ":material/picture_as_pdf:"),
    "xlsx": ("Work list (XLSX)", ":material/table_view:"),
    "ics": ("Calendar (ICS)", ":material/calendar_month:"),
    "csv": ("Work list (CSV)", ":material/table:"),
}


def report_panel(loaded: Loaded, as_of: date, hours: float, plan: PlanShown, owners: Sequence[str] = ()) -> None:
    """Offer the paper of the fleet or of one owner, and its files once it is made.

    `plan`: the one that the paper holds. `owners`: those that the screen shows; one alone is chosen from the start.
    """
    with st.container(key="report-panel"):
        st.subheader("On paper", anchor=False)
        st.caption(
            f"The forecast and the off-season plan as of {day_words(as_of)}: a report to print, a work list for the "
            "bench and a calendar of its weeks. An owner's paper is made for that owner's craft alone: of others it "
            f"holds only what their bearings taught. {'' if plan.is_usual else YOUR_PLAN}"
        )
        owner = _whose(loaded.fleet.owners, owners)
        wanted = (loaded.content, as_of, hours, owner, plan)
        if st.button("Make the report", icon=":material/print:", key="make-report", type="primary"):
            st.session_state[WANTED] = wanted
        if st.session_state.get(WANTED) == wanted:
            _show_files(loaded, as_of, hours, owner, plan)


def _whose(known: Sequence[str], shown: Sequence[str]) -> str | None:
    """Whose paper is wanted; None: the whole fleet's. Asked only where there is a choice."""
    if not known:
        return None
    choices = [WHOLE_FLEET, *known]
    first = choices.index(shown[0]) if len(shown) == 1 and shown[0] in known else 0
    place = st.selectbox(
        "For",
        range(len(choices)),
        index=first,
        format_func=lambda at: choices[at],
        key=f"report-for-{first}",
        width=320,
    )
    return choices[place] if place else None


def _show_files(loaded: Loaded, as_of: date, hours: float, owner: str | None, plan: PlanShown) -> None:
    try:
        made = paper_files(loaded, as_of, hours, owner, plan.limits, plan.edits)
    except forecaster.ForecasterError as refusal:
        st.error(plain(refusal), icon=":material/info:")
        return
    st.markdown(plain(made.answer))
    with st.container(horizontal=True, key="report-files"):
        for kind, (told, icon) in KINDS.items():
            download_button(told, made.files[kind], f"{made.name}.{kind}", key=f"report-{kind}", icon=icon)
