"""A fleet told in other words is the same fleet: row order, names and the century change no answer.

What is equal after a shift of all days: after 28 years, when weekdays and leap years fall alike again, everything, the
plan's Mondays moved along; after 4 years everything but which days are Mondays; after 1 year every chance but for the
quarter of a day by which a year is longer than 365 days, and for a leap day on the way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import pytest

from forecaster import simulate_fleet
from forecaster.fleet import Fleet
from forecaster.problems import Reading
from forecaster.records import FleetRecords
from forecaster.waiting import Waiting
from tests.same_fleet import in_another_order, renamed, years_later

AS_OF = date(2022, 8, 1)  # in season: hours of this season and of those to come count
PLAN_AS_OF = date(2022, 11, 1)
SEEN = ("fails_within", "fails_this_season", "defective_now", "hours_left")
HOURS = ("season_hours", "season_hours_low", "season_hours_high", "hours_to_risk_limit")


@dataclass(frozen=True)
class Answers:
    """What a fleet is told, by unit under its first name: chances and hours, costs of waiting, what is planned."""

    forecast: Mapping[str, np.ndarray]
    ordered: Mapping[str, tuple[str, ...]]
    compare: Mapping[str, np.ndarray]
    plan: Mapping[str, tuple[str, date | None]]
    saves: Mapping[str, np.ndarray]
    ranked: tuple[str, ...]


def answers(records: FleetRecords, years: int = 0, names: Mapping[str, str] | None = None) -> Answers:
    first = {new: old for old, new in (names or {}).items()}
    fleet = Fleet(Reading(records))
    units = fleet.forecast(AS_OF.replace(year=AS_OF.year + years)).units
    plan_day = PLAN_AS_OF.replace(year=PLAN_AS_OF.year + years)
    weighed = fleet.decisions(plan_day).weigh()
    plan = fleet.plan(plan_day, budget=3_000.0)
    actions = {first.get(one.unit_id, one.unit_id): one for one in plan.plan.actions}
    seen = {
        first.get(unit.unit_id, unit.unit_id): np.concatenate(
            [
                *(list(vars(getattr(unit, name)).values()) for name in SEEN),
                [getattr(unit, name) for name in HOURS],
            ]
        )
        for unit in units
    }
    return Answers(
        forecast=seen,
        ordered={first.get(unit.unit_id, unit.unit_id): (unit.instruction, *unit.because) for unit in units},
        compare={first.get(unit_id, unit_id): _costs(one) for unit_id, one in weighed.items()},
        plan={unit_id: (one.action, one.week_of) for unit_id, one in actions.items()},
        saves={unit_id: np.array([one.cost, one.saves, one.rattle]) for unit_id, one in actions.items()},
        ranked=tuple(first.get(unit.unit_id, unit.unit_id) for unit in units),
    )


def _costs(one: Waiting) -> np.ndarray:
    """Of rebuilding or checking in each week: expected, and of rebuilding the central 90 %."""
    interval = np.quantile(one.rebuild, [0.05, 0.95], axis=0)
    return np.concatenate([one.rebuild.mean(axis=0), one.check.mean(axis=0), interval.ravel()])


def all_near(told: Mapping[str, np.ndarray], other: Mapping[str, np.ndarray], rel: float = 1e-7) -> None:
    assert set(told) == set(other)
    for unit_id, numbers in told.items():
        assert other[unit_id] == pytest.approx(numbers, rel=rel, abs=1e-9), unit_id


@pytest.fixture(scope="module")
def records() -> FleetRecords:
    return simulate_fleet(craft=6, seasons=2, seed=4, first_year=2021).records


@pytest.fixture(scope="module")
def told(records: FleetRecords) -> Answers:
    return answers(records)


def same(one: Answers, other: Answers) -> None:
    all_near(one.forecast, other.forecast)
    all_near(one.compare, other.compare)
    all_near(one.saves, other.saves)
    assert one.ordered == other.ordered
    assert one.ranked == other.ranked


def test_the_order_of_rows_changes_nothing(records: FleetRecords, told: Answers) -> None:
    other = answers(in_another_order(records, 5))
    same(told, other)
    assert other.plan == told.plan


@pytest.mark.parametrize("order_kept", [True, False])
def test_names_change_nothing(records: FleetRecords, told: Answers, order_kept: bool) -> None:
    old = [*sorted(records.craft["craft_id"]), *sorted(set(records.fittings["unit_id"]))]
    places = np.arange(len(old)) if order_kept else np.random.default_rng(3).permutation(len(old))
    names = {name: f"{place:03d} once {name}" for place, name in zip(places, old, strict=True)}
    other = answers(renamed(records, names), names=names)
    same(told, other)
    assert other.plan == told.plan


def test_28_years_change_nothing_but_the_dates(records: FleetRecords, told: Answers) -> None:
    other = answers(years_later(records, 28), 28)
    all_near(told.forecast, other.forecast)
    all_near(told.compare, other.compare)
    all_near(told.saves, other.saves)
    moved = {u: (act, on if on is None else on.replace(year=on.year + 28)) for u, (act, on) in told.plan.items()}
    assert other.plan == moved


def test_4_years_change_no_chance_and_no_cost(records: FleetRecords, told: Answers) -> None:
    other = answers(years_later(records, 4), 4)
    all_near(told.forecast, other.forecast)
    all_near(told.compare, other.compare)


def test_one_year_changes_a_chance_by_a_quarter_of_a_day(records: FleetRecords, told: Answers) -> None:
    fleet = Fleet(Reading(years_later(records, 1)))
    for unit in fleet.forecast(AS_OF.replace(year=AS_OF.year + 1)).units:
        chance = told.forecast[unit.unit_id][3]  # this season, the mean
        assert unit.fails_this_season.mean == pytest.approx(chance, abs=0.005)
