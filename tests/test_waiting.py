"""Rebuild now or later: the unit followed ahead, the costs of each option, and the laws that they obey."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.craft_weeks import CraftWeeks, craft_weeks
from forecaster.fresh_life import FreshLife, fresh_life
from forecaster.learning import TwoStageFit, fit_two_stage
from forecaster.policy import Upkeep, best_upkeep
from forecaster.prices import Prices
from forecaster.priors import INDEX, read_priors
from forecaster.service_life import IncidentRate
from forecaster.settings import Season
from forecaster.unit_ahead import UnitAhead, UnitsToFollow, unit_ahead
from forecaster.waiting import Waiting, waiting
from tests.bare_lives import BareLife, histories_of
from tests.calibration import drawn_life

PRICES = Prices(650, 120, 1700, 5200, 60, 3, 9, 0.5, day_rate=200, core_lost=0.5, engine_hit=0.1)
RATE = IncidentRate(1 / 300, {"prompt": 0.6, "none": 0.4}, 20)
SEASON = Season()
AS_OF = date(2026, 10, 31)
IN_SEASON = np.array([SEASON.contains(d) for d in (date.fromordinal(AS_OF.toordinal() + 7 * w) for w in range(104))])
HOURS = np.where(IN_SEASON, 6.5, 0.0)
SEASON_HOURS = 6.5 * 24
RATTLING = BareLife(120.0, incidents=[(110.0, "none")], checks=[(119.0, "rattle")])


@pytest.fixture(scope="module")
def fit() -> TwoStageFit:
    """Learned from 80 lives by the law at the priors' medians, a bearing that wears out."""
    rng = np.random.default_rng(3)
    return fit_two_stage(histories_of(*(drawn_life(rng, read_priors().mean) for _ in range(80))))


@pytest.fixture(scope="module")
def life(fit: TwoStageFit) -> FreshLife:
    return fresh_life(fit.theta, fit.prior, np.array([0.2, 0.5, 0.1]), RATE, step_h=10.0)


def upkeep_for(life: FreshLife, prices: Prices) -> Upkeep:
    return best_upkeep(life, prices, SEASON_HOURS)


def followed(fit: TwoStageFit, unit: BareLife, rate: IncidentRate | None = RATE) -> UnitAhead:
    return unit_ahead(fit, histories_of(unit), HOURS[HOURS > 0], rate, draws=24)


def laid_out(life: FreshLife, prices: Prices = PRICES) -> tuple[CraftWeeks, Upkeep]:
    upkeep = upkeep_for(life, prices)
    return craft_weeks(HOURS, AS_OF, SEASON, upkeep), upkeep


def answer(fit: TwoStageFit, life: FreshLife, unit: BareLife, prices: Prices = PRICES) -> Waiting:
    weeks, upkeep = laid_out(life, prices)
    return waiting(followed(fit, unit), weeks, upkeep, prices)


def gain_of_now(one: Waiting) -> float:
    """What rebuilding now saves beside the best of all else."""
    return one.best_later.expected_cost - one.best_now.expected_cost


def value_of_check(one: Waiting) -> float:
    """What the best check saves beside the best option without one; below 0 where it does not pay."""
    return float(min(one.rebuild.mean(axis=0).min(), one.none.mean()) - one.check.mean(axis=0).min())


@pytest.mark.parametrize(
    "unit", [BareLife(0.0), BareLife(120.0, incidents=[(110.0, "none")], checks=[(60.0, "quiet")])]
)
def test_every_fate_adds_up_to_one(fit: TwoStageFit, unit: BareLife) -> None:
    ahead = followed(fit, unit)
    gone = np.cumsum(ahead.fails + ahead.noticed, axis=1)
    np.testing.assert_allclose(ahead.running[:, 1:] + gone, 1.0, atol=1e-9)


def test_units_followed_together_are_each_what_it_is_alone(fit: TwoStageFit) -> None:
    """With a starting age unknown, incidents and checks; one runs fewer steps than the others, one none at all."""
    wet = BareLife(90.0, incidents=[(30.0, "none"), (80.0, "prompt")])
    units = histories_of(RATTLING, BareLife(60.0), wet, BareLife(20.0))
    units = units.with_lives(hours_at_entry=[0.0, np.nan, 0.0, 0.0])
    steps = [HOURS[HOURS > 0], np.array([3.0, 8.0]), np.full(10, 5.0), np.zeros(0)]
    together = UnitsToFollow(fit, units, steps, RATE, 24)
    for number, step_hours in enumerate(steps):
        found = together.follow(number)
        alone = unit_ahead(fit, units.select(np.arange(4) == number), step_hours, RATE, 24)
        for name in ("hours", "age_h", "sound", "running", "fails", "ill_running", "ill_fails"):
            np.testing.assert_allclose(getattr(found, name), getattr(alone, name), rtol=1e-9, atol=1e-14)


