"""What was really so in an invented fleet: each life's stages, each craft's hours, each incident's treatment, the risk.

A life model is judged by it: `true_chances` gives, for the running lives of a `Histories`, what somebody who knew the
law of nature and kept perfect books of water would say.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from forecaster.errors import WrongUsage
from forecaster.fleet_in_play import FleetInPlay
from forecaster.lives import Histories, frame
from forecaster.true_risk import RunningUnit, Wetting, chance_of_failing
from forecaster.worlds import World

TRUE_LIVES = {
    "life_id": "object",  # unit_id/number in time order, as in Histories
    "unit_id": "object",
    "life_number": "int64",
    "parts": "object",
    "hours_at_entry": "float64",  # ages: engine hours since new or rebuilt
    "hours_at_end": "float64",
    "defective_at_hours": "float64",  # NaN: not by its end
    "failed_at_hours": "float64",  # NaN: not by its end
    "state": "object",  # at its end: sound, defective, failed
    "ended_on": "datetime64[ns]",
    "ended_by": "object",  # running, stored, or the reason for which it was opened
    "slip_set": "float64",  # lb·ft; its true wear path
    "slip_per_hour": "float64",
}
TRUE_STRETCHES = {
    "life_id": "object",
    "craft_id": "object",
    "from_on": "datetime64[ns]",
    "to_on": "datetime64[ns]",
    "from_age_h": "float64",
    "to_age_h": "float64",
    "ratio": "float64",  # of the stage-1 hazard there
}
TRUE_INCIDENTS = {
    "craft_id": "object",
    "happened_on": "datetime64[ns]",
    "life_id": "object",
    "age_h": "float64",
    "treatment": "object",  # prompt, late, none
    "oil_water_ppm": "float64",
}
TRUE_CHECKS = {
    "life_id": "object",
    "unit_id": "object",
    "checked_on": "datetime64[ns]",
    "age_h": "float64",
    "spin": "object",  # "": it was opened
    "known_state": "object",  # sound or defective: it was opened and put back as it was
}
LEDGER = {
    "on": "datetime64[ns]",
    "craft_id": "object",
    "unit_id": "object",
    "what": "object",  # check, or the outcome of an opening
    "cost": "float64",
    "rental_days_lost": "float64",
    "rental_lost": "float64",
}


@dataclass(frozen=True)
class Truth:
    """The truth behind a fleet's records; columns as listed above.

    daily_hours: engine hours run, one row a day (DatetimeIndex), one column a craft_id. ledger: what the policy cost.
    """

    world: World
    lives: pd.DataFrame
    stretches: pd.DataFrame
    incidents: pd.DataFrame
    checks: pd.DataFrame
    daily_hours: pd.DataFrame
    ledger: pd.DataFrame

    def hours_run(self, craft_id: str, after: date, until: date) -> float:
        """Engine hours a craft ran from the evening of `after` to the evening of `until`."""
        run = self.daily_hours[craft_id]
        return float(run[(run.index > pd.Timestamp(after)) & (run.index <= pd.Timestamp(until))].sum())

    def chance_of_failing(
        self,
        age_h: float,
        hours: float,
        incidents: Iterable[tuple[float, str] | Wetting] = (),
        parts: str = "oem",
        salt: float = 0.0,
        tuned: float = 0.0,
        quiet_checks: Iterable[float] = (),
    ) -> float:
        """``true_risk.chance_of_failing`` under this fleet's world."""
        return chance_of_failing(self.world, age_h, hours, incidents, parts, salt, tuned, quiet_checks)


def truth_of(fleet: FleetInPlay) -> Truth:
    """The truth of a fleet that was played to its last day."""
    operations, log = fleet.operations, fleet.log
    names = [one.craft_id for one in operations.craft]

    def table(columns: dict[str, str], rows: list[dict[str, Any]], **names_in_log: str) -> pd.DataFrame:
        """Rows of the log under the truth's names, craft named, days as dates."""
        source = {name: names_in_log.get(name, name) for name in columns} | {"craft_id": "craft"}
        dates = {name for name, dtype in columns.items() if dtype.startswith("datetime")}
        told = []
        for row in rows:
            cells = {name: row.get(source[name]) for name in columns}
            cells |= {name: date.fromordinal(row[source[name]]) for name in dates}
            if "craft_id" in columns:
                cells["craft_id"] = names[row["craft"]]
            told.append(cells)
        return frame(columns, told)

    wet = [
        row | {"treatment": row["incident"].treatment, "oil_water_ppm": row["incident"].oil_water_ppm}
        for row in log.incidents
    ]
    lives = table(TRUE_LIVES, log.lives)
    first = pd.Timestamp(date.fromordinal(operations.first_day))
    days = pd.date_range(first, periods=operations.last_day - operations.first_day + 1, freq="D")
    return Truth(
        world=fleet.world,
        lives=lives.sort_values(["unit_id", "life_number"], ignore_index=True),
        stretches=table(TRUE_STRETCHES, log.stretches, from_on="day", to_on="to_day"),
        incidents=table(TRUE_INCIDENTS, wet, happened_on="day"),
        checks=table(TRUE_CHECKS, log.checks, checked_on="day"),
        daily_hours=pd.DataFrame(fleet.hours_run.T, index=days, columns=names),
        ledger=table(LEDGER, log.ledger, on="day"),
    )


