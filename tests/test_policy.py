"""The best upkeep: renewal-reward by hand, no policy does better, dearer failure, seasons, work that comes round."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from forecaster.fresh_life import FreshLife, fresh_life
from forecaster.policy import ACTIONS, Asked, Upkeep, best_upkeep, best_upkeeps, upkeep_at
from forecaster.policy import SETTLED as SETTLED_SHARE
from forecaster.prices import Prices
from forecaster.priors import read_priors
from tests.bare_lives import theta

PRICES = Prices(
    rebuild=650, rebuild_in_season_extra=120, new_unit=1700, engine_damage=5200, check=60,
    rebuild_days=3, failure_days=9, check_days=0.5, day_rate=300, core_lost=0.6, engine_hit=0.1,
)  # fmt: skip
STEP_H = 10.0
SETTLED = SETTLED_SHARE * PRICES.failure()  # money
NONE, REBUILD = ACTIONS.index("none"), ACTIONS.index("rebuild")


def life_of(oldest_h: float = 300.0, **values: float) -> FreshLife:
    return fresh_life(theta(**values)[None, :], read_priors(), np.zeros(3), None, STEP_H, oldest_h)


USUAL = life_of()


def always(life: FreshLife, season_steps: int, action: int = NONE) -> np.ndarray:
    return np.full((season_steps + 1, life.n, life.n), action, dtype=np.int8)


def rebuilding_at(life: FreshLife, season_steps: int, age_steps: int, stages: slice = slice(None)) -> np.ndarray:
    action = always(life, season_steps)
    action[stages, age_steps:, :] = REBUILD
    return action


def money_and_steps(life: FreshLife, until: int) -> tuple[float, float]:
    """Of one fresh life that ends at an age in steps at the latest: what its end in use costs, and steps run.

    Of the step in which it ends, a life runs half.
    """
    running = life.alive[:until, 0]
    fails, noticed = running * life.fails[:until, 0], running * life.noticed[:until, 0]
    ends = fails.sum() * PRICES.failure() + noticed.sum() * PRICES.noticed()
    return float(ends), float((running - (fails + noticed) / 2).sum())


def test_rebuilding_every_off_season_costs_a_rebuild_and_what_the_season_may_bring() -> None:
    """A season of one step: nothing but the first step of a fresh unit is ever run."""
    found = upkeep_at(USUAL, PRICES, STEP_H, always(USUAL, 1, REBUILD))
    in_use = USUAL.fails[0, 0] * PRICES.failure() + USUAL.noticed[0, 0] * PRICES.noticed()
    # It is also rebuilt at the step's start, as the policy says: twice a year.
    assert found.cost_per_year == pytest.approx(PRICES.planned(False) + PRICES.planned(True) + in_use, abs=SETTLED)


@pytest.mark.parametrize("age_steps", [3, 8, 20])
def test_a_fixed_age_in_season_costs_what_renewal_reward_says(age_steps: int) -> None:
    """Mean cost of a life over its mean length (renewal-reward theorem), by hand; the off-season does nothing."""
    season_steps = 6
    action = rebuilding_at(USUAL, season_steps, age_steps, slice(0, season_steps))
    found = upkeep_at(USUAL, PRICES, season_steps * STEP_H, action)
    ends, steps = money_and_steps(USUAL, age_steps)
    planned = USUAL.alive[age_steps, 0] * PRICES.planned(True)
    assert found.cost_per_year == pytest.approx((ends + planned) / steps * season_steps, abs=SETTLED)


def test_running_to_failure_costs_what_renewal_reward_says() -> None:
    """Units past the grid's end go on as on its last step: a geometric tail, summed by hand."""
    found = upkeep_at(USUAL, PRICES, 50.0, always(USUAL, 5))
    ends, steps = money_and_steps(USUAL, USUAL.n - 1)
    fails, noticed = USUAL.fails[-1, 0], USUAL.noticed[-1, 0]
    reach = USUAL.alive[-1, 0]
    ends += reach * (fails * PRICES.failure() + noticed * PRICES.noticed()) / (fails + noticed)
    steps += reach / (fails + noticed) - reach / 2
    assert found.cost_per_year == pytest.approx(ends / steps * 5, abs=SETTLED)


