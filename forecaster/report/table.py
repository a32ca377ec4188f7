"""Plain-text tables that fit a width: cells wrap, nothing is cut off, no colour is needed to read them."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

GAP = 2
LEAST_BESIDE = 44  # narrower, a note beside its row would be a ribbon of words
# A number and its unit stay on one line; textwrap breaks at plain spaces only.
_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:%|h|units?|rows?)\b|%)")
_KEPT_TOGETHER = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True)
class TextColumn:
    """A column: its heading (may hold line breaks), whether its cells are set right, its greatest and least width.

    On a page too narrow for all, columns give way down to their ``least``; 0: this one does not.
    """

    heading: str
    right: bool = False
    widest: int = 24
    least: int = 0


def plain_table(columns: Sequence[TextColumn], rows: Sequence[Sequence[str]], notes: Sequence[str], width: int) -> str:
    """A table no wider than `width` if its columns can give way so far, each row with a note: what to do and why.

    `rows`: one cell a column. `notes`: one a row, "" for none; set beside the row where there is room for
    `LEAST_BESIDE` characters, else below it, indented.
    """
    headings = [column.heading.split("\n") for column in columns]
    widths = _widths(columns, headings, rows, width)
    headings = [[part for line in h for part in wrap(line, w)] for h, w in zip(headings, widths, strict=True)]
    used = sum(widths) + GAP * len(widths)
    beside = width - used >= LEAST_BESIDE
    lines = _lines(columns, headings, widths)
    lines.append("  ".join("-" * w for w in widths))
    for row, note in zip(rows, notes, strict=True):
        cells = [wrap(cell, w) or [""] for cell, w in zip(row, widths, strict=True)]
        written = _lines(columns, cells, widths)
        if note and beside:
            lines.extend(_side_by_side(written, wrap(note, width - used), used))
        else:
            lines.extend(written)
            lines.extend(wrap(note, width, "    ", "    "))
    return "\n".join(line.rstrip() for line in lines)


def wrap(text: str, width: int, first_indent: str = "", indent: str = "") -> list[str]:
    """Text in lines of at most `width` characters; a number stays with its unit, and words are cut only to fit."""
    together = _NUMBER_AND_UNIT.sub(_KEPT_TOGETHER, text)
    lines = textwrap.wrap(
        together, width, initial_indent=first_indent, subsequent_indent=indent, break_on_hyphens=False
    )
    return [line.replace(_KEPT_TOGETHER, " ") for line in lines]


def _widths(
    columns: Sequence[TextColumn], headings: list[list[str]], rows: Sequence[Sequence[str]], width: int
) -> list[int]:
    """Each column as wide as its cells, up to its greatest width; on a narrow page those that can give way."""
    widths = []
    for at, column in enumerate(columns):
        heading = max(len(line) for line in headings[at])
        widths.append(max(heading, min(column.widest, max((len(row[at]) for row in rows), default=0))))
    while sum(widths) + GAP * (len(widths) - 1) > width:
        room = [w - column.least if column.least else 0 for w, column in zip(widths, columns, strict=True)]
        if max(room) <= 0:
            break
        widths[room.index(max(room))] -= 1
    return widths


def _lines(columns: Sequence[TextColumn], cells: list[list[str]], widths: list[int]) -> list[str]:
    height = max(len(cell) for cell in cells)
    lines = []
    for at in range(height):
        parts = []
        for column, cell, width in zip(columns, cells, widths, strict=True):
            part = cell[at] if at < len(cell) else ""
            parts.append(part.rjust(width) if column.right else part.ljust(width))
        lines.append((" " * GAP).join(parts))
    return lines


def _side_by_side(left: list[str], right: list[str], at: int) -> list[str]:
    height = max(len(left), len(right))
    left = left + [""] * (height - len(left))
    right = right + [""] * (height - len(right))
    return [f"{one:<{at}}{other}" for one, other in zip(left, right, strict=True)]
