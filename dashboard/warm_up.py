"""What the first page needs, made ready while the browser still loads: its imports, and the forecast of today.

Called by the program that serves the dashboard, once it listens. What is worked out here lies where the screens look
for it, so that the first of them finds it, or waits for the rest of it.
"""

from __future__ import annotations

import logging
from datetime import date

import pandas as pd

import forecaster
import this_week_panel  # noqa: F401 - with it come Streamlit's and Plotly's parts that the first screen draws with
from charts import risk_by_unit
from fleet_rows import risk_rows
from loading import load, named_source, on_record, risks

# Streamlit warns of each of its own functions that is called outside a page's run, which this is on purpose.
OUTSIDE_A_PAGE = "streamlit.runtime.scriptrunner_utils.script_run_context"


def warm_up(today: date) -> None:
    """Read the fleet that the command named and forecast it as of `today`, as the first page asks; or wait for that."""
    risk_by_unit(risk_rows([], pd.DataFrame(), {}), forecaster.DEFAULT_HOURS)  # an empty picture, for Plotly's imports
    source = named_source()
    if source is None:
        return
    quiet = logging.getLogger(OUTSIDE_A_PAGE)
    quiet.disabled = True
    try:
        loaded = load(source, today)
        risks(loaded, today, forecaster.DEFAULT_HOURS, forecaster.DEFAULT_MODEL)
        on_record(loaded, today)
        forecaster.PREPARATIONS.begin_with(loaded.fleet, loaded.content, today)
    except forecaster.ForecasterError:
        return  # the page that asks for it says why
    finally:
        quiet.disabled = False
