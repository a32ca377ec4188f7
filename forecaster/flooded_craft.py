"""The craft that was under water: its unit, hours, earlier water and looks from the records, or a typical unit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from difflib import get_close_matches
from typing import Any, get_args

import numpy as np
import pandas as pd

from forecaster.core_loss import core_loss
from forecaster.errors import DataStopsAnswer, WrongUsage
from forecaster.fleet_prices import DayRate, day_rates
from forecaster.flooding import AfterWater, after_water
from forecaster.flooding_facts import Flooding, day_of_water, refuse_impossible
from forecaster.hindsight import without_hindsight
from forecaster.histories import SALT, build_histories
from forecaster.instruction import Instruction
from forecaster.learning import TwoStageFit, fit_two_stage
from forecaster.lives import LIVES, Histories, frame, lives_by_hours
from forecaster.priors import Prior
from forecaster.ranges import ENGINE_HOURS, PRICE
from forecaster.records import TABLES, FleetRecords, Parts
from forecaster.settings import FleetSettings
from forecaster.shown_values import shown
from forecaster.unsafe import Unsafe, found_unsafe
from forecaster.written_days import DatedText

NEAR_DAYS = 7  # water logged so near to the day that is told may be the same water
# What a row of water.csv tells of the flooding's facts, and what stands for "not told".
LOGGED = {"water": "unknown", "oil": "unknown", "treated": "unknown"}


Decide = Callable[[FleetRecords, str, bool], Instruction]


def flooded_in_fleet(
    records: FleetRecords,
    fit: TwoStageFit,
    craft_id: str,
    flooding: Flooding,
    as_of: date,
    decide: Decide | None = None,
) -> AfterWater:
    """What to do about a craft of a fleet after water; see ``flooding.after_water``.

    `fit`: what the fleet's lives taught up to `as_of`. The unit, its hours, earlier water and looks come from the
    records; so does what `flooding` leaves out and a row of water.csv or checks.csv tells. `decide`: asked for the
    unit's instruction by the records as they are once all that is told is in them, and whether that adds anything;
    None: the costs decide.

    Raises WrongUsage where there is no such craft or `flooding` tells what only a log can, DataStopsAnswer where no
    unit was on it when the water came, or another one is now.
    """
    refuse_impossible(flooding, as_of)
    if flooding.hours_run_since is not None:
        raise WrongUsage(
            "The hours run since the water come from the fleet's log. Enter a meter reading in hours.csv instead."
        )
    day_rate = _day_rate(records, craft_id)
    found = _found(records, craft_id, flooding, as_of)
    settings, remarks = records.settings, list(found.remarks)
    if day_rate.assumed:
        remarks.append(
            f"{craft_id} has no day_rate in craft.csv: {settings.currency} {day_rate.amount:,.0f} for each lost day is "
            "assumed (day_rate_if_unknown in fleet.toml)."
        )
    once_recorded, adds = _once_recorded(records, found)
    return after_water(
        fit,
        found.unit,
        found.flooding,
        settings.costs,
        settings.downtime_days,
        day_rate.amount,
        as_of,
        loss=core_loss(records, as_of),
        in_season=settings.season.contains(as_of),
        log="logged" if found.logged else "log_in_water_csv",
        catch_can=str(records.craft.set_index("craft_id").loc[craft_id, "catch_can"]),
        remarks=tuple(remarks),
        on_record=_unsafe_before(found.unit, found.flooding),
        instruction=None if decide is None else decide(once_recorded, str(found.unit.lives["unit_id"].iloc[0]), adds),
        told_now=adds,
    )


def _once_recorded(records: FleetRecords, found: _Found) -> tuple[FleetRecords, bool]:
    """The records with what is told of the water and of the unit's sound since then, and whether that adds to them."""
    unit, flooding, row = found.unit, found.flooding, found.row
    day = pd.Timestamp(flooding.happened_on)
    same = records.water[(records.water["craft_id"] == row["craft_id"].iloc[0]) & (records.water["happened_on"] == day)]
    added = {}
    if len(same) == 0 or any(not _says(same, row, name) for name in LOGGED):
        added["water"] = pd.concat([records.water.drop(index=same.index), row])
    since = unit.checks[unit.checks["checked_on"] >= day]
    heard = flooding.spin == "not_done" or (since["spin"] == flooding.spin).any()
    if not heard:
        look = {"unit_id": unit.lives["unit_id"].iloc[0], "checked_on": unit.as_of, "spin": flooding.spin}
        added["checks"] = pd.concat([records.checks, _row_of("checks", records.checks, look | {"oil": flooding.oil})])
    return (replace(records, **added), True) if added else (records, False)


