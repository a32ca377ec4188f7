"""The best upkeep: renewal-reward by hand, no policy does better, dearer failure, seasons, work that comes round."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from forecaster.fresh_life import FreshLife, fresh_life
from forecaster.policy import ACTIONS, Asked, Upkeep, best_upkeep, best_upkeeps, cost_scatter, upkeep_at
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
    """Of one fresh life that ends at an age in steps at the latest: what its end in use costs, and steps begun."""
    running = life.alive[:until, 0]
    ends = running @ (life.fails[:until, 0] * PRICES.failure() + life.noticed[:until, 0] * PRICES.noticed())
    return float(ends), float(running.sum())


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
    steps += reach / (fails + noticed)
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


def test_the_scatter_is_the_policys_cost_under_each_life_beside_their_mean() -> None:
    best = best_upkeep(USUAL, PRICES, 60.0)
    lives = [life_of(scale_1=scale) for scale in (150.0, 250.0, 400.0)]
    costs = np.array([upkeep_at(life, PRICES, 60.0, best.action).cost_per_year for life in lives])
    assert cost_scatter(best, lives, 60.0) == pytest.approx(costs / costs.mean(), abs=2e-3)
