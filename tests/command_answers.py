"""What a command answers, asked in this process and once: the same words over unchanged files are the same answer."""

from __future__ import annotations

import io
from contextlib import redirect_stderr, redirect_stdout
from functools import cache

from forecaster.commands import main


def asked(*words: str) -> tuple[int, str, str]:
    """Exit status, standard output and standard error of ``forecaster`` with these words, in this process."""
    with redirect_stdout(io.StringIO()) as out, redirect_stderr(io.StringIO()) as err:
        try:
            status = main(words)
        except SystemExit as end:  # of --help and --version
            status = int(end.code or 0)
    return status, out.getvalue(), err.getvalue()


@cache
def answer_to(*words: str) -> tuple[int, str, str]:
    """The same, asked once: of words over files that do not change."""
    return asked(*words)