def _says(same: pd.DataFrame, row: pd.DataFrame, name: str) -> bool:
    """Whether the log says of an incident what is told; of its treatment also how soon it came."""
    told = row[name].iloc[0]
    logged = same[same[name] == told]
    if name == "treated" and told == "yes":
        within, told_within = logged["treated_within_h"], row["treated_within_h"].iloc[0]
        return bool((within.isna() if np.isnan(told_within) else within == told_within).any())
    return told == LOGGED[name] or len(logged) > 0


def flooded_alone(
    flooding: Flooding,
    as_of: date,
    hours_since_rebuild: float | None = None,
    parts: str = "unknown",
    prior: Prior | None = None,
    settings: FleetSettings | None = None,
    day_rate: float = 0.0,
    seed: int = 1,
) -> AfterWater:
    """What to do about a craft without any records; see ``flooding.after_water``.

    `hours_since_rebuild`: engine hours of its unit since new or rebuilt, now; None: averaged over the ages that a unit
    in use may have. `parts`: oem, aftermarket, unknown. `prior`: another fleet's experience, the package's priors when
    None. `settings`: season and prices, the defaults when None. `seed` makes the draws reproducible.
    """
    refuse_impossible(flooding, as_of)
    day_rate = PRICE.asked(day_rate, "The day rate")
    settings = settings or FleetSettings()
    fit = fit_two_stage(Histories(as_of, frame(LIVES)), seed=seed, prior=prior)
    unit = typical_unit(flooding, as_of, hours_since_rebuild, parts)
    remarks = []
    if hours_since_rebuild is None:
        ages = ", ".join(f"{age:g}" for age in fit.prior.starting_ages_h)
        remarks.append(f"Hours since the last rebuild are not known: averaged over {ages} h at the time of the water.")
    return after_water(
        fit,
        unit,
        flooding,
        settings.costs,
        settings.downtime_days,
        day_rate,
        as_of,
        in_season=settings.season.contains(as_of),
        remarks=tuple(remarks),
    )


def typical_unit(
    flooding: Flooding, as_of: date, hours_since_rebuild: float | None = None, parts: str = "unknown"
) -> Histories:
    """One running life of which only this is known; the water that got in is taken for the water it is used in.

    Raises WrongUsage for hours that no such engine runs and for parts that are none of the contract's.
    """
    known = hours_since_rebuild is not None
    if known:
        hours_since_rebuild = ENGINE_HOURS.asked(hours_since_rebuild, "Hours since the last rebuild")
    if parts not in get_args(Parts):
        raise WrongUsage(f"parts must be one of {', '.join(get_args(Parts))}, not {shown(parts)}.")
    observed = hours_since_rebuild if known else flooding.hours_run_since or 0.0
    unit = lives_by_hours(np.array([observed]), ["alive"], as_of=as_of, parts=parts, water=flooding.water, unit_id="")
    return unit.with_lives(salt_share=SALT.get(flooding.water, np.nan), hours_at_entry=0.0 if known else np.nan)


@dataclass(frozen=True)
class _Found:
    """What the records tell of the flooded craft. `row`: the flooding as a row of water.csv."""

    unit: Histories
    flooding: Flooding
    row: pd.DataFrame
    logged: bool
    remarks: tuple[str, ...]


def _day_rate(records: FleetRecords, craft_id: str) -> DayRate:
    """The craft's day rate. Raises WrongUsage where there is no such craft."""
    rates = day_rates(records)
    if craft_id not in rates:
        near = get_close_matches(craft_id, list(rates), n=1, cutoff=0.0)
        hint = f" Did you mean {near[0]}?" if near else ""
        raise WrongUsage(f"There is no craft {shown(craft_id)} in craft.csv.{hint}")
    return rates[craft_id]


