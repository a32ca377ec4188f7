"""Days as readers want them written: the one rule for every face, and texts that keep their days apart.

Files, links, JSON and file names are no reader's: days stay ISO 8601 there.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Literal, get_args

DateFormat = Literal["day-month-year", "month-day-year", "iso"]
DATE_FORMATS: tuple[DateFormat, ...] = get_args(DateFormat)
USUAL_DATE_FORMAT: DateFormat = "day-month-year"
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
SPACE = "\N{NO-BREAK SPACE}"  # keeps a day on one line


def written_day(day: date, form: DateFormat = USUAL_DATE_FORMAT) -> str:
    """A day for a reader: "1 May 2027", "May 1, 2027" or "2027-05-01".

    A month between or before figures is in letters, so that nobody swaps it with the day. A time of day is left out.
    """
    if form == "iso":
        return f"{day.year:04d}-{day.month:02d}-{day.day:02d}"
    return f"{written_day_of_year(day, form)}{',' if form == 'month-day-year' else ''}{SPACE}{day.year}"


def written_day_of_year(day: date, form: DateFormat = USUAL_DATE_FORMAT) -> str:
    """A day where its year is plain from what stands around it: "1 May", "May 1"; ISO 8601 knows only whole days."""
    if form == "iso":
        return written_day(day, form)
    month = MONTHS[day.month - 1]
    return f"{month}{SPACE}{day.day}" if form == "month-day-year" else f"{day.day}{SPACE}{month}"


class DatedText(str):
    """A text with days in it. As a str they are ISO 8601; ``written`` gives it with its days as a reader wants them.

    Made of its parts in order, texts and days: ``DatedText("planned for the week of ", monday)``.
    """

    parts: tuple[str | date, ...]

    def __new__(cls, *parts: str | date) -> DatedText:
        """The text that its parts give; days among them, and those of dated texts, are kept."""
        text = super().__new__(cls, "".join(p if isinstance(p, str) else written_day(p, "iso") for p in parts))
        text.parts = parts
        return text

    def written(self, form: DateFormat) -> str:
        """The text with its days as `form` says."""
        return "".join(written_text(p, form) if isinstance(p, str) else written_day(p, form) for p in self.parts)


def written_text(text: str, form: DateFormat) -> str:
    """A text as a reader wants it: the days of a dated text as `form` says, any other as it is."""
    return text.written(form) if isinstance(text, DatedText) else text


def joined(between: str, texts: Iterable[str]) -> DatedText:
    """Texts put together, with `between` between them, as ``str.join`` does; their days are kept."""
    parts: list[str] = []
    for text in texts:
        parts += [between, text] if parts else [text]
    return DatedText(*parts)