@pytest.mark.parametrize("age_steps", [2, 5, 9, 14, 25])
@pytest.mark.parametrize("season_h", [30.0, 80.0])
def test_no_fixed_age_is_cheaper_than_the_best_upkeep(age_steps: int, season_h: float) -> None:
    best = best_upkeep(USUAL, PRICES, season_h)
    steps = best.steps
    for stages in (slice(None), slice(0, steps), slice(steps, steps + 1)):
        fixed = upkeep_at(USUAL, PRICES, season_h, rebuilding_at(USUAL, steps, age_steps, stages))
        assert best.cost_per_year <= fixed.cost_per_year + SETTLED


def test_following_the_best_actions_costs_what_the_best_upkeep_says() -> None:
    best = best_upkeep(USUAL, PRICES, 60.0)
    assert upkeep_at(USUAL, PRICES, 60.0, best.action).cost_per_year == pytest.approx(best.cost_per_year, abs=SETTLED)


def test_a_policy_best_for_another_life_is_no_better_here() -> None:
    frail = life_of(scale_1=150.0)
    borrowed = upkeep_at(frail, PRICES, 60.0, best_upkeep(USUAL, PRICES, 60.0).action)
    assert best_upkeep(frail, PRICES, 60.0).cost_per_year < borrowed.cost_per_year


def rebuild_triggers(upkeep: Upkeep) -> list[float]:
    """Without any check, at every stage; infinite: never."""
    found = (upkeep.trigger_h(stage, "rebuild") for stage in range(upkeep.steps + 1))
    return [np.inf if h is None else h for h in found]


@pytest.mark.parametrize(("dearer", "season_h"), [(1.05, 60.0), (1.5, 30.0), (3.0, 110.0)])
def test_dearer_failure_never_raises_the_hours_at_which_to_rebuild(dearer: float, season_h: float) -> None:
    """With no check to choose (it costs too much), so that rebuilding has no rival but going on."""
    before = PRICES.with_values(check=1e6)
    after = before.with_values(engine_damage=before.engine_damage * dearer)
    for later, sooner in zip(
        rebuild_triggers(best_upkeep(USUAL, before, season_h)),
        rebuild_triggers(best_upkeep(USUAL, after, season_h)),
        strict=True,
    ):
        assert sooner <= later


def test_work_waits_for_the_off_season_where_it_is_dearer_in_season() -> None:
    upkeep = best_upkeep(USUAL, PRICES.with_values(check=1e6), 60.0)
    off_season = upkeep.trigger_h(upkeep.steps, "rebuild")
    in_season = upkeep.trigger_h(0, "rebuild")
    assert off_season is not None
    assert in_season is None or off_season < in_season


def test_just_before_the_off_season_one_waits_longer_than_at_the_opening() -> None:
    """A planned rebuild in season, one step before the cheap off-season, pays only for a unit in a bad way."""
    upkeep = best_upkeep(USUAL, PRICES.with_values(check=1e6, rebuild_days=1.0), 100.0)
    triggers = rebuild_triggers(upkeep)
    assert triggers[upkeep.steps - 1] > triggers[upkeep.steps]
    assert triggers[upkeep.steps - 1] >= triggers[0]


def test_longer_seasons_cost_more_a_year() -> None:
    yearly = [best_upkeep(USUAL, PRICES, hours).cost_per_year for hours in (20.0, 40.0, 80.0, 160.0)]
    assert (np.diff(yearly) > 0).all()


def test_a_season_without_a_choice_of_price_costs_the_same_an_hour_however_it_is_cut() -> None:
    """Where work costs the same on and off season, seasons are only a way of counting."""
    same = PRICES.with_values(rebuild_in_season_extra=0.0, day_rate=0.0, check=1e6)
    hourly = [best_upkeep(USUAL, same, hours).cost_per_year / hours for hours in (20.0, 50.0, 100.0)]
    assert hourly == pytest.approx([hourly[0]] * 3, abs=2 * SETTLED / 20.0)


@pytest.mark.parametrize("seasons", [2, 3, 4])
def test_work_that_comes_round_every_so_many_years_settles(seasons: int) -> None:
    """Nothing ever fails; every second (third, fourth) off-season brings a rebuild: by hand, a share of it a year."""
    lasting = life_of(scale_1=1e7)
    action = rebuilding_at(lasting, 5, 5 * seasons, slice(5, 6))
    found = upkeep_at(lasting, PRICES, 50.0, action)
    assert found.cost_per_year == pytest.approx(PRICES.planned(False) / seasons, abs=SETTLED)


