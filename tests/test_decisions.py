"""What the decisions about a fleet share: units weighed at once are each what they are alone, nothing is done twice."""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from forecaster import open_fleet
from forecaster.decisions import WEIGHED_AT_ONCE, Decisions, decisions_for
from forecaster.errors import WrongUsage
from forecaster.weekly_hours import WeeklyHours
from tests.conftest import ROOT

AS_OF = date(2026, 11, 1)


def sample_decisions() -> Decisions:
    return open_fleet(ROOT / "sample_fleet", AS_OF).decisions(AS_OF)


@pytest.fixture(scope="module")
def alone() -> Decisions:
    return sample_decisions()


def test_all_units_weighed_at_once_are_each_what_it_is_alone(alone: Decisions) -> None:
    weighed = sample_decisions().weigh()
    assert list(weighed) == list(alone.histories.in_service().lives["unit_id"])
    for unit_id, one in weighed.items():
        own = alone.waiting(unit_id)
        for name in ("rebuild", "check", "none", "running", "rattles", "comes_off"):
            np.testing.assert_allclose(getattr(one, name), getattr(own, name), rtol=1e-9, atol=1e-12)
        assert (one.age_h, one.left) == pytest.approx((own.age_h, own.left))
        assert vars(one.triggers) == pytest.approx(vars(own.triggers))


class _Stopped(Exception):
    """As Streamlit breaks off a page that nobody looks at any more."""


def test_what_was_weighed_when_it_was_broken_off_is_not_weighed_again() -> None:
    decisions, told = sample_decisions(), []
    wanted = list(decisions.histories.in_service().lives["unit_id"])
    decisions.waiting(wanted[0])

    def break_off(number: int, of: int) -> None:
        told.append((number, of))
        raise _Stopped

    with pytest.raises(_Stopped):
        decisions.weigh(break_off)
    decisions.weigh(lambda number, of: told.append((number, of)))
    assert told == [(2, len(wanted))] * 2, "the first was weighed already"
    decisions.weigh(lambda number, of: told.append((number, of)))
    assert len(told) == 2, "nothing is left to weigh"
    assert len(wanted) <= WEIGHED_AT_ONCE


def test_other_prices_are_weighed_anew(alone: Decisions) -> None:
    unit_id = next(iter(alone.weigh()))
    dearer = alone.waiting(unit_id, rebuild=900.0)
    assert (dearer.rebuild.mean(axis=0) > alone.waiting(unit_id).rebuild.mean(axis=0)).all()
    assert alone.waiting(unit_id).prices.rebuild == alone.prices(alone.records.craft["craft_id"].iloc[0]).rebuild


def test_an_upkeep_does_not_depend_on_what_was_asked_before(alone: Decisions) -> None:
    fleet = open_fleet(ROOT / "sample_fleet", AS_OF)
    fresh = decisions_for(fleet.records, fleet.histories(AS_OF), fleet.two_stage(AS_OF))
    craft = list(alone.weekly_hours)
    alone.weigh()
    for craft_id in reversed(craft):
        np.testing.assert_allclose(fresh.upkeep(craft_id).ahead, alone.upkeep(craft_id).ahead, rtol=1e-9)


def test_a_unit_that_is_not_in_service_is_refused(alone: Decisions) -> None:
    with pytest.raises(WrongUsage, match="'S9999' is not in service"):
        alone.waiting("S9999")


def with_season_hours(decisions: Decisions, hours: float) -> Decisions:
    """The same fleet if every craft ran so many hours a season, as expected and under each draw."""
    shares = {craft_id: hours / decisions.season_hours(craft_id) for craft_id in decisions.weekly_hours}
    scaled = SimpleNamespace(
        means={craft_id: weeks * shares[craft_id] for craft_id, weeks in decisions.weekly_hours.items()},
        draws=lambda _, craft_ids: {
            one: drawn * shares[one] for one, drawn in decisions.weekly_draws(craft_ids).items()
        },
    )
    d = decisions
    return Decisions(d.records, d.histories, d.fit, d.rate, cast("WeeklyHours", scaled), d.prices_by_craft)


def test_no_unit_of_the_fleet_costs_much_more_for_half_an_hour_more_a_season(alone: Decisions) -> None:
    """Over more than a step of the policy's grid, every option: draws, hours that differ and all."""
    units = list(alone.weigh())[:3]
    costs = []
    for hours in np.arange(150.0, 162.0, 0.5):
        fleet = with_season_hours(alone, float(hours))
        assert fleet.season_hours(alone._craft_of(units[0])) == pytest.approx(hours)
        costs.append([[o.expected_cost for o in fleet.waiting(unit_id).options] for unit_id in units])
    steps = np.abs(np.diff(costs, axis=0)) / np.array(costs)[1:]
    assert steps.max() < 0.01
    assert np.median(steps) < 0.005


def test_hours_of_a_season_are_those_of_a_year_however_the_weeks_fall(alone: Decisions) -> None:
    """From the middle of a season 104 weeks leave out two or three of its days: that is made up for."""
    season = alone.records.settings.season
    craft_id = next(iter(alone.weekly_hours))
    for as_of in (date(2026, 5, 2), date(2026, 7, 20), date(2026, 10, 10), date(2026, 12, 1)):
        days = [as_of + timedelta(days=k) for k in range(728)]
        weeks = np.array([float(season.contains(day)) for day in days]).reshape(104, 7).sum(axis=1)
        hours = cast("WeeklyHours", SimpleNamespace(means={craft_id: weeks}))
        fleet = Decisions(alone.records, alone.histories, alone.fit, alone.rate, hours, alone.prices_by_craft)
        assert fleet.season_hours(craft_id) == pytest.approx(168.0, abs=0.7), (
            "days from 1 May to 15 October, an hour each"
        )
