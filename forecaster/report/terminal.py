"""What the terminal in front of the reader can show: its width, and whether it takes colours."""

from __future__ import annotations

import os
import shutil
import sys
from typing import TextIO

from forecaster.report.text import Page

LEAST_WIDTH = 80
# Wider than this, a row's reasons run so far to the right that the eye loses the row.
MOST_WIDTH = 160


def page_of(stream: TextIO) -> Page:
    """A page for `stream`: the terminal's width between 80 and 160 columns, colours only where a person watches.

    ``NO_COLOR`` set to anything but nothing, or a terminal that calls itself dumb, means no colours.
    """
    width = shutil.get_terminal_size(fallback=(LEAST_WIDTH, 24)).columns
    return Page(width=min(max(width, LEAST_WIDTH), MOST_WIDTH), colour=_takes_colour(stream))


def _takes_colour(stream: TextIO) -> bool:
    if not stream.isatty() or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return False
    # The old Windows console prints the codes; the newer terminal says who it is.
    return sys.platform != "win32" or "WT_SESSION" in os.environ
