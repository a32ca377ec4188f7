"""The planner that knows the law: its life model says what is so, in every world that is played."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from forecaster.true_risk import Wetting, chance_of_failing
from forecaster.worlds import WORLDS
from tests import closed_loop
from tests.bare_lives import BareLife, histories_of
from tests.closed_loop import LAW, PLAN, KnowsTheLaw, law_known, summary

HOURS = np.array([5.0, 50.0, 150.0])


@pytest.mark.parametrize("world", sorted(WORLDS))
@pytest.mark.parametrize("treatment", ["prompt", "late", "none", ""])
@pytest.mark.parametrize("quiet_at", [None, 100.0])
def test_its_chances_are_the_true_ones(world: str, treatment: str, quiet_at: float | None) -> None:
    wet = [(80.0, treatment)] if treatment else []
    checks = [] if quiet_at is None else [(quiet_at, "quiet")]
    unit = histories_of(
        BareLife(120.0, incidents=wet, checks=checks, parts="aftermarket", salt=1.0, tuned=1.0), BareLife(10.0)
    )
    told = law_known(WORLDS[world], unit).chance_of_failing(unit, HOURS)
    true = [
        chance_of_failing(
            WORLDS[world],
            120.0,
            hours,
            [Wetting(*one) for one in wet],
            "aftermarket",
            1.0,
            1.0,
            [at for at, _ in checks],
        )
        for hours in HOURS
    ]
    assert told[:, 0] == pytest.approx(np.broadcast_to(true, told[:, 0].shape), abs=5e-4)
    np.testing.assert_array_equal(told[0], told[-1])  # without any doubt


@pytest.mark.parametrize("change", [{"water_exponent": 0.6}, {"lasting_log_ratio": 0.5}])
def test_a_law_that_two_stages_cannot_hold_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="no exact counterpart"):
        law_known(replace(WORLDS["rust_at_incident"], **change), histories_of(BareLife(10.0)))  # type: ignore[arg-type]


def test_it_plans_by_the_true_law_and_chances(monkeypatch: pytest.MonkeyPatch) -> None:
    believed = []
    plain = KnowsTheLaw.believed

    def watched(self: KnowsTheLaw, *asked: object) -> object:
        believed.append(plain(self, *asked))  # type: ignore[arg-type]
        return believed[-1]

    monkeypatch.setattr(KnowsTheLaw, "believed", watched)
    monkeypatch.setattr(closed_loop, "CRAFT", 4)
    closed_loop.played("dry", "quiet", 500, KnowsTheLaw(WORLDS["dry"]))
    assert len(believed) == closed_loop.PLAYED_SEASONS
    for one in believed:
        assert one.fit.prior.source == LAW
        assert {p.core_lost for p in one.prices_by_craft.values()} == {closed_loop.CORE_LOST}
        assert {p.engine_hit for p in one.prices_by_craft.values()} == {closed_loop.ENGINE_HIT}


@pytest.mark.parametrize("fleets", [1, 3])
def test_the_table_says_how_far_the_plan_is_from_the_law_known(fleets: int) -> None:
    rows = [
        {
            "limited": True,
            "world": "dry",
            "use": "busy",
            "seed": seed,
            "rule": rule,
            "cost": cost + seed,
            "luck": np.zeros(5),
        }
        for seed in range(fleets)
        for rule, cost in ((PLAN, 1_030.0), (LAW, 1_000.0), ("40 h", 1_100.0), ("60 h", 1_200.0))
    ]
    (row,) = summary(pd.DataFrame(rows)).to_dict("records")
    assert row["best rule in hindsight"] == "40 h"
    assert row[f"{LAW}: less by"].startswith("+100")
    assert row["plan above the law known, %"].startswith("+3.0")
