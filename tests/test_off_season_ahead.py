"""An off-season ahead of one unit: continuous over the season's close, and each part of it what it says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from forecaster.craft_weeks import CraftWeeks, craft_weeks
from forecaster.fresh_life import FreshLife, fresh_life
from forecaster.learning import TwoStageFit, fit_two_stage
from forecaster.off_season_ahead import OffSeasonAhead
from forecaster.policy import Upkeep, best_upkeep
from forecaster.prices import Prices
from forecaster.priors import read_priors
from forecaster.service_life import IncidentRate
from forecaster.settings import Season
from forecaster.unit_ahead import UnitAhead, unit_ahead
from forecaster.waiting import Waiting, off_season_before, waiting
from tests.bare_lives import BareLife, histories_of
from tests.calibration import drawn_life

PRICES = Prices(650, 120, 1700, 5200, 60, 3, 9, 0.5, day_rate=200, core_lost=0.5, engine_hit=0.1)
RATE = IncidentRate(1 / 300, {"prompt": 0.6, "none": 0.4}, 20)
SEASON = Season()
CLOSE = date(2026, 10, 15)
A_DAY = 0.9  # engine hours of an in-season day
WET = BareLife(120.0, incidents=[(110.0, "none")])
RATTLING = BareLife(120.0, incidents=[(110.0, "none")], checks=[(119.0, "rattle")])
UNITS = (BareLife(30.0), BareLife(150.0), WET, BareLife(260.0))


@pytest.fixture(scope="module")
def fit() -> TwoStageFit:
    """Learned from 80 lives by the law at the priors' medians, a bearing that wears out."""
    rng = np.random.default_rng(3)
    return fit_two_stage(histories_of(*(drawn_life(rng, read_priors().mean) for _ in range(80))))


@pytest.fixture(scope="module")
def upkeep(fit: TwoStageFit) -> Upkeep:
    life: FreshLife = fresh_life(fit.theta, fit.prior, np.array([0.2, 0.5, 0.1]), RATE, step_h=10.0)
    return best_upkeep(life, PRICES, A_DAY * 168)


def weeks_from(as_of: date, upkeep: Upkeep) -> CraftWeeks:
    """Weeks of a craft that runs alike on each in-season day, and not at all on others."""
    days = [[as_of + timedelta(days=7 * week + k) for k in range(7)] for week in range(104)]
    hours = np.array([sum(A_DAY for day in week if SEASON.contains(day)) for week in days])
    return craft_weeks(hours, as_of, SEASON, upkeep)


def followed(fit: TwoStageFit, unit: BareLife, weeks: CraftWeeks) -> UnitAhead:
    return unit_ahead(fit, histories_of(unit), weeks.step_hours, RATE, draws=24)


def on(as_of: date, fit: TwoStageFit, unit: BareLife, upkeep: Upkeep, prices: Prices = PRICES) -> Waiting:
    weeks = weeks_from(as_of, upkeep)
    return waiting(followed(fit, unit, weeks), weeks, upkeep, prices)


def told(off: OffSeasonAhead) -> dict[str, float]:
    """The expected cost of each thing that can be done in the off-season's first weeks, or instead of that."""
    return {
        "rebuild": float(off.rebuild[:, off.begins].mean()),
        "check": float(off.check[:, off.begins].mean()),
        "closed": float(off.closed.mean()),
        "at triggers": float(off.at_triggers.mean()),
    }


@pytest.mark.parametrize("unit", UNITS)
def test_the_last_day_of_a_season_and_the_day_after_it_tell_the_same_costs(
    fit: TwoStageFit, upkeep: Upkeep, unit: BareLife
) -> None:
    """But for a day's wear, whatever is chosen, and however much worse than the best that is."""
    before, after = (told(on(CLOSE + timedelta(days=k), fit, unit, upkeep).off_season) for k in (0, 1))
    for name, cost in before.items():
        assert cost == pytest.approx(after[name], rel=0.03), name


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("as_of", [date(2026, 7, 6), date(2026, 9, 7), date(2026, 11, 2)])
def test_acting_at_triggers_costs_no_more_than_staying_closed_and_that_no_more_than_never(
    fit: TwoStageFit, upkeep: Upkeep, unit: BareLife, as_of: date
) -> None:
    one = on(as_of, fit, unit, upkeep)
    off = one.off_season
    assert off.at_triggers.mean() <= off.closed.mean() + 1e-9
    assert off.best <= off.at_triggers.mean() + 1e-9
    # What a unit is worth once its season has closed is reckoned by its age alone.
    assert off.closed.mean() <= one.none.mean() * 1.03
    assert one.left <= 1.02 * (off.best if one.weeks.in_season[0] else off.at_triggers.mean())


