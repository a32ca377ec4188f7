"""What is printed, with no character in it that nobody sees: no name in a file may give the terminal an order.

Of escape sequences only the program's own pass: bold, and an end to it.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TextIO

from forecaster.visible_texts import visible

BOLD, NO_LONGER_BOLD = "\x1b[1m", "\x1b[0m"
_OWN = re.compile(f"({re.escape(BOLD)}|{re.escape(NO_LONGER_BOLD)})")


def plain(text: str) -> str:
    """A text for the terminal: what nobody sees in it is written out, but for the program's own bold."""
    return "".join(part if _OWN.fullmatch(part) else visible(part) for part in _OWN.split(text))


class _PlainStream:
    """A stream of text, everything that is written to it made plain."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        return int(self._stream.write(plain(text)))

    def writelines(self, lines: Iterable[str]) -> None:
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def bare(stream: TextIO) -> TextIO:
    """The stream that a plain one writes to; any other as it is."""
    beneath: TextIO = stream._stream if isinstance(stream, _PlainStream) else stream
    return beneath


@contextmanager
def plain_streams() -> Iterator[None]:
    """Standard output and standard error are plain within."""
    out, err = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = _PlainStream(out), _PlainStream(err)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = out, err
