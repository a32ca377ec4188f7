"""From a life model to a ranked forecast: laws, with a model whose answers can be worked out on paper."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import ModelError, WrongUsage
from forecaster.forecast import (
    HOURS_GRID,
    NOT_YET,
    Chance,
    FleetForecast,
    FleetStanding,
    UnitForecast,
    chance,
    quantile_hours,
    quantiles_of_units,
)
from forecaster.lives import CHECKS, INCIDENTS, Histories, Remark, frame, lives_by_hours
from forecaster.report.as_json import forecast_json, written
from forecaster.settings import Season
from forecaster.written_chances import percent
from tests.fake_model import BASE, SCALES, FakeModel

AS_OF = date(2026, 11, 1)
NEXT_SEASON = (date(2027, 5, 1), date(2027, 10, 15))


def running(ages: list[float], **columns: object) -> Histories:
    defaults: dict[str, object] = {"parts": "oem", "salt_share": 0.0, "tuned_share": 0.0, "craft_id": "C1"}
    return lives_by_hours(np.array(ages), ["alive"] * len(ages), as_of=AS_OF, **{**defaults, **columns})


def swamped(histories: Histories, life_id: str, at: float, treatment: str = "none") -> Histories:
    row = {
        "life_id": life_id, "craft_id": "C1", "happened_on": pd.Timestamp("2026-08-01"), "observed_hours": at,
        "observed_hours_low": at, "observed_hours_high": at, "kind": "swamped", "water": "salt", "oil": "unknown",
        "treatment": treatment, "oil_water_ppm": np.nan,
    }  # fmt: skip
    rows = [*histories.incidents.to_dict("records"), row]
    return Histories(histories.as_of, histories.lives, frame(INCIDENTS, rows), histories.checks)


def checked(histories: Histories, life_id: str, at: float, spin: str = "quiet") -> Histories:
    row = {
        "life_id": life_id, "checked_on": pd.Timestamp("2026-08-01"), "observed_hours": at, "spin": spin,
        "known_state": "", "shaft_play_mm": np.nan, "boost_kpa": np.nan, "slip": np.nan, "oil": "unknown",
        "oil_water_ppm": np.nan,
    }  # fmt: skip
    return Histories(histories.as_of, histories.lives, histories.incidents, frame(CHECKS, [row]))


def forecast(
    histories: Histories, hours: float = 50.0, use: float = 60.0, model: FakeModel | None = None
) -> FleetForecast:
    return standing(histories, use, model).within(hours)


@dataclass(frozen=True)
class CertainHours:
    """A forecast of hours of which nothing is uncertain: so many of every craft to the season's close."""

    use: float
    as_of: date = AS_OF
    season: Season = field(default_factory=Season)
    remarks: tuple[Remark, ...] = ()
    fleet_remarks: tuple[str, ...] = ()

    def totals(self, craft_ids: list[str], start: date, end: date, n: int) -> np.ndarray:
        assert (start, end) == (self.as_of, NEXT_SEASON[1])
        return np.full((n, len(craft_ids)), self.use)

    def weekly_means(self, craft_ids: list[str], start: date, weeks: int) -> np.ndarray:
        return np.full((len(craft_ids), weeks), self.use / weeks)


def standing(
    histories: Histories, use: float = 60.0, model: FakeModel | None = None, usage: CertainHours | None = None
) -> FleetStanding:
    return FleetStanding(model or FakeModel(), histories, usage or CertainHours(use))


def test_a_chance_is_the_mean_and_the_central_90_percent_of_its_draws() -> None:
    answer = chance(np.arange(101) / 100.0)
    assert answer == Chance(mean=pytest.approx(0.5), low=pytest.approx(0.05), high=pytest.approx(0.95))


def test_the_risk_of_a_constant_rate_is_that_of_the_exponential() -> None:
    unit = forecast(running([0.0])).units[0]
    by_hand = -np.expm1(-SCALES * BASE * 50.0)
    assert unit.fails_within.mean == pytest.approx(by_hand.mean(), abs=1e-12)
    assert unit.fails_within.low == pytest.approx(np.quantile(by_hand, 0.05), abs=1e-12)


def test_the_median_of_the_hours_left_of_a_constant_rate_is_log_2_over_the_rate() -> None:
    unit = forecast(running([0.0])).units[0]
    # averaging over the draws of the rate, half to one and a half times, lengthens the median by 4 %
    assert unit.hours_left.p50 == pytest.approx(1.04 * np.log(2) / BASE, rel=0.02)


def test_units_are_ranked_by_the_chance_of_failing_highest_first() -> None:
    units = forecast(running([10.0, 300.0, 120.0])).units
    assert [unit.hours_since_rebuild for unit in units] == [300.0, 120.0, 10.0]


def test_units_of_equal_risk_are_ranked_by_name() -> None:
    units = forecast(running([50.0, 50.0, 50.0])).units
    assert [unit.unit_id for unit in units] == sorted(unit.unit_id for unit in units)


