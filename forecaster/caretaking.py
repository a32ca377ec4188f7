"""Who decides about the units of an invented fleet: what a policy sees, what it may do, and a usual one.

A `Policy` is handed to the play (``forecaster.season_play``) and asked every Monday, after each spin check, after each
water incident and at each opening. It sees what a careful owner sees and never the bearing's true state. So any rule,
a forecast-driven one too, can be played forward against the same invented nature.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, Protocol

import numpy as np

from forecaster.records import FleetRecords

Spin = Literal["quiet", "slight", "rattle"]
Reason = Literal["scheduled", "check", "symptom", "water", "failure", "other"]


@dataclass(frozen=True)
class UnitView:
    """A unit as its owner knows it. Hours are engine hours since new or rebuilt; `hours` is NaN where nobody knows."""

    unit_id: str
    craft_id: str | None  # None: on the shelf
    hours: float
    hours_in_record: float  # of this life, since its record starts
    parts: str
    incidents: tuple[tuple[float, str], ...]  # hours in the record at each water incident, and its treatment
    checks: tuple[tuple[float, str], ...]  # hours in the record at each spin check, and what it said


@dataclass(frozen=True)
class FleetView:
    """The fleet on a Monday morning. `records` writes down all that is on paper so far, when asked."""

    day: date
    next_opening: date | None  # None: in season, or no season follows
    units: Callable[[], list[UnitView]]
    records: Callable[[], FleetRecords]


@dataclass(frozen=True)
class Work:
    """Something to do on a day: open a unit, or spin it by hand. It lapses if the unit was opened before that day."""

    unit_id: str
    on: date
    task: Literal["open", "check"]
    reason: Reason = "scheduled"


class Policy(Protocol):
    """All decisions that are the owner's. `rng` is for policies that are not always of one mind."""

    def plan(self, fleet: FleetView, rng: np.random.Generator) -> Sequence[Work]:
        """Work to do from that Monday on."""
        ...

    def after_check(self, unit: UnitView, spin: Spin, rng: np.random.Generator) -> bool:
        """Whether to open a unit that was just spun by hand."""
        ...

    def after_water(self, unit: UnitView, treatment: str, rng: np.random.Generator) -> Literal["open", "check", "ride"]:
        """What to do with a unit whose craft was just under water."""
        ...

    def rebuilds(self, unit: UnitView, reason: Reason, bearing: str, rng: np.random.Generator) -> bool:
        """Whether to renew an opened unit's rotating parts; if not, it is put back. A failed one always is."""
        ...

    def parts(self, unit: UnitView, rng: np.random.Generator) -> Literal["oem", "aftermarket"]:
        """Which parts go into a rebuild."""
        ...


@dataclass(frozen=True)
class FixedHours:
    """The usual policy: open units past a fixed number of hours, mostly in the off-season; act on noise and water."""

    limit_h: float = 120.0
    adherence: float = 0.85  # share of units past the limit that really get opened
    early: float = 0.5  # share of units past half the limit that get opened all the same
    in_season_limit_h: float = 180.0  # past it a unit is due even in season ...
    in_season_adherence: float = 0.12  # ... and is opened with this chance each week
    supposed_hours: float = 70.0  # start assumed for a unit whose hours nobody knows
    checks_before_season: float = 0.55  # share of the others spun by hand before the opening
    opens_on_rattle: float = 0.92
    opens_after_water: tuple[float, float] = (0.05, 0.24)  # treated promptly, not
    checks_after_water: tuple[float, float] = (0.30, 0.40)
    puts_back_sound: float = 0.55  # share of sound findings put back, where the opening was not scheduled
    opens_for_other_reasons: float = 0.0012  # chance a unit and week in season: leaking seal, low boost
    aftermarket_share: float = 0.45

    def plan(self, fleet: FleetView, rng: np.random.Generator) -> list[Work]:
        """In the second week of November the off-season's openings; two weeks before the opening the checks."""
        if fleet.next_opening is None:
            return self._in_season(fleet, rng)
        ahead = (fleet.next_opening - fleet.day).days
        if 167 <= ahead < 174:
            return self._off_season(fleet, rng)
        return self._before_opening(fleet, rng) if 14 <= ahead < 21 else []

    def _off_season(self, fleet: FleetView, rng: np.random.Generator) -> list[Work]:
        work = []
        for unit, draw in zip(*_with_draws(fleet, rng), strict=True):
            hours = self._supposed(unit)
            opens = self.adherence if hours >= self.limit_h else self.early if hours >= self.limit_h / 2 else 0.0
            if unit.craft_id is not None and draw[0] < opens:
                work.append(Work(unit.unit_id, _later(fleet.day, int(130 * draw[1])), "open"))
        return work

    def _before_opening(self, fleet: FleetView, rng: np.random.Generator) -> list[Work]:
        return [
            Work(unit.unit_id, _later(fleet.day, int(13 * draw[1])), "check")
            for unit, draw in zip(*_with_draws(fleet, rng), strict=True)
            if unit.craft_id is not None and unit.hours_in_record > 0 and draw[0] < self.checks_before_season
        ]

    def _in_season(self, fleet: FleetView, rng: np.random.Generator) -> list[Work]:
        work = []
        for unit, draw in zip(*_with_draws(fleet, rng), strict=True):
            due = self._supposed(unit) >= self.in_season_limit_h
            if unit.craft_id is None:
                continue
            if due and draw[0] < self.in_season_adherence:
                work.append(Work(unit.unit_id, _later(fleet.day, 1), "open"))
            elif draw[1] < self.opens_for_other_reasons:
                work.append(Work(unit.unit_id, _later(fleet.day, 2), "open", "other"))
        return work

    def _supposed(self, unit: UnitView) -> float:
        return unit.hours if unit.hours == unit.hours else self.supposed_hours + unit.hours_in_record

    def after_check(self, unit: UnitView, spin: Spin, rng: np.random.Generator) -> bool:
        """A rattle is mostly opened."""
        return bool(rng.random() < self.opens_on_rattle) if spin == "rattle" else False

    def after_water(self, unit: UnitView, treatment: str, rng: np.random.Generator) -> Literal["open", "check", "ride"]:
        """Some are opened, some spun by hand, more so where the treatment came late or not at all."""
        careless = int(treatment != "prompt")
        draw = float(rng.random())
        if draw < self.opens_after_water[careless]:
            return "open"
        return "check" if draw < self.opens_after_water[careless] + self.checks_after_water[careless] else "ride"

    def rebuilds(self, unit: UnitView, reason: Reason, bearing: str, rng: np.random.Generator) -> bool:
        """Always, except that some found sound are put back, where the opening was not a scheduled rebuild."""
        return reason == "scheduled" or bearing != "sound" or bool(rng.random() >= self.puts_back_sound)

    def parts(self, unit: UnitView, rng: np.random.Generator) -> Literal["oem", "aftermarket"]:
        """Aftermarket parts in a fixed share of rebuilds."""
        return "aftermarket" if rng.random() < self.aftermarket_share else "oem"


def _with_draws(fleet: FleetView, rng: np.random.Generator) -> tuple[list[UnitView], np.ndarray]:
    units = fleet.units()
    return units, rng.random((len(units), 2))


def _later(day: date, days: int) -> date:
    return date.fromordinal(day.toordinal() + days)
