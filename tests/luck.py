"""What luck took from a played fleet and gave to it: five sums of mean zero under any rule, to level costs by.

Whether a bearing turns defective or fails in an hour is chance, and so is what a failure takes with it. The number of
such happenings less what nature's law made probable, hour by hour, has mean zero whatever the owner decides (the count
of a point process less its compensator is a martingale: Andersen, Borgan, Gill & Keiding 1993, sec. II.4). So these
sums serve as control variates (Asmussen & Glynn 2007, Stochastic Simulation, sec. V.2): costs less their share of them
have the same mean and scatter less.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from typing import Any

import numpy as np
import pandas as pd

from forecaster.simulate import SimulatedFleet
from forecaster.workshop import CORE_LOST, ENGINE_HIT
from forecaster.worlds import World

SUMS = ("turned defective", "failed", "noticed", "core lost", "engine hit")
ENGINE_BILL = 5_000.0  # a bill above this has the engine in it


def luck_since(fleet: SimulatedFleet, day: pd.Timestamp) -> np.ndarray:
    """The five sums over all lives that ended after a day, or that run, (5,), in the order of SUMS."""
    truth = fleet.truth
    lives = truth.lives[truth.lives["ended_on"] >= day]
    ledger = truth.ledger[truth.ledger["on"] >= day]
    wet, stretches = (_by_life(table) for table in (truth.incidents, truth.stretches))
    turned = sum(
        _turned(truth.world, life, wet.get(life["life_id"], ()), stretches.get(life["life_id"], ()))
        for life in lives.to_dict("records")
    )
    ill = lives[lives["defective_at_hours"].notna()]
    onset, end = ill["defective_at_hours"], ill["hours_at_end"]
    before = (ill["hours_at_entry"] - onset).clip(lower=0.0)
    world = truth.world
    hazard = ((end - onset) / world.eta2) ** world.beta2 - (before / world.eta2) ** world.beta2
    failed = (ill["state"] == "failed").sum()
    cores = ledger["what"].isin(["replaced", "scrapped"]).sum()
    in_use = (lives["ended_by"] == "failure").sum()
    noticed = (lives["ended_by"] == "symptom").sum() - world.rho * (end - onset - before).sum()
    engines = (ledger["cost"] > ENGINE_BILL).sum()
    return np.array(
        [turned, failed - hazard.sum(), noticed, cores - CORE_LOST * failed, engines - ENGINE_HIT * in_use], dtype=float
    )


def _by_life(table: pd.DataFrame) -> dict[str, list[Any]]:
    rows: dict[str, list[Any]] = {}
    for row in table.itertuples(index=False):
        rows.setdefault(row.life_id, []).append(row)
    return rows


def _turned(world: World, life: dict[Hashable, Any], wet: Iterable[Any], stretches: Iterable[Any]) -> float:
    """Whether a life turned defective within its record, less what was probable; `wet`, `stretches`: its own rows."""
    onset, entry, end = (float(life[k]) for k in ("defective_at_hours", "hours_at_entry", "hours_at_end"))
    if onset <= entry:
        return 0.0
    until = end if np.isnan(onset) else onset
    probable, raised_at = 0.0, np.inf
    for one in wet:
        if entry <= one.age_h <= until:
            probable += 1.0 - np.exp(-world.kappa(one.treatment, one.oil_water_ppm))
        raised_at = min(raised_at, one.age_h if one.treatment != "prompt" else np.inf)
    for one in stretches:
        start, stop = max(one.from_age_h, entry), min(one.to_age_h, until)
        if stop > start:
            knots = np.array([start, min(max(raised_at, start), stop), stop])
            dry, raised = np.diff((knots / world.eta1) ** world.beta1)
            probable += one.ratio * (dry + np.exp(world.lasting_log_ratio) * raised)
    return float(not np.isnan(onset)) - probable


def levelled(costs: pd.DataFrame, luck: dict[str, np.ndarray]) -> pd.DataFrame:
    """Costs (fleets by rules) less their share of the luck `luck` (fleets, 5) by rule.

    One share of each sum for all rules, by least squares around each rule's own mean.
    """
    rules = list(costs.columns)
    sums = np.stack([luck[rule] - luck[rule].mean(axis=0) for rule in rules])
    off = np.stack([costs[rule].to_numpy(float) - costs[rule].mean() for rule in rules])
    share, *_ = np.linalg.lstsq(sums.reshape(-1, len(SUMS)), off.ravel(), rcond=None)
    return pd.DataFrame({rule: costs[rule] - luck[rule] @ share for rule in rules}, index=costs.index)
