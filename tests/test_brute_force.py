"""What options cost is what simulating them by their stated rules costs: no more than 1 % apart, and noise."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from forecaster import open_fleet, sample_fleet_folder
from forecaster.decisions import DRAWS, Decisions
from forecaster.service_life import fresh_curves
from tests.brute_force import WEEKS, simulated
from tests.simulated_lives import Nature

OFF_SEASON, IN_SEASON = date(2026, 10, 31), date(2026, 7, 15)
# Rebuilt in each of these weeks, checked in each, or never: before, in and after either season.
SOME = np.array([0, 12, 30, 38, 46, 52, 70, 84, 100])
LIVES = 60  # a posterior draw; four times over


@pytest.fixture(scope="module")
def decisions() -> dict[date, Decisions]:
    """The sample fleet on both days."""
    fleet = open_fleet(sample_fleet_folder(), OFF_SEASON)
    return {day: fleet.decisions(day) for day in (OFF_SEASON, IN_SEASON)}


@pytest.mark.parametrize(
    ("day", "age"), [(OFF_SEASON, "fresh"), (OFF_SEASON, "worn"), (IN_SEASON, "middling")]
)  # fmt: skip
def test_every_option_costs_what_its_simulation_costs(decisions: dict[date, Decisions], day: date, age: str) -> None:
    core = decisions[day]
    by_age = sorted(core.weigh(), key=lambda unit_id: core.waiting(unit_id).age_h)
    unit_id = by_age[{"fresh": 0, "middling": len(by_age) // 2, "worn": -1}[age]]
    told, found = core.waiting(unit_id), simulated(core, unit_id, LIVES, set(SOME))
    for cost, mean, error in (
        (told.rebuild.mean(axis=0)[SOME], found.rebuild[SOME], found.rebuild_error[SOME]),
        (told.check.mean(axis=0)[SOME], found.check[SOME], found.check_error[SOME]),
        (told.none.mean(), found.none, found.none_error),
    ):
        assert (np.abs(cost - mean) < 0.01 * mean + 3 * np.max(error)).all()
    assert len(told.options) == 2 * WEEKS + 1


def test_drawn_lives_stand_as_the_posterior_says(decisions: dict[date, Decisions]) -> None:
    """The simulation begins where the fit does: as many are defective."""
    core = decisions[OFF_SEASON]
    theta, n = core.fit.theta[:DRAWS], 400
    for unit_id in list(core.weigh())[:4]:
        unit = core.unit(unit_id)
        lives = Nature(theta, core.fit.prior, None, np.random.default_rng(7)).standing(core.fit, unit, theta, n)
        assert (lives.defective_in < 0).mean() == pytest.approx(
            float(core.fit.chance_of_defect(unit, np.zeros(1), draws=DRAWS).mean()), abs=0.01
        )


def test_drawn_fresh_lives_last_as_the_service_lives_say(decisions: dict[date, Decisions]) -> None:
    core = decisions[OFF_SEASON]
    theta, x = core.fit.theta[:DRAWS], np.array([0.4, 1.0, 0.0])
    lives = Nature(theta, core.fit.prior, core.rate, np.random.default_rng(3)).fresh(x, 400)
    ages = np.arange(0.0, 301.0, 2.0)
    sound, _ = fresh_curves(theta, core.fit.prior, x, core.rate, ages)
    drawn = np.array([(lives.defective_in > age).mean() for age in ages])
    np.testing.assert_allclose(drawn, sound.mean(axis=0), atol=0.01)