def test_a_check_that_costs_nothing_never_makes_upkeep_dearer() -> None:
    costs = [best_upkeep(USUAL, PRICES.with_values(check=c, check_days=0.0), 60.0).cost_per_year for c in (0, 60, 1e6)]
    assert costs[0] <= costs[1] <= costs[2]


def test_after_a_quiet_check_one_may_run_on_for_longer() -> None:
    upkeep = best_upkeep(USUAL, PRICES, 60.0)
    unchecked = upkeep.trigger_h(upkeep.steps, "check")
    assert unchecked is not None
    checked = upkeep.trigger_h(upkeep.steps, "check", checked_h=unchecked)
    assert checked is None or checked > unchecked


def test_starting_from_an_upkeep_much_like_it_gives_the_same_answer() -> None:
    dearer = replace(PRICES, day_rate=400.0)
    alone = best_upkeep(USUAL, dearer, 60.0)
    helped = best_upkeep(USUAL, dearer, 60.0, near=best_upkeep(USUAL, PRICES, 90.0))
    assert helped.cost_per_year == pytest.approx(alone.cost_per_year, abs=2 * SETTLED)
    assert (helped.action[:, 0, 0] == alone.action[:, 0, 0]).all()


def test_amounts_in_a_small_currency_give_the_same_policy() -> None:
    """Yen or cents: only the unit changes."""
    money = ("rebuild", "rebuild_in_season_extra", "new_unit", "engine_damage", "check", "day_rate")
    small = replace(PRICES, **{name: 100 * getattr(PRICES, name) for name in money})
    one, hundred = best_upkeep(USUAL, PRICES, 60.0), best_upkeep(USUAL, small, 60.0)
    assert hundred.cost_per_year == pytest.approx(100 * one.cost_per_year)
    assert (one.action == hundred.action).all()


def test_many_upkeeps_found_at_once_are_each_what_it_is_alone() -> None:
    """Seasons, lives and prices of all kinds, more of one season than are worked on at once."""
    near, dearer = best_upkeep(USUAL, PRICES, 60.0), [PRICES.with_values(day_rate=200.0 + 15 * k) for k in range(20)]
    asked = [Asked(USUAL, prices, 60.0, near if k % 2 else None) for k, prices in enumerate(dearer)]
    asked += [Asked(life_of(scale_1=150.0), PRICES, 60.0), Asked(USUAL, PRICES, 90.0)]
    asked += [Asked(life_of(oldest_h=200.0), PRICES, 90.0, near)]
    for one, found in zip(asked, best_upkeeps(asked), strict=True):
        alone = best_upkeep(*one)
        assert found.cost_per_year == pytest.approx(alone.cost_per_year, rel=1e-12)
        np.testing.assert_allclose(found.ahead, alone.ahead, rtol=1e-9)
        assert (found.action == alone.action).all()


def smooth_in(values: np.ndarray) -> float:
    """The largest step from one to the next, beside their mean step."""
    steps = np.abs(np.diff(values))
    return float(steps.max() / steps.mean())


def test_the_cost_of_a_year_moves_smoothly_with_the_hours_of_a_season() -> None:
    """In steps of half an hour over four steps of the grid: none is much larger than the others."""
    hours = np.arange(60.0, 100.0, 0.5)
    found = best_upkeeps([Asked(USUAL, PRICES, h) for h in hours])
    assert smooth_in(np.array([one.cost_per_year for one in found])) < 1.5
    ages = np.array([45.0, 112.0])
    for to_close in (0.0, 17.0, 41.0):
        worn = [one.worn_beside_fresh(one.stage(np.full(2, to_close)), ages, np.array([0.0, 62.0])) for one in found]
        assert np.abs(np.diff(worn, axis=0)).max() < 0.01 * PRICES.failure()


def test_a_worn_unit_costs_what_the_grid_says_on_it_and_in_between_what_lies_between() -> None:
    upkeep = best_upkeep(USUAL, PRICES, 85.0)
    on_grid = upkeep.worn_beside_fresh(np.array([3.0]), np.array([120.0]), np.array([70.0]))
    assert on_grid == pytest.approx(upkeep.ahead[3, 12, 7] - upkeep.ahead[3, 0, 0])
    for checked in (0.0, 40.0, 113.0):
        ages = np.linspace(checked, checked + 60.0, 241)
        worn = upkeep.worn_beside_fresh(np.array([3.3]), ages, np.full(241, checked))
        assert np.abs(np.diff(worn)).max() < 0.005 * PRICES.failure()


