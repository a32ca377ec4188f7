"""From a fitted life model to what people ask of each unit: risk, hours left, and what drives it.

Everything here is per unit in service, as of the day of the histories. The model answers in posterior draws; means
and central 90 % intervals are taken here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from forecaster.advice import at_least, in_words, weigh
from forecaster.errors import WrongUsage
from forecaster.life_model import Evidence, FittedLifeModel, failing_within_each
from forecaster.lives import Histories
from forecaster.prices import Prices
from forecaster.unsafe import Unsafe, found_unsafe

INTERVAL = (0.05, 0.95)  # central 90 % of the posterior
CURVE_DRAWS = 64  # draws behind curves and causes, whose mean is shown: more change no visible digit
RISK_LIMIT = 0.10  # "hours until the risk passes": one unit in ten, as in a B10 life
# Hours ahead at which a unit's curve is evaluated: fine where decisions are made, far enough for any quantile.
HOURS_GRID = np.concatenate([[0.0], np.geomspace(1.0, 20_000.0, 60)])


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
class Cause:
    """One thing that drives a unit's risk: how much of the chance goes away without it."""

    what: str  # "incident", "parts", "water", "tune", "check"
    share: float  # chance with it minus chance without it
    detail: str = ""


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
    season_hours: float  # engine hours expected until the close of the season that is meant
    hours_left: HoursLeft
    hours_to_risk_limit: float  # engine hours until the chance of failing reaches RISK_LIMIT
    advice: str
    because: tuple[str, ...]
    last_reading_on: date | None
    remarks: tuple[str, ...] = ()  # gaps in its record, in plain words
    beyond_seen: bool = False  # older than any life seen to fail or be opened: the forecast extrapolates


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
    low, high = np.quantile(draws, INTERVAL)
    return Chance(float(draws.mean()), float(low), float(high))


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


def forecast_units(
    model: FittedLifeModel,
    histories: Histories,
    hours: float,
    season_hours: pd.Series,
    season: tuple[date, date],
    prices: Mapping[str, Prices],
) -> FleetForecast:
    """Risk and hours left of each unit in service, ranked.

    `hours`: horizon in engine hours, > 0. `season_hours`: engine hours expected of each craft until the close of
    `season`, indexed by craft_id. `prices`: what each event costs on each craft, by craft_id: the advice weighs them.
    Raises WrongUsage where `hours` is not a positive number.
    """
    if not (np.isfinite(hours) and hours > 0):
        raise WrongUsage(f"The horizon must be a positive number of engine hours, not {hours!r}.")
    units = histories.in_service()
    lives = units.lives
    ahead = season_hours.reindex(lives["craft_id"]).fillna(season_hours.mean()).fillna(0.0).to_numpy(dtype=float)
    both = failing_within_each(model, units, np.column_stack([np.full(len(ahead), hours), ahead]))
    within, this_season = both[:, :, 0], both[:, :, 1]
    defect = model.chance_of_defect(units, np.array([0.0]))
    curves = model.chance_of_failing(units, HOURS_GRID, draws=CURVE_DRAWS).mean(axis=0)
    causes = causes_of(model, units, hours)
    seen_to = _oldest_informative(histories)
    counts = units.incidents.groupby("life_id").size()
    in_season = season[0] <= histories.as_of <= season[1]
    on_craft = [prices[craft_id] for craft_id in lives["craft_id"]]
    whole = _whole_season(ahead, histories.as_of, season)
    best = weigh(model, units, ahead, whole, on_craft, in_season, knows_defects=defect is not None).best
    unsafe = found_unsafe(units)
    forecasts = []
    rows: Iterable[Any] = lives.itertuples(index=False)
    for i, life in enumerate(rows):
        known = np.isfinite(life.hours_at_entry)
        failed = curves[i]
        now = None if defect is None else chance(defect[:, i, 0])
        reasons = unsafe.get(life.life_id, ())
        forecasts.append(
            UnitForecast(
                unit_id=life.unit_id,
                craft_id=life.craft_id,
                hours_since_rebuild=float(life.hours_at_entry + life.hours_observed) if known else None,
                hours_low=float(life.hours_at_entry + life.hours_observed_low) if known else None,
                hours_high=float(life.hours_at_entry + life.hours_observed_high) if known else None,
                hours_in_record=float(life.hours_observed),
                parts=life.parts,
                water=life.water,
                incidents=int(counts.get(life.life_id, 0)),
                defective_now=now,
                fails_within=chance(within[:, i]),
                fails_this_season=chance(this_season[:, i]),
                season_hours=float(ahead[i]),
                hours_left=HoursLeft(*(quantile_hours(HOURS_GRID, failed, q) for q in (0.1, 0.5, 0.9))),
                hours_to_risk_limit=quantile_hours(HOURS_GRID, failed, RISK_LIMIT),
                advice=in_words(_not_outweighed(best[i], reasons), in_season),
                because=because(life, units, causes[i], reasons),
                last_reading_on=None if pd.isna(life.last_reading_on) else life.last_reading_on.date(),
                remarks=tuple(r.text for r in histories.remarks if r.about in (life.unit_id, life.craft_id)),
                beyond_seen=bool(known and life.hours_at_entry + life.hours_observed > seen_to),
            )
        )
    ranked = sorted(forecasts, key=lambda u: (-u.fails_within.mean, u.unit_id))
    return FleetForecast(
        as_of=histories.as_of,
        hours=float(hours),
        model=model.name,
        evidence=model.evidence,
        season=season,
        units=tuple(ranked),
    )


