"""The core of an opened unit, its housings and impeller: what was found of each part, and whether it may run again.

Common practice of the trade, no source: the maker's manual and the licensed mechanic who measures it come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from forecaster.opened_unit import Finding
from forecaster.records import Metal

Core = Literal["sound", "not inspected", "doubtful", "lost"]
TOUCHED = frozenset({"rubbed", "scored", "destroyed"})  # something turned against it
MARKED = frozenset({"corroded", "rubbed", "scored", "destroyed"})


@dataclass(frozen=True)
class CoreCondition:
    """The parts of the core by what was found of them, each part under one of the first four, or sound.

    ``lost``: cannot be used again; ``doubtful``: to be measured before anybody can say; ``not_inspected``: nothing was
    told; ``marked``: corroded, rubbed or scored, used again only if it passes an inspection. ``touched``: something
    turned against it, whatever becomes of it.
    """

    lost: tuple[str, ...]
    doubtful: tuple[str, ...]
    not_inspected: tuple[str, ...]
    marked: tuple[str, ...]
    touched: tuple[str, ...]

    @property
    def word(self) -> Core:
        """The whole core in a word, by the part that is worst off."""
        if self.lost:
            return "lost"
        return "doubtful" if self.doubtful else "not inspected" if self.not_inspected else "sound"


def core_states(finding: Finding) -> dict[str, Metal]:
    """What was found of each part of the core."""
    return {
        "front housing": finding.front_housing,
        "rear housing": finding.rear_housing,
        "impeller": finding.impeller,
    }


def core_condition(finding: Finding) -> CoreCondition:
    """What becomes of each part of the core."""
    lost, doubtful, not_inspected, marked, touched = [], [], [], [], []
    for part, state in core_states(finding).items():
        deep = finding.scored_deeply if part != "impeller" else "unknown"
        if state in TOUCHED:
            touched.append(part)
        if state == "destroyed" or (state == "scored" and deep == "yes"):
            lost.append(part)
        elif (state == "scored" and deep == "unknown") or (state == "unknown" and _was_struck(finding, part)):
            doubtful.append(part)
        elif state == "unknown":
            not_inspected.append(part)
        elif state in MARKED:
            marked.append(part)
    return CoreCondition(*(tuple(parts) for parts in (lost, doubtful, not_inspected, marked, touched)))


def _was_struck(finding: Finding, part: str) -> bool:
    """Whether a part that nobody looked at may be damaged: impeller and front housing, where the shaft let go."""
    let_go = finding.bearing == "failed" or "destroyed" in (finding.impeller, finding.front_housing)
    return let_go and part != "rear housing"
