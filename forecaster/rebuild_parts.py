"""What a rebuild takes from the shelf, and what of the old unit it uses again.

Common practice of the trade, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from forecaster.errors import WrongUsage

# What a rebuild of one unit takes, and how many of each; sets, since how many washers make one is the maker's.
RENEWED = (
    ("shaft assembly with bearings", 1),
    ("drive gear", 1),
    ("set of clutch washers", 1),
    ("set of spring washers", 1),
    ("set of seals", 1),
)
REUSED = ("front housing", "rear housing", "impeller")


@dataclass(frozen=True)
class PartLine:
    """One kind of part and how many of it."""

    part: str
    count: int


def parts_for(n_rebuilds: int) -> tuple[PartLine, ...]:
    """What so many rebuilds take from the shelf: always all of what turns or seals. WrongUsage below 0."""
    if n_rebuilds < 0:
        raise WrongUsage(f"The number of rebuilds must be at least 0, not {n_rebuilds}.")
    return tuple(PartLine(part, count * n_rebuilds) for part, count in RENEWED)
