"""Tables that can be searched, copied and saved, of texts that are safe wherever they are copied or saved to.

The only place that hands a table of cells to Streamlit, whose own button writes it into a CSV file as it stands.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

import forecaster


def safe_table(rows: pd.DataFrame, **options: Any) -> Any:
    """``st.dataframe`` of the rows; `options` are its own."""
    return st.dataframe(forecaster.shown_table(rows), **options)


def table_to_edit(rows: pd.DataFrame, **options: Any) -> Any:
    """``st.data_editor`` of the rows; what is typed into it comes back as it stands: see ``forecaster.as_given``."""
    return st.data_editor(forecaster.shown_table(rows), **options)