@given(st.lists(st.floats(0.0, 2000.0), min_size=1, max_size=6), st.floats(0.5, 500.0), st.floats(0.0, 300.0))
def test_intervals_and_quantiles_are_in_order(ages: list[float], hours: float, use: float) -> None:
    for unit in forecast(running(ages), hours, use).units:
        for told in (unit.fails_within, unit.fails_this_season, unit.defective_now):
            assert told is not None
            assert 0.0 <= told.low <= told.mean <= told.high <= 1.0
        assert 0.0 <= unit.hours_left.p10 <= unit.hours_left.p50 <= unit.hours_left.p90
        assert unit.hours_to_risk_limit == unit.hours_left.p10  # both ask when one in ten has failed


@given(st.lists(st.floats(0.0, 2000.0), min_size=1, max_size=6), st.floats(0.5, 500.0))
def test_what_is_told_first_is_what_is_told_in_the_end(ages: list[float], hours: float) -> None:
    stand = standing(running(ages))
    first, whole = stand.risks(hours), stand.within(hours)
    assert replace(whole, units=tuple(replace(unit, **NOT_YET) for unit in whole.units)) == first
    assert stand.within(hours, first) == whole


def test_what_is_told_first_waits_for_nothing_further_ahead(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object) -> None:
        pytest.fail("looked further ahead")

    for name in ("hours_to_close", "failing_within_drawn", "quantiles_of_units"):
        monkeypatch.setattr(f"forecaster.forecast.{name}", never)
    assert standing(running([80.0, 10.0])).risks(50.0).units[0].fails_within.mean > 0


def test_another_horizon_looks_no_further_ahead_again(monkeypatch: pytest.MonkeyPatch) -> None:
    stand = standing(running([80.0, 10.0]))
    stand.within(50.0)
    monkeypatch.setattr("forecaster.forecast.failing_within_drawn", lambda *_: pytest.fail("worked out again"))
    assert stand.within(60.0).units[0].fails_this_season == stand.within(50.0).units[0].fails_this_season


@given(st.floats(1.0, 400.0), st.floats(1.0, 400.0))
def test_the_season_and_the_horizon_are_the_same_question_at_different_hours(hours: float, use: float) -> None:
    unit = forecast(running([80.0]), hours, use).units[0]
    swapped = forecast(running([80.0]), use, hours).units[0]
    assert unit.fails_within.mean == pytest.approx(swapped.fails_this_season.mean, abs=1e-12)


def test_remarks_on_hours_ahead_stand_with_the_fleet_or_with_the_unit_on_that_craft() -> None:
    histories = running([50.0, 50.0], craft_id=["C1", "C2"])
    usage = CertainHours(60.0, remarks=(Remark("C2", "a reading cannot be"),), fleet_remarks=("no readings yet",))
    told = standing(histories, usage=usage).within(50.0)
    assert told.remarks == ("no readings yet",)
    assert {unit.craft_id: unit.remarks for unit in told.units} == {"C1": (), "C2": ("a reading cannot be",)}


def test_another_horizon_is_answered_as_if_it_were_the_first() -> None:
    histories = swamped(running([10.0, 100.0]), "U000002/1", at=86.0)
    kept = standing(histories)
    kept.within(200.0)
    assert kept.within(30.0) == forecast(histories, hours=30.0)


@pytest.mark.parametrize("level", [0.0, 0.1, 0.5, 0.9, 0.999])
def test_hours_left_asked_of_a_third_of_the_grid_are_those_of_the_whole_grid(level: float) -> None:
    units = FakeModel().standing(running([0.0, 10.0, 400.0, 5_000.0], parts="aftermarket"))
    whole = units.failing(HOURS_GRID).mean(axis=0)
    assert quantiles_of_units(units, [level]) == [[quantile_hours(HOURS_GRID, failed, level) for failed in whole]]


@pytest.mark.parametrize("hours", [0.0, -5.0, 0.09, 5_001.0, float("nan"), float("inf")])
def test_a_horizon_that_is_no_positive_number_is_refused(hours: float) -> None:
    with pytest.raises(WrongUsage, match=r"number of engine hours from 0\.1 to 5,000"):
        forecast(running([50.0]), hours=hours)


def test_an_unknown_starting_age_is_told_and_not_made_up() -> None:
    unit = forecast(running([50.0]).with_lives(hours_at_entry=np.nan)).units[0]
    assert unit.hours_since_rebuild is None
    assert unit.because[0] == "50 h in the record, starting age unknown"


def test_the_reasons_begin_with_the_hours_and_then_the_greatest_cause() -> None:
    histories = swamped(running([100.0], parts="aftermarket"), "U000001/1", at=86.0)
    because = forecast(histories).units[0].because
    assert because[0] == "100 h since rebuild"
    assert re.fullmatch(
        r"aftermarket parts \(this raises its chance of failing within 50 h from (\d+) % to (\d+) %\)", because[1]
    )
    assert re.fullmatch(r"swamped, untreated, 14 h ago \(the water raises it from \d+ % to \d+ %\)", because[2])


