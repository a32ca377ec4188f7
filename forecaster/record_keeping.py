"""How the people of an invented fleet write down what happened: readings about weekly, blanks, unknowns, round figures.

Tidy books record every cell. Untidy ones lose cells at the shares below, never by what the cell would have said, so
that what is missing tells nothing; and nothing that the data contract refuses is ever written. Each table has a stream
of chance of its own and every row its own draws, in the order in which things happened: what is written down up to an
earlier day stays the same when more is written later.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from forecaster.fleet_in_play import FleetInPlay
from forecaster.operations import InventedCraft
from forecaster.records import TABLES, FleetRecords
from forecaster.settings import FleetSettings

# Shares of cells that untidy books lack; common practice, no source.
NO_MODEL_YEAR, NO_DAY_RATE = 0.10, 0.12
UNKNOWN_CRAFT_WATER, UNKNOWN_COOLING, UNKNOWN_CATCH_CAN, UNKNOWN_TUNE = 0.03, 0.15, 0.20, 0.06
NO_HOURS_AT_LATER_FITTING, UNKNOWN_FIRST_PARTS, UNKNOWN_LATER_PARTS = 0.35, 0.08, 0.45
UNKNOWN_TREATMENT, NO_TREATED_WITHIN, UNKNOWN_WATER, UNKNOWN_OIL = 0.11, 0.12, 0.10, 0.12
UNKNOWN_FINDING, UNKNOWN_METAL, UNKNOWN_REBUILD_PARTS = 0.07, 0.12, 0.06
NO_STATED_HOURS, NO_SLIP_FOUND, NO_SLIP_SET, NO_COST = 0.55, 0.25, 0.10, 0.08
NO_SHAFT_PLAY, NO_BOOST, NO_CHECK_SLIP, NO_CHECK_OIL, NO_LABORATORY = 0.40, 0.60, 0.40, 0.30, 0.40
NO_READING_THAT_DAY = 0.45  # at a fitting, incident or opening
STATED_HOURS_SD = 0.04  # relative; then rounded to 5 h

# Chances of what is seen on the metal, by the bearing's finding: rows in the order of METALS.
METALS = ("good", "corroded", "rubbed", "scored", "destroyed")
IMPELLER = {
    "sound": (0.97, 0.03, 0.0, 0.0, 0.0),
    "rough": (0.94, 0.04, 0.02, 0.0, 0.0),
    "rusted": (0.80, 0.18, 0.02, 0.0, 0.0),
    "failed": (0.20, 0.10, 0.45, 0.25, 0.0),
    "lost": (0.0, 0.0, 0.05, 0.35, 0.60),
}
FRONT_HOUSING = {
    "sound": (0.95, 0.05, 0.0, 0.0, 0.0),
    "rough": (0.94, 0.06, 0.0, 0.0, 0.0),
    "rusted": (0.76, 0.24, 0.0, 0.0, 0.0),
    "failed": (0.20, 0.10, 0.50, 0.20, 0.0),
    "lost": (0.0, 0.0, 0.15, 0.50, 0.35),
}

Row = dict[str, Any]


def write_down(
    fleet: FleetInPlay, until: date, settings: FleetSettings, seed: int, untidy: bool = True
) -> FleetRecords:
    """Records of everything up to and including `until`, as the fleet's people keep them."""
    books = _Books(fleet, until.toordinal(), seed, untidy)
    return FleetRecords(
        craft=_table("craft", books.craft()),
        fittings=_table("fittings", books.fittings()),
        water=_table("water", books.water()),
        rebuilds=_table("rebuilds", books.rebuilds()),
        checks=_table("checks", books.checks()),
        hours=_table("hours", books.hours()),  # last: the other books call for readings on their days
        settings=settings,
        name="invented fleet",
    )