def test_beyond_the_grids_end_a_unit_is_as_worn_as_on_it_and_as_long_since_its_check() -> None:
    upkeep = best_upkeep(USUAL, PRICES, 85.0)
    ages, checked = np.array([300.0, 444.0, 300.0, 444.0]), np.array([0.0, 0.0, 250.0, 394.0])
    never, never_older, looked_at, looked_at_older = upkeep.worn_beside_fresh(np.full(4, 2.0), ages, checked)
    assert (never_older, looked_at_older) == pytest.approx((never, looked_at))


def test_a_quiet_check_wears_off_beyond_the_grids_end_too() -> None:
    """A grid that ends early tells about the same as one that goes on, where bearings do not wear."""
    prices = PRICES.with_values(check=20.0)
    lasting = {"shape_1": 1.0, "shape_2": 1.0, "rate_noticed": 1e-9, "scale_1": 900.0, "scale_2": 90.0}
    early, late = (best_upkeep(life_of(oldest_h, **lasting), prices, 60.0) for oldest_h in (200.0, 700.0))
    assert early.cost_per_year == pytest.approx(late.cost_per_year, rel=0.02)


def test_a_fresh_units_cost_ahead_rises_with_the_hours_to_the_close_and_is_a_years_at_the_opening() -> None:
    upkeep = best_upkeep(USUAL, PRICES, 85.0)
    ahead = upkeep.fresh_ahead(np.arange(0.0, 300.0))
    assert ahead[0] == pytest.approx(0.0)
    assert (np.diff(ahead) > 0).all()
    assert ahead[85] == pytest.approx(upkeep.cost_per_year, abs=2 * SETTLED)
    assert np.diff(ahead)[150:] == pytest.approx(upkeep.cost_per_year / 85.0)


def test_a_single_longer_season_costs_what_its_hours_and_the_usual_years_after_it_do() -> None:
    """Where bearings do not wear and work costs the same all year, each hour costs as much as any other."""
    same = PRICES.with_values(rebuild_in_season_extra=0.0, day_rate=0.0, check=1e6)
    upkeep = best_upkeep(life_of(shape_1=1.0, scale_1=300.0, shape_2=1.0, scale_2=3.0), same, 60.0)
    ahead = upkeep.fresh_ahead(np.array([30.0, 60.0, 75.0, 90.0]))
    assert ahead == pytest.approx(upkeep.cost_per_year / 60.0 * np.array([30.0, 60.0, 75.0, 90.0]), rel=0.01)


@pytest.mark.parametrize("step_h", [10.0, 2.5])
def test_a_grid_four_times_as_fine_tells_the_same_cost(step_h: float) -> None:
    life = fresh_life(theta()[None, :], read_priors(), np.zeros(3), None, step_h, 300.0)
    fine = [best_upkeep(life, PRICES, hours).cost_per_year for hours in (60.0, 83.0, 120.0)]
    assert fine == pytest.approx([best_upkeep(USUAL, PRICES, h).cost_per_year for h in (60.0, 83.0, 120.0)], rel=4e-3)


@pytest.mark.parametrize("action", ["check", "rebuild"])
def test_the_hours_at_which_to_act_are_no_whole_steps_of_the_grid_and_move_with_the_price(action: str) -> None:
    """A little dearer, a little later: no jump from one step of the grid to the next."""
    prices = [PRICES.with_values(check=1e6 if action == "rebuild" else price, rebuild=640 + price / 6) for price in
              np.linspace(60.0, 66.0, 13)]  # fmt: skip
    found = [one.trigger_h(one.steps, action) for one in best_upkeeps([Asked(USUAL, p, 60.0) for p in prices])]
    hours = np.array(found, dtype=float)
    assert np.abs(np.diff(hours)).max() < 3.0
    assert len(np.unique(np.round(hours, 3))) > 6


def test_a_unit_fresh_at_the_opening_acts_at_hours_that_it_reaches_in_the_season() -> None:
    dear = PRICES.with_values(engine_damage=200_000.0)
    hours = [best_upkeep(USUAL, dear, season).first_season_h("check") for season in np.arange(120.0, 124.0, 0.5)]
    assert all(h is not None and 0 < h < 120 for h in hours)
    assert np.abs(np.diff(np.array(hours, dtype=float))).max() < 5.0
    assert best_upkeep(USUAL, PRICES.with_values(check=1e6), 20.0).first_season_h("check") is None
