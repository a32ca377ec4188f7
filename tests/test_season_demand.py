"""How many units come off in a season: closed form of exponential stages, and what rebuilding them changes."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from forecaster import open_fleet
from forecaster.decisions import Decisions
from forecaster.plan_problem import PlannedAction
from forecaster.season_demand import came_off, weekly_demand
from tests.conftest import ROOT
from tests.test_fresh_life import EXPONENTIAL, NOTICED, defective, life_of, sound

AS_OF = date(2026, 11, 1)


@pytest.fixture(scope="module")
def decisions() -> Decisions:
    return open_fleet(ROOT / "sample_fleet", AS_OF).decisions(AS_OF)


def test_exponential_stages_come_off_as_the_closed_form_says() -> None:
    ages = np.array([0.0, 20.0, 75.0, 150.0])
    life = life_of(1.0, **EXPONENTIAL, rate_noticed=NOTICED)
    np.testing.assert_allclose(came_off(life, ages), 1 - sound(ages) - defective(ages), atol=2e-3)


def test_a_rebuilt_unit_counts_from_its_rebuild_on_and_a_worn_one_comes_off_more_often(decisions: Decisions) -> None:
    one = decisions.waiting("S0005")
    left = PlannedAction("S0005", one_craft(decisions), "leave", None, 0.0, 0.0)
    rebuilt = replace(left, action="rebuild", week_of=date(2026, 11, 2))
    by_action = {
        work.action: float(weekly_demand(decisions, {"S0005": one}, {"S0005": work}).mean(axis=0).sum())
        for work in (left, rebuilt)
    }
    assert 0.05 < by_action["rebuild"] < by_action["leave"] < 1.0
    season = one.weeks.in_season & (one.weeks.year[:-1] <= 1)
    hours = np.zeros(one.weeks.n)
    hours[one.weeks.week_of_step] = one.weeks.step_hours
    ages = np.array([hours[: np.flatnonzero(season)[0]].sum(), hours[: np.flatnonzero(season)[-1] + 1].sum()])
    expected = np.diff(came_off(decisions.upkeep(left.craft_id).life, ages))[0]
    assert by_action["rebuild"] == pytest.approx(expected * decisions.scatter.mean(), rel=0.02)


def test_nobody_in_service_needs_nothing(decisions: Decisions) -> None:
    assert (weekly_demand(decisions, {}, {}) == 0.0).all()


def one_craft(decisions: Decisions) -> str:
    return str(decisions.unit("S0005").lives["craft_id"].iloc[0])
