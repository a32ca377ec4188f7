"""How days are written, at the foot of every page: the fleet says it, and each viewer may choose for the visit."""

from __future__ import annotations

from datetime import date

import streamlit as st

import forecaster
import link
from days import STYLES, write_days_as
from told_wrong import say_at_top
from words import listed, plain

EXAMPLE = date(2027, 5, 21)
CHOICE = "days-written"  # the choice as it stands, in the session
AS_FLEET = ""  # the choice that leaves it to the fleet
TOLD = (
    "For this visit, and for whoever follows a link from it. The fleet's own way is date_format in fleet.toml, which "
    "the printed report and its work list follow too. In other files and in links days stay 2027-05-21."
)


def begin(of_fleet: forecaster.DateFormat) -> None:
    """Write days as the viewer chose, else as the fleet does, from here to the end of the run."""
    wanted = link.first(link.DAYS)
    chosen = next((form for form in forecaster.DATE_FORMATS if form == wanted), None)
    write_days_as(chosen or of_fleet)
    link.keep(link.DAYS, [] if chosen is None else [chosen])
    if wanted is not None and chosen is None:
        say_at_top(
            f"The link asks for {plain(f'{link.DAYS}={wanted}')}: {plain(listed(forecaster.DATE_FORMATS))} are known; "
            "days are written as the fleet writes them."
        )


def days_panel(of_fleet: forecaster.DateFormat) -> None:
    """The choice, with an example of each."""
    st.session_state[CHOICE] = next(iter(link.kept(link.DAYS)), AS_FLEET)  # also where the link changed it
    with st.popover("How days are written", icon=":material/calendar_today:", width="content", key="days"):
        st.radio(
            "Days on these pages",
            [AS_FLEET, *forecaster.DATE_FORMATS],
            format_func=lambda form: _example(form) if form else f"As the fleet does: {_example(of_fleet)}",
            key=CHOICE,
            on_change=_choose,
        )
        st.caption(TOLD)


def _example(form: forecaster.DateFormat) -> str:
    field = STYLES[form].field
    figures = field.replace("YYYY", f"{EXAMPLE:%Y}").replace("MM", f"{EXAMPLE:%m}").replace("DD", f"{EXAMPLE:%d}")
    written = forecaster.written_day(EXAMPLE, form)
    return written if figures == written else f"{written} (typed {figures})"


def _choose() -> None:
    chosen = st.session_state[CHOICE]
    link.keep(link.DAYS, [chosen] if chosen else [])
    if chosen:
        st.query_params[link.DAYS] = chosen
    else:
        st.query_params.pop(link.DAYS, None)
