"""What the records say of a running unit that no chance may outweigh: a rattle, milky oil, untreated water just now.

The one rule by which every face says "do not run this unit": by what is written down of its life. What is told of a
craft that was just under water comes on top (``forecaster.flooding_steps``). Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any, Literal

from forecaster.findings import found_when_closed, says_nothing_of_rust
from forecaster.lives import Histories
from forecaster.written_days import DatedText

SPUN = ("quiet", "slight")
# Engine hours after water in which the oil is looked at again and again: until then untreated water is just now.
JUST_NOW_H = 10.0


@dataclass(frozen=True)
class Unsafe:
    """One thing on record that no chance may outweigh.

    `act`: the least that must be done with the unit. `found`: what is on record, in words, with its day. `stops`: it
    must not run as it is; else it need only be looked at before its next ride.
    """

    act: Literal["check", "rebuild"]
    found: str
    stops: bool = True

    @property
    def why(self) -> str:
        """What is on record, and what that asks for, in words."""
        return DatedText(self.found, ": do not run it" if self.stops else ": check before the next ride")


def not_to_run(reasons: Iterable[Unsafe]) -> tuple[str, ...]:
    """Why a unit must not run as it is, in words; empty where it may."""
    return tuple(one.found for one in reasons if one.stops)


def check_first(reasons: Collection[Unsafe]) -> tuple[str, ...]:
    """Why a unit that may run must be checked before its next ride, in words; empty where it must not run at all."""
    return () if not_to_run(reasons) else tuple(one.found for one in reasons)


def found_unsafe(units: Histories) -> dict[str, tuple[Unsafe, ...]]:
    """What is unsafe about each unit as its record stands, the gravest first, by life_id; lives without are left out.

    A rattle, or a bearing found rough or rusted and put back, stops it until it was opened and found sound: a later
    quiet spin does not undo it; a little bearing noise ("slight") is normal. Milky oil stops it until clear oil is
    told, or oil changed after water. Untreated water asks for a check before the next ride, for `JUST_NOW_H` engine
    hours, unless the unit was spun without a rattle, or opened, since.
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
            yield Unsafe("rebuild", DatedText("rattled when spun by hand ", _when(look.checked_on, look, now)))
            return
        if look.known_state == "defective":
            found = f"found {found_when_closed(look.bearing)} and put back "
            yield Unsafe("rebuild", DatedText(found, _when(look.checked_on, look, now)))
            return


def _milky(looks: list[Any], water: list[Any], now: float) -> Iterable[Unsafe]:
    told = [(look.checked_on, 1, look.oil, look) for look in looks if look.oil in ("milky", "clear")]
    for one in water:
        changed = one.treated == "yes"  # oil changed until clear, whatever it was like before and whenever that was
        if changed or one.oil in ("milky", "clear"):
            told.append((one.happened_on, 0, "clear" if changed else one.oil, one))
    if not told:
        return
    day, _, oil, last = max(told, key=lambda row: row[:2])
    if oil == "milky":
        yield Unsafe("check", DatedText("oil milky ", _when(day, last, now), ", not clear since"))


def _untreated(looks: list[Any], water: list[Any], now: float) -> Iterable[Unsafe]:
    for one in reversed(water):
        if one.treatment == "none" and now - one.observed_hours <= JUST_NOW_H:
            since = [look for look in looks if look.checked_on >= one.happened_on]
            if not any(_tells_of_it(look, one) for look in since):
                spun = any(look.spin in SPUN for look in since)
                so = ", spun within two days of it alone, which says little" if spun else ", not spun since"
                yield Unsafe("check", DatedText("untreated water ", _when(one.happened_on, one, now), so), stops=False)
            return


def _tells_of_it(look: Any, water: Any) -> bool:
    """Whether a look after water tells of the rust that it began: opened, or spun late enough for rust to be heard."""
    days = (look.checked_on - water.happened_on).days
    return look.known_state != "" or (look.spin in SPUN and not says_nothing_of_rust(days, look.spin))


def _when(day: Any, event: Any, now: float) -> DatedText:
    return DatedText("on ", day.date(), f", {max(now - event.observed_hours, 0.0):.0f} h ago")