def _oldest_informative(histories: Histories) -> float:
    """The greatest age at which a life was seen to end in any way, h: beyond it the model extrapolates."""
    ended = histories.age[~histories.lives["ended_by"].isin(["running", "stored"])].dropna()
    return float(ended.max()) if len(ended) else 0.0


def _whole_season(ahead: np.ndarray, as_of: date, season: tuple[date, date]) -> np.ndarray:
    """Engine hours of a whole season at the rate of those still `ahead` (n,) in it; 0 on its last day."""
    opens, closes = season
    days = (closes - opens).days + 1
    days_left = min((closes - as_of).days, days)
    return ahead * days / days_left if days_left > 0 else 0.0 * ahead


def _not_outweighed(act: str, reasons: tuple[Unsafe, ...]) -> str:
    """What to do with a unit: the option of least cost, or more where a reason not to run it asks for more."""
    for reason in reasons:
        act = at_least(act, reason.act)
    return act


def causes_of(model: FittedLifeModel, units: Histories, hours: float) -> list[list[Cause]]:
    """For each unit the causes of its risk, greatest first, by leaving each out in turn.

    A cause's share is the chance of failing within `hours` with it, minus the chance without: without any incident;
    with the maker's parts; in fresh water; on a stock engine; had nobody looked at it (negative where a quiet check
    speaks for the unit). Its hours since rebuild are told of every unit and weighed of none.
    """
    lives = units.lives
    horizon = np.array([hours])

    def mean_chance(changed: Histories) -> np.ndarray:
        answer: np.ndarray = model.chance_of_failing(changed, horizon, draws=CURVE_DRAWS)[:, :, 0].mean(axis=0)
        return answer

    full = mean_chance(units)
    without = {
        "incident": full - mean_chance(units.without_incidents()) if len(units.incidents) else 0.0 * full,
        "check": full - mean_chance(units.without_checks()) if len(units.checks) else 0.0 * full,
    }
    # Only where recorded: a what-if also changes a blank, which is the fleet's mix and not a cause to name.
    covariates: dict[str, tuple[pd.Series, dict[str, object]]] = {
        "parts": (lives["parts"] == "aftermarket", {"parts": "oem"}),
        "water": (lives["salt_share"] > 0, {"salt_share": 0.0}),
        "tune": (lives["tuned_share"] > 0, {"tuned_share": 0.0}),
    }
    for what, (recorded, changed) in covariates.items():
        if recorded.any():
            without[what] = np.where(recorded, full - mean_chance(units.with_lives(**changed)), 0.0)
    return [
        sorted(
            (Cause(what, float(share[i])) for what, share in without.items() if share[i] != 0.0),
            key=lambda cause: -abs(cause.share),
        )
        for i in range(len(lives))
    ]


# A cause is told where leaving it out moves the chance by at least this much: below, it reads as noise.
LEAST_SHARE = 0.005


def because(life: Any, units: Histories, causes: list[Cause], unsafe: tuple[Unsafe, ...] = ()) -> tuple[str, ...]:
    """The causes of one unit's risk in words, greatest first, after its hours since rebuild and what is unsafe."""
    entry, observed = life.hours_at_entry, life.hours_observed
    if np.isfinite(entry):
        words = [f"{entry + observed:.0f} h since rebuild"]
    else:
        words = [f"{observed:.0f} h in the record, starting age unknown"]
    words.extend(reason.why for reason in unsafe)
    for cause in causes:
        if abs(cause.share) >= LEAST_SHARE:
            words.extend(_in_words(cause, life, units))
    return tuple(words)


def _in_words(cause: Cause, life: Any, units: Histories) -> list[str]:
    points = f"{100 * cause.share:+.0f} points"
    if cause.what == "incident":
        last, *earlier = _incident_words(life, units)
        return [f"{last} ({points} for the water)", *earlier[:2]]
    if cause.what == "check":
        return [f"{_last_check_words(life, units)} ({points})"]
    named = {"parts": "aftermarket parts", "water": "salt water", "tune": "tuned engine"}
    return [f"{named[cause.what]} ({points})"]


def _incident_words(life: Any, units: Histories) -> list[str]:
    """Incidents of a life in words, the latest first: "swamped, untreated, 14 h ago"."""
    own = units.incidents[units.incidents["life_id"] == life.life_id]
    own = own.sort_values("observed_hours", ascending=False, kind="stable")
    rows: Iterable[Any] = own.itertuples(index=False)
    return [f"{incident_label(i.kind, i.treatment)}, {life.hours_observed - i.observed_hours:.0f} h ago" for i in rows]


def incident_label(kind: str, treatment: str) -> str:
    """A water incident in words: "swamped, untreated"."""
    told = {"prompt": "treated promptly", "late": "treated late", "none": "untreated", "unknown": "treatment unknown"}
    return f"{kind}, {told[treatment]}"


def check_label(spin: str, known_state: str) -> str:
    """A look at a unit in words: "spun quiet", "opened and found sound", "looked at, not spun"."""
    found = {"sound": "opened and found sound", "defective": "opened and found rough"}
    return found.get(known_state) or ("looked at, not spun" if spin == "not_done" else f"spun {spin}")


def _last_check_words(life: Any, units: Histories) -> str:
    own = units.checks[units.checks["life_id"] == life.life_id]
    telling = own[(own["spin"] != "not_done") | (own["known_state"] != "")]
    last = (telling if len(telling) else own).iloc[-1]
    found = check_label(str(last["spin"]), str(last["known_state"]))
    return f"{found} {life.hours_observed - last['observed_hours']:.0f} h ago"
