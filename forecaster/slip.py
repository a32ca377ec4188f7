"""The clutch's slip moment: where it stands now, how it falls, and after how many hours it is too low.

Low slip costs boost and calls for a reset of the clutch, never by itself for a new unit. How slip falls is learned
from settings, checks and findings (``forecaster.slip_paths``, ``forecaster.slip_wear``). Moments in lb·ft.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecaster.errors import WrongUsage
from forecaster.lives import Histories
from forecaster.priors import read_priors
from forecaster.ranges import ENGINE_HOURS
from forecaster.records import FleetRecords
from forecaster.settings import FleetSettings
from forecaster.slip_paths import SlipPaths, slip_paths
from forecaster.slip_wear import WearLines, fit_wear_lines
from forecaster.told_numbers import told_numbers

DRAWS = 4000
# Chances of being too low now, and within the hours looked ahead, from which a reset is advised at once, or planned.
RESET_NOW, RESET_SOON = 0.5, 0.2  # common practice, no source
FEW_READINGS = 10  # below this the answer is mostly general experience


@dataclass(frozen=True)
class SlipLimits:
    """What a clutch is set to, and what is too low or too high, lb·ft. Defaults are common practice, no source.

    A stock craft's clutch is set to about 14, more where the boost is raised; 9 is too low for full boost. Above 18 it
    slips too late: it no longer spares shaft, gear and bearing the shock of the throttle. A tuned engine needs its
    clutch to hold the same share of its setting, so its limits are higher in proportion (our reasoning). The maker's
    manual comes first: put its figures here, or into [slip] of fleet.toml.
    """

    set_stock_lb_ft: float = 14.0
    set_tuned_lb_ft: float = 16.0
    too_low_lb_ft: float = 9.0
    too_high_lb_ft: float = 18.0

    def __post_init__(self) -> None:
        """Refuse limits that contradict each other."""
        if not 0 < self.too_low_lb_ft < self.set_stock_lb_ft <= self.set_tuned_lb_ft < np.inf:
            raise WrongUsage(
                "Slip limits must rise from too low over stock to tuned, above 0; they are "
                f"{self.too_low_lb_ft}, {self.set_stock_lb_ft} and {self.set_tuned_lb_ft} lb·ft."
            )
        if not self.set_stock_lb_ft < self.too_high_lb_ft < np.inf:
            raise WrongUsage(
                "The slip that is too high must be above what a stock craft's clutch is set to; they are "
                f"{self.too_high_lb_ft} and {self.set_stock_lb_ft} lb·ft."
            )

    @classmethod
    def of(cls, settings: FleetSettings) -> SlipLimits:
        """The limits of fleet.toml."""
        return cls(**settings.slip.model_dump())

    def setting(self, tuned_share: float) -> float:
        """What the clutch of a craft is set to; `tuned_share` 0 stock to 1 tuned, NaN counts as stock."""
        share = 0.0 if np.isnan(tuned_share) else tuned_share
        return self.set_stock_lb_ft + share * (self.set_tuned_lb_ft - self.set_stock_lb_ft)

    def too_low(self, tuned_share: float) -> float:
        """Below this the craft no longer makes full boost."""
        return self.too_low_lb_ft * self.setting(tuned_share) / self.set_stock_lb_ft

    def too_high(self, tuned_share: float) -> float:
        """Above this the clutch no longer spares shaft, gear and bearing the shock of the throttle."""
        return self.too_high_lb_ft * self.setting(tuned_share) / self.set_stock_lb_ft


@dataclass(frozen=True)
class Estimate:
    """A mean with a central 90 % interval."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class HoursToLimit:
    """Engine hours until slip is too low, with chance 5, 10, 50, 90 and 95 %; 0: now, None: it does not fall so low.

    p10 to p90 is the 80 % interval, p05 to p95 the 90 % interval.
    """

    p05: float | None
    p10: float | None
    p50: float | None
    p90: float | None
    p95: float | None


