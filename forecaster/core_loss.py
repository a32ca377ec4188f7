"""What a failure takes with it: the chances that the core is lost and that debris reaches the engine.

Each is a Beta posterior: general experience, counted as a few rows, and the fleet's own rebuild rows. The core is the
two housings and the impeller, all that is reused in a rebuild.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from forecaster.findings import seen_at_opening
from forecaster.forecast import INTERVAL, Chance
from forecaster.hindsight import without_hindsight
from forecaster.records import FleetRecords
from forecaster.settings import Costs

# General experience as (rows in which it happened, rows in which it did not); common practice, no source.
CORE_LOST_PRIOR = (2.4, 1.6)  # mean 0.6, worth 4 rows: the impeller often cuts into the front housing
ENGINE_HIT_PRIOR = (1.0, 9.0)  # mean 0.1, worth 10 rows: rare, and few fleets see enough failures to tell
# Bills lie within this share of the list price; common practice, no source.
BILL_SPREAD = 0.15


@dataclass(frozen=True)
class CoreLoss:
    """Chances given that a bearing failed: posterior mean and central 90 % interval.

    `n`: failures whose core the rows tell of, `lost` of them lost it; `n_engine`: failures in use whose bill tells
    whether the engine was hit, `hit` of them.
    """

    core_lost: Chance
    engine_hit: Chance
    n: int
    lost: int
    n_engine: int
    hit: int

    def draws(self, n: int, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
        """Posterior draws of both chances, (n,) each: core lost, engine hit."""
        rng = np.random.default_rng(seed)
        core, engine = _beta(CORE_LOST_PRIOR, self.n, self.lost), _beta(ENGINE_HIT_PRIOR, self.n_engine, self.hit)
        return rng.beta(*core, n), rng.beta(*engine, n)


def core_loss(records: FleetRecords | None = None, as_of: date | None = None) -> CoreLoss:
    """The chances that a failed bearing costs the core, and that it costs the engine.

    From rebuild rows up to `as_of` whose bearing failed; without `records` general experience alone.

    The core counts as lost where the unit was replaced or scrapped, or an impeller or front housing was found
    destroyed, or scored and the unit not rebuilt; as kept where it was rebuilt; elsewhere the row does not tell.
    No column says that the engine was hit, but the bill does, where an engine costs so much more than a unit that no
    bill can be mistaken: a failure in use counts as a hit above the midpoint of the dearest bill without and the
    cheapest with engine damage. Rows without a bill do not tell.
    """
    return _posterior(*_counts(records, as_of))


def chances_at_failure(records: FleetRecords, as_of: date) -> tuple[float, float]:
    """The posterior means of ``core_loss`` alone, core lost and engine hit: what prices need."""
    n, lost, n_engine, hit = _counts(records, as_of)
    (core, kept), (engine, missed) = _beta(CORE_LOST_PRIOR, n, lost), _beta(ENGINE_HIT_PRIOR, n_engine, hit)
    return core / (core + kept), engine / (engine + missed)


def _counts(records: FleetRecords | None, as_of: date | None) -> tuple[int, int, int, int]:
    """Failures whose core the rows tell of, those that lost it; those whose bill tells, those that hit the engine."""
    if records is None:
        return 0, 0, 0, 0
    rows = records.rebuilds if as_of is None else without_hindsight(records, as_of).rebuilds
    seen = [seen_at_opening(reason, bearing) for reason, bearing in zip(rows["reason"], rows["bearing"], strict=True)]
    failed = rows[pd.Series(seen, index=rows.index, dtype=object).isin(["failed", "found_failed"])]
    lost, kept = _core(failed)
    n_engine, hit = _engine(failed[failed["reason"] == "failure"], records.settings.costs)
    return int((lost | kept).sum()), int(lost.sum()), n_engine, hit


def _core(failed: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Masks of rows that tell of a lost core, and of a core that was kept."""
    metal = failed[["impeller", "front_housing"]]
    rebuilt = failed["outcome"] == "rebuilt"
    lost = failed["outcome"].isin(["replaced", "scrapped"]) | metal.isin(["destroyed"]).any(axis=1)
    lost |= metal.isin(["scored"]).any(axis=1) & ~rebuilt
    return lost, rebuilt & ~lost


def _engine(failed_in_use: pd.DataFrame, costs: Costs) -> tuple[int, int]:
    """Failures whose bill tells, and those that the engine paid for; (0, 0) where prices are too near to tell."""
    dearest_without = (1 + BILL_SPREAD) * (max(costs.new_unit, costs.rebuild) + costs.rebuild_in_season_extra)
    cheapest_with = (1 - BILL_SPREAD) * (min(costs.new_unit, costs.rebuild) + costs.engine_damage)
    if cheapest_with <= dearest_without:
        return 0, 0
    bills = failed_in_use["cost"].dropna()
    return len(bills), int((bills > (dearest_without + cheapest_with) / 2).sum())


def _posterior(n: int, lost: int, n_engine: int, hit: int) -> CoreLoss:
    return CoreLoss(
        _chance(*_beta(CORE_LOST_PRIOR, n, lost)),
        _chance(*_beta(ENGINE_HIT_PRIOR, n_engine, hit)),
        n,
        lost,
        n_engine,
        hit,
    )


def _beta(prior: tuple[float, float], n: int, happened: int) -> tuple[float, float]:
    return prior[0] + happened, prior[1] + n - happened


def _chance(a: float, b: float) -> Chance:
    from scipy.special import betaincinv

    low, high = betaincinv(a, b, INTERVAL)
    return Chance(a / (a + b), float(low), float(high))