def _found(records: FleetRecords, craft_id: str, flooding: Flooding, as_of: date) -> _Found:
    records = without_hindsight(records, as_of)
    day = pd.Timestamp(flooding.happened_on)
    own = records.water["craft_id"] == craft_id
    same = records.water[own & (records.water["happened_on"] == day)]
    told, remarks = _filled_from_log(flooding, same)
    water, row = records.water.drop(index=same.index), _as_row(records.water, craft_id, told, same)
    with_it = replace(records, water=pd.concat([water, row]))
    histories = build_histories(with_it, as_of)
    unit = _unit_on(histories, craft_id, told)
    placed = unit.incidents[unit.incidents["happened_on"] == day]
    hours = float(unit.lives["hours_observed"].iloc[0] - placed["observed_hours"].iloc[-1])
    if hours > ENGINE_HOURS.most:
        raise DataStopsAnswer(
            DatedText(
                f"hours.csv has {hours:,.0f} engine hours on {craft_id} since ",
                told.happened_on,
                ", more than any such engine runs. Look for a wrong reading or day.",
            )
        )
    told, looked = _filled_from_looks(told, unit)
    told, hours_kept = _with_hours_run(told, max(hours, 0.0))
    names = {craft_id, str(unit.lives["unit_id"].iloc[0])}
    remarks += [*looked, *hours_kept, *_near_water(records, craft_id, told)]
    remarks += [remark.text for remark in histories.remarks if remark.about in names]
    return _Found(unit, told, row, len(same) > 0, tuple(remarks))


def _with_hours_run(flooding: Flooding, hours: float) -> tuple[Flooding, list[str]]:
    """The flooding with the engine hours that the log has since the water; clock hours that contradict them go."""
    ago = flooding.hours_ago
    if ago is None or hours <= ago:
        return flooding.with_facts(hours_run_since=hours), []
    within = flooding.treated_within_h
    kept = flooding.with_facts(hours_run_since=hours, hours_ago=None, treated_within_h=within)
    remark = (
        f"hours.csv has {hours:.1f} engine hours since the water, which was said to be {ago:g} clock hours ago. The "
        "log counts here; look for a wrong day or reading."
    )
    return kept, [remark]


def likely_day(records: FleetRecords, craft_id: str, hours_ago: float | None, as_of: date) -> date:
    """The day it happened where only the clock hours since then are told: a day that water.csv has, if one fits."""
    if hours_ago is None:
        return as_of
    earlier = day_of_water(hours_ago, as_of)
    fitting = {earlier, earlier - timedelta(days=1)}
    water = records.water
    logged = {day.date() for day in water.loc[water["craft_id"] == craft_id, "happened_on"]} & fitting
    return max(logged, default=earlier)


def _filled_from_log(flooding: Flooding, same: pd.DataFrame) -> tuple[Flooding, list[str]]:
    """The flooding with what it leaves out taken from the day's rows of water.csv; what is told goes first.

    "Milky" in a row that was treated is what the oil was like before it was changed until clear.
    """
    facts: dict[str, Any] = {}
    for name, untold in LOGGED.items():
        values = same[name][same[name] != untold]
        if getattr(flooding, name) == untold and len(values):
            facts[name] = str(values.iloc[-1])
    if facts.get("oil") == "milky" and facts.get("treated", flooding.treated) == "yes":
        del facts["oil"]
    within = same["treated_within_h"].dropna()
    treated = facts.get("treated", flooding.treated)
    if flooding.treated_within_h is None and treated == "yes" and len(within):
        facts["treated_within_h"] = float(within.iloc[-1])
    if not facts:
        return flooding, []
    listed = ", ".join(
        f"{name} {value:g}" if name == "treated_within_h" else f"{name} {value}" for name, value in facts.items()
    )
    return flooding.with_facts(**facts), [DatedText("From water.csv on ", flooding.happened_on, f": {listed}.")]


def _as_row(water: pd.DataFrame, craft_id: str, flooding: Flooding, same: pd.DataFrame) -> pd.DataFrame:
    """The flooding as a row of water.csv."""
    kind = str(same["kind"].iloc[-1]) if len(same) else "swamped" if flooding.under_minutes == 0 else "submerged"
    row = {"craft_id": craft_id, "happened_on": flooding.happened_on, "kind": kind}
    facts = {name: getattr(flooding, name) for name in ("water", "oil", "treated", "treated_within_h")}
    return _row_of("water", water, row | facts)


def _row_of(name: str, table: pd.DataFrame, facts: dict[str, Any]) -> pd.DataFrame:
    """One more row of a table of the records; what is not told as the contract has it."""
    number = int(table.index.max()) + 1 if len(table) else 2
    whole = TABLES[name].record(**facts).model_dump()
    return pd.DataFrame([whole], index=pd.Index([number], name="row"))[list(table.columns)].astype(table.dtypes)


