"""From a fitted life model to what people ask of each unit: risk, hours left, and what drives it.

Everything here is per unit in service, as of the day of the histories. The model answers in posterior draws; means
and central 90 % intervals are taken here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from forecaster.causes import Causes
from forecaster.errors import WrongUsage
from forecaster.instruction_codes import Code, code_on_record
from forecaster.life_model import MEAN_DRAWS, Evidence, FittedLifeModel, Standing
from forecaster.lives import CraftWithoutUnit, Histories, Remark
from forecaster.ranges import HORIZON_HOURS
from forecaster.season_risk import failing_within_drawn, hours_to_close
from forecaster.told_numbers import told_numbers
from forecaster.unsafe import Unsafe, found_unsafe
from forecaster.usage_forecast import UsageForecast

INTERVAL = (0.05, 0.95)  # central 90 % of the posterior
RISK_LIMIT = 0.10  # "hours until the risk passes": one unit in ten, as in a B10 life
# Hours ahead at which a unit's curve is evaluated: fine where decisions are made, far enough for any quantile.
HOURS_GRID = np.concatenate([[0.0], np.geomspace(1.0, 20_000.0, 60)])
WEEKS_A_YEAR = 52
EVERY = 4  # the grid is coarse first: one hour in so many; their number divides the grid's steps


@dataclass(frozen=True)
class Chance:
    """A chance with its uncertainty: posterior mean and central 90 % interval."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class HoursLeft:
    """Engine hours until failure if nobody opens the unit: quantiles of the forecast distribution."""

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True)
class UnitForecast:
    """All that is forecast of one unit in service."""

    unit_id: str
    craft_id: str
    hours_since_rebuild: float | None  # None: starting age unknown
    hours_low: float | None  # bounds from the meter readings around the ends of the life
    hours_high: float | None
    hours_in_record: float
    parts: str
    water: str
    incidents: int
    defective_now: Chance | None
    fails_within: Chance
    fails_this_season: Chance
    season_hours: float  # engine hours expected until the close of the season that is meant, and their central 90 %
    season_hours_low: float
    season_hours_high: float
    hours_left: HoursLeft
    hours_to_risk_limit: float  # engine hours until the chance of failing reaches RISK_LIMIT
    instruction: Code  # what its record alone orders; the rest is weighed by the plan
    because: tuple[str, ...]
    last_reading_on: date | None
    remarks: tuple[str, ...] = ()  # gaps in its record, in plain words
    beyond_seen: bool = False  # older than any life seen to fail or be opened: the forecast extrapolates
    unsafe: tuple[Unsafe, ...] = ()  # what its record says that no chance may outweigh; `because` has it in words


@dataclass(frozen=True)
class FleetForecast:
    """The forecast of a fleet, ranked by the chance of failing within `hours`, highest first."""

    as_of: date
    hours: float
    model: str
    evidence: Evidence
    season: tuple[date, date]  # the season meant by "this season": the current one, else the next
    units: tuple[UnitForecast, ...]
    remarks: tuple[str, ...] = field(default=())
    craft_without_unit: tuple[CraftWithoutUnit, ...] = ()  # in service, and nothing is forecast of them

    def unit(self, unit_id: str) -> UnitForecast:
        """The forecast of one unit. Raises WrongUsage where it is not in service."""
        for unit in self.units:
            if unit.unit_id == unit_id:
                return unit
        raise WrongUsage(
            f"Unit {unit_id!r} is not in service on {self.as_of}. In service: "
            + ", ".join(u.unit_id for u in self.units[:12])
            + ("..." if len(self.units) > 12 else "")
            + "."
        )


def chance(draws: np.ndarray) -> Chance:
    """Posterior mean and central 90 % interval of a chance from its draws (n_draws,)."""
    return chances(draws[:, None])[0]


def chances(draws: np.ndarray) -> list[Chance]:
    """The same of many chances at once, from draws (n_draws, n)."""
    low, high = np.quantile(told_numbers(draws, "A chance"), INTERVAL, axis=0)
    return [Chance(*map(float, one)) for one in zip(draws.mean(axis=0), low, high, strict=True)]


