"""Changes of the plan by hand as a file: to take along, and to take in again, here or by the command line."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Protocol

import streamlit as st

import forecaster
from download import download_button
from plan_form import EDITS, Edits, PlanAsked
from words import count_words, plain

REFUSED = "changes refused"  # in the session: why the latest file was not taken
READ = "changes read"  # in the session: what was read of it
TURN = "changes turn"  # in the session: how many files were taken; each has a new widget, empty again
MOST_MB = 5


class Uploaded(Protocol):
    """A file as the browser hands it over."""

    @property
    def name(self) -> str:
        """Its name."""
        ...

    def getvalue(self) -> bytes:
        """Its bytes."""
        ...


def changes_panel(fleet: forecaster.Fleet, as_of: date, asked: PlanAsked, edits: Edits) -> None:
    """Offer the changes that are shown as a file, and take one in their place."""
    refused = st.session_state.pop(REFUSED, None)
    read: Sequence[str] = st.session_state.pop(READ, ())
    with st.expander("Changes by hand as a file", expanded=bool(refused or read), icon=":material/edit_note:"):
        if edits:
            told = f"Download {count_words(len(edits), 'change')} (CSV)"
            download_button(told, forecaster.changes_file(edits), f"plan_changes_{as_of}.csv", key="changes-csv")
        key = f"changes-file-{st.session_state.get(TURN, 0)}"
        st.file_uploader(
            "Take changes from a file (CSV), in place of those shown",
            type="csv",
            key=key,
            max_upload_size=MOST_MB,
            on_change=take_changes,
            args=(key, fleet, as_of, dict(asked.limits)),
            help="Columns unit_id, action (rebuild, check, leave), week_of (any day of the week; blank: the cheapest "
            "free week) and note. The commands plan and report read it too, with --changes.",
        )
        if refused:
            st.error("  \n".join(plain(line.strip()) for line in refused.splitlines()), icon=":material/info:")
        for line in read:
            st.caption(line)


def take_changes(key: str, fleet: forecaster.Fleet, as_of: date, limits: dict[str, Any]) -> None:
    """Change the plan as the file says, or keep why it cannot be."""
    uploaded: Uploaded | None = st.session_state.get(key)
    if uploaded is None:
        return
    st.session_state[TURN] = int(st.session_state.get(TURN, 0)) + 1
    try:
        read = fleet.read_changes(
            uploaded.getvalue(), uploaded.name, as_of, limits.get("begins"), limits.get("ready_by")
        )
    except forecaster.ForecasterError as refusal:
        st.session_state[REFUSED] = str(refusal)
        return
    st.session_state[EDITS] = dict(read.edits)
    told = f"{count_words(len(read.edits), 'change was', 'changes were')} read from {plain(uploaded.name)}."
    st.session_state[READ] = [told, *(plain(str(notice)) for notice in read.notices)]