def test_what_a_cause_raises_the_chance_to_is_what_is_forecast() -> None:
    units = running([100.0, 100.0], parts=["aftermarket", "oem"])
    told = forecast(swamped(units, "U000001/1", at=86.0))
    unit = told.unit("U000001")
    raised = [re.search(r"from (\d+ %) to (\d+ %)\)$", reason) for reason in unit.because[1:]]
    assert len(raised) == 2
    assert {found[2] for found in raised if found} == {percent(unit.fails_within.mean)}
    dry = forecast(units).unit("U000001")
    assert percent(dry.fails_within.mean) in {found[1] for found in raised if found}


def test_a_quiet_check_speaks_for_a_unit() -> None:
    because = forecast(checked(running([100.0]), "U000001/1", at=90.0)).units[0].because
    assert re.match(r"spun quiet 10 h ago \(this lowers its chance of failing within 50 h from \d+ % to", because[1])


def test_what_is_not_recorded_is_not_named_as_a_cause() -> None:
    histories = running([100.0, 100.0], parts=["unknown", "aftermarket"], salt_share=[np.nan, 1.0])
    blank = forecast(histories).unit("U000001")
    assert blank.because == ("100 h since rebuild",)


def test_what_is_unsafe_is_told_first_and_orders_what_to_do() -> None:
    unit = forecast(checked(running([12.0]), "U000001/1", at=10.0, spin="rattle")).units[0]
    assert unit.instruction == "stop, rebuild"
    assert unit.because[:2] == ("12 h since rebuild", "rattled when spun by hand on 2026-08-01, 2 h ago: do not run it")


def test_what_pays_is_not_weighed_here() -> None:
    assert {unit.instruction for unit in forecast(running([0.0, 400.0])).units} == {"as planned"}


@given(st.floats(0.01, 0.99))
def test_the_quantile_of_a_curve_is_where_the_curve_reaches_it(level: float) -> None:
    hours = np.linspace(0.0, 1000.0, 2001)
    failed = -np.expm1(-hours / 100.0)
    assert quantile_hours(hours, failed, level) == pytest.approx(-100.0 * np.log1p(-level), rel=0.01, abs=0.01)


def test_a_curve_that_never_gets_there_gives_its_last_hour() -> None:
    assert quantile_hours(np.array([0.0, 10.0]), np.array([0.0, 0.2]), 0.5) == 10.0


def test_a_unit_that_is_not_in_service_is_refused_by_name() -> None:
    with pytest.raises(WrongUsage, match="'nowhere' is not in service on 2026-11-01"):
        forecast(running([50.0])).unit("nowhere")


UNIT_KEYS = [
    "unit_id", "craft_id", "hours_since_rebuild", "defective_now", "fails_within", "fails_this_season", "hours_left",
    "instruction", "advice", "because",
]  # fmt: skip


def one_unit_json(model: FakeModel | None = None, **columns: object) -> tuple[dict[str, Any], dict[str, Any]]:
    answer = forecast_json(forecast(running([118.2]).with_lives(**columns), model=model))
    return answer, answer["units"][0]


def test_the_json_holds_the_documented_keys() -> None:
    answer, unit = one_unit_json()
    assert set(answer) >= {"as_of", "hours", "model", "fit", "units"}
    assert answer["as_of"] == "2026-11-01"
    assert answer["hours"] == 50.0
    assert answer["model"] == "two-stage"
    fit = {"lives": 119, "failures": 58, "effective_sample": 1480}
    assert fit.items() <= answer["fit"].items()
    assert set(unit) >= set(UNIT_KEYS)
    assert unit["hours_since_rebuild"] == pytest.approx(118.2)
    for key in ("defective_now", "fails_within", "fails_this_season"):
        assert set(unit[key]) == {"mean", "low", "high"}
    assert set(unit["hours_left"]) == {"p10", "p50", "p90"}


def test_the_json_of_what_is_not_known_is_null() -> None:
    _, unit = one_unit_json(FakeModel(name="weibull", knows_defects=False), hours_at_entry=np.nan)
    assert unit["defective_now"] is None
    assert unit["hours_since_rebuild"] is None


def test_the_json_is_ascii_and_refuses_what_json_does_not_know() -> None:
    assert written({"craft_id": "Müwe ≥"}).isascii()
    with pytest.raises(ModelError, match="came out as no number"):
        written({"chance": float("nan")})


def test_a_doubtful_unit_says_why_in_the_json() -> None:
    answer = forecast_json(forecast(running([50.0])), {"U000001": "its rebuild row was refused"})
    assert answer["units"][0]["doubtful"] == "its rebuild row was refused"


def test_the_oldest_unit_is_marked_as_extrapolated() -> None:
    ended = lives_by_hours(np.array([200.0]), ["sound"], as_of=AS_OF, ended_by="scheduled")
    lives = pd.concat([running([150.0, 260.0]).lives, ended.lives.assign(life_id="E/1", unit_id="E")])
    units = forecast(Histories(AS_OF, lives.reset_index(drop=True))).units
    assert {unit.hours_since_rebuild: unit.beyond_seen for unit in units} == {150.0: False, 260.0: True}


def test_a_forecast_finds_a_unit_by_name() -> None:
    found = forecast(running([50.0, 60.0])).unit("U000002")
    assert isinstance(found, UnitForecast)
    assert found.hours_since_rebuild == 60.0
