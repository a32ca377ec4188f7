"""What the decisions about a fleet share: units weighed at once are each what they are alone, nothing is done twice."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from forecaster import open_fleet
from forecaster.decisions import WEIGHED_AT_ONCE, Decisions, decisions_for
from forecaster.errors import WrongUsage
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
