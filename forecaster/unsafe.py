"""What the records say of a running unit that no chance may outweigh: a rattle, milky oil, untreated water just now.

The same reasons as in ``forecaster.flooding_steps``, read from what is written down of the unit's life. Common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from forecaster.lives import Histories

SPUN = ("quiet", "slight")
# Engine hours after water in which the oil is looked at again and again: until then untreated water is just now.
JUST_NOW_H = 10.0


@dataclass(frozen=True)
class Unsafe:
    """One reason not to run a unit as it is: the least that must be done with it, and why in words."""

    act: Literal["check", "rebuild"]
    why: str


def found_unsafe(units: Histories) -> dict[str, tuple[Unsafe, ...]]:
    """Reasons not to run a unit as it is, the gravest first, by life_id; lives without any are left out.

    A rattle, or a bearing found rough and put back, counts until the unit was opened and found sound: a later quiet
    spin does not undo it. Milky oil counts until clear oil is told, or oil changed after water. Untreated water counts
    for `JUST_NOW_H` engine hours unless the unit was spun without a rattle, or opened, since.
    """
    looks, water = _by_life(units.checks), _by_life(units.incidents)
    now = dict(zip(units.lives["life_id"], units.lives["hours_observed"], strict=True))
    found = {}
    for life_id in now:
        if life_id in looks or life_id in water:
            own, wet, hours = looks.get(life_id, []), water.get(life_id, []), float(now[life_id])
            reasons = (*_noise(own, hours), *_milky(own, wet, hours), *_untreated(own, wet, hours))
            if reasons:
                found[life_id] = reasons
    return found


def _by_life(table: Any) -> dict[str, list[Any]]:
    """Rows of checks or incidents by life, in the order of their days."""
    rows: Iterable[Any] = table.itertuples(index=False)
    found: dict[str, list[Any]] = {}
    for row in rows:
        found.setdefault(row.life_id, []).append(row)
    return found


def _noise(looks: list[Any], now: float) -> Iterable[Unsafe]:
    sound = [i for i, look in enumerate(looks) if look.known_state == "sound"]
    since = looks[sound[-1] + 1 :] if sound else looks
    for look in reversed(since):
        if look.spin == "rattle":
            yield Unsafe("rebuild", f"rattled when spun {_ago(look, now)}: do not run it")
            return
        if look.known_state == "defective":
            yield Unsafe("rebuild", f"found rough and put back {_ago(look, now)}: do not run it")
            return


def _milky(looks: list[Any], water: list[Any], now: float) -> Iterable[Unsafe]:
    told = [(look.checked_on, 1, look.oil, look) for look in looks if look.oil in ("milky", "clear")]
    for one in water:
        changed = one.treatment in ("prompt", "late")  # oil changed until clear, whatever it was like before
        if changed or one.oil in ("milky", "clear"):
            told.append((one.happened_on, 0, "clear" if changed else one.oil, one))
    if not told:
        return
    _, _, oil, last = max(told, key=lambda row: row[:2])
    if oil == "milky":
        yield Unsafe("check", f"oil milky {_ago(last, now)}, not clear since: do not run it")


def _untreated(looks: list[Any], water: list[Any], now: float) -> Iterable[Unsafe]:
    for one in reversed(water):
        if one.treatment == "none" and now - one.observed_hours <= JUST_NOW_H:
            seen = any(look.checked_on >= one.happened_on and _tells_of_it(look) for look in looks)
            if not seen:
                yield Unsafe("check", f"untreated water {_ago(one, now)}, not spun since: check before the next ride")
            return


def _tells_of_it(look: Any) -> bool:
    return look.spin in SPUN or look.known_state != ""


def _ago(event: Any, now: float) -> str:
    return f"{max(now - event.observed_hours, 0.0):.0f} h ago"
