"""The limits as text and as JSON: what, how much, where to change it, and what is said beyond."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from forecaster.limits import Change, End, Group, Limit
from forecaster.number_cells import plain_number
from forecaster.report.as_json import Json
from forecaster.report.table import TextColumn, plain_table
from forecaster.report.text import Page

OPENING = (
    "What is read and taken, and what is said beyond. Limits keep typing errors out of the answers, and keep time and "
    "memory within what a computer has."
)
GROUPED_FROM = 10_000
NEAREST_WRITTEN = 1e-6  # nearer to 0, nobody counts the noughts
HEADINGS: dict[Group, str] = {
    "files": "Files that are read. Beyond, a file is not read at all, and nothing of it is guessed.",
    "uploads": "Files that are uploaded in the browser. Beyond, the upload is refused, and the fleet shown stays.",
    "records": "Columns of the records. Beyond, the row is refused, or the cell counts as not recorded.",
    "settings": "Keys of fleet.toml. Beyond, no question is answered until the key is mended.",
    "beliefs": "Keys of a copy of priors.toml (--priors). Beyond, the file is refused.",
    "options": "Options of commands, and the same fields on the screens. Beyond, the question is refused.",
    "dashboard": "The dashboard's server.",
}
CHANGES: dict[Change, str] = {
    "fixed": "fixed",
    "option": "option",
    "environment": "environment",
    "fleet.toml": "fleet.toml",
}


def limits_text(limits: Sequence[Limit], page: Page) -> str:
    """A table for each group of limits, in their order."""
    groups = dict.fromkeys(limit.group for limit in limits)
    blocks = [page.wrapped(OPENING)]
    for group in groups:
        those = [limit for limit in limits if limit.group == group]
        blocks.append("\n".join([page.strong(page.wrapped(HEADINGS[group])), "", _table(those, page)]))
    return "\n\n".join(blocks)


def _table(limits: Sequence[Limit], page: Page) -> str:
    """One row for all limits of a group that allow the same and say the same beyond."""
    columns = [
        TextColumn("what", widest=50, least=20),
        TextColumn("allowed", widest=30, least=14),
        TextColumn("where to change it", widest=20, least=14),
    ]
    alike: dict[tuple[str, str, str], list[Limit]] = {}
    for limit in limits:
        alike.setdefault((allowed(limit), where(limit), limit.beyond), []).append(limit)
    rows = [(_of_all(those), between, place) for (between, place, _), those in alike.items()]
    return plain_table(columns, rows, [f'beyond: "{said}"' for *_, said in alike], page.width)


def _of_all(limits: Sequence[Limit]) -> str:
    """What they limit, each file or section named once before what is of it."""
    by_place: dict[str, list[str]] = {}
    for limit in limits:
        by_place.setdefault(limit.of, []).append(limit.what)
    return "; ".join(f"{place} {', '.join(whats)}".strip() for place, whats in by_place.items())


def allowed(limit: Limit) -> str:
    """The range in words: "0 to 366 days", "at most 300 MB", "1950-01-01 or later"."""
    unit = f" {limit.unit}" if limit.unit else ""
    least, most = (_end(end, grouped=bool(unit)) for end in (limit.least, limit.most))
    if limit.least is None:
        return f"at most {most}{unit}"
    if limit.most is None:
        return f"{least}{unit} or {'later' if isinstance(limit.least, date) else 'more'}"
    return f"{least} to {most}{unit}"


def where(limit: Limit) -> str:
    """Where another value is set."""
    return f"{CHANGES[limit.change]} {limit.by}".strip()


def _end(end: End, grouped: bool) -> str:
    """An end in words; years and ports, which have no unit, without a comma."""
    if not isinstance(end, (int, float)):
        return "" if end is None else end.isoformat()
    if 0 < abs(end) < NEAREST_WRITTEN:
        return f"{end:g}"
    return f"{end:,.12g}" if grouped or abs(end) >= GROUPED_FROM else plain_number(end)


def limits_json(limits: Sequence[Limit]) -> Json:
    """The same for programs; an end that is not there is null."""
    return {
        "limits": [
            {
                "group": limit.group,
                "of": limit.of,
                "what": limit.what,
                "least": _plain(limit.least),
                "most": _plain(limit.most),
                "unit": limit.unit,
                "change": limit.change,
                "by": limit.by,
                "beyond": limit.beyond,
            }
            for limit in limits
        ]
    }


def _plain(end: End) -> float | str | None:
    return end.isoformat() if isinstance(end, date) else end
