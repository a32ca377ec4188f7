"""The bytes of a file: of a regular one alone, and no more of them than may be read.

A pipe, a device or a socket under a file's name would keep its reader waiting, or never end; a file that somebody is
still writing would be read in half.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from forecaster.errors import SourceError

_WITHOUT_WAITING = getattr(os, "O_NONBLOCK", 0)  # a pipe that takes the file's place would wait for its writer
_AS_BYTES = getattr(os, "O_BINARY", 0)  # where the system would turn line breaks
_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (lambda mode: stat.S_ISCHR(mode) or stat.S_ISBLK(mode), "a device"),
)


class NotReadable(SourceError):
    """A file's bytes cannot be had: why, and what to do."""

    def __init__(self, reason: str, remedy: str) -> None:
        """Keep both parts, for whoever says them after the file's name."""
        super().__init__(f"{reason}. {remedy}")
        self.reason = reason
        self.remedy = remedy


def regular_content(path: str | Path, most: int, if_larger: str = "Keep fewer rows in it.") -> bytes:
    """All bytes of a regular file (links are followed) of at most `most`; `if_larger`: the remedy.

    Raises NotReadable where it is none, is larger, grows while it is read, or cannot be opened.
    """
    try:
        _refuse_other_kinds(os.stat(path))  # before it is opened: that alone may set a device going
        opened = os.open(path, os.O_RDONLY | _WITHOUT_WAITING | _AS_BYTES)
        with os.fdopen(opened, "rb") as file:
            there = os.fstat(opened)
            _refuse_other_kinds(there)
            content = file.read(min(there.st_size, most) + 1)
    except (OSError, ValueError) as error:  # ValueError: a name with a NUL in it
        reason = f"the file cannot be opened ({getattr(error, 'strerror', None) or error})"
        raise NotReadable(reason, "Check its name and that you may read it, and close it in other programs.") from error
    if len(content) > most:
        size = max(there.st_size, len(content))
        reason = f"the file has {written_size(size)}; at most {written_size(most)} are read"
        raise NotReadable(reason, if_larger)
    if len(content) > there.st_size:
        raise NotReadable("the file grows while it is read", "Wait until it is written whole, then ask again.")
    return content


def _refuse_other_kinds(there: os.stat_result) -> None:
    if not stat.S_ISREG(there.st_mode):
        kind = next((words for is_kind, words in _KINDS if is_kind(there.st_mode)), "no regular file")
        raise NotReadable(f"the file cannot be opened: it is {kind}", "Put the file itself under this name.")


def written_size(size: int) -> str:
    """A number of bytes as a refusal writes it."""
    return f"{size / 1e6:,.0f} MB" if size >= 1_000_000 else f"{size:,} bytes"
