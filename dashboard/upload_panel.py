"""Getting a fleet in: upload it, begin from a template, look at the sample, and go back to one's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Protocol

import streamlit as st

import forecaster
import link
from download import download_button
from loading import (
    RECEIVED,
    SAMPLE,
    chosen_source,
    forget_received,
    is_sample,
    named_source,
    own_source,
    received_fleet,
    take_in,
    templates,
)
from words import count_words, plain

HANDED_OVER = "upload handed over"  # in the session: files to be opened by the next drawing
REFUSED = "upload refused"  # in the session: why the latest upload was not taken
TURN = "upload turn"  # in the session: how many uploads were taken; each has a new widget, empty again
WHAT = "upload meant as"
NEW, INTO = "a fleet of their own", "in place of the same files of"
PRIVATE = (
    "Stays on this computer: the files are kept in a temporary folder for your visit alone, and deleted when you close "
    "or reload this page, close the fleet, or upload another; should the computer fail meanwhile, when the dashboard "
    "next starts. Nothing is sent anywhere, and no other viewer of this dashboard sees them. What was worked out from "
    "them stays in the memory of this computer until the dashboard is ended."
)


@dataclass(frozen=True)
class HandedOver:
    """Files to open, as a fleet of their own or in place of the same files of the fleet that is shown."""

    files: tuple[forecaster.ReceivedFile, ...]
    into_earlier: bool


class Uploaded(Protocol):
    """A file as the browser hands it over."""

    @property
    def name(self) -> str:
        """Its name."""
        ...

    def getvalue(self) -> bytes:
        """Its bytes."""
        ...


def fleet_choice() -> None:
    """Which fleet is shown, and one click to each of the others."""
    source, received = chosen_source(), received_fleet()
    with st.container(horizontal=True, vertical_alignment="center", key="fleet-choice"):
        if is_sample(source):
            st.markdown("This is the **sample fleet**: invented, no real people, places or craft.", width="content")
            if (own := own_source()) is not None:
                st.button(
                    f"Back to {plain(_called(own))}", icon=":material/undo:", key="back-to-own", on_click=show_own
                )
            return
        if received is not None:
            told = count_words(len(received.files), "file")
            st.markdown(f"**{plain(received.name)}**, uploaded by you ({told}).", width="content")
            named = named_source()
            told = f"Close it, back to {plain(_called(named))}" if named else "Close it and delete the files"
            st.button(told, icon=":material/close:", key="close-upload", on_click=close_upload)
        st.button("Look at the sample fleet", icon=":material/sailing:", key="to-sample", on_click=show_sample)
    if received is not None:
        for notice in received.notices:
            st.caption(f"Note: {plain(notice)}")


def upload_panel() -> None:
    """Take files in, and offer those to begin with."""
    with st.container(key="upload-panel"):
        st.subheader("Upload a fleet", anchor=False)
        st.markdown(
            "One **ZIP** of the fleet folder, one **workbook** (.xlsx), or its **CSV files** with fleet.toml, all "
            "at once. Columns that are not known are kept aside; rows that cannot be used are refused one by one, with "
            "the reason."
        )
        key = f"upload-{st.session_state.get(TURN, 0)}"
        files: list[Uploaded] = st.file_uploader(
            "Files of your fleet", accept_multiple_files=True, key=key, max_upload_size=50, on_change=_forget_refusal
        )
        if files:
            forecaster.get_ready_to_read()  # while the viewer finds the button
        earlier = _may_go_into() if files else None
        if earlier is not None:
            st.radio(
                "Open them as",
                [NEW, INTO],
                index=0 if any(_begins_a_fleet(file.name) for file in files) else 1,
                key=WHAT,
                format_func=lambda what: _meant(what, earlier),
                horizontal=True,
            )
        st.button(
            f"Open {count_words(len(files), 'file')}" if files else "Open the files",
            icon=":material/upload:",
            key="open-upload",
            type="primary",
            disabled=not files,
            on_click=take,
            args=(key,),
        )
        if refusal := st.session_state.get(REFUSED):
            st.error(plain(refusal), icon=":material/info:")
        st.caption(PRIVATE)
        st.markdown("**Nothing to upload yet?** Begin from a template: every column, and one invented row to delete.")
        with st.container(horizontal=True, key="templates"):
            template_button("my_fleet.xlsx", "Workbook template (XLSX)")
            template_button("my_fleet.zip", "CSV templates and fleet.toml (ZIP)")


def template_button(name: str, told: str) -> None:
    """One template to download."""
    download_button(told, templates()[name], name, key=f"template-{name}")


def take(key: str) -> None:
    """Hand over what was chosen: it is opened when the page is drawn anew."""
    uploaded: Sequence[Uploaded] = st.session_state.get(key) or []
    files = tuple(forecaster.ReceivedFile(file.name, file.getvalue()) for file in uploaded)
    st.session_state[HANDED_OVER] = HandedOver(files, st.session_state.get(WHAT) == INTO)


def open_handed_over() -> None:
    """Open what was handed over, or keep why it cannot be: for the router, before it asks which fleet is shown."""
    handed = st.session_state.pop(HANDED_OVER, None)
    if handed is None:
        return
    today, folder = date.today(), None
    earlier = _may_go_into() if handed.into_earlier else None
    with st.spinner("Reading what you uploaded ..."):
        try:
            folder = forecaster.UploadFolder()
            found = forecaster.receive_apart(
                handed.files, folder.path, today, None if earlier is None else _files_of(earlier)
            )
        except forecaster.ForecasterError as refusal:
            if folder is not None:
                folder.remove()
            st.session_state[REFUSED] = str(refusal)
            return
        turn = int(st.session_state.get(TURN, 0)) + 1
        link.begin_anew([])
        st.session_state[TURN] = turn
        take_in(found, folder, today)


def show_sample() -> None:
    """The sample fleet; an uploaded one is kept to come back to."""
    link.begin_anew([SAMPLE], keep=[RECEIVED, TURN])


def show_own() -> None:
    """From the sample back to the viewer's own fleet."""
    link.begin_anew([], keep=[RECEIVED, TURN])


def close_upload() -> None:
    """Let the uploaded fleet go: its files are deleted."""
    forget_received()
    link.begin_anew([], keep=[TURN])


def _forget_refusal() -> None:
    st.session_state.pop(REFUSED, None)


def _called(source: str) -> str:
    received = received_fleet()
    return received.name if received is not None and source != named_source() else Path(source).stem


def _may_go_into() -> str | None:
    """The source that single files may be put into: the viewer's own fleet folder, while it is shown."""
    source = chosen_source()
    return source if source is not None and not is_sample(source) and Path(source).is_dir() else None


def _begins_a_fleet(name: str) -> bool:
    """Whether a file is one that a fleet cannot do without, or all of it: it is rather not meant to mend another."""
    needed = {table.file for table in forecaster.TABLES.values() if table.needed}
    return name.casefold() in needed or not name.casefold().endswith((".csv", ".toml"))


def _files_of(source: str) -> forecaster.ReceivedFleet | Path:
    received = received_fleet()
    return Path(source) if received is None else received


def _meant(what: str, earlier: str) -> str:
    return NEW if what == NEW else f"{INTO} {_called(earlier)}, its others as they are"
