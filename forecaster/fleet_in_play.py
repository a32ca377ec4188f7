"""The state of an invented fleet while its seasons are played: units, their lives, and which craft they sit on.

What happens is kept in a `PlayLog`, true to the hour; how people write it down is ``forecaster.record_keeping``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from forecaster.bearing_life import BearingLife
from forecaster.caretaking import UnitView
from forecaster.operations import Operations
from forecaster.worlds import World

# Common practice, no source, but for the usual 14 lb·ft on a stock craft and more when boost is raised.
SLIP_SET = {False: 14.0, True: 16.0}  # lb·ft, by whether the craft is tuned
SLIP_SET_SD, SLIP_PER_HOUR, SLIP_PER_HOUR_SD = 0.3, 0.015, 0.004
FRESH_AT_START, UNKNOWN_AT_START = 0.42, 0.20  # shares of units in the first spring; the others are part-worn
PART_WORN_H = (30.0, 180.0)
AFTERMARKET_AT_START = 0.35
CRAFT_A_SPARE = 6  # an owner keeps one spare for so many craft


@dataclass
class Unit:
    """A unit in play; `known` says whether its owner knows its hours."""

    unit_id: str
    owner: str
    life: BearingLife
    parts: str
    known: bool = True
    number: int = 1  # of its life
    entry_h: float = 0.0  # age at which the record of the life starts
    craft: int | None = None
    free_on: int = 0  # on the shelf: ready from that day
    slip_set: float = 14.0
    slip_per_hour: float = SLIP_PER_HOUR
    stretch: dict[str, Any] | None = None
    fitting: dict[str, Any] | None = None
    incidents: list[tuple[float, str]] = field(default_factory=list)
    checks: list[tuple[float, str]] = field(default_factory=list)

    @property
    def life_id(self) -> str:
        """Name of its present life, as in Histories."""
        return f"{self.unit_id}/{self.number}"

    @property
    def slip(self) -> float:
        """Its true slip moment now, lb·ft: a straight wear path."""
        return self.slip_set - self.slip_per_hour * self.life.age_h


@dataclass
class PlayLog:
    """Everything that happened, one dict a row; days are ordinals, craft their number in the operations."""

    fittings: list[dict[str, Any]] = field(default_factory=list)
    openings: list[dict[str, Any]] = field(default_factory=list)
    incidents: list[dict[str, Any]] = field(default_factory=list)
    checks: list[dict[str, Any]] = field(default_factory=list)
    lives: list[dict[str, Any]] = field(default_factory=list)
    stretches: list[dict[str, Any]] = field(default_factory=list)
    ledger: list[dict[str, Any]] = field(default_factory=list)


class FleetInPlay:
    """Units on craft and on the shelf. `nature` and `bench` are its streams of chance."""

    def __init__(
        self, operations: Operations, world: World, nature: np.random.Generator, bench: np.random.Generator
    ) -> None:
        """Fit the first units, and lay spares on the shelf."""
        self.operations, self.world, self.nature, self.bench = operations, world, nature, bench
        self.log = PlayLog()
        self.hours_run = np.zeros_like(operations.wanted_hours)
        self.units: dict[str, Unit] = {}
        self.on_craft: list[Unit | None] = [None] * len(operations.craft)
        self.idle_until = [0] * len(operations.craft)
        self.shelf: list[Unit] = []
        self._made = 0
        self.ratios = {
            (i, parts): world.hazard_ratio(parts, one.salt, float(one.tuned))
            for i, one in enumerate(operations.craft)
            for parts in ("oem", "aftermarket")
        }
        self._first_units()

    def _first_units(self) -> None:
        craft = self.operations.craft
        for i, one in enumerate(craft):
            if one.in_service_on > self.operations.seasons[0][0]:
                continue
            draw = self.bench.random(3)
            known = bool(draw[0] >= UNKNOWN_AT_START)
            fresh = known and draw[0] < UNKNOWN_AT_START + FRESH_AT_START
            age = 0.0 if fresh else PART_WORN_H[0] + (PART_WORN_H[1] - PART_WORN_H[0]) * float(draw[1])
            parts = "aftermarket" if draw[2] < AFTERMARKET_AT_START else "oem"
            self.fit(self.new_unit(i, parts, age, known), i, one.in_service_on)
        owners = [one.owner for one in craft]
        for owner in dict.fromkeys(owners):
            self.shelf += [self.new_unit(owners.index(owner)) for _ in range(owners.count(owner) // CRAFT_A_SPARE)]

    # -- units and lives ---------------------------------------------------------------------------------------

    def new_unit(self, i: int, parts: str = "oem", age: float = 0.0, known: bool = True) -> Unit:
        """A unit that joins the fleet, meant for craft number `i`; part-worn ones are such as still run."""
        self._made += 1
        life = BearingLife(self.world, self.nature, age, self.ratios[i, parts])
        one = self.operations.craft[i]
        unit = Unit(f"S{self._made:04d}", one.owner, life, parts, known, entry_h=age)
        self._set_slip(unit, one.tuned)
        self.units[unit.unit_id] = unit
        return unit

    def renew(self, unit: Unit, parts: str, tuned: bool) -> None:
        """Its rotating parts are renewed: a new life starts."""
        unit.parts, unit.number = parts, unit.number + 1
        unit.life, unit.entry_h, unit.known = BearingLife(self.world, self.nature), 0.0, True
        unit.incidents, unit.checks = [], []
        self._set_slip(unit, tuned)

    def _set_slip(self, unit: Unit, tuned: bool) -> None:
        draw = self.bench.standard_normal(2)
        unit.slip_set = SLIP_SET[tuned] + SLIP_SET_SD * float(draw[0])
        unit.slip_per_hour = max(0.002, SLIP_PER_HOUR + SLIP_PER_HOUR_SD * float(draw[1]))

    def end_life(self, unit: Unit, day: int, ended_by: str) -> None:
        """Write the truth about the life that ends, or that the play leaves running."""
        life, failed = unit.life, unit.life.state == "failed"
        self.log.lives.append(
            {
                "life_id": unit.life_id,
                "unit_id": unit.unit_id,
                "life_number": unit.number,
                "parts": unit.parts,
                "hours_at_entry": unit.entry_h,
                "hours_at_end": life.age_h,
                "defective_at_hours": life.defective_at_h,
                "failed_at_hours": life.failed_at_h if failed else float("nan"),
                "state": life.state,
                "ended_on": day,
                "ended_by": ended_by,
                "slip_set": unit.slip_set,
                "slip_per_hour": unit.slip_per_hour,
            }
        )

    def seen(self, unit: Unit) -> UnitView:
        """The unit as its owner knows it."""
        return UnitView(
            unit_id=unit.unit_id,
            craft_id=None if unit.craft is None else self.operations.craft[unit.craft].craft_id,
            hours=unit.life.age_h if unit.known else float("nan"),
            hours_in_record=unit.life.age_h - unit.entry_h,
            parts=unit.parts,
            incidents=tuple(unit.incidents),
            checks=tuple(unit.checks),
        )

    # -- on and off craft --------------------------------------------------------------------------------------

    def spare(self, owner: str, by: int) -> Unit | None:
        """The owner's first unit on the shelf that is ready by that day."""
        return next((unit for unit in self.shelf if unit.owner == owner and unit.free_on <= by), None)

    def fit(self, unit: Unit, i: int, day: int) -> None:
        """Fit it to craft number `i`; after the last day it stays on the shelf."""
        if unit in self.shelf:
            self.shelf.remove(unit)
        if day > self.operations.last_day:
            self.store(unit, day)
            return
        unit.craft = i
        self.on_craft[i] = unit
        self.put_on_the_books(unit, i, day)
        self.begin_stretch(unit, i, day)

    def remove(self, unit: Unit, day: int) -> None:
        """Take it off its craft."""
        self.take_off_the_books(unit, day)
        if unit.craft is not None:
            self.on_craft[unit.craft] = None
        unit.craft = None

    def store(self, unit: Unit, free_on: int) -> None:
        """Lay it on the shelf, ready from that day."""
        unit.free_on = free_on
        self.shelf.append(unit)

    def retire(self, i: int, day: int) -> None:
        """Craft number `i` leaves the fleet; its unit goes on the shelf, worn as it is."""
        unit = self.on_craft[i]
        self.idle_until[i] = self.operations.last_day
        if unit is None:
            return
        if unit.stretch is not None and unit.stretch["day"] > day:  # it is still on the bench and is not refitted
            unit.stretch = None
        if unit.fitting is not None and unit.fitting["day"] > day:
            self.log.fittings.remove(unit.fitting)
            unit.fitting = None
        self.end_stretch(unit, day)
        self.remove(unit, day)
        self.store(unit, day + 1)

    def put_on_the_books(self, unit: Unit, i: int, day: int) -> None:
        """Begin a row of the fittings book."""
        unit.fitting = {
            "unit_id": unit.unit_id,
            "craft": i,
            "day": day,
            "age_h": unit.life.age_h if unit.known else float("nan"),
            "first": not any(row["unit_id"] == unit.unit_id for row in self.log.fittings),
            "removed": None,
            "parts": unit.parts,
        }
        self.log.fittings.append(unit.fitting)

    @staticmethod
    def take_off_the_books(unit: Unit, day: int) -> None:
        """Close its row of the fittings book."""
        if unit.fitting is not None:
            unit.fitting["removed"] = day
            unit.fitting = None

    def begin_stretch(self, unit: Unit, i: int, day: int) -> None:
        """From that day on it runs on craft number `i`."""
        unit.stretch = {
            "life_id": unit.life_id,
            "craft": i,
            "day": day,
            "from_age_h": unit.life.age_h,
            "ratio": self.ratios[i, unit.parts],
        }

    def end_stretch(self, unit: Unit, day: int) -> None:
        """Its present life runs no more on its craft."""
        if unit.stretch is not None:
            self.log.stretches.append(unit.stretch | {"to_day": day, "to_age_h": unit.life.age_h})
            unit.stretch = None