def test_failing_and_being_noticed_share_what_leaves_by_their_rates(fit: TwoStageFit) -> None:
    """Where a defect fails at a constant rate: of one there now, and of those to come."""
    constant = fit.theta.copy()
    constant[:, INDEX["log_shape_2"]] = 0.0
    plain = replace(fit, draws=replace(fit.draws, theta=constant))
    ahead = unit_ahead(plain, histories_of(BareLife(90.0, incidents=[(80.0, "none")])), np.full(60, 0.5), RATE, 24)
    failing = np.exp(-constant[:24, INDEX["log_scale_2_h"]])
    share = failing / (failing + np.exp(constant[:24, INDEX["log_rate_noticed_per_h"]]))
    gone = ahead.fails + ahead.noticed
    np.testing.assert_allclose(ahead.fails / gone, np.repeat(share[:, None], 60, axis=1), rtol=1e-3)


def test_what_is_defective_by_a_step_is_part_of_all_that_runs_and_fails(fit: TwoStageFit) -> None:
    ahead = followed(fit, BareLife(90.0, incidents=[(80.0, "none")]))
    n = len(ahead.hours) - 1
    for k in (0, 7, n - 1):
        np.testing.assert_allclose(ahead.defective[:, k] + ahead.sound[:, k], ahead.running[:, k], rtol=1e-12)
        gone = ahead.ill_gone[:, k, k:].sum(axis=1)
        np.testing.assert_allclose(ahead.ill_running[:, k, k], ahead.ill_running[:, k, n] + gone, rtol=1e-9)
        assert (ahead.ill_fails[:, k] <= ahead.fails + 1e-15).all()
        assert (ahead.ill_fails[:, k, :k] == 0).all()


def test_under_each_draws_own_hours_a_unit_fares_as_it_does_alone_with_them(fit: TwoStageFit) -> None:
    """One draw runs half as much as expected, one no hour at all in some weeks, one as expected."""
    unit, expected = histories_of(BareLife(90.0, incidents=[(80.0, "none")])), HOURS[HOURS > 0]
    drawn = np.stack([expected / 2, np.where(np.arange(len(expected)) % 3 == 0, 0.0, 2 * expected), expected])
    ahead = unit_ahead(fit, unit, expected, RATE, 3, drawn)
    np.testing.assert_allclose(ahead.hours[1:], np.cumsum(expected))
    for k in (0, 2):
        alone = unit_ahead(fit, unit, drawn[k], RATE, 3)
        for name in ("sound", "running", "fails", "ill_running", "ill_fails", "noticed"):
            np.testing.assert_allclose(getattr(ahead, name)[k], getattr(alone, name)[k], rtol=1e-9, atol=1e-14)
    idle = drawn[1] == 0
    assert np.isfinite(ahead.ill_running).all()
    np.testing.assert_allclose(ahead.running[1, 1:][idle], ahead.running[1, :-1][idle], rtol=1e-12)
    assert np.abs(ahead.fails[1][idle]).max() < 1e-12


def test_hours_that_may_differ_widen_what_an_option_may_cost(fit: TwoStageFit, life: FreshLife) -> None:
    weeks, upkeep = laid_out(life)
    share = np.exp(np.random.default_rng(2).normal(0.0, 0.3, 24))
    drawn = weeks.step_hours * (share / share.mean())[:, None]
    unit = histories_of(BareLife(60.0))
    sure, unsure = (
        waiting(unit_ahead(fit, unit, weeks.step_hours, RATE, 24, hours), weeks, upkeep, PRICES)
        for hours in (None, drawn)
    )
    for week in (0, 40):
        one, other = sure.option("rebuild", week), unsure.option("rebuild", week)
        assert other.high - other.low > one.high - one.low
        assert other.expected_cost == pytest.approx(one.expected_cost, rel=0.02)


def test_without_noticing_and_water_the_failures_are_the_forecasts(fit: TwoStageFit) -> None:
    """The week-by-week path and the forecast of the same unit tell the same chance of failing."""
    quiet = fit.theta.copy()
    quiet[:, 9] = -30.0  # nobody notices anything
    mute = replace(fit, draws=replace(fit.draws, theta=quiet))
    unit = BareLife(90.0, incidents=[(80.0, "none")])
    ahead = followed(mute, unit, rate=None)
    total = ahead.fails[:, :12].sum(axis=1)
    told = mute.chance_of_failing(histories_of(unit), np.array([12 * 6.5]), draws=24)[:, 0, 0]
    np.testing.assert_allclose(total, told, atol=6e-3)