@dataclass(frozen=True)
class SlipForecast:
    """One unit's slip: true moment now (not a reading's), fall per 100 h, hours to the limit, and what to do.

    ``hours_since_set``: NaN where nobody knows. ``readings``: of this clutch since it was set. ``chance_too_low_now``
    and ``chance_too_low_soon`` (within ``hours_ahead``). ``action``: "reset now", "plan a reset", "measure", "leave".
    """

    unit_id: str
    life_id: str
    hours_since_set: float
    readings: int
    slip_now: Estimate
    fall_per_100_h: Estimate
    limit: float
    hours_to_limit: HoursToLimit
    chance_too_low_now: float
    chance_too_low_soon: float
    hours_ahead: float
    action: str
    advice: str


@dataclass(frozen=True)
class FleetSlip:
    """Slip of every unit in service, lowest margin first, and what stands behind it.

    ``method``: "mixed model" or "pooled"; ``reading_error``: sd of a reading, lb·ft; ``remarks`` in plain words.
    """

    units: tuple[SlipForecast, ...]
    method: str
    readings: int
    clutches: int
    reading_error: float
    mostly_prior: bool
    remarks: tuple[str, ...]

    def unit(self, unit_id: str) -> SlipForecast:
        """One unit's slip. Raises WrongUsage where it is not in service."""
        for one in self.units:
            if one.unit_id == unit_id:
                return one
        raise WrongUsage(f"Unit {unit_id!r} is not in service, so its slip is not forecast.")


def forecast_slip(
    histories: Histories,
    records: FleetRecords,
    limits: SlipLimits | None = None,
    hours_ahead: float | Mapping[str, float] = 50.0,
) -> FleetSlip:
    """Where does the slip of each unit in service stand, and when is it too low?

    `records`: those that the histories were built from; nothing dated after their day is used. `limits`: those of
    their fleet.toml when None. `hours_ahead`: engine
    hours to look ahead, or by unit_id, for example those left of the season. Raises WrongUsage for impossible ones.
    """
    limits = limits if limits is not None else SlipLimits.of(records.settings)
    seen = slip_paths(histories, records)
    lines = fit_wear_lines(
        seen.paths,
        seen.readings,
        limits.set_stock_lb_ft,
        limits.set_tuned_lb_ft - limits.set_stock_lb_ft,
        read_priors().starting_ages_h,
    )
    running = seen.paths["life_id"].isin(histories.in_service().lives["life_id"]) & seen.paths["latest"]
    units = [_of_unit(seen, lines, int(path), limits, hours_ahead) for path in np.flatnonzero(running)]
    return FleetSlip(
        units=tuple(sorted(units, key=lambda one: (-one.chance_too_low_now, one.slip_now.mean - one.limit))),
        method=lines.method,
        readings=lines.n_readings,
        clutches=lines.n_paths,
        reading_error=lines.variances.error_sd,
        mostly_prior=lines.n_readings < FEW_READINGS,
        remarks=_remarks(seen, lines),
    )