class _Books:
    """Rows of each file up to a day, dates still as ordinals."""

    def __init__(self, fleet: FleetInPlay, until: int, seed: int, untidy: bool) -> None:
        self.fleet, self.until, self.seed, self.untidy = fleet, until, seed, untidy
        self._invented = fleet.operations.craft
        self._also_read: set[tuple[int, int]] = set()

    def craft(self) -> list[Row]:
        lost = self._losses("craft", len(self._invented))
        rows = []
        for one, lacks in zip(self._invented, lost, strict=True):
            if one.in_service_on > self.until:
                continue
            rows.append(
                {
                    "craft_id": one.craft_id,
                    "name": one.name,
                    "base": one.base,
                    "owner": one.owner,
                    "model_year": None if lacks(NO_MODEL_YEAR) else one.model_year,
                    "water": "unknown" if lacks(UNKNOWN_CRAFT_WATER) else one.water,
                    "cooling": "unknown" if lacks(UNKNOWN_COOLING) else one.cooling,
                    "catch_can": "unknown" if lacks(UNKNOWN_CATCH_CAN) else one.catch_can,
                    "tune": "unknown" if lacks(UNKNOWN_TUNE) else "tuned" if one.tuned else "stock",
                    "in_service_on": one.in_service_on,
                    "retired_on": self._by_now(one.retired_on),
                    "day_rate": None if lacks(NO_DAY_RATE) else one.day_rate,
                }
            )
        return rows

    def fittings(self) -> list[Row]:
        log = self.fleet.log.fittings
        rows = []
        for row, lacks in zip(log, self._losses("fittings", len(log)), strict=True):
            first = row["first"]
            age = row["age_h"]
            if self.untidy and not first and lacks(NO_HOURS_AT_LATER_FITTING):
                age = np.nan
            elif first and self.untidy:
                age = np.round(age)  # "about 80 hours when we got it"
            parts = "unknown" if lacks(UNKNOWN_FIRST_PARTS if first else UNKNOWN_LATER_PARTS) else row["parts"]
            if row["day"] > self.until:
                continue
            self._may_read(row["craft"], row["day"], lacks)
            rows.append(
                {
                    "unit_id": row["unit_id"],
                    "craft_id": self._craft_id(row["craft"]),
                    "fitted_on": row["day"],
                    "hours_at_fitting": np.round(age, 1),
                    "removed_on": self._by_now(row["removed"]),
                    "parts": parts,
                }
            )
        return sorted(rows, key=lambda row: (row["fitted_on"], row["unit_id"]))

    def water(self) -> list[Row]:
        log = self.fleet.log.incidents
        rows = []
        for row, lacks in zip(log, self._losses("water", len(log)), strict=True):
            incident = row["incident"]
            treated = "no" if incident.treatment == "none" else "yes"
            within = np.nan if lacks(NO_TREATED_WITHIN) else incident.treated_within_h
            if lacks(UNKNOWN_TREATMENT):
                treated, within = "unknown", np.nan
            water = "unknown" if lacks(UNKNOWN_WATER) else self._invented[row["craft"]].water
            oil = "unknown" if lacks(UNKNOWN_OIL) else incident.oil
            if row["day"] > self.until:
                continue
            self._may_read(row["craft"], row["day"], lacks)
            rows.append(
                {
                    "craft_id": self._craft_id(row["craft"]),
                    "happened_on": row["day"],
                    "kind": incident.kind,
                    "water": water,
                    "oil": oil,
                    "treated": treated,
                    "treated_within_h": within,
                }
            )
        return sorted(rows, key=lambda row: (row["happened_on"], row["craft_id"]))

    def rebuilds(self) -> list[Row]:
        log = self.fleet.log.openings
        rows = []
        for row, lacks in zip(log, self._losses("rebuilds", len(log)), strict=True):
            written = self._opening(row, lacks)
            if row["day"] <= self.until:
                self._may_read(row["craft"], row["day"], lacks)
                rows.append(written)
        return sorted(rows, key=lambda row: (row["opened_on"], row["unit_id"]))

    def _opening(self, row: Row, lacks: _Losses) -> Row:
        found, rebuilt = row["bearing"], row["outcome"] == "rebuilt"
        metal = found if found != "failed" or rebuilt else "lost"
        planned = found != "failed" and row["reason"] in ("scheduled", "water", "other") and row["outcome"] != "closed"
        no_finding = lacks(UNKNOWN_FINDING)
        stated = row["age_h"] * (1 + STATED_HOURS_SD * (2 * lacks.draw() - 1) * np.sqrt(3))
        impeller, housing = _drawn(IMPELLER[metal], lacks.draw()), _drawn(FRONT_HOUSING[metal], lacks.draw())
        no_hours = lacks(NO_STATED_HOURS) or not row["known"]
        return {
            "unit_id": row["unit_id"],
            "opened_on": row["day"],
            "reason": row["reason"],
            "bearing": "unknown" if planned and no_finding else found,
            "impeller": "unknown" if lacks(UNKNOWN_METAL) else impeller,
            "front_housing": "unknown" if lacks(UNKNOWN_METAL) else housing,
            "outcome": row["outcome"],
            "parts": "unknown" if lacks(UNKNOWN_REBUILD_PARTS) or not rebuilt else row["parts"],
            "hours": np.nan if no_hours else 5 * np.round(stated / 5) if self.untidy else np.round(row["age_h"], 1),
            "slip_found": np.nan if lacks(NO_SLIP_FOUND) or found == "failed" else np.round(row["slip_found"], 1),
            "slip_set": np.nan if lacks(NO_SLIP_SET) else np.round(row["slip_set"], 1),
            "cost": np.nan if lacks(NO_COST) else 5 * np.round(row["cost"] / 5),
        }

    def checks(self) -> list[Row]:
        log = [row for row in self.fleet.log.checks if row["spin"]]
        rows = []
        for row, lacks in zip(log, self._losses("checks", len(log)), strict=True):
            written = {
                "unit_id": row["unit_id"],
                "checked_on": row["day"],
                "spin": row["spin"],
                "shaft_play_mm": np.nan if lacks(NO_SHAFT_PLAY) else np.round(row["shaft_play_mm"], 2),
                "boost_kpa": np.nan if lacks(NO_BOOST) else np.round(row["boost_kpa"]),
                "slip": np.nan if lacks(NO_CHECK_SLIP) else np.round(row["slip"], 1),
                "oil": "unknown" if lacks(NO_CHECK_OIL) else row["oil"],
                "oil_water_ppm": np.nan if lacks(NO_LABORATORY) else row["oil_water_ppm"],
            }
            if row["day"] <= self.until:
                self._may_read(row["craft"], row["day"], lacks)
                rows.append(written)
        return sorted(rows, key=lambda row: (row["checked_on"], row["unit_id"]))

    def hours(self) -> list[Row]:
        operations = self.fleet.operations
        run = np.cumsum(self.fleet.hours_run, axis=1)
        days: list[set[int]] = [set(chosen) for chosen in operations.reading_days]
        for i, day in self._also_read:
            days[i].add(day)
        rows = []
        for i, one in enumerate(self._invented):
            changed = one.meter_changed_on
            for day in sorted(days[i]):
                if day > self.until:
                    break
                meter = one.first_meter + run[i, day - operations.first_day]
                if changed is not None and day > changed:
                    meter = run[i, day - operations.first_day] - run[i, changed - operations.first_day]
                new = changed is not None and day == changed + 1
                rows.append(
                    {
                        "craft_id": one.craft_id,
                        "read_on": day,
                        "meter": np.round(meter, 1),
                        "new_meter": "yes" if new else "no",
                    }
                )
        return sorted(rows, key=lambda row: (row["read_on"], row["craft_id"]))

    def _losses(self, table: str, n_rows: int) -> list[_Losses]:
        rng = np.random.default_rng([self.seed, 1 + list(TABLES).index(table)])
        return [_Losses(row, self.untidy) for row in rng.random((n_rows, _Losses.DRAWS)).tolist()]

    def _may_read(self, i: int, day: int, lacks: _Losses) -> None:
        """Somebody may look at the meter on the day of an event; not while a craft is not in service."""
        one = self._invented[i]
        if not lacks(NO_READING_THAT_DAY) and _serves(one, day):
            self._also_read.add((i, day))

    def _by_now(self, day: int | None) -> int | None:
        return day if day is not None and day <= self.until else None

    def _craft_id(self, i: int) -> str:
        return self._invented[i].craft_id


