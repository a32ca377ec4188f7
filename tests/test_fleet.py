"""A fleet that was read: what it keeps, what it refuses, and that only the facts move its answers."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import DataStopsAnswer, WrongUsage
from forecaster.fleet import Fleet, open_fleet
from forecaster.problems import Reading
from forecaster.records import TABLES, FleetRecords
from forecaster.report.as_json import Json, forecast_json
from forecaster.season_shape import DEFAULT_SEASON_HOURS
from forecaster.simulate import SimulatedFleet, simulate_fleet
from forecaster.writing import write_fleet
from tests.conftest import ROOT, SAMPLE_DAY

SAMPLE = ROOT / "sample_fleet"


@pytest.fixture(scope="module")
def invented() -> SimulatedFleet:
    """A fleet small enough to be forecast many times over."""
    return simulate_fleet(craft=5, seasons=1, seed=4)


def answer(fleet: Fleet, as_of: date) -> Json:
    return forecast_json(fleet.forecast(as_of))


def test_a_fleet_is_named_for_its_folder(sample: Fleet) -> None:
    assert sample.name == "sample_fleet"
    assert sample.settings.currency == "USD"


def test_histories_and_fits_are_made_once_for_each_day_and_model(sample: Fleet) -> None:
    assert sample.histories(SAMPLE_DAY) is sample.histories(SAMPLE_DAY)
    assert sample.fit(SAMPLE_DAY) is sample.fit(SAMPLE_DAY, "two-stage")
    assert sample.fit(SAMPLE_DAY) is not sample.fit(SAMPLE_DAY, "weibull")


def test_units_in_service_are_those_that_are_forecast(sample: Fleet) -> None:
    forecast = sample.forecast(SAMPLE_DAY)
    in_service = sample.histories(SAMPLE_DAY).in_service().lives["unit_id"]
    assert sorted(unit.unit_id for unit in forecast.units) == sorted(in_service)


@pytest.mark.parametrize("model", ["two-stage", "weibull"])
def test_a_longer_horizon_is_never_safer(sample: Fleet, model: str) -> None:
    near, far = (sample.forecast(SAMPLE_DAY, hours, model) for hours in (20.0, 80.0))
    for unit in near.units:
        assert unit.fails_within.mean <= far.unit(unit.unit_id).fails_within.mean


def test_a_unit_without_its_incidents_is_safer(sample: Fleet) -> None:
    model = sample.fit(SAMPLE_DAY)
    units = sample.histories(SAMPLE_DAY).in_service()
    wet = units.select(units.lives["life_id"].isin(units.incidents["life_id"]))
    hours = np.array([50.0])
    with_water = model.chance_of_failing(wet, hours)[:, :, 0].mean(axis=0)
    without = model.chance_of_failing(wet.without_incidents(), hours)[:, :, 0].mean(axis=0)
    assert (with_water > without).all()


def test_the_curve_of_the_first_unit_meets_its_forecast(sample: Fleet) -> None:
    first = sample.forecast(SAMPLE_DAY).units[0]
    curve = sample.curve(first.unit_id, SAMPLE_DAY, hours_ahead=50.0)
    assert first.defective_now is not None
    assert curve.ahead["failed_mean"].iloc[-1] == pytest.approx(first.fails_within.mean, abs=1e-6)
    assert curve.ahead["defective_mean"].iloc[0] == pytest.approx(first.defective_now.mean, abs=1e-6)
    assert curve.so_far["defective_mean"].iloc[-1] == pytest.approx(first.defective_now.mean, abs=1e-6)
    assert curve.so_far["observed_hours"].is_monotonic_increasing


def test_curves_of_safe_and_risky_units_can_be_drawn(sample: Fleet) -> None:
    for unit in sample.forecast(SAMPLE_DAY).units[::5]:
        curve = sample.curve(unit.unit_id, SAMPLE_DAY)
        assert np.isfinite(curve.ahead.drop(columns="age").to_numpy()).all()
        assert curve.so_far["defective_mean"].between(0.0, 1.0).all()
        assert len(curve.incidents) == unit.incidents


def test_an_unknown_model_names_the_nearest(sample: Fleet) -> None:
    with pytest.raises(WrongUsage, match=r"no life model 'two stage'\. Did you mean two-stage"):
        sample.forecast(SAMPLE_DAY, model="two stage")


def test_problems_that_stop_the_answer_are_listed(sample_copy: Path) -> None:
    (sample_copy / "craft.csv").write_text("craft_id\n", encoding="utf-8")
    with pytest.raises(DataStopsAnswer, match=r"stop the answer:\n  craft\.csv: "):
        open_fleet(sample_copy, SAMPLE_DAY)


def with_table(records: FleetRecords, **tables: pd.DataFrame) -> Fleet:
    whole = {name: records.table(name) for name in TABLES}
    return Fleet(Reading(FleetRecords(**{**whole, **tables}, settings=records.settings, name=records.name)))


def test_a_fleet_with_nothing_fitted_says_what_to_do(invented: SimulatedFleet) -> None:
    records = invented.records
    gone = records.fittings.assign(removed_on=records.fittings["removed_on"].fillna(pd.Timestamp(invented.as_of)))
    with pytest.raises(DataStopsAnswer, match="every unit was removed, or its craft is retired"):
        with_table(records, fittings=gone).forecast(invented.as_of)
    with pytest.raises(DataStopsAnswer, match=r"fittings\.csv holds no accepted row"):
        with_table(records, fittings=records.fittings.iloc[:0]).forecast(invented.as_of)


def test_without_meter_readings_hours_ahead_are_general_experience_and_the_forecast_says_so(
    invented: SimulatedFleet,
) -> None:
    forecast = with_table(invented.records, hours=invented.records.hours.iloc[:0]).forecast(invented.as_of)
    assert any("hours ahead are general experience" in remark for remark in forecast.remarks)
    for unit in forecast.units:
        assert unit.season_hours == pytest.approx(DEFAULT_SEASON_HOURS, rel=0.02)
        assert unit.season_hours_low < 0.5 * unit.season_hours < 2.0 * unit.season_hours < unit.season_hours_high * 1.2


@settings(max_examples=6)
@given(st.randoms(use_true_random=False))
def test_the_order_of_the_rows_of_any_file_changes_nothing(invented: SimulatedFleet, random: object) -> None:
    as_of = invented.as_of
    expected = answer(with_table(invented.records), as_of)
    seed = random.randrange(2**32)  # type: ignore[attr-defined]
    shuffled = {n: invented.records.table(n).sample(frac=1.0, random_state=seed) for n in TABLES}
    told = answer(with_table(invented.records, **shuffled), as_of)
    assert [unit["unit_id"] for unit in told["units"]] == [unit["unit_id"] for unit in expected["units"]]
    for one, other in zip(told["units"], expected["units"], strict=True):
        assert one["because"] == other["because"]
        assert one["advice"] == other["advice"]
        for chance in ("defective_now", "fails_within", "fails_this_season"):
            assert one[chance] == pytest.approx(other[chance], abs=1e-6)


def test_a_forecast_is_the_same_after_writing_and_reading(invented: SimulatedFleet, tmp_path: Path) -> None:
    write_fleet(invented.records, tmp_path)
    read = answer(open_fleet(tmp_path, invented.as_of), invented.as_of)
    assert read["units"] == answer(with_table(invented.records), invented.as_of)["units"]


def test_what_is_dated_later_changes_nothing(sample: Fleet) -> None:
    day = date(2025, 8, 1)
    later = pd.Timestamp(day)
    records = sample.records
    dated = {
        "hours": "read_on", "water": "happened_on", "rebuilds": "opened_on", "checks": "checked_on",
        "fittings": "fitted_on",
    }  # fmt: skip
    cut = {name: records.table(name)[records.table(name)[column] <= later] for name, column in dated.items()}
    assert answer(with_table(records, **cut), day)["units"] == answer(sample, day)["units"]