def _of_unit(
    seen: SlipPaths, lines: WearLines, path: int, limits: SlipLimits, hours_ahead: float | Mapping[str, float]
) -> SlipForecast:
    of = seen.paths.iloc[path]
    n_own = int((seen.readings["path"] == path).sum())
    if isinstance(hours_ahead, Mapping) and of["unit_id"] not in hours_ahead:
        raise WrongUsage(f"hours_ahead tells nothing of unit {of['unit_id']!r}; give one number, or one for each unit.")
    asked = hours_ahead[of["unit_id"]] if isinstance(hours_ahead, Mapping) else hours_ahead
    ahead = ENGINE_HOURS.asked(asked, "hours_ahead")  # 0 as well: nothing may be left of the season
    height, slope = lines.draw(path, DRAWS)
    now = height + slope * of["hours"]
    tuned = float(of["tuned_share"])
    limit = limits.too_low(tuned)
    # a line that does not fall, or stands below the limit already, has no hours to go: never, or none
    left = np.where(now <= limit, 0.0, np.where(slope < 0, (now - limit) / np.where(slope < 0, -slope, 1.0), np.inf))
    too_low_now, soon = float((left == 0).mean()), float((left <= ahead).mean())
    action = _action(too_low_now, soon, n_own)
    return SlipForecast(
        unit_id=str(of["unit_id"]),
        life_id=str(of["life_id"]),
        hours_since_set=float(of["hours_before"] + of["hours"]),
        readings=n_own,
        slip_now=_estimate(now),
        fall_per_100_h=_estimate(-100.0 * slope),
        limit=limit,
        hours_to_limit=HoursToLimit(*(_hours(left, share) for share in (0.05, 0.10, 0.50, 0.90, 0.95))),
        chance_too_low_now=too_low_now,
        chance_too_low_soon=soon,
        hours_ahead=ahead,
        action=action,
        advice=_advice(action, limits.setting(tuned), limit, too_low_now, soon, ahead),
    )


def _estimate(drawn: np.ndarray) -> Estimate:
    low, high = np.quantile(told_numbers(drawn, "A slip moment"), [0.05, 0.95])
    return Estimate(float(drawn.mean()), float(low), float(high))


def _hours(left: np.ndarray, share: float) -> float | None:
    hours = float(np.sort(left)[int(share * (len(left) - 1))])  # no interpolation: some may be infinite
    return hours if np.isfinite(hours) else None


def _action(too_low_now: float, soon: float, readings: int) -> str:
    if not readings and soon >= RESET_SOON:
        return "measure"
    if too_low_now >= RESET_NOW:
        return "reset now"
    return "plan a reset" if soon >= RESET_SOON else "leave"


def _advice(action: str, setting: float, limit: float, too_low_now: float, soon: float, ahead: float) -> str:
    """What to do, as a sentence. It is work on the clutch: the maker's manual and a licensed mechanic come first."""
    reset = f"reset the clutch to about {setting:.0f} lb·ft or what its manual says; that is no reason for a new unit"
    within = f"the chance that it is below {limit:.1f} lb·ft within {ahead:.0f} h is {_percent(soon)}"
    return {
        "reset now": f"Slip is below {limit:.1f} lb·ft with a chance of {_percent(too_low_now)}: {reset}.",
        "plan a reset": f"{within.capitalize()}: at the next opening, {reset}.",
        "measure": f"This clutch was never measured. By other units' wear {within}. If it is low, {reset}.",
        "leave": f"Leave the clutch: {within}.",
    }[action]


def _percent(chance: float) -> str:
    """A share of draws in whole percent; never a nought or a certainty, which no number of draws can show."""
    if chance < 0.01:
        return "less than 1 %"
    return "more than 99 %" if chance > 0.99 else f"{chance:.0%}".replace("%", " %")


def _remarks(seen: SlipPaths, lines: WearLines) -> tuple[str, ...]:
    remarks = []
    if lines.n_readings < FEW_READINGS:
        remarks.append(
            f"Only {lines.n_readings} slip readings: how slip falls is mostly general experience. Enter slip in "
            "checks.csv, and slip_found and slip_set in rebuilds.csv."
        )
    if lines.method == "pooled" and lines.n_readings >= FEW_READINGS:
        remarks.append("Few clutches have several readings: their wear is pooled with general experience.")
    if seen.not_placed:
        remarks.append(
            f"{seen.not_placed} slip readings of rebuilds.csv belong to units that were not fitted since, or to "
            "openings that could not be placed; they are not used."
        )
    unknown = int(pd.isna(seen.paths["hours_before"]).sum())
    if unknown:
        remarks.append(f"{unknown} clutches joined with unknown hours; how far they had worn is left open.")
    return tuple(remarks)
