"""What to do with a unit in a word: by hand for a constant rate, laws, and against the decisions on invented fleets."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.advice import LEAST_FIRST, WORDS, Weighed, _spun, at_least, in_words, weigh
from forecaster.life_model import Evidence
from forecaster.lives import CHECKS, Histories, frame, lives_by_hours
from forecaster.prices import Prices, prices_of
from forecaster.settings import FleetSettings
from tests.advice_beside_plan import lost, study, summary

AS_OF = date(2026, 11, 1)
PRICES = prices_of(FleetSettings(), day_rate=200.0, core_lost=0.6, engine_hit=0.1)
# By hand: 0.6 · 1,700 + 0.4 · (650 + 120) + 0.1 · 5,200 + 9 · 200
FAILURE = 3_648.0
EVIDENCE = Evidence(10, 5, 100, mostly_prior=False)


@dataclass(frozen=True)
class WearingUnits:
    """One draw: sound until defective, which it is now with chance `defective`; defective units fail at a fixed rate.

    A fresh or sound one fails at `rate` (shape 1) or wears out (shape above 1) in `scale` hours. A spin hears a defect
    with `sensitivity`, and never a sound unit.
    """

    shape: float = 1.0
    scale: float = 500.0
    defective: float = 0.0
    defect_rate: float = 0.005
    sensitivity: float = 0.9
    name: str = "two-stage"
    evidence: Evidence = EVIDENCE

    def chance_of_failing(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> np.ndarray:
        """See ``FittedLifeModel``."""
        age = units.age.to_numpy()[:, None]
        ahead = np.broadcast_to(hours, (units.n_lives, np.shape(hours)[-1]))
        wears = -np.expm1((age / self.scale) ** self.shape - ((age + ahead) / self.scale) ** self.shape)
        ill = self.chance_of_defect(units, np.array([0.0]))[0]
        answer: np.ndarray = ill * -np.expm1(-self.defect_rate * ahead) + (1.0 - ill) * wears
        return answer[None]

    def chance_of_defect(self, units: Histories, hours: np.ndarray, draws: int | None = None) -> np.ndarray:
        """See ``FittedLifeModel``: only now is asked."""
        heard = units.checks.groupby("life_id")["spin"].last().reindex(units.lives["life_id"])
        missed = self.defective * (1.0 - self.sensitivity)
        after = {"rattle": 1.0, "quiet": missed / (missed + 1.0 - self.defective) if self.defective else 0.0}
        used = (units.age > 0).to_numpy()  # a fresh unit has none
        chance = heard.map(after).fillna(self.defective).to_numpy(dtype=float) * used
        answer: np.ndarray = chance[None, :, None]
        return answer


def aged(*ages: float) -> Histories:
    """Running units of these ages, h."""
    return lives_by_hours(np.array(ages), ["alive"] * len(ages), as_of=AS_OF, salt_share=0.0, tuned_share=0.0)


def weighed(
    model: WearingUnits,
    ages: tuple[float, ...] = (100.0,),
    hours: float = 150.0,
    in_season: bool = False,
    prices: Prices = PRICES,
    season: float = 150.0,
) -> Weighed:
    n = len(ages)
    given_hours = (np.full(n, hours), np.full(n, season))
    return weigh(model, aged(*ages), *given_hours, [prices] * n, in_season, knows_defects=True)


def test_a_failure_costs_what_it_does_by_hand() -> None:
    assert PRICES.failure() == pytest.approx(FAILURE)


def test_where_nothing_wears_a_rebuild_never_pays_however_high_the_risk() -> None:
    # A fresh unit of a constant rate fails as often: the rebuild would be paid for nothing.
    one = weighed(WearingUnits(shape=1.0, scale=60.0), ages=(300.0,))
    assert one.best == ["leave"]


def test_leaving_is_worked_out_by_hand() -> None:
    """Defective for certain, failing at 0.005 an hour, beside a fresh unit that fails at 1/500 an hour and never wears.

    A fresh one then costs failure/500 an hour, never rebuilt. Leaving 40 h: p = 1 - exp(-0.2) fail and cost a failure,
    the rest is rebuilt at 650, and the hours run on average, p / 0.005, wear no fresh unit.
    """
    p = 1.0 - np.exp(-0.2)
    leave = p * FAILURE + (1.0 - p) * 650.0 - FAILURE / 500.0 * p / 0.005
    one = weighed(WearingUnits(defective=1.0), hours=40.0)
    assert one.rebuild == pytest.approx([650.0])
    assert one.leave == pytest.approx([leave], rel=3e-3)  # between the days looked at, straight lines


def test_leaving_ends_earlier_in_season_where_that_costs_less() -> None:
    """The same unit with 200 h ahead: best rebuilt in season, at 650 + 120 + 3 days of 200, after an eighth of them."""
    p = 1.0 - np.exp(-0.125)
    leave = p * FAILURE + (1.0 - p) * 1_370.0 - FAILURE / 500.0 * p / 0.005
    one = weighed(WearingUnits(defective=1.0), hours=200.0)
    assert one.leave == pytest.approx([leave], rel=3e-3)


def test_a_check_is_worked_out_by_hand() -> None:
    """Defective with chance 0.3, heard with 0.9: 27 % rattle and are rebuilt, 3 % are missed, 70 % are sound."""
    p, sound = 1.0 - np.exp(-1.0), 1.0 - np.exp(-200.0 / 500.0)
    fails = 0.03 * p + 0.7 * sound
    used = 0.03 * p / 0.005 + 0.7 * sound * 500.0
    check = 60.0 + 0.27 * 650.0 + fails * FAILURE + (0.73 - fails) * 650.0 - FAILURE / 500.0 * used
    one = weighed(WearingUnits(defective=0.3), hours=200.0)
    assert one.check == pytest.approx([check], rel=3e-3)
    assert one.best == ["check"]


def test_a_check_costs_its_price_where_nothing_can_be_found() -> None:
    one = weighed(WearingUnits(shape=3.0, scale=300.0))
    assert one.check - one.leave == pytest.approx([60.0])


def test_in_season_a_check_and_a_rebuild_cost_their_lost_days() -> None:
    one = weighed(WearingUnits(shape=3.0, scale=300.0), in_season=True)
    assert one.check - one.leave == pytest.approx([60.0 + 0.5 * 200.0])
    assert one.rebuild == pytest.approx([650.0 + 120.0 + 3 * 200.0])


@given(st.floats(1.0, 4.0), st.floats(60.0, 800.0), st.floats(0.2, 3.0), st.floats(0.0, 600.0))
def test_a_fresh_unit_is_never_rebuilt_off_season(shape: float, scale: float, lives: float, day_rate: float) -> None:
    """However many times its life a season is long: it is then rebuilt on the way."""
    season = lives * scale
    prices = PRICES.with_values(day_rate=day_rate)
    one = weighed(WearingUnits(shape=shape, scale=scale), (1e-9,), season, prices=prices, season=season)
    assert one.leave[0] <= one.rebuild[0]


@given(st.floats(0.0, 400.0), st.floats(0.0, 400.0))
def test_an_older_unit_never_asks_for_less_work(one: float, other: float) -> None:
    model = WearingUnits(shape=3.0, scale=250.0, defective=0.05)
    best = weighed(model, ages=tuple(sorted([one + 1.0, other + 1.0]))).best
    assert LEAST_FIRST.index(best[0]) <= LEAST_FIRST.index(best[1])


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_higher_chance_of_a_defect_never_asks_for_less_work(one: float, other: float) -> None:
    low, high = (weighed(WearingUnits(shape=2.0, defective=d)).best[0] for d in sorted([one, other]))
    assert LEAST_FIRST.index(low) <= LEAST_FIRST.index(high)


@given(st.floats(0.0, 1500.0), st.floats(0.0, 1500.0))
def test_dearer_lost_days_never_make_a_check_before_the_season_look_worse_than_leaving(
    one: float, other: float
) -> None:
    model = WearingUnits(defective=0.2)
    cheap, dear = (weighed(model, prices=PRICES.with_values(day_rate=rate)) for rate in sorted([one, other]))
    assert (dear.leave - dear.check)[0] >= (cheap.leave - cheap.check)[0] - 1e-6


def test_each_unit_is_weighed_alone() -> None:
    model = WearingUnits(shape=3.0, scale=250.0, defective=0.1)
    together, alone = weighed(model, ages=(50.0, 200.0)), weighed(model, ages=(200.0,))
    assert together.leave[1] == pytest.approx(alone.leave[0])
    assert together.check[1] == pytest.approx(alone.check[0])


def test_with_no_hours_ahead_everything_is_left() -> None:
    one = weighed(WearingUnits(shape=3.0, defective=0.9), hours=0.0, season=0.0)
    assert one.best == ["leave"]


def test_a_model_without_defects_takes_what_fails_within_a_defects_mean_life_to_be_there_already() -> None:
    model = WearingUnits(shape=3.0, scale=150.0)
    units = aged(10.0, 140.0)
    hours = (np.full(2, 60.0), np.full(2, 150.0))
    one = weigh(model, units, *hours, [PRICES.with_values(rebuild=2_000.0)] * 2, False, knows_defects=False)
    gains = one.leave - one.check
    assert gains[0] < 0 < gains[1]


def test_what_if_each_was_spun_today_keeps_the_order_of_lives_and_hours() -> None:
    row = {"life_id": "U000002/1", "checked_on": pd.Timestamp("2026-08-01"), "observed_hours": 10.0, "spin": "slight"}
    looked = frame(CHECKS, [{**row, "known_state": "", "oil": "unknown"}])
    quiet, rattles = _spun(Histories(AS_OF, aged(50.0, 60.0, 70.0).lives, checks=looked))
    heard = ["U000001/1 50 {0}", "U000002/1 10 slight", "U000002/1 60 {0}", "U000003/1 70 {0}"]
    for units, spin in ((quiet, "quiet"), (rattles, "rattle")):
        told = [f"{c.life_id} {c.observed_hours:g} {c.spin}" for c in units.checks.itertuples()]
        assert told == [line.format(spin) for line in heard]
        assert dict(units.checks.dtypes.astype(str)) == dict(looked.dtypes.astype(str))


def test_advice_is_for_the_time_of_the_year() -> None:
    assert [in_words(act, in_season=False) for act in LEAST_FIRST] == [
        "leave it running", "check before the season", "rebuild this off-season",
    ]  # fmt: skip
    assert [in_words(act, in_season=True) for act in LEAST_FIRST] == ["leave it running", "check now", "rebuild now"]
    assert set(WORDS) == set(LEAST_FIRST)


def test_what_is_unsafe_asks_for_at_least_its_own_act() -> None:
    assert at_least("leave", "check") == "check"
    assert at_least("rebuild", "check") == "rebuild"


@pytest.fixture(scope="module")
def small_study() -> pd.DataFrame:
    return study(fleets=1, first_seed=40, craft=6, processes=1)


def test_on_invented_fleets_the_advice_mostly_is_what_costs_least(small_study: pd.DataFrame) -> None:
    told = summary(small_study)
    assert told.loc["all", "advice agrees"] > 0.8
    assert told.loc["all", "advice agrees"] > told.loc["all", "rule of thumb agrees"]


def test_on_invented_fleets_the_advice_loses_a_small_part_of_what_other_rules_do(small_study: pd.DataFrame) -> None:
    told = summary(small_study)
    assert told.loc["all", "advice loses"] < told.loc["all", "rule of thumb loses"] / 3
    assert told.loc["all", "advice weibull loses"] < told.loc["all", "leave all loses"]


def test_nothing_loses_less_than_the_least_cost(small_study: pd.DataFrame) -> None:
    assert (lost(small_study, "advice") >= 0).all()
    assert lost(small_study, "best") == pytest.approx(np.zeros(len(small_study)))
