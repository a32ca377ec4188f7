"""What a rebuild takes from the shelf, what of the old unit it uses again, and how it is oiled before its first start.

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
WASHERS = ("set of clutch washers", "set of spring washers")
REUSED = ("front housing", "rear housing", "impeller")
# Of every rebuilt or new unit, and of one with new washers: it is lubricated only while the engine runs.
PRE_OIL = (
    "Before the first start with new parts, oil the supercharger's bearings by hand and turn it by hand until it turns "
    "freely; then start the engine and let it idle until its oil pressure stands, and only then rev it: the "
    "supercharger is oiled only while the engine runs."
)


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


def washers_alone() -> tuple[PartLine, ...]:
    """What is renewed where only the clutch's washers are worn."""
    return tuple(PartLine(part, count) for part, count in RENEWED if part in WASHERS)
