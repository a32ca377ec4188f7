"""Every pattern of the rooms that read, against long texts of one thing over and over: the work for its law.

    python -m tests.linear_patterns

Prints each pattern's name before it is tried. What takes time of a text's length is done in seconds; what takes the
square of it would take hours, and is ended by whoever runs this with a limit.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib import import_module

ROOMS = (
    "date_cells",
    "number_cells",
    "sheet_extents",
    "text_files",
    "workbook_xml",
    "received_files",
    "settings_sheet",
)
OVER_AND_OVER = (
    *("1", " ", ".", ",", "1.", "1,1", "-", "a", "a ", "1 ", "1 000", "T", ":", "12:00:", "\u00a0", "+", "'"),
    *("<c ", "<c r=", '<c r="', '<c s="1" ', "<row ", "<x:", "<si ", ">0", ' r="A', "<c/>", "<", ">", '"r '),
)
TIMES = 40_000


def patterns() -> Iterator[tuple[str, re.Pattern]]:
    """Room and name of each pattern, and the pattern."""
    for room in ROOMS:
        for name, value in vars(import_module(f"forecaster.{room}")).items():
            if isinstance(value, re.Pattern):
                yield f"{room}.{name}", value


def texts(times: int) -> Iterator[str]:
    """Long texts: each thing so many times, alone, and between others."""
    for repeated in OVER_AND_OVER:
        for start, end in (("", ""), ("1", "!"), ("<c ", "!")):
            yield start + repeated * times + end


def apply(pattern: re.Pattern, text: str) -> None:
    """Look for the pattern as its room does: in the whole cell, or all through a part of a workbook."""
    if isinstance(pattern.pattern, bytes):
        for _ in pattern.finditer(text.encode()):
            pass
    else:
        pattern.fullmatch(text)


if __name__ == "__main__":
    for name, pattern in patterns():
        print(name, flush=True)
        for text in texts(TIMES):
            apply(pattern, text)
    print("all of them")
