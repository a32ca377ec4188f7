"""Characters that nobody sees, made visible: a name must not look like another, nor change what stands around it.

A right-to-left override turns the rest of a line around, an escape character gives a terminal orders, a zero-width
space makes two names of one. Shown are their codes, as JSON and Python write them: ``\\u202e``.
"""

from __future__ import annotations

import re

# By Unicode's categories (UAX 44): controls (Cc) but the ends of lines and tabs, the formatting characters (Cf) that
# turn text around or have no width, and the separators of lines and paragraphs (Zl, Zp). U+2060 keeps the ends of an
# interval on one line in the program's own sentences; only in a name that others refer to is it at fault.
_SHOWN = "\x00-\x08\x0b-\x1f\x7f-\x9f\u00ad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2061-\u206f\ufeff\ufff9-\ufffb"
_TAGS = "\U000e0000-\U000e007f"
_HIDDEN = re.compile(f"[{_SHOWN}{_TAGS}]")
_HIDDEN_IN_NAME = re.compile(f"[{_SHOWN}{_TAGS}\t\n\u2060]")


def visible(text: str) -> str:
    """The text with every character that nobody sees written out; ends of lines and tabs stay."""
    return _HIDDEN.sub(_code, text)


def hidden_in_name(text: str) -> str | None:
    """The first character of a name that nobody sees, as its code ("U+202E"); None where there is none."""
    found = _HIDDEN_IN_NAME.search(text)
    return f"U+{ord(found[0]):04X}" if found else None


def _code(found: re.Match[str]) -> str:
    """JSON's escape, by pairs above U+FFFF: so a text that is shown so inside JSON is still the same text."""
    return "".join(f"\\u{int.from_bytes(pair):04x}" for pair in _pairs(found[0].encode("utf-16-be")))


def _pairs(encoded: bytes) -> list[bytes]:
    return [encoded[at : at + 2] for at in range(0, len(encoded), 2)]