def test_water_to_come_makes_failing_more_likely(fit: TwoStageFit) -> None:
    wet, dry = followed(fit, BareLife(50.0)), followed(fit, BareLife(50.0), rate=None)
    assert wet.running[:, -1].mean() < dry.running[:, -1].mean()


def test_off_season_weeks_before_it_runs_again_cost_the_same(fit: TwoStageFit, life: FreshLife) -> None:
    one = answer(fit, life, BareLife(150.0))
    before = one.weeks.step_of_week[:-1] == 0
    idle = before & ~one.weeks.in_season
    np.testing.assert_allclose(one.rebuild[:, idle], one.rebuild[:, [0]] @ np.ones((1, idle.sum())))


def test_a_unit_that_rattles_is_rebuilt_now_and_a_fresh_one_is_not(fit: TwoStageFit, life: FreshLife) -> None:
    """Noise when spun by hand means that it will fail: common practice, no source."""
    assert gain_of_now(answer(fit, life, RATTLING)) > 0
    assert gain_of_now(answer(fit, life, BareLife(0.0))) < 0


def test_a_fresh_unit_rebuilt_now_wastes_about_the_price_of_the_rebuild(fit: TwoStageFit, life: FreshLife) -> None:
    assert gain_of_now(answer(fit, life, BareLife(0.0))) < -0.65 * PRICES.rebuild


@settings(max_examples=12, deadline=None)
@given(age=st.floats(10, 250), more=st.floats(1.05, 2.0))
def test_dearer_failure_never_makes_waiting_better(fit: TwoStageFit, life: FreshLife, age: float, more: float) -> None:
    """Beside never opening it, rebuilding now gains from dearer failures."""
    dear = PRICES.with_values(new_unit=1700 * more, engine_damage=5200 * more)
    unit = BareLife(age)
    cheap_gain = answer(fit, life, unit).none.mean() - answer(fit, life, unit).rebuild[:, 0].mean()
    dear_one = answer(fit, life, unit, dear)
    assert dear_one.none.mean() - dear_one.rebuild[:, 0].mean() >= cheap_gain - 1e-6


@settings(max_examples=12, deadline=None)
@given(age=st.floats(5, 200))
def test_an_untreated_incident_just_now_never_makes_waiting_better(
    fit: TwoStageFit, life: FreshLife, age: float
) -> None:
    wet = answer(fit, life, BareLife(age, incidents=[(age, "none")]))
    assert gain_of_now(wet) >= gain_of_now(answer(fit, life, BareLife(age))) - 1e-6


def test_with_failure_no_dearer_than_a_rebuild_waiting_wins(fit: TwoStageFit, life: FreshLife) -> None:
    same = PRICES.with_values(new_unit=650, engine_damage=0, rebuild_in_season_extra=0, day_rate=0, check=60)
    one = answer(fit, life, BareLife(260.0), same)
    assert one.best.action == "none" or one.best.week > 0
    assert gain_of_now(one) < 0


def test_a_horizon_shorter_by_a_season_does_not_turn_now_into_never(fit: TwoStageFit, life: FreshLife) -> None:
    upkeep = upkeep_for(life, PRICES)
    gains = []
    for years in (1, 2, 3):
        inside = [SEASON.contains(date.fromordinal(AS_OF.toordinal() + 7 * w)) for w in range(52 * years)]
        hours = np.where(inside, 6.5, 0.0)
        weeks = craft_weeks(hours, AS_OF, SEASON, upkeep)
        ahead = unit_ahead(fit, histories_of(RATTLING), hours[hours > 0], RATE, draws=24)
        gains.append(gain_of_now(waiting(ahead, weeks, upkeep, PRICES)))
    assert min(gains) > 0
    assert gains[1] == pytest.approx(gains[2], rel=0.05)


def test_a_free_perfect_look_is_worth_something_where_a_defect_may_hide(fit: TwoStageFit, life: FreshLife) -> None:
    unit, free = BareLife(110.0), PRICES.with_values(check=0)
    assert value_of_check(answer(fit, life, unit, free)) > value_of_check(answer(fit, life, unit))


