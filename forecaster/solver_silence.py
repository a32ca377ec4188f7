"""Keeps standard output clean while the solver works: it holds the answer and nothing else.

The solver that some releases of scipy carry prints a line of its own past every switch and past Python's streams, when
it mends a solution ("... tmpSolver.run();"). In the middle of an answer in JSON that would spoil it.
"""

from __future__ import annotations

import ctypes
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_ONE_AT_A_TIME = threading.Lock()  # two at once would each take the other's silence for the real output


@contextmanager
def silent_solver() -> Iterator[None]:
    """While in it, nothing written to the process's standard output by compiled code arrives there."""
    with _ONE_AT_A_TIME:
        if sys.stdout is not None:
            sys.stdout.flush()
        try:
            kept = os.dup(1)
        except OSError:  # no standard output at all, as under a windowed Python: nothing to keep clean
            yield
            return
        _flush_compiled()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.close(nowhere)
        try:
            yield
        finally:
            _flush_compiled()  # what was printed may still wait in C's own buffer
            os.dup2(kept, 1)
            os.close(kept)


def _flush_compiled() -> None:
    """Write out what compiled code has printed so far: fflush of all streams."""
    library = ctypes.CDLL("ucrtbase" if sys.platform == "win32" else None)
    library.fflush(None)
