"""What is told as a number is one: neither NaN nor infinity leaves the core as a chance, an amount or a moment.

Libraries warn where they lose a number on the way; nobody at a terminal reads that. So it is looked at where means and
intervals are taken, and the answer is refused.
"""

from __future__ import annotations

import numpy as np

from forecaster.errors import ModelError


def told_numbers(values: np.ndarray, what: str) -> np.ndarray:
    """The same values, (...). Raises ModelError where one of them is no number; `what` they are begins the refusal."""
    if not np.isfinite(values).all():
        raise ModelError(no_number(what))
    return values


def no_number(what: str) -> str:
    """Why nothing is told, and what to do."""
    return (
        f"{what} came out as no number, so there is no answer. Look for an extreme value in the records, the prices "
        "or the priors; where there is none, report this line to whoever maintains the program."
    )