def quantile_hours(hours: np.ndarray, failed: np.ndarray, level: float) -> float:
    """Hours at which a rising curve `failed` (h,) over `hours` (h,) reaches `level`; the last hour if it never does."""
    if failed[-1] <= level:
        return float(hours[-1])
    # failed is non-decreasing; flat stretches keep their first hour
    at = int(np.searchsorted(failed, level, side="left"))
    if at == 0:
        return float(hours[0])
    span = failed[at] - failed[at - 1]
    return float(hours[at - 1] + (hours[at] - hours[at - 1]) * (level - failed[at - 1]) / span)


def quantiles_of_units(standing: Standing, levels: Sequence[float]) -> list[list[float]]:
    """For each of the `levels` the hours at which each unit's mean chance of failing reaches it, on `HOURS_GRID`.

    Every fourth hour of the grid is asked of all units; of the rest only those about a level: a third in all.
    """
    coarse = HOURS_GRID[::EVERY]
    failed = standing.failing(coarse).mean(axis=0)
    found = {}
    for level in dict.fromkeys(levels):
        above = np.clip((failed < level).sum(axis=1), 1, len(coarse) - 1)  # the first hour at which it is reached
        places = EVERY * (above[:, None] - 1) + np.arange(EVERY + 1)
        between = standing.failing(HOURS_GRID[places[:, 1:-1]]).mean(axis=0)
        low, high = (np.take_along_axis(failed, at[:, None], axis=1) for at in (above - 1, above))
        curves = zip(HOURS_GRID[places], np.concatenate([low, between, high], axis=1), strict=True)
        found[level] = [quantile_hours(hours, curve, level) for hours, curve in curves]
    return [found[level] for level in levels]


def refuse_wrong_horizon(hours: float) -> None:
    """Raise WrongUsage where a horizon is not a number of engine hours that can be looked ahead."""
    HORIZON_HOURS.asked(hours, "The horizon")


