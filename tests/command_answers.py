"""What a command answers, asked in this process and once: the same words over unchanged files are the same answer."""

from __future__ import annotations

import io
from contextlib import redirect_stderr, redirect_stdout
from functools import cache

from forecaster.commands import main


@cache
def answer_to(*words: str) -> tuple[int, str, str]:
    """Exit status, standard output and standard error of ``forecaster`` with these words."""
    with redirect_stdout(io.StringIO()) as out, redirect_stderr(io.StringIO()) as err:
        status = main(words)
    return status, out.getvalue(), err.getvalue()
