"""The workshop of an invented fleet: spin checks, openings, what they find, cost and lead to.

The unit that is pulled runs no more; the craft stands idle until a unit is fitted again, and a unit that is fitted on
a day starts to run the day after. Chances and habits are invented; common practice, no source.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from forecaster.caretaking import Policy, Reason, Spin
from forecaster.fleet_in_play import FleetInPlay, Unit
from forecaster.settings import FleetSettings

CORE_LOST = 0.32  # chance that a failure destroys the housings or the impeller
ENGINE_HIT = 0.12  # chance that debris of a failure in use reaches the engine
SWAPS_OFF_SEASON = 0.35  # chance to fit a spare instead of waiting for the bench, off-season; in season always
RUSTED_WITHOUT_WATER = 0.35  # chance that a bearing worn by hours looks rusted rather than rough
HOUSING_WORK = 0.35  # share of a rebuild's price on top, after a failure whose core is kept
ROW_FOR_BENCH_TRIP = 0.5  # chance that a unit's trip to the bench and back is written into the fittings book
SLIP_NOISE_SD = 0.3  # lb·ft
RECENT_WATER_DAYS = 21  # oil is looked at, and sent to a laboratory, within so many days after water


class Workshop:
    """Works on a fleet in play by its policy's decisions; `will` is the policy's stream of chance."""

    def __init__(self, fleet: FleetInPlay, policy: Policy, settings: FleetSettings, will: np.random.Generator) -> None:
        """Nothing is done yet."""
        self.fleet, self.policy, self.settings, self.will = fleet, policy, settings, will

    def check(self, unit: Unit, day: int) -> None:
        """Spin it by hand; where the policy says so, open it within days, and it does not run until then."""
        fleet, bench = self.fleet, self.fleet.bench
        rattles = unit.life.spun_by_hand(fleet.nature)
        spin: Spin = "rattle" if rattles else "slight" if fleet.nature.random() < 0.22 else "quiet"
        noise = bench.standard_normal(3)
        fleet.log.checks.append(
            {
                "unit_id": unit.unit_id,
                "day": day,
                "craft": unit.craft,
                "life_id": unit.life_id,
                "age_h": unit.life.age_h,
                "spin": spin,
                "known_state": "",
                "slip": unit.slip + SLIP_NOISE_SD * float(noise[0]),
                "shaft_play_mm": max(0.01, 0.035 + 0.01 * float(noise[1])),  # hardly any, noisy or not
                "boost_kpa": 62.0 + 1.5 * float(noise[2]) - 4.0 * max(0.0, 11.0 - unit.slip),  # low slip costs boost
            }
            | self._oil(unit, day)
        )
        unit.checks.append((unit.life.age_h - unit.entry_h, spin))
        self._pay(unit, day, "check", self.settings.costs.check, self.settings.downtime_days.check)
        if self.policy.after_check(fleet.seen(unit), spin, self.will):
            self.open(unit, day, day + int(bench.integers(0, 4)), "check")

    def _oil(self, unit: Unit, day: int) -> dict[str, Any]:
        rows = (row for row in reversed(self.fleet.log.incidents) if row["life_id"] == unit.life_id)
        wet = next((row["incident"] for row in rows if day - row["day"] <= RECENT_WATER_DAYS), None)
        if wet is None:
            return {"oil": "clear", "oil_water_ppm": float("nan")}
        return {"oil": wet.oil, "oil_water_ppm": wet.oil_water_ppm}

    def open(self, unit: Unit, stops_on: int, opened_on: int, reason: Reason) -> None:
        """Open a unit that runs no more after `stops_on`, and put its craft right again."""
        fleet, bench, i = self.fleet, self.fleet.bench, unit.craft
        if i is None:
            raise ValueError(f"{unit.unit_id} is on the shelf and cannot be pulled")
        opened_on = min(opened_on, fleet.operations.last_day)
        opening = self._finding(unit, i, opened_on, reason)
        in_season = fleet.operations.in_season(opened_on)
        core_lost = opening["bearing"] == "failed" and bool(bench.random() < CORE_LOST)
        renews = not core_lost and (
            opening["bearing"] == "failed"
            or self.policy.rebuilds(fleet.seen(unit), reason, opening["bearing"], self.will)
        )
        spare = fleet.spare(unit.owner, opened_on) if core_lost or renews else None
        if not (in_season or core_lost or bench.random() < SWAPS_OFF_SEASON):
            spare = None
        opening["outcome"] = "rebuilt" if renews else "closed"
        if core_lost:
            opening["outcome"] = "scrapped" if spare is not None else "replaced"
        opening["cost"] = self._cost(opening, in_season)
        fleet.log.openings.append(opening)
        lost = self.settings.downtime_days.failure if reason == "failure" else self.settings.downtime_days.rebuild
        self._pay(unit, opened_on, opening["outcome"], opening["cost"], lost)
        self._settle(unit, opening, stops_on, reason)
        ready_on = opened_on + int(bench.integers(1, 5) if in_season else bench.integers(2, 12))
        off_on = max(stops_on, opened_on - int(bench.integers(0, 2)))
        fit_on = opened_on + int(bench.integers(0, 3)) if core_lost or spare is not None else ready_on
        fleet.idle_until[i] = fit_on
        if core_lost or spare is not None:
            self._swap(unit, spare, i, off_on, fit_on, None if core_lost else ready_on)
        elif renews:
            self._refit(unit, i, off_on, fit_on)

    def _finding(self, unit: Unit, i: int, opened_on: int, reason: Reason) -> dict[str, Any]:
        state = unit.life.state
        rusted = bool(self.fleet.bench.random() < RUSTED_WITHOUT_WATER) or unit.life.from_water
        return {
            "unit_id": unit.unit_id,
            "day": opened_on,
            "craft": i,
            "life_id": unit.life_id,
            "age_h": unit.life.age_h,
            "known": unit.known,
            "reason": reason,
            "bearing": state if state != "defective" else "rusted" if rusted else "rough",
            "engine_hit": reason == "failure" and bool(self.fleet.bench.random() < ENGINE_HIT),
            "slip_found": unit.slip + SLIP_NOISE_SD * float(self.fleet.bench.standard_normal()),
            "slip_set": float("nan"),
            "parts": unit.parts,
        }

    def _settle(self, unit: Unit, opening: dict[str, Any], stops_on: int, reason: Reason) -> None:
        """End the life, and start the next if the parts were renewed; a closed unit's life goes on as it was."""
        fleet = self.fleet
        if opening["outcome"] == "closed":
            state = "sound" if opening["bearing"] == "sound" else "defective"
            look = {key: opening[key] for key in ("unit_id", "day", "craft", "life_id", "age_h")}
            fleet.log.checks.append(look | {"spin": "", "known_state": state})
            return
        fleet.end_stretch(unit, stops_on)
        fleet.end_life(unit, opening["day"], reason)
        if opening["outcome"] == "rebuilt":
            parts = self.policy.parts(fleet.seen(unit), self.will)
            fleet.renew(unit, parts, fleet.operations.craft[opening["craft"]].tuned)
            opening |= {"parts": parts, "slip_set": unit.slip_set}

    def _swap(self, unit: Unit, spare: Unit | None, i: int, off_on: int, fit_on: int, ready_on: int | None) -> None:
        """Another unit goes on the craft: the spare, else a new one; the old one goes on the shelf, or out."""
        fleet = self.fleet
        fleet.remove(unit, off_on)
        if ready_on is None:
            del fleet.units[unit.unit_id]
        else:
            fleet.store(unit, ready_on)
        fleet.fit(spare if spare is not None else fleet.new_unit(i), i, fit_on)

    def _refit(self, unit: Unit, i: int, off_on: int, fit_on: int) -> None:
        fleet = self.fleet
        if fit_on > fleet.operations.last_day or fleet.bench.random() < ROW_FOR_BENCH_TRIP:
            fleet.remove(unit, off_on)
            fleet.fit(unit, i, fit_on)
        else:
            fleet.begin_stretch(unit, i, fit_on)

    def _cost(self, opening: dict[str, Any], in_season: bool) -> float:
        costs = self.settings.costs
        if opening["outcome"] == "closed":
            return 2.0 * costs.check
        price = costs.rebuild if opening["outcome"] == "rebuilt" else costs.new_unit
        extra = costs.rebuild_in_season_extra if in_season else 0.0
        if opening["bearing"] == "failed" and opening["outcome"] == "rebuilt":
            extra += HOUSING_WORK * costs.rebuild
        if opening["engine_hit"]:
            extra += costs.engine_damage
        return price * (0.92 + 0.16 * float(self.fleet.bench.random())) + extra

    def _pay(self, unit: Unit, day: int, what: str, cost: float, days_lost: float) -> None:
        lost = days_lost if self.fleet.operations.in_season(day) else 0.0
        rate = 0.0 if unit.craft is None else self.fleet.operations.craft[unit.craft].day_rate
        row = {"day": day, "craft": unit.craft, "unit_id": unit.unit_id, "what": what, "cost": cost}
        self.fleet.log.ledger.append(row | {"rental_days_lost": lost, "rental_lost": lost * rate})
