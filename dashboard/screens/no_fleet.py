"""No fleet yet: the sample in one click, and how to keep one's own."""

from __future__ import annotations

import streamlit as st

import forecaster
from data_rows import contract_rows
from tables import safe_table
from upload_panel import show_sample, template_button, upload_panel
from words import plain


def main() -> None:
    """Offer the sample fleet, take one's own, and explain the fleet folder."""
    st.title("Which superchargers should be opened, and when?", anchor=False)
    st.markdown(
        "The forecaster reads a fleet's engine hours, water incidents and openings, and tells for each unit how likely "
        "it is to fail, how sure that is, and what pays. No fleet is open yet."
    )
    st.button("Open the sample fleet", icon=":material/sailing:", key="to-sample", type="primary", on_click=show_sample)
    st.caption("The sample fleet is invented: no real people, places or craft.")
    upload_panel()
    st.subheader("Your fleet folder", anchor=False)
    st.markdown(
        "To keep your records at hand, put them into one folder, as CSV files or as the sheets of one workbook, and "
        "start the dashboard on it; each change that you save shows at the next look:"
    )
    st.code("forecaster dashboard my_fleet", language=None)
    st.markdown(
        "Two files are needed: the craft, and which unit sat on which craft. Every other file adds to the answer. "
        "Columns with a * are needed; a blank cell means not recorded; days are written 2026-05-01."
    )
    for name, table in forecaster.TABLES.items():
        needed = "needed" if table.needed else "if you have it"
        with st.expander(f"{plain(table.file)}: {plain(first_line(table.record.__doc__))} ({needed})"):
            safe_table(
                contract_rows(name),
                hide_index=True,
                column_config={"column": "Column", "holds": "Write", "meaning": "Meaning"},
                alt=f"Columns of {table.file}",
            )
            template_button(table.file, f"Template {table.file}")


def first_line(text: str | None) -> str:
    """The first line of a record's description, without its file name and full stop."""
    return (text or "").strip().splitlines()[0].split(" (")[0].rstrip(".")


main()
