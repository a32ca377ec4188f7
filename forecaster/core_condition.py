"""The core of an opened unit, its housings and impeller: what was found of each part, and whether it may run again.

Common practice of the trade, no source: the maker's manual and the licensed mechanic who measures it come first.
"""

from __future__ import annotations

from typing import Literal

from forecaster.opened_unit import Finding
from forecaster.records import Metal

Core = Literal["sound", "not inspected", "doubtful", "lost"]


def core_states(finding: Finding) -> dict[str, Metal]:
    """What was found of each part of the core."""
    return {
        "front housing": finding.front_housing,
        "rear housing": finding.rear_housing,
        "impeller": finding.impeller,
    }


def lost_and_doubtful(finding: Finding) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Parts of the core that are lost, and those that must be measured before anybody can say."""
    lost, doubtful = [], []
    for part, state in core_states(finding).items():
        deep = finding.scored_deeply if part != "impeller" else "unknown"
        if state == "destroyed" or (state == "scored" and deep == "yes"):
            lost.append(part)
        elif (state == "scored" and deep == "unknown") or (state == "unknown" and _was_struck(finding, part)):
            doubtful.append(part)
    return tuple(lost), tuple(doubtful)


def _was_struck(finding: Finding, part: str) -> bool:
    """Whether a part that nobody looked at may be damaged: impeller and front housing, where the shaft let go."""
    let_go = finding.bearing == "failed" or "destroyed" in (finding.impeller, finding.front_housing)
    return let_go and part != "rear housing"


def core_reasons(lost: tuple[str, ...], doubtful: tuple[str, ...]) -> tuple[str, ...]:
    """What it means that these parts of the core are lost, and those doubtful."""
    reasons = [f"The {part} cannot be used again: the core is lost." for part in lost]
    reasons += [f"Whether the {part} can be used again must be measured first." for part in doubtful]
    return tuple(reasons)


def not_inspected(unseen: tuple[str, ...]) -> tuple[str, ...]:
    """What it means that nothing was told of these parts of the core."""
    parts = f"{', the '.join(unseen[:-1])} and the {unseen[-1]}" if len(unseen) > 1 else unseen[0]
    they = "they are" if len(unseen) > 1 else "it is"
    return (f"Nothing was told of the {parts}: the core is not known to be sound until {they} inspected.",)


def inspection(finding: Finding) -> str:
    """How the core is looked at before it is used again, naming what was seen on it."""
    worn = ("corroded", "rubbed", "scored")
    marked = [f"the {part} is {state}" for part, state in core_states(finding).items() if state in worn]
    step = "Clean and inspect both housings and the impeller before they are used again"
    if not marked:
        return f"{step}."
    return f"{step}: {' and '.join(marked)}. Whether it may be cleaned up or machined is for a licensed mechanic."