@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_still_runs_came_off_or_failed(fit: TwoStageFit, upkeep: Upkeep, unit: BareLife) -> None:
    off = on(date(2026, 7, 6), fit, unit, upkeep).off_season
    np.testing.assert_allclose(off.running + off.comes_off.sum(axis=1), 1.0, atol=1e-9)
    np.testing.assert_allclose(off.fails + off.opened, off.comes_off.sum(axis=1), atol=1e-9)
    assert (off.rattles <= off.running + 1e-12).all()


def test_off_season_nothing_comes_before_it(fit: TwoStageFit, upkeep: Upkeep) -> None:
    one = on(date(2026, 11, 2), fit, WET, upkeep)
    off = one.off_season
    assert (off.begins, off.before, off.comes_off.shape[1]) == (0, None, 0)
    np.testing.assert_allclose(off.running, 1.0, rtol=1e-9)
    np.testing.assert_array_equal(off.rebuild, one.rebuild)


def test_a_unit_that_is_rebuilt_before_meets_no_off_season_work(fit: TwoStageFit, upkeep: Upkeep) -> None:
    off = on(date(2026, 7, 6), fit, RATTLING, upkeep).off_season
    assert off.before is not None
    assert off.before.action == "rebuild"
    assert (off.running == 0).all()
    assert off.act is None
    costs = told(off)
    assert all(cost == pytest.approx(costs["closed"]) for cost in costs.values())


def test_a_unit_that_is_checked_before_goes_on_as_one_that_was_quiet(fit: TwoStageFit, upkeep: Upkeep) -> None:
    """By hand: who is checked now and passes runs to the close, and is rebuilt there."""
    prices = replace(PRICES, rebuild_in_season_extra=0.0, rebuild_days=0.0, check_days=0.0, check=1.0)
    as_of = date(2026, 7, 6)
    one = on(as_of, fit, WET, upkeep, prices)
    off, weeks = one.off_season, one.weeks
    assert off.before is not None
    assert off.before.action == "check"
    ahead = followed(fit, WET, weeks)
    k, stop = (int(weeks.step_of_week[week]) for week in (off.before.week, off.begins))
    missed, passed = 1 - ahead.sensitivity, ahead.specificity
    runs = passed * (ahead.running[:, stop] - ahead.ill_running[:, k, stop]) + missed * ahead.ill_running[:, k, stop]
    np.testing.assert_allclose(off.running, runs, rtol=1e-9)
    assert off.closed.mean() < one.none.mean()


def test_a_quiet_check_leaves_chances_that_add_up(fit: TwoStageFit, upkeep: Upkeep) -> None:
    ahead = followed(fit, WET, weeks_from(date(2026, 7, 6), upkeep))
    k = 3
    quiet = ahead.after_a_quiet_check(k)
    passes = (1 - ahead.sensitivity) * ahead.defective[:, k] + ahead.specificity * ahead.sound[:, k]
    np.testing.assert_allclose(quiet.running[:, k], passes, rtol=1e-9)
    gone = np.cumsum(quiet.fails + quiet.noticed, axis=1)
    np.testing.assert_allclose(quiet.running[:, 1:] + gone, np.repeat(passes[:, None], gone.shape[1], axis=1))
    np.testing.assert_allclose((quiet.sound + quiet.defective)[:, k:], quiet.running[:, k:], rtol=1e-9)
    assert (quiet.fails[:, :k] == 0).all()
    assert (quiet.noticed >= -1e-12).all()


def test_an_off_season_beyond_the_next_has_two_seasons_before_it(fit: TwoStageFit, upkeep: Upkeep) -> None:
    as_of = date(2026, 11, 2)
    weeks = weeks_from(as_of, upkeep)
    ahead, unit = followed(fit, BareLife(30.0), weeks), on(as_of, fit, BareLife(30.0), upkeep)
    opens = int(np.flatnonzero(weeks.year[:-1] == 2)[0])
    later = off_season_before(ahead, weeks, upkeep, PRICES, np.ones(24), opens)
    assert weeks.first_day[later.begins] > date(2027, 10, 15) >= weeks.first_day[later.begins - 1]
    assert later.running.mean() < unit.off_season.running.mean()


def test_a_season_of_the_whole_year_has_no_off_season(fit: TwoStageFit, upkeep: Upkeep) -> None:
    always = Season(opens="01-01", closes="12-31")
    weeks = craft_weeks(np.full(104, 3.0), date(2026, 7, 6), always, upkeep)
    one = waiting(followed(fit, BareLife(100.0), weeks), weeks, upkeep, PRICES)
    assert (one.off_season.begins, one.off_season.opens) == (104, 104)
    assert one.left <= one.none.mean() + 1e-9