class _Losses:
    """The draws of one row: calling it with a share says whether the next cell is lost."""

    DRAWS = 14

    def __init__(self, draws: list[float], untidy: bool) -> None:
        self._next: Callable[[], float] = iter(draws).__next__
        self._untidy = untidy

    def __call__(self, share: float) -> bool:
        return self._next() < share and self._untidy

    def draw(self) -> float:
        return self._next()


def _serves(one: InventedCraft, day: int) -> bool:
    return one.in_service_on <= day and (one.retired_on is None or day <= one.retired_on)


def _drawn(chances: tuple[float, ...], draw: float) -> str:
    return METALS[min(int(np.searchsorted(np.cumsum(chances), draw, side="right")), len(METALS) - 1)]


def _table(name: str, rows: list[Row]) -> pd.DataFrame:
    """Rows as the contract's frame: its columns, its dtypes, line numbers from 2."""
    columns: dict[str, pd.Series] = {}
    index = pd.RangeIndex(2, len(rows) + 2, name="row")
    for column in TABLES[name].columns.values():
        cells = [row[column.name] for row in rows]
        if column.kind == "date":
            days = np.array([None if cell is None else date.fromordinal(cell) for cell in cells], dtype="datetime64[D]")
            columns[column.name] = pd.Series(days.astype("datetime64[ns]"), index=index)
        elif column.kind == "whole":
            columns[column.name] = pd.Series(cells, index=index, dtype="Int64")
        elif column.kind == "number":
            columns[column.name] = pd.Series(cells, index=index, dtype="float64")
        else:
            columns[column.name] = pd.Series(cells, index=index, dtype="object")
    return pd.DataFrame(columns)