def true_chances(truth: Truth, units: Histories, hours: np.ndarray) -> np.ndarray:
    """True chance that each running life fails within each of `hours` (h,) more engine hours, (n_lives, h).

    The age is the histories' (from the truth's start where theirs is unknown); incidents and checks are those that the
    histories know of, with their true ages and treatments. Nobody opens the unit and no further water comes.
    WrongUsage where a life is not one of the truth's.
    """
    hours = np.asarray(hours, dtype=float)
    chances = [unit.chances_of_failing(truth.world, hours) for unit in running_units(truth, units)]
    return np.array(chances).reshape(len(chances), len(hours))


def true_chance_defective(truth: Truth, units: Histories) -> np.ndarray:
    """True chance that each running life is defective now, (n_lives,), on the same knowledge as `true_chances`."""
    return np.array([unit.chance_defective(truth.world) for unit in running_units(truth, units)])


def running_units(truth: Truth, units: Histories) -> list[RunningUnit]:
    """What an owner with perfect books would know of each life of a `Histories`, in its order."""
    entries: dict[str, float] = dict(zip(truth.lives["life_id"], truth.lives["hours_at_entry"], strict=True))
    strange = [life_id for life_id in units.lives["life_id"] if life_id not in entries]
    if strange:
        raise WrongUsage(f"{', '.join(strange[:5])}: no such life in the truth of this fleet.")
    water = {(row["craft_id"], row["happened_on"]): row for row in truth.incidents.to_dict("records")}
    looks = {(row["life_id"], row["checked_on"], row["known_state"]): row for row in truth.checks.to_dict("records")}
    steps = _by_life(truth.stretches.sort_values(["life_id", "from_on"]))
    wet, checks = _by_life(units.incidents), _by_life(units.checks)
    known = []
    for life in units.lives.to_dict("records"):
        name, true_entry = life["life_id"], entries[life["life_id"]]
        entry = true_entry if np.isnan(life["hours_at_entry"]) else life["hours_at_entry"]
        age, shift = entry + life["hours_observed"], entry - true_entry  # their start may be a round figure
        incidents = [water[row["craft_id"], row["happened_on"]] for row in wet.get(name, ())]
        seen: dict[str, list[float]] = {"quiet": [], "slight": [], "rattle": [], "sound": [], "defective": []}
        for row in checks.get(name, ()):
            true = looks.get((name, row["checked_on"], row["known_state"]))
            at = entry + row["observed_hours"] if true is None else true["age_h"] + shift
            seen.setdefault(row["known_state"] or row["spin"], []).append(min(age, at))
        ratios = [(row["from_age_h"] + shift, row["ratio"]) for row in steps.get(name, ())] or [(0.0, 1.0)]
        known.append(
            RunningUnit(
                age_h=age,
                incidents=tuple(
                    Wetting(min(age, row["age_h"] + shift), row["treatment"], row["oil_water_ppm"]) for row in incidents
                ),
                ratio_steps=((0.0, ratios[0][1]), *(step for step in ratios[1:] if step[0] <= age)),
                quiet_checks=tuple(seen["quiet"] + seen["slight"]),
                rattles=tuple(seen["rattle"]),
                opened_sound=tuple(seen["sound"]),
                opened_defective=tuple(seen["defective"]),
            )
        )
    return known


def _by_life(table: pd.DataFrame) -> dict[str, list[dict[str, Any]]]:
    rows: dict[str, list[dict[str, Any]]] = {}
    for row in table.to_dict("records"):
        rows.setdefault(row["life_id"], []).append({str(name): cell for name, cell in row.items()})
    return rows