@pytest.mark.parametrize("just_spun", [None, "quiet", "rattle"])
def test_a_check_costs_what_its_parts_cost_step_by_step(
    fit: TwoStageFit, life: FreshLife, just_spun: str | None
) -> None:
    """Where lives to come cost nothing: before it, the check, the rebuild on a rattle, and what passes it, by hand.

    Until it runs again, a unit that was spun today sounds as it did.
    """
    checks = [] if just_spun is None else [(120.0, just_spun)]
    free = np.zeros((17, life.n, life.n))
    upkeep = Upkeep(life, PRICES, 160.0, 0.0, free, free.astype(np.int8), np.zeros(17))
    unit = BareLife(120.0, incidents=[(90.0, "none")], checks=checks)
    weeks, ahead = craft_weeks(HOURS, AS_OF, SEASON, upkeep), followed(fit, unit)
    one = waiting(ahead, weeks, upkeep, PRICES)
    season = np.flatnonzero(weeks.in_season)
    for week in (0, int(season[0]), int(season[9]), int(season[9]) + 26):
        k, inside = int(weeks.step_of_week[week]), bool(weeks.in_season[week])
        ends = ahead.fails * PRICES.failure() + ahead.noticed * PRICES.noticed()
        cost = ends[:, :k].sum(axis=1) + ahead.running[:, k] * PRICES.looked_at(inside)
        missed, passed = 1 - ahead.sensitivity, ahead.specificity
        if k == 0 and just_spun is not None:
            missed = passed = np.full(len(missed), float(just_spun == "quiet"))
        rattles = (1 - missed) * ahead.defective[:, k] + (1 - passed) * ahead.sound[:, k]
        cost += rattles * PRICES.planned(inside)
        for t in range(k, int(weeks.step_of_week[weeks.next_off[week]])):
            ill_noticed = ahead.ill_running[:, k, t] - ahead.ill_running[:, k, t + 1] - ahead.ill_fails[:, k, t]
            fails = missed * ahead.ill_fails[:, k, t] + passed * (ahead.fails[:, t] - ahead.ill_fails[:, k, t])
            noticed = missed * ill_noticed + passed * (ahead.noticed[:, t] - ill_noticed)
            cost += fails * PRICES.failure() + noticed * PRICES.noticed()
        np.testing.assert_allclose(one.check[:, week], cost, rtol=1e-9)


def test_a_unit_that_must_be_opened_in_season_is_so_at_an_age_it_reaches_then(
    fit: TwoStageFit, life: FreshLife
) -> None:
    triggers = answer(fit, life, BareLife(170.0)).triggers
    for hours in (triggers.check_at_hours, triggers.rebuild_at_hours):
        assert hours is None or 169 <= hours <= 170 + SEASON_HOURS + 1


def test_a_trigger_holds_until_a_day_in_the_season_after_which_the_close_is_near_enough(
    fit: TwoStageFit, life: FreshLife
) -> None:
    told = answer(fit, life, BareLife(170.0))
    opening, close = date(2027, 5, 1), date(2027, 10, 15)
    days = [(told.triggers.check_at_hours, told.triggers.check_until)]
    days += [(told.triggers.rebuild_at_hours, told.triggers.rebuild_until)]
    assert any(hours is not None for hours, _ in days)
    for hours, until in days:
        assert (until is None) if hours is None else (until is not None and opening <= until < close)


def test_an_untreated_incident_never_lets_a_unit_run_longer_before_its_rebuild(
    fit: TwoStageFit, life: FreshLife
) -> None:
    dry = answer(fit, life, BareLife(100.0)).triggers.rebuild_at_hours or np.inf
    wet = answer(fit, life, BareLife(100.0, incidents=[(99.0, "none")])).triggers.rebuild_at_hours or np.inf
    assert wet <= dry


def jump(costs: np.ndarray) -> float:
    """How far a cost along a first axis strays at most from the middle of its neighbours, as a share of it."""
    strays = np.abs(costs[1:-1] - (costs[:-2] + costs[2:]) / 2)
    return float((strays / costs[1:-1]).max())


def told_costs(one: Waiting) -> np.ndarray:
    """Mean cost of rebuilding in each week, checking in each and neither, and of leaving it to its triggers."""
    means = np.concatenate([one.rebuild.mean(axis=0), one.check.mean(axis=0), [one.none.mean(), one.left]])
    return np.asarray(means)


def test_no_cost_jumps_as_a_unit_ages(fit: TwoStageFit, life: FreshLife) -> None:
    """Half an hour at a time, over more than a step of the policy's grid."""
    costs = np.stack([told_costs(answer(fit, life, BareLife(age))) for age in np.arange(96.0, 109.0, 0.5)])
    assert jump(costs) < 1e-3
    assert (np.abs(np.diff(costs, axis=0)) / costs[1:]).max() < 5e-3


