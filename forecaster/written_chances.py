"""Chances as readers want them written: whole per cent, and neither a nought nor a certainty that nobody can know."""

from __future__ import annotations


def percent(chance: float) -> str:
    """A chance in whole percent; "<1 %" and ">99 %" rather than a nought or a certainty that nobody can know."""
    if 0.0 < chance <= 0.005:
        return "<1 %"
    if 0.995 <= chance < 1.0:
        return ">99 %"
    return f"{100.0 * chance:.0f} %"
