"""Seasons played forward day by day: customers ride, bearings age, the policy decides, the workshop works.

Order within a day, as everywhere in the forecaster: hours run, water incident, check, opening or removal, fitting.
Nothing but the streams of chance decides what comes, so the same seed gives the same fleet.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np

from forecaster.caretaking import FleetView, Policy, Work
from forecaster.errors import WrongUsage
from forecaster.fleet_in_play import FleetInPlay, PlayLog, Unit
from forecaster.operations import Operations, WaterIncident
from forecaster.records import FleetRecords
from forecaster.settings import FleetSettings
from forecaster.workshop import Workshop
from forecaster.worlds import World

FOUND_AT_LAY_UP = 0.5  # chance that a failure of the last days is only found when the craft is laid up
LAY_UP_DAYS = 14


class SeasonPlay:
    """One invented fleet in motion. `run` plays it to the last day of its operations."""

    def __init__(
        self,
        operations: Operations,
        world: World,
        policy: Policy,
        settings: FleetSettings,
        rngs: tuple[np.random.Generator, np.random.Generator, np.random.Generator],
        write_down: Callable[[FleetInPlay, date], FleetRecords],
    ) -> None:
        """`rngs`: streams for nature, the policy, the workshop. `write_down` makes records of the play up to a day."""
        nature, self._will, self._bench = rngs
        self.operations, self.policy, self._write_down = operations, policy, write_down
        self.fleet = FleetInPlay(operations, world, nature, self._bench)
        self.workshop = Workshop(self.fleet, policy, settings, self._will)
        self.today = operations.first_day
        self._agenda: dict[int, list[tuple[str, Work]]] = {}

    def run(self) -> FleetInPlay:
        """Play to the last day; what still runs or lies on the shelf is then logged as running or stored."""
        operations, fleet = self.operations, self.fleet
        wanted = operations.wanted_hours.T.tolist()
        joins = {one.in_service_on: i for i, one in enumerate(operations.craft) if fleet.on_craft[i] is None}
        leaves = {one.retired_on: i for i, one in enumerate(operations.craft)}
        for day in range(operations.first_day, operations.last_day + 1):
            self.today = day
            if date.fromordinal(day).weekday() == 0:
                self._ask_the_policy()
            if operations.in_season(day):
                for i, hours in enumerate(wanted[day - operations.first_day]):
                    if hours > 0:
                        self._ride(i, day, hours)
            for life_id, work in self._agenda.pop(day, ()):
                self._carry_out(life_id, work)
            if day in leaves:
                fleet.retire(leaves[day], day)
            if day in joins:
                fleet.fit(fleet.new_unit(joins[day]), joins[day], day)
        for unit in fleet.units.values():
            fleet.end_stretch(unit, operations.last_day)
            fleet.end_life(unit, operations.last_day, "stored" if unit.craft is None else "running")
        return fleet

    @property
    def log(self) -> PlayLog:
        """What happened so far."""
        return self.fleet.log

    def _ask_the_policy(self) -> None:
        day, fleet = self.today, self.fleet
        coming = [opening for opening, _ in self.operations.seasons if opening > day]
        closed = bool(coming) and not self.operations.in_season(day)
        view = FleetView(
            day=date.fromordinal(day),
            next_opening=date.fromordinal(coming[0]) if closed else None,
            units=lambda: [fleet.seen(unit) for unit in fleet.units.values()],
            records=lambda: self._write_down(fleet, date.fromordinal(day - 1)),
        )
        for work in self.policy.plan(view, self._will):
            self._schedule(work)

    def _schedule(self, work: Work) -> None:
        if work.on.toordinal() < self.today or work.unit_id not in self.fleet.units:
            raise WrongUsage(f"{work} on {date.fromordinal(self.today)}: no such unit, or that day is past.")
        unit = self.fleet.units[work.unit_id]
        self._agenda.setdefault(work.on.toordinal(), []).append((unit.life_id, work))

    def _carry_out(self, life_id: str, work: Work) -> None:
        unit = self.fleet.units.get(work.unit_id)
        if unit is None or unit.life_id != life_id or unit.craft is None:
            return  # it was renewed, replaced or stored before the day came
        if self.fleet.idle_until[unit.craft] >= self.today:
            return  # it is on the bench
        if work.task == "check":
            self.workshop.check(unit, self.today)
        else:
            self.workshop.open(unit, self.today, self.today, work.reason)

    def _ride(self, i: int, day: int, hours: float) -> None:
        fleet, unit = self.fleet, self.fleet.on_craft[i]
        if unit is None or fleet.idle_until[i] >= day:
            return
        ran, happening = unit.life.run(hours, fleet.ratios[i, unit.parts])
        fleet.hours_run[i, day - self.operations.first_day] = ran
        if happening == "failed":
            self._fails(unit, day)
        elif happening == "noticed":
            self.workshop.open(unit, day, day + int(self._bench.integers(0, 5)), "symptom")
        elif (i, day) in self.operations.incidents:
            self._gets_wet(unit, i, day, self.operations.incidents[i, day])

    def _fails(self, unit: Unit, day: int) -> None:
        close = next(close for opening, close in self.operations.seasons if opening <= day <= close)
        if day > close - LAY_UP_DAYS and self._bench.random() < FOUND_AT_LAY_UP:
            self.workshop.open(unit, day, close + 1 + int(self._bench.integers(0, 8)), "scheduled")
        else:
            self.workshop.open(unit, day, day + int(self._bench.integers(1, 6)), "failure")

    def _gets_wet(self, unit: Unit, i: int, day: int, incident: WaterIncident) -> None:
        unit.life.gets_wet(incident.treatment, incident.oil_water_ppm)
        unit.incidents.append((unit.life.age_h - unit.entry_h, incident.treatment))
        self.log.incidents.append(
            {"craft": i, "day": day, "life_id": unit.life_id, "age_h": unit.life.age_h, "incident": incident}
        )
        what = self.policy.after_water(self.fleet.seen(unit), incident.treatment, self._will)
        if what == "open":
            self.workshop.open(unit, day, day + int(self._bench.integers(1, 5)), "water")
        elif what == "check":
            look = date.fromordinal(day + int(self._bench.integers(1, 9)))
            self._schedule(Work(unit.unit_id, look, "check"))
