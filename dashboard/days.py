"""How this page writes days, in words, fields, tables and pictures: as its fleet does, or as its viewer chose.

Held for the run that draws the page: Streamlit runs each page in a thread of its own, so that no viewer's choice
reaches another's. ``days_panel.begin`` sets it; a fragment that writes days when it is drawn alone must call that too.
"""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass

import forecaster


@dataclass(frozen=True)
class DayStyle:
    """One format in the notations of what draws it.

    `field`: of a date field. `column`: of a table's column. `hover`, `axis` and `months`: of pictures, for a day beside
    a mark, days along an axis, and an axis of months.
    """

    field: str
    column: str
    hover: str
    axis: str
    months: str


# A field holds figures alone: dots and strokes tell apart which of day and month comes first.
STYLES: dict[forecaster.DateFormat, DayStyle] = {
    "day-month-year": DayStyle("DD.MM.YYYY", "D MMM YYYY", "%-d %b %Y", "%-d %b<br>%Y", "%b<br>%Y"),
    "month-day-year": DayStyle("MM/DD/YYYY", "MMM D, YYYY", "%b %-d, %Y", "%b %-d<br>%Y", "%b<br>%Y"),
    "iso": DayStyle("YYYY-MM-DD", "YYYY-MM-DD", "%Y-%m-%d", "%Y<br>%m-%d", "%Y-%m"),
}
_format: ContextVar[forecaster.DateFormat] = ContextVar("date format", default="day-month-year")


def write_days_as(form: forecaster.DateFormat) -> None:
    """From here on this run writes days so."""
    _format.set(form)


def date_format() -> forecaster.DateFormat:
    """How this run writes days."""
    return _format.get()


def day_style() -> DayStyle:
    """The same in the notations of fields, tables and pictures."""
    return STYLES[date_format()]
