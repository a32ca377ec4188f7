"""What every life model is given: lives on the hour axis, as of a date.

A `Histories` is made from a fleet's records by ``forecaster.histories`` and consumed by the life models, the
forecast and the decisions. All its hours are engine hours.

Two clocks. ``observed_hours`` count from the moment that the record of the life starts (0 there); *age* counts from
new or from the last rebuild. They differ by ``hours_at_entry``, which is 0 for a life seen from fresh, positive for
one that joined the record part-worn (left truncation), and NaN where the starting age is unknown.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from forecaster.errors import WrongUsage
from forecaster.written_days import DatedText

# What the end of a life says about the bearing; the likelihood of each is in forecaster.stages.
SEEN = (
    "failed",  # it failed in use at that age
    "found_failed",  # opened, not as a failure, and found failed: at an unknown age since it was last known to run
    "symptom",  # opened because somebody noticed it in use: rusted or rough, not failed
    "defective",  # opened for another reason: rusted or rough, not failed
    "sound",  # opened: sound
    "alive",  # still running, or opened with the finding unknown: not failed
)
ENDED_BY = ("running", "stored", "scheduled", "check", "symptom", "water", "failure", "other")
TREATMENTS = ("prompt", "late", "none", "unknown")

LIVES = {
    "life_id": "object",  # unit_id/number
    "unit_id": "object",
    "life_number": "int64",  # 1 for a unit's first life in the record
    "craft_id": "object",  # the craft it sits on, or sat on last
    "began_on": "datetime64[ns]",  # the day its record starts
    "ended_on": "datetime64[ns]",  # the day it was opened or failed; as_of for one that goes on
    "hours_at_entry": "float64",  # age when the record starts, h; NaN unknown
    "hours_observed": "float64",  # engine hours run in the record, h (best estimate)
    "hours_observed_low": "float64",  # least and most hours that the readings around the ends allow, h
    "hours_observed_high": "float64",
    "ended_by": "object",  # one of ENDED_BY; stored: off any craft, or its craft is retired
    "seen": "object",  # one of SEEN
    "last_known_running": "float64",  # observed hours at which it was last known not to have failed, h
    "parts": "object",  # oem, aftermarket, unknown
    "water": "object",  # the water of most of its hours: salt, fresh, brackish, unknown
    "salt_share": "float64",  # share of its hours in salt water, brackish counting half; NaN unknown
    "tuned_share": "float64",  # share of its hours on a tuned engine; NaN unknown
    "in_service": "bool",  # fitted on a craft in service on as_of: these are forecast
    "last_reading_on": "datetime64[ns]",  # last meter reading of its craft; NaT none
}
INCIDENTS = {
    "life_id": "object",
    "craft_id": "object",
    "happened_on": "datetime64[ns]",
    "observed_hours": "float64",  # since the record of the life starts, h (best estimate)
    "observed_hours_low": "float64",
    "observed_hours_high": "float64",
    "kind": "object",
    "water": "object",  # the water that got in; the craft's water where not recorded
    "oil": "object",  # as it looked afterwards
    "treated": "object",  # yes (oil changed until clear, engine run warm), no, unknown
    "treatment": "object",  # one of TREATMENTS; prompt: within 24 clock hours
    "oil_water_ppm": "float64",  # from a laboratory report on the unit after the incident; NaN none
}
CHECKS = {
    "life_id": "object",
    "checked_on": "datetime64[ns]",
    "observed_hours": "float64",
    "spin": "object",  # quiet, slight, rattle, not_done
    "known_state": "object",  # "sound" or "defective" where the unit was opened and closed again as it was; else ""
    "bearing": "object",  # what was found then, in the words of rebuilds.csv; "" where it was not opened
    "shaft_play_mm": "float64",
    "boost_kpa": "float64",
    "slip": "float64",  # lb·ft
    "oil": "object",
    "oil_water_ppm": "float64",
}
STRETCHES = {  # the time of a life on one craft
    "life_id": "object",
    "craft_id": "object",
    "from_on": "datetime64[ns]",
    "to_on": "datetime64[ns]",
    "from_observed_hours": "float64",
    "to_observed_hours": "float64",
    "water": "object",
    "tune": "object",
    "cooling": "object",
    "catch_can": "object",
}


def frame(columns: dict[str, str], rows: Iterable[dict[str, object]] = ()) -> pd.DataFrame:
    """A frame with exactly these columns and dtypes, from rows given as dicts (missing cells blank)."""
    table = pd.DataFrame(list(rows), columns=list(columns))
    return table.astype(columns) if len(table) else pd.DataFrame({n: pd.Series(dtype=d) for n, d in columns.items()})


@dataclass(frozen=True)
class Remark:
    """Something about a unit's or craft's history that a reader of the forecast should know."""

    about: str  # unit_id or craft_id
    text: str


@dataclass(frozen=True)
class UnplacedWater:
    """Water that got into a craft while no unit sat on it, treated as one of TREATMENTS says."""

    happened_on: date
    kind: str
    treatment: str


@dataclass(frozen=True)
class CraftWithoutUnit:
    """A craft in service with no unit on it by the records.

    `last_unit_id` came off it last, on the day `since`; both None where none ever sat on it. `water`: what got in since
    then. `remarks`: on its record, in plain words.
    """

    craft_id: str
    last_unit_id: str | None
    since: date | None
    water: tuple[UnplacedWater, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def told(self) -> str:
        """Since when, in words, and what was on it last."""
        if self.since is None:
            return f"{self.craft_id}: no unit is on record"
        last = f", when {self.last_unit_id} came off" if self.last_unit_id else ""
        return DatedText(f"{self.craft_id}: none since ", self.since, last)


@dataclass(frozen=True)
class Histories:
    """Lives, their incidents, checks and stretches, as of a day; columns as listed above, one RangeIndex each.

    ``incidents``, ``checks`` and ``stretches`` are ordered by life (in the order of ``lives``), then by hours.
    """

    as_of: date
    lives: pd.DataFrame
    incidents: pd.DataFrame = field(default_factory=lambda: frame(INCIDENTS))
    checks: pd.DataFrame = field(default_factory=lambda: frame(CHECKS))
    stretches: pd.DataFrame = field(default_factory=lambda: frame(STRETCHES))
    remarks: tuple[Remark, ...] = ()
    craft_without_unit: tuple[CraftWithoutUnit, ...] = ()  # in service, by name
    held_back: frozenset[str] = frozenset()  # life_ids from which nothing is learned about others (``held_back``)

    def __post_init__(self) -> None:  # noqa: D105 - the class says what must hold
        for name, columns in (("lives", LIVES), ("incidents", INCIDENTS), ("checks", CHECKS), ("stretches", STRETCHES)):
            missing = set(columns) - set(getattr(self, name).columns)
            if missing:
                raise ValueError(f"{name} lacks the columns {sorted(missing)}")
        if self.lives["life_id"].duplicated().any():
            raise ValueError("life_id must be unique")

    @property
    def n_lives(self) -> int:
        """How many lives there are."""
        return len(self.lives)

    @property
    def n_failures(self) -> int:
        """How many ended with a failed bearing, whether in use or found when opened."""
        return int(self.lives["seen"].isin(["failed", "found_failed"]).sum())

    @property
    def age(self) -> pd.Series:
        """Age at the end of the record of each life, h; NaN where the starting age is unknown."""
        return self.lives["hours_at_entry"] + self.lives["hours_observed"]

    def select(self, chosen: pd.Series | np.ndarray) -> Histories:
        """Only the lives where the boolean mask `chosen` (n_lives) holds, with all that happened to them."""
        lives = self.lives[np.asarray(chosen, dtype=bool)].reset_index(drop=True)
        keep = set(lives["life_id"])

        def only(table: pd.DataFrame) -> pd.DataFrame:
            return table[table["life_id"].isin(keep)].reset_index(drop=True)

        return replace(
            self,
            lives=lives,
            incidents=only(self.incidents),
            checks=only(self.checks),
            stretches=only(self.stretches),
        )

    def taught(self) -> Histories:
        """Only the lives to learn from: all but those that are held back."""
        if not self.held_back:
            return self
        return self.select(~self.lives["life_id"].isin(self.held_back))

    @property
    def held_back_remark(self) -> str | None:
        """How many lives are held back, in words; None where all teach."""
        n = int(self.lives["life_id"].isin(self.held_back).sum())
        if n == 0:
            return None
        lives, they, tell = ("1 life is", "it", "tells") if n == 1 else (f"{n} lives are", "they", "tell")
        return (
            f"{lives} not learned from: a row that {tell} how far {they} ran is asked about among the data's problems."
        )

    def in_service(self) -> Histories:
        """The running lives of units fitted on a craft in service: the units to forecast."""
        return self.select(self.lives["in_service"] & (self.lives["ended_by"] == "running"))

    def unit_in_service(self, unit_id: str) -> Histories:
        """The running life of one unit of those in service. Raises WrongUsage where it is none of them."""
        chosen = self.lives["unit_id"] == unit_id
        if not chosen.any():
            known = ", ".join(self.lives["unit_id"][:12]) or "none"
            raise WrongUsage(f"Unit {unit_id!r} is not in service on {self.as_of}. In service: {known}.")
        return self.select(chosen)

    def without_incidents(self) -> Histories:
        """The same lives as if no water had got in, to see what the incidents change."""
        return replace(self, incidents=self.incidents.iloc[:0].reset_index(drop=True))

    def without_checks(self) -> Histories:
        """The same lives as if nobody had looked at them."""
        return replace(self, checks=self.checks.iloc[:0].reset_index(drop=True))

    def with_lives(self, **columns: Any) -> Histories:
        """The same lives with some columns of ``lives`` replaced, for what-if questions."""
        return replace(self, lives=self.lives.assign(**columns))


def lives_by_hours(
    hours_at_exit: np.ndarray,
    seen: Iterable[str],
    hours_at_entry: np.ndarray | float = 0.0,
    as_of: date = date(2000, 1, 1),
    **columns: Any,
) -> Histories:
    """Histories of bare lives given by their hours: for published data, what-if units and teaching.

    `hours_at_exit` (n,) ages at the end, h; `seen` n codes of SEEN; `hours_at_entry` (n,) or one number, h;
    `columns` replace defaults of LIVES (parts unknown, salt_share NaN, ...).
    """
    exit_h = np.asarray(hours_at_exit, dtype=float)
    entry = np.broadcast_to(np.asarray(hours_at_entry, dtype=float), exit_h.shape)
    seen = list(seen)
    if len(seen) != len(exit_h) or set(seen) - set(SEEN):
        raise ValueError(f"seen must hold {len(exit_h)} codes of {SEEN}")
    alive = np.array([s == "alive" for s in seen], dtype=bool)
    observed = exit_h - entry
    if (observed < 0).any():
        raise ValueError("hours_at_exit must not be before hours_at_entry")
    day = pd.Timestamp(as_of)
    lives = pd.DataFrame(
        {
            "life_id": [f"U{i:06d}/1" for i in range(1, len(exit_h) + 1)],
            "unit_id": [f"U{i:06d}" for i in range(1, len(exit_h) + 1)],
            "life_number": 1,
            "craft_id": "",
            "began_on": day,
            "ended_on": day,
            "hours_at_entry": entry,
            "hours_observed": observed,
            "hours_observed_low": observed,
            "hours_observed_high": observed,
            "ended_by": np.where(alive, "running", "other"),
            "seen": seen,
            "last_known_running": 0.0,
            "parts": "unknown",
            "water": "unknown",
            "salt_share": np.nan,
            "tuned_share": np.nan,
            "in_service": alive,
            "last_reading_on": day,
        }
    ).assign(**columns)
    return Histories(as_of=as_of, lives=lives.astype(LIVES))
