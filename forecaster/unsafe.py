"""What the records say of a unit that no chance may outweigh: a rattle, milky oil, water that was not dealt with.

The one rule by which every face says "do not run this unit": by what is written down of its life. What is told of a
craft that was just under water comes on top (``forecaster.flooding_steps``). Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from forecaster.findings import found_when_closed, says_nothing_of_rust
from forecaster.lives import Histories
from forecaster.written_days import DatedText

SPUN = ("quiet", "slight")
# Engine hours after water in which the oil is looked at again and again: until then water is just now. Days do not end
# it: what stands wet goes on rusting.
JUST_NOW_H = 10.0
UnsafeCode = Literal["rattle", "put_back", "milky", "untreated", "treatment_unknown", "treated_late"]
Asks = Literal["stop", "treat", "first"]
# What each asks for: not to run it as it is; not to start it before it was treated; to look at it before it is ridden.
ASKS: dict[UnsafeCode, Asks] = {
    "rattle": "stop",
    "put_back": "stop",
    "milky": "stop",
    "untreated": "treat",
    "treatment_unknown": "treat",  # of which nobody knows counts as not treated
    "treated_late": "first",
}
_LEAST_FIRST = ("leave", "check", "rebuild")
_END: dict[Asks, str] = {
    "stop": "do not run it",
    "treat": "do not start it before it is treated",
    "first": "check before the next ride",
}


@dataclass(frozen=True)
class Unsafe:
    """One thing on record that no chance may outweigh.

    `act`: the least that must be done with the unit. `found`: what is on record, in words, with its day `on`.
    """

    code: UnsafeCode
    act: Literal["leave", "check", "rebuild"]
    found: str
    on: date | None = None

    @property
    def asks(self) -> Asks:
        """Whether it must not run, not be started before it was treated, or not be ridden before it was looked at."""
        return ASKS[self.code]

    @property
    def stops(self) -> bool:
        """Whether it must not run as it is; else it need only be looked at before its next ride."""
        return self.asks != "first"

    @property
    def why(self) -> str:
        """What is on record, and what that asks for, in words."""
        return DatedText(self.found, f": {_END[self.asks]}")


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
    told, or oil changed after water. Water that nobody is known to have treated stops it for `JUST_NOW_H` engine
    hours, whatever was heard since: the engine is wet as well. Treated late, it asks for a check before the next ride,
    as long, unless the unit was opened since, or spun without a rattle so late that rust would be heard.
    """
    looks, water = _by_life(units.checks), _by_life(units.incidents)
    now = dict(zip(units.lives["life_id"], units.lives["hours_observed"], strict=True))
    found = {}
    for life_id in now:
        if life_id in looks or life_id in water:
            own, wet, hours = looks.get(life_id, []), water.get(life_id, []), float(now[life_id])
            reasons = (*_noise(own, hours), *_milky(own, wet, hours), *_wet(own, wet, hours))
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
            found = DatedText("rattled when spun by hand ", _when(look.checked_on, look, now))
            yield Unsafe("rattle", "rebuild", found, look.checked_on.date())
            return
        if look.known_state == "defective":
            found = DatedText(
                f"found {found_when_closed(look.bearing)} and put back ", _when(look.checked_on, look, now)
            )
            yield Unsafe("put_back", "rebuild", found, look.checked_on.date())
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
        yield Unsafe("milky", "check", DatedText("oil milky ", _when(day, last, now), ", not clear since"), day.date())


def _wet(looks: list[Any], water: list[Any], now: float) -> Iterable[Unsafe]:
    """Of the water of just now that was not dealt with: the gravest that asks for treatment, the gravest for a look."""
    just_now = [wet for wet in reversed(water) if now - wet.observed_hours <= JUST_NOW_H]
    found = [one for wet in just_now for one in _not_dealt_with(looks, wet, now)]
    found.sort(key=lambda one: (_LEAST_FIRST.index(one.act), one.code == "untreated"), reverse=True)
    for asks in ("treat", "first"):
        yield from [one for one in found if one.asks == asks][:1]


def _not_dealt_with(looks: list[Any], water: Any, now: float) -> Iterable[Unsafe]:
    if water.treatment == "prompt":
        return
    since = [look for look in looks if look.checked_on >= water.happened_on]
    heard = any(_tells_of_it(look, water) for look in since)
    code, what = _treatment_found(water)
    if code == "treated_late" and heard:
        return
    spun = any(look.spin in SPUN for look in since)
    so = ", spun within two days of it alone, which says little" if spun else ", not spun since"
    told = DatedText(f"{what} ", _when(water.happened_on, water, now), "" if heard else so)
    yield Unsafe(code, "leave" if heard else "check", told, water.happened_on.date())


def _treatment_found(water: Any) -> tuple[UnsafeCode, str]:
    """What is wrong with how water was treated, not promptly, as a code and in words."""
    if water.treated != "yes":
        untreated = water.treated == "no"
        return ("untreated", "untreated water") if untreated else ("treatment_unknown", "water of unknown treatment")
    soon = "late" if water.treatment == "late" else "at an unknown time"
    return "treated_late", f"water treated {soon}"


def _tells_of_it(look: Any, water: Any) -> bool:
    """Whether a look after water tells of the rust that it began: opened, or spun late enough for rust to be heard."""
    days = (look.checked_on - water.happened_on).days
    return look.known_state != "" or (look.spin in SPUN and not says_nothing_of_rust(days, look.spin))


def _when(day: Any, event: Any, now: float) -> DatedText:
    return DatedText("on ", day.date(), f", {max(now - event.observed_hours, 0.0):.0f} h ago")
