"""What came in, as a refusal shows it: on one line, cut short, and never at fault itself."""

from __future__ import annotations

import math
from datetime import date, time

MOST_SHOWN = 60  # characters: enough to find the value again, and no terminal is filled by one cell
_WORDS = {True: "true", False: "false"}  # as TOML and JSON write them
_MOST_DIGITS = 20  # of a whole number: more can be asked of nobody to count, and Python refuses to write 4,300


def shown(value: object, most: int = MOST_SHOWN) -> str:
    """A value of any kind in some `most` characters: texts in quotation marks, with what cannot be seen escaped."""
    if isinstance(value, str):
        return repr(value) if len(value) <= most else f"{value[:most]!r}... ({len(value):,} characters)"
    if isinstance(value, bool):
        return _WORDS[value]
    if isinstance(value, int) and value.bit_length() > _MOST_DIGITS / math.log10(2):
        return f"a whole number of some {round(value.bit_length() * math.log10(2)):,} digits"
    if isinstance(value, (date, time)):
        return value.isoformat()
    try:
        text = repr(value)
    except (ValueError, RecursionError):  # a number too long to be written somewhere in it, or nested too deeply
        return f"a {type(value).__name__}"
    return text if len(text) <= most else f"{text[:most]}..."


def shortened(text: str, most: int = MOST_SHOWN) -> str:
    """A text of the reader's own, such as a file's key, on one line and cut short, without quotation marks."""
    return shown(text, most).replace(repr(text[:most]), repr(text[:most])[1:-1], 1)
