"""Luck has mean zero under nature's law, and costs levelled by it scatter less and keep their mean."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from forecaster.simulate import SimulatedFleet, simulate_fleet
from forecaster.worlds import WORLDS
from tests import closed_loop
from tests.luck import SUMS, levelled, luck_since

BEGINNING = pd.Timestamp(2020, 1, 1)
FLEETS = 48


@pytest.fixture(scope="module")
def fleets() -> list[SimulatedFleet]:
    """Small fleets in which water matters both at once and for good."""
    world = replace(WORLDS["rust_at_incident"], lasting_log_ratio=0.5)
    return [simulate_fleet(8, 2, seed, world) for seed in range(FLEETS)]


def z_scores(sums: np.ndarray) -> np.ndarray:
    answer: np.ndarray = sums.mean(axis=0) / (sums.std(axis=0, ddof=1) / np.sqrt(len(sums)))
    return answer


def test_every_sum_has_mean_zero(fleets: list[SimulatedFleet]) -> None:
    scores = z_scores(np.array([luck_since(fleet, BEGINNING) for fleet in fleets]))
    assert dict(zip(SUMS, np.abs(scores) < 3.0, strict=True)) == dict.fromkeys(SUMS, True)


@pytest.mark.parametrize(("name", "factor", "which"), [("eta1", 1.4, 0), ("eta2", 1.5, 1), ("rho", 2.0, 2)])
def test_under_another_law_it_has_not(fleets: list[SimulatedFleet], name: str, factor: float, which: int) -> None:
    wrong = [
        replace(
            f, truth=replace(f.truth, world=replace(f.truth.world, **{name: getattr(f.truth.world, name) * factor}))
        )
        for f in fleets
    ]
    assert abs(z_scores(np.array([luck_since(fleet, BEGINNING) for fleet in wrong]))[which]) > 3.0


def test_levelled_costs_scatter_less(fleets: list[SimulatedFleet]) -> None:
    costs = pd.DataFrame({"usual": [float(f.truth.ledger[["cost", "rental_lost"]].sum().sum()) for f in fleets]})
    level = levelled(costs, {"usual": np.array([luck_since(fleet, BEGINNING) for fleet in fleets])})
    assert level["usual"].std() < 0.75 * costs["usual"].std()
    assert level["usual"].mean() == pytest.approx(costs["usual"].mean(), rel=0.05)


def test_a_fleet_is_played_under_the_plan_and_under_every_rule(monkeypatch: pytest.MonkeyPatch) -> None:
    """The study itself, on one small fleet with money for half of its units."""
    monkeypatch.setattr(closed_loop, "CRAFT", 4)
    monkeypatch.setattr(closed_loop, "BUDGET", 1_300.0)
    rows = closed_loop.one_fleet(("rust_at_incident", "quiet", 500, True))
    assert [row["rule"] for row in rows] == [closed_loop.PLAN, closed_loop.LAW, *closed_loop.rules(1_300.0)]
    assert all(row["cost"] > 0 for row in rows)  # type: ignore[operator]
    assert len({row["cost"] for row in rows}) > 1