def test_no_cost_jumps_with_the_hours_of_a_season(fit: TwoStageFit, life: FreshLife) -> None:
    costs = []
    unit = histories_of(BareLife(120.0))
    for season_hours in np.arange(152.0, 164.0, 0.5):
        hours = HOURS * season_hours / SEASON_HOURS
        upkeep = best_upkeep(life, PRICES, season_hours)
        weeks = craft_weeks(hours, AS_OF, SEASON, upkeep)
        costs.append(told_costs(waiting(unit_ahead(fit, unit, weeks.step_hours, RATE, 24), weeks, upkeep, PRICES)))
    assert jump(np.stack(costs)) < 1e-3
    assert (np.abs(np.diff(costs, axis=0)) / np.stack(costs)[1:]).max() < 6e-3


def test_no_cost_jumps_from_one_day_to_the_next(fit: TwoStageFit, life: FreshLife) -> None:
    """Through a season, an hour a day, for work before the week whose first day falls into another season's prices."""
    costs, upkeep, unit = [], upkeep_for(life, PRICES), histories_of(BareLife(60.0))
    for day in range(60):
        as_of = date.fromordinal(date(2026, 7, 1).toordinal() + day)
        days = [date.fromordinal(as_of.toordinal() + k) for k in range(7 * 104)]
        hours = np.array([SEASON.contains(one) for one in days]).reshape(104, 7).sum(axis=1) * SEASON_HOURS / 168
        weeks = craft_weeks(hours, as_of, SEASON, upkeep)
        one = waiting(unit_ahead(fit, unit, weeks.step_hours, RATE, 24), weeks, upkeep, PRICES)
        costs.append([one.rebuild.mean(axis=0)[0], one.check.mean(axis=0)[0], one.none.mean(), one.left])
    assert jump(np.array(costs)) < 2e-3
    assert (np.abs(np.diff(costs, axis=0)) / np.array(costs)[1:]).max() < 5e-3


def test_no_cost_jumps_with_the_day_rate(fit: TwoStageFit, life: FreshLife) -> None:
    rates = np.arange(200.0, 224.0, 2.0)
    unit = BareLife(120.0)
    costs = [told_costs(answer(fit, life, unit, PRICES.with_values(day_rate=rate))) for rate in rates]
    assert jump(np.stack(costs)) < 1e-3


def test_a_life_that_ends_amid_a_week_is_followed_by_a_fresh_one_from_there(fit: TwoStageFit, life: FreshLife) -> None:
    """Cut in two, a week costs what it cost whole."""
    costs = []
    for weeks_of in (1, 2):
        hours = HOURS.repeat(weeks_of) / weeks_of
        upkeep = upkeep_for(life, PRICES)
        weeks = craft_weeks(HOURS, AS_OF, SEASON, upkeep)
        if weeks_of == 2:
            weeks = in_halves(weeks)
        ahead = unit_ahead(fit, histories_of(BareLife(100.0)), hours[hours > 0], RATE, 24)
        one = waiting(ahead, weeks, upkeep, PRICES)
        costs.append([float(one.none.mean()), *one.rebuild.mean(axis=0)[[0, 30 * weeks_of, 80 * weeks_of]]])
    assert costs[1] == pytest.approx(costs[0], rel=5e-4)


def in_halves(weeks: CraftWeeks) -> CraftWeeks:
    """Each week in two halves that run as much."""
    twice, n = np.repeat(np.arange(weeks.n), 2), weeks.n
    before = np.append(twice, n)
    runs = np.flatnonzero(np.isin(twice, weeks.week_of_step))

    return replace(
        weeks,
        first_day=tuple(weeks.first_day[w] for w in twice),
        in_season=weeks.in_season[twice],
        step_of_week=np.searchsorted(runs, np.arange(2 * n + 1)),
        step_hours=weeks.step_hours.repeat(2) / 2,
        week_of_step=runs,
        stage=weeks.stage[before],
        to_close_h=np.where(
            np.arange(2 * n + 1) % 2,
            weeks.to_close_h[before] - np.append(HOURS, 0.0)[before] / 2,
            weeks.to_close_h[before],
        ),
        year=weeks.year[before],
        closed=weeks.closed[before],
        next_off=2 * weeks.next_off[twice],
    )


def test_intervals_hold_their_means(fit: TwoStageFit, life: FreshLife) -> None:
    for option in answer(fit, life, BareLife(150.0)).options:
        assert option.low - 1e-6 <= option.expected_cost <= option.high + 1e-6
