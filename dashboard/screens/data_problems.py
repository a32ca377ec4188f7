"""Data: what was read, what was refused, and what to do about it."""

from __future__ import annotations

from datetime import date

import streamlit as st

import forecaster
import link
from answers import reading_answer
from data_rows import file_rows, problem_rows
from download import download_button
from loading import chosen_source, load_reading
from tables import safe_table
from upload_panel import fleet_choice, upload_panel
from words import count_words, plain

SHOWN_AS_TEXT = 20  # problems written out in full, to read on a phone; the table has all that are listed
SHOWN_AS_ROWS = 1_000  # refused rows of one file on the page: each of them is sent to the browser


def main() -> None:
    """Ask, draw."""
    link.show({})
    try:
        reading = load_reading(chosen_source() or "", date.today())
    except forecaster.SourceError as refusal:
        show_unreadable(refusal)
        return
    st.caption(plain(reading.records.name))
    st.title(reading_answer(reading), anchor=False)
    fleet_choice()
    show_problems(reading)
    show_refused(reading)
    show_files(reading)
    upload_panel()


def show_unreadable(refusal: forecaster.SourceError) -> None:
    """The source cannot be opened at all: why, and the ways out."""
    st.title("The records cannot be opened.", anchor=False)
    st.error(plain(refusal), icon=":material/info:")
    fleet_choice()
    upload_panel()


def show_problems(reading: forecaster.Reading) -> None:
    """Each problem with its place and remedy: those that stop the answer first."""
    if not reading.problems:
        return
    st.subheader("Problems", anchor=False)
    ordered = sorted(reading.problems, key=lambda p: (not p.stops_answer, not p.refused, not p.held_back, p.more > 0))
    for problem in ordered[:SHOWN_AS_TEXT]:
        row = "" if problem.row is None else f", row {problem.row}"
        place = f"{problem.file}{row}{'' if problem.column is None else f', {problem.column}'}"
        value = "" if problem.value is None else f" {plain(repr(problem.value))}"
        mark = ":material/block:" if problem.stops_answer or problem.refused else ":material/info:"
        st.markdown(f"{mark} **{plain(place)}**{value}: {plain(problem.reason)}. {plain(problem.remedy)}")
    more = sum(1 for problem in ordered[SHOWN_AS_TEXT:] if not problem.more)
    unlisted = reading.problems_not_listed
    told = [f"{count_words(more, 'more problem')} in the table"] if more else []
    told += [f"{count_words(unlisted, 'problem like them', 'problems like them')} counted only"] if unlisted else []
    if told:
        st.caption(f"{'; '.join(told)}.")
    with st.expander("All problems as a table", expanded=more > 0):
        safe_table(
            problem_rows(ordered),
            hide_index=True,
            placeholder="",
            column_config={
                "file": "File",
                "row": st.column_config.NumberColumn("Row", help="As a spreadsheet numbers it: the header is row 1"),
                "column": "Column",
                "value": "What it says",
                "reason": st.column_config.TextColumn("Why", width="large"),
                "remedy": st.column_config.TextColumn("What to do", width="large"),
                "became": "What became of it",
            },
            alt="Every problem with file, row, column, value, reason and remedy",
        )


def show_refused(reading: forecaster.Reading) -> None:
    """The refused rows as they were given, to mend and bring back."""
    refused = {name: rows for name, rows in reading.refused.items() if len(rows)}
    if not refused:
        return
    st.subheader("Refused rows, as they were given", anchor=False)
    st.caption(
        "They are not used. Mend them in the file that they are from, or download them to mend there; then save that "
        "file, or upload it below in place of the one shown."
    )
    for name, rows in refused.items():
        file = forecaster.TABLES[name].file
        st.markdown(f"**{plain(file)}**: {count_words(len(rows), 'row')}")
        if len(rows) > SHOWN_AS_ROWS:
            st.caption(f"The first {SHOWN_AS_ROWS:,}; the download has all of them.")
        safe_table(rows.head(SHOWN_AS_ROWS), placeholder="", alt=f"Refused rows of {file}")
        content = forecaster.csv_for_people(rows, index=True)
        download_button(f"Download refused rows of {file}", content, f"refused_{file}")


def show_files(reading: forecaster.Reading) -> None:
    """What was read of each file, and the columns that nothing is done with."""
    st.subheader("What was read", anchor=False)
    rows = file_rows(reading)
    safe_table(
        rows,
        hide_index=True,
        column_order=["file", "used", "refused", *(["aside"] if rows["aside"].any() else [])],
        column_config={
            "file": "File",
            "used": st.column_config.NumberColumn("Rows in use", format="localized"),
            "refused": st.column_config.NumberColumn("Rows refused", format="localized"),
            "aside": st.column_config.TextColumn(
                "Columns kept aside", help="Columns that the forecaster does not know: kept, not used"
            ),
        },
        alt="Rows used and refused, and columns kept aside, of each file",
    )


main()