def _unit_on(histories: Histories, craft_id: str, flooding: Flooding) -> Histories:
    """The unit in service on the craft, with this water on it."""
    in_service = histories.in_service()
    unit = in_service.select(in_service.lives["craft_id"] == craft_id)
    if unit.n_lives == 0:
        raise DataStopsAnswer(
            DatedText(
                f"No unit is in service on {craft_id} on ",
                histories.as_of,
                ". Add the row of what is fitted to fittings.csv, or ask without a fleet.",
            )
        )
    unit = unit.select(np.arange(unit.n_lives) == unit.n_lives - 1)
    day = pd.Timestamp(flooding.happened_on)
    if (unit.incidents["happened_on"] == day).any():
        return unit
    wet = histories.incidents[
        (histories.incidents["craft_id"] == craft_id) & (histories.incidents["happened_on"] == day)
    ]
    name = str(unit.lives["unit_id"].iloc[0])
    if len(wet):
        life = histories.lives.set_index("life_id").loc[wet["life_id"].iloc[0]]
        where = (
            "was rebuilt since: that water is no longer in it"
            if life["unit_id"] == name
            else f"was not on it then: {life['unit_id']} was. Ask about the craft that {life['unit_id']} is on now"
        )
        raise DataStopsAnswer(f"{name}, the unit on {craft_id} now, {where}.")
    raise DataStopsAnswer(
        DatedText(
            f"No unit sat on {craft_id} on ",
            flooding.happened_on,
            f", says fittings.csv; {name} was fitted later. Mend the day, or fittings.csv.",
        )
    )


def _filled_from_looks(flooding: Flooding, unit: Histories) -> tuple[Flooding, list[str]]:
    """The flooding with spin and oil, where it leaves them out, from looks at the unit since the water.

    A rattle counts until the unit was opened and found sound: a later quiet spin does not undo it.
    """
    since = unit.checks[unit.checks["checked_on"] >= pd.Timestamp(flooding.happened_on)]
    opened = np.flatnonzero(since["known_state"] == "sound")
    spins = since.iloc[opened[-1] + 1 :] if len(opened) else since
    heard = spins["spin"][spins["spin"] != "not_done"]
    facts: dict[str, Any] = {}
    if (heard == "rattle").any():
        facts["spin"] = "rattle"
    elif flooding.spin == "not_done" and len(heard):
        facts["spin"] = str(heard.iloc[-1])
    oil = since["oil"][since["oil"] != "unknown"]
    if flooding.oil == "unknown" and len(oil):
        facts["oil"] = str(oil.iloc[-1])
    facts = {name: value for name, value in facts.items() if getattr(flooding, name) != value}
    if not facts:
        return flooding, []
    listed = ", ".join(f"{name} {value}" for name, value in facts.items())
    return flooding.with_facts(**facts), [DatedText("From checks.csv since ", flooding.happened_on, f": {listed}.")]


def _unsafe_before(unit: Histories, flooding: Flooding) -> tuple[Unsafe, ...]:
    """Why the unit must not run by its record, beyond what the flooding itself tells of."""
    told = {
        "rattle": flooding.spin == "rattle",
        "put_back": flooding.spin == "rattle",
        "milky": flooding.oil == "milky",
    }
    found = found_unsafe(unit).get(unit.lives["life_id"].iloc[0], ())
    return tuple(
        one
        for one in found
        if one.stops and not told.get(one.code, one.asks == "treat" and one.on == flooding.happened_on)
    )


def _near_water(records: FleetRecords, craft_id: str, flooding: Flooding) -> list[str]:
    """Water logged within `NEAR_DAYS` of the day that is told: the same water, perhaps, counted twice."""
    own = records.water[records.water["craft_id"] == craft_id]
    day = pd.Timestamp(flooding.happened_on)
    apart = (own["happened_on"] - day).abs()
    near = own[(apart > pd.Timedelta(0)) & (apart <= pd.Timedelta(days=NEAR_DAYS))]
    return [
        DatedText(
            f"water.csv has water on {craft_id} on ",
            other.date(),
            " too, counted besides this one. If it is the same, say that it happened on that day.",
        )
        for other in near["happened_on"]
    ]