class FleetStanding:
    """How the units in service stand, worked out once: all of their forecast but what depends on its horizon."""

    def __init__(self, model: FittedLifeModel, histories: Histories, usage: UsageForecast) -> None:
        """Of the units in service on the day of `histories`; `usage`: engine hours ahead from that day."""
        units = histories.in_service()
        self._usage, self._craft_ids = usage, units.lives["craft_id"]
        self._standing, self._few = model.standing(units), model.standing(units, MEAN_DRAWS)
        self._causes = Causes(model, units, self._few, self._standing)
        unsafe = found_unsafe(units)
        self._unsafe = [unsafe.get(life_id, ()) for life_id in units.lives["life_id"]]
        self._without_horizon = FleetForecast(
            as_of=histories.as_of,
            hours=np.nan,
            model=model.name,
            evidence=model.evidence,
            season=usage.season.current_or_next(histories.as_of),
            units=tuple(self._units_without_horizon(model, histories, units, usage.remarks)),
            remarks=usage.fleet_remarks,
            craft_without_unit=histories.craft_without_unit,
        )

    def within(self, hours: float, risks: FleetForecast | None = None) -> FleetForecast:
        """Risk and hours left of each unit, ranked, with a horizon of `hours` engine hours; `risks`: those of it.

        Raises WrongUsage where `hours` is not a positive number.
        """
        risks = risks or self.risks(hours)
        further = {unit.unit_id: unit for unit in self._further}
        units = (
            replace(further[unit.unit_id], fails_within=unit.fails_within, because=unit.because) for unit in risks.units
        )
        return replace(risks, units=tuple(units))

    def risks(self, hours: float) -> FleetForecast:
        """The same with nothing in the fields of `NOT_YET`, which no horizon decides and which take far longer."""
        refuse_wrong_horizon(hours)
        draws = self._standing.failing(np.array([hours]))[:, :, 0]
        because = self._causes.because(hours, self._unsafe, draws.mean(axis=0))
        told = zip(self._without_horizon.units, chances(draws), because, strict=True)
        units = [replace(unit, fails_within=chance, because=why) for unit, chance, why in told]
        ranked = sorted(units, key=lambda u: (-u.fails_within.mean, u.unit_id))
        return replace(self._without_horizon, hours=float(hours), units=tuple(ranked))

    @cached_property
    def _further(self) -> tuple[UnitForecast, ...]:
        """The units in the order of the lives, with all that no horizon decides."""
        ahead = hours_to_close(self._usage, self._craft_ids, self._standing)
        season = chances(failing_within_drawn(self._standing, ahead))
        low, high = np.quantile(told_numbers(ahead, "Engine hours ahead"), INTERVAL, axis=0)
        p10, p50, p90, to_limit = quantiles_of_units(self._few, (0.1, 0.5, 0.9, RISK_LIMIT))
        return tuple(
            replace(
                unit,
                fails_this_season=season[i],
                season_hours=float(ahead[:, i].mean()),
                season_hours_low=float(low[i]),
                season_hours_high=float(high[i]),
                hours_left=HoursLeft(p10[i], p50[i], p90[i]),
                hours_to_risk_limit=to_limit[i],
            )
            for i, unit in enumerate(self._without_horizon.units)
        )

    def _units_without_horizon(
        self, model: FittedLifeModel, histories: Histories, units: Histories, of_usage: Sequence[Remark]
    ) -> Iterable[UnitForecast]:
        """Each unit's forecast, in the order of the lives, with nothing in what a horizon decides or takes long.

        `of_usage`: remarks on the forecast of engine hours.
        """
        now = self._standing.defective(np.array([0.0]))
        defective = [None] * units.n_lives if now is None else chances(now[:, :, 0])
        seen_to = _oldest_informative(histories)
        incidents = units.incidents.groupby("life_id").size()
        gaps = (*histories.remarks, *of_usage)
        rows: Iterable[Any] = units.lives.itertuples(index=False)
        for i, life in enumerate(rows):
            known = np.isfinite(life.hours_at_entry)
            yield UnitForecast(
                unit_id=life.unit_id,
                craft_id=life.craft_id,
                hours_since_rebuild=float(life.hours_at_entry + life.hours_observed) if known else None,
                hours_low=float(life.hours_at_entry + life.hours_observed_low) if known else None,
                hours_high=float(life.hours_at_entry + life.hours_observed_high) if known else None,
                hours_in_record=float(life.hours_observed),
                parts=life.parts,
                water=life.water,
                incidents=int(incidents.get(life.life_id, 0)),
                defective_now=defective[i],
                fails_within=NOT_ASKED,
                instruction=code_on_record(self._unsafe[i]),
                because=(),
                last_reading_on=None if pd.isna(life.last_reading_on) else life.last_reading_on.date(),
                remarks=tuple(r.text for r in gaps if r.about in (life.unit_id, life.craft_id)),
                beyond_seen=bool(known and life.hours_at_entry + life.hours_observed > seen_to),
                unsafe=self._unsafe[i],
                **NOT_YET,
            )


NOT_ASKED = Chance(np.nan, np.nan, np.nan)  # of a horizon that nobody named yet
# What looks further ahead than a horizon, before it is worked out.
NOT_YET: dict[str, Any] = {
    "fails_this_season": NOT_ASKED,
    "season_hours": np.nan,
    "season_hours_low": np.nan,
    "season_hours_high": np.nan,
    "hours_left": HoursLeft(np.nan, np.nan, np.nan),
    "hours_to_risk_limit": np.nan,
}


def _oldest_informative(histories: Histories) -> float:
    """The greatest age at which a life was seen to end in any way, h: beyond it the model extrapolates."""
    histories = histories.taught()
    ended = histories.age[~histories.lives["ended_by"].isin(["running", "stored"])].dropna()
    return float(ended.max()) if len(ended) else 0.0
