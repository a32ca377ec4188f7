"""Clutch slip: readings by hand, the mixed model against a published study, and forecasts against a known truth."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.errors import SettingsError, WrongUsage
from forecaster.histories import build_histories
from forecaster.records import FleetRecords
from forecaster.settings import read_settings
from forecaster.simulate import simulate_fleet
from forecaster.slip import FleetSlip, SlipLimits, forecast_slip
from forecaster.slip_paths import SlipPaths, slip_paths
from forecaster.slip_wear import PER_HOURS, fit_mixed_line, fit_wear_lines
from tests.paper_fleet import fitted, opened, paper_fleet

AS_OF = date(2025, 12, 1)
AGES = np.array([5.0, 35.0, 75.0, 130.0, 230.0])


def one_unit(*, checks: list | None = None, rebuilds: list | None = None, tune: str = "stock") -> FleetRecords:
    """S1 on C1 all along, which ran 1 h a day from 1 January 2025, when it was fresh."""
    days = pd.date_range("2025-01-01", "2025-12-01")
    return paper_fleet(
        craft=[{"craft_id": "C1", "tune": tune}],
        fittings=[fitted("S1", "C1", "2025-01-01", hours=0.0)],
        hours={"C1": [(str(day.date()), float(n)) for n, day in enumerate(days)]},
        checks=[{"unit_id": "S1", "checked_on": day, "slip": slip} for day, slip in checks or []],
        rebuilds=rebuilds or [],
    )


def paths_of(records: FleetRecords, as_of: date = AS_OF) -> SlipPaths:
    return slip_paths(build_histories(records, as_of), records)


def slip_of(records: FleetRecords, as_of: date = AS_OF, **more: object) -> FleetSlip:
    return forecast_slip(build_histories(records, as_of), records, **more)  # type: ignore[arg-type]


def readings_of(seen: SlipPaths) -> list[tuple[str, float, float, bool]]:
    of = seen.readings.merge(seen.paths[["life_id"]], left_on="path", right_index=True)
    columns = (of[name].tolist() for name in ("life_id", "hours", "slip", "set"))
    return [(life, round(hours, 6), slip, bool(was_set)) for life, hours, slip, was_set in zip(*columns, strict=True)]


def invented_paths(n: int, readings_each: int, seed: int, fall_sd: float = 0.4) -> tuple[SlipPaths, pd.DataFrame]:
    """n clutches set to about 14 lb·ft, read at random hours up to 300; the truth is (height, slope per 100 h)."""
    rng = np.random.default_rng(seed)
    true = pd.DataFrame({"height": rng.normal(14, 0.4, n), "slope": rng.normal(-1.5, fall_sd, n)})
    paths = pd.DataFrame(
        {"life_id": [f"S{i}/1" for i in range(n)], "unit_id": [f"S{i}" for i in range(n)], "begins_at": 0.0}
        | {"hours_before": 0.0, "hours": 300.0, "tuned_share": 0.0, "latest": True}
    )
    path = np.repeat(np.arange(n), readings_each)
    hours = rng.uniform(0, 300, len(path))
    slip = true["height"].to_numpy()[path] + true["slope"].to_numpy()[path] * hours / 100
    readings = pd.DataFrame({"path": path, "hours": hours, "slip": slip + rng.normal(0, 0.35, len(path)), "set": False})
    return SlipPaths(paths, readings, 0), true


def covered(seen: SlipPaths, true: pd.DataFrame, method: str) -> float:
    """Share of clutches whose true slip at 300 h lies in the 90 % interval."""
    lines = fit_wear_lines(seen.paths, seen.readings, 14.0, 2.0, AGES)
    assert lines.method == method
    inside = []
    for path in range(len(true)):
        height, slope = lines.draw(path, 2000)
        low, high = np.quantile(height + 300.0 * slope, [0.05, 0.95])
        inside.append(low <= true["height"][path] + 3.0 * true["slope"][path] <= high)
    return float(np.mean(inside))


# -- where readings lie on the hour axis -------------------------------------------------------------------------------


def test_a_check_lies_at_the_hours_of_its_day() -> None:
    seen = paths_of(one_unit(checks=[("2025-03-02", 13.2)]))
    assert readings_of(seen) == [("S1/1", 60.0, 13.2, False)]
    assert seen.paths[["hours_before", "hours"]].to_numpy().tolist() == [[0.0, 334.0]]


def test_a_rebuild_ends_one_path_and_begins_the_next() -> None:
    rebuilt = opened("S1", "2025-06-10", "scheduled", "sound", "rebuilt", slip_found=11.5, slip_set=14.1)
    seen = paths_of(one_unit(rebuilds=[rebuilt]))
    assert readings_of(seen) == [("S1/1", 160.0, 11.5, False), ("S1/2", 0.0, 14.1, True)]
    assert seen.not_placed == 0


def test_a_clutch_reset_in_the_midst_of_a_life_begins_a_new_path() -> None:
    closed = opened("S1", "2025-04-11", "other", "sound", "closed", slip_found=9.4, slip_set=14.0)
    seen = paths_of(one_unit(rebuilds=[closed], checks=[("2025-07-20", 12.6)]))
    assert readings_of(seen) == [("S1/1", 100.0, 9.4, False), ("S1/1", 0.0, 14.0, True), ("S1/1", 100.0, 12.6, False)]
    assert seen.paths["latest"].tolist() == [False, True]
    unit = slip_of(one_unit(rebuilds=[closed], checks=[("2025-07-20", 12.6)])).unit("S1")
    assert unit.hours_since_set == pytest.approx(234.0)
    assert unit.readings == 2


def test_a_setting_of_a_unit_on_the_shelf_waits_and_is_counted() -> None:
    records = paper_fleet(
        craft=["C1"],
        fittings=[fitted("S1", "C1", "2025-01-01", "2025-06-10", hours=0.0), fitted("S2", "C1", "2025-06-11", hours=0)],
        hours={"C1": [("2025-01-01", 0.0), ("2025-06-10", 100.0), ("2025-11-01", 150.0)]},
        rebuilds=[opened("S1", "2025-06-10", "scheduled", "sound", "rebuilt", slip_found=12.0, slip_set=14.0)],
    )
    assert paths_of(records).not_placed == 1
    assert any("not fitted since" in remark for remark in slip_of(records).remarks)


def test_what_is_entered_later_changes_nothing() -> None:
    early = one_unit(checks=[("2025-03-02", 13.2)])
    late = one_unit(
        checks=[("2025-03-02", 13.2), ("2025-08-01", 2.0)],
        rebuilds=[opened("S1", "2025-09-01", "other", "sound", "closed", slip_set=18.0)],
    )
    day = date(2025, 5, 1)
    assert slip_of(early, day).units == slip_of(late, day).units


# -- the mixed model ---------------------------------------------------------------------------------------------------


def test_reml_fits_the_sleep_study_as_published() -> None:
    # Belenky et al. 2003; Bates et al. 2015, J. Stat. Softw. 67(1), random slope and intercept, REML (recomputed).
    study = pd.read_csv(Path(__file__).parent / "published" / "sleep_mixed_model.csv")
    line = fit_mixed_line(study["Subject"].to_numpy(), study["Days"].to_numpy(float), study["Reaction"].to_numpy(float))
    assert line is not None
    assert (line.intercept, line.intercept_error) == pytest.approx((251.405, 6.825), abs=5e-4)
    assert (line.slope, line.slope_error) == pytest.approx((10.467, 1.546), abs=5e-4)
    sd = np.sqrt(np.diag(line.covariance))
    assert sd == pytest.approx([24.741, 5.922], abs=1e-3)
    assert line.covariance[0, 1] / sd.prod() == pytest.approx(0.066, abs=5e-4)
    assert line.error_sd == pytest.approx(25.592, abs=5e-4)
    assert -2.0 * line.log_likelihood == pytest.approx(1743.6, abs=0.05)


def test_many_well_read_clutches_are_fitted_by_reml_and_their_intervals_cover() -> None:
    seen, true = invented_paths(60, 5, seed=1)
    assert 0.80 <= covered(seen, true, "mixed model") <= 0.98


def test_few_readings_are_pooled_and_their_intervals_cover() -> None:
    shares = [covered(*invented_paths(25, 2, seed=seed), "pooled") for seed in range(6)]
    assert 0.84 <= np.mean(shares) <= 0.96


def test_both_ways_of_fitting_agree_where_both_can() -> None:
    seen, _ = invented_paths(40, 5, seed=2)
    by_reml = fit_wear_lines(seen.paths, seen.readings, 14.0, 2.0, AGES)
    few = seen.readings.groupby("path").head(3)
    pooled = fit_wear_lines(seen.paths, few, 14.0, 2.0, AGES)
    assert (by_reml.method, pooled.method) == ("mixed model", "pooled")
    assert pooled.mean.mean(axis=(0, 1)) == pytest.approx(by_reml.mean.mean(axis=(0, 1)), abs=0.15)
    assert pooled.variances.error_sd == pytest.approx(by_reml.variances.error_sd, rel=0.25)


def test_a_mixed_model_that_does_not_converge_is_told_by_none() -> None:
    groups = np.repeat(np.arange(6), 4)
    times = np.tile([0.0, 1.0, 2.0, 3.0], 6)
    assert fit_mixed_line(groups, times, 14.0 - 1.5 * times) is None  # nothing differs: variances of 0


def test_without_readings_the_line_is_the_prior_s() -> None:
    paths = invented_paths(3, 1, seed=1)[0].paths
    lines = fit_wear_lines(paths, pd.DataFrame({"path": [], "hours": [], "slip": [], "set": []}), 14.0, 2.0, AGES)
    height, slope = lines.draw(0, 4000)
    assert height.mean() == pytest.approx(14.0, abs=0.1)
    assert -PER_HOURS * slope.mean() == pytest.approx(1.5, abs=0.1)
    assert height.std() > 0.6


def test_hours_before_a_path_wear_it_too() -> None:
    paths = invented_paths(2, 1, seed=1)[0].paths.assign(hours_before=[200.0, np.nan])
    lines = fit_wear_lines(paths, pd.DataFrame({"path": [], "hours": [], "slip": [], "set": []}), 14.0, 2.0, AGES)
    worn, unknown = (lines.draw(path, 4000)[0] for path in (0, 1))
    assert worn.mean() == pytest.approx(14.0 - 2 * 1.5, abs=0.15)
    assert unknown.mean() == pytest.approx(14.0 - 0.95 * 1.5, abs=0.15)
    assert unknown.std() > 1.2


# -- what a unit is told -----------------------------------------------------------------------------------------------


def test_a_clutch_found_at_9_is_to_be_reset_and_not_replaced() -> None:
    # common practice, no source: 9 lb·ft is too low for full boost; low slip is reset, not a reason for a new unit
    unit = slip_of(one_unit(checks=[("2025-06-01", 9.9), ("2025-11-20", 8.1)])).unit("S1")
    assert unit.slip_now.mean < 9.0
    assert unit.chance_too_low_now > 0.8
    assert unit.hours_to_limit.p50 == 0.0
    assert unit.action == "reset now"
    assert "reset the clutch to about 14 lb·ft" in unit.advice
    assert "no reason for a new unit" in unit.advice


def test_a_fresh_clutch_is_left_alone() -> None:
    rebuilt = opened("S1", "2025-11-20", "scheduled", "sound", "rebuilt", slip_found=10.0, slip_set=14.0)
    unit = slip_of(one_unit(rebuilds=[rebuilt])).unit("S1")
    assert unit.action == "leave"
    assert unit.chance_too_low_now < 0.01
    assert 200 < unit.hours_to_limit.p50 < 500


def test_a_clutch_never_measured_is_to_be_measured_before_it_is_reset() -> None:
    told = slip_of(one_unit(), hours_ahead=120.0)
    unit = told.unit("S1")
    assert (unit.readings, unit.action) == (0, "measure")
    assert told.mostly_prior
    assert "mostly general experience" in told.remarks[0]


def test_a_tuned_craft_s_clutch_is_set_higher_and_its_limit_is_higher() -> None:
    stock, tuned = (
        slip_of(one_unit(tune=tune, checks=[("2025-06-01", 11.0)])).unit("S1") for tune in ("stock", "tuned")
    )
    assert (stock.limit, tuned.limit) == pytest.approx((9.0, 9.0 * 16 / 14))
    assert tuned.chance_too_low_now > stock.chance_too_low_now


def test_the_limits_are_the_user_s() -> None:
    records = one_unit(checks=[("2025-11-20", 11.0)])
    strict = slip_of(records, limits=SlipLimits(set_stock_lb_ft=15.0, set_tuned_lb_ft=18.0, too_low_lb_ft=11.5)).unit(
        "S1"
    )
    assert strict.action == "reset now"
    assert "about 15 lb·ft" in strict.advice
    with pytest.raises(WrongUsage, match="must rise from too low over stock to tuned"):
        SlipLimits(too_low_lb_ft=14.5)
    with pytest.raises(WrongUsage, match="too high must be above what a stock craft's clutch is set to"):
        SlipLimits(too_high_lb_ft=14.0)


def test_the_limits_of_fleet_toml_are_used() -> None:
    records = one_unit(checks=[("2025-11-20", 11.0)])
    strict = replace(records, settings=read_settings("[slip]\nset_stock_lb_ft = 15\ntoo_low_lb_ft = 11.5\n"))
    unit = slip_of(strict).unit("S1")
    assert (unit.limit, unit.action) == (11.5, "reset now")
    assert "about 15 lb·ft" in unit.advice
    assert slip_of(records).unit("S1").limit == 9.0


@pytest.mark.parametrize(
    ("toml", "reason"),
    [
        ("[slip]\ntoo_low_lb_ft = 14.5\n", "must rise from too_low_lb_ft over set_stock_lb_ft to set_tuned_lb_ft"),
        ("[slip]\ntoo_high_lb_ft = 13\n", "too_high_lb_ft must be above set_stock_lb_ft"),
        ("[slip]\nset_stock_lb_ft = 0\n", "slip.set_stock_lb_ft = 0"),
        ("[slip]\ntoo_low = 8\n", "The nearest known key is too_low_lb_ft."),
    ],
)
def test_slip_settings_that_cannot_be_are_refused(toml: str, reason: str) -> None:
    with pytest.raises(SettingsError, match=re.escape(reason)):
        read_settings(toml)


@pytest.mark.parametrize(
    ("toml", "too_high"), [("", 18.0), ("set_stock_lb_ft = 12", 18.0), ("set_stock_lb_ft = 21", 27.0)]
)
def test_an_older_fleet_toml_with_a_high_setting_still_reads(toml: str, too_high: float) -> None:
    limits = SlipLimits.of(read_settings(f"[slip]\nset_tuned_lb_ft = 30\n{toml}\n"))
    assert limits.too_high(0.0) == pytest.approx(too_high)
    assert limits.too_high(1.0) == pytest.approx(too_high * 30 / limits.set_stock_lb_ft)


def test_a_chance_that_no_draw_showed_is_told_as_small_and_not_as_nought() -> None:
    rebuilt = opened("S1", "2025-11-20", "scheduled", "sound", "rebuilt", slip_found=10.0, slip_set=14.0)
    unit = slip_of(one_unit(rebuilds=[rebuilt])).unit("S1")
    assert unit.chance_too_low_soon < 0.005
    assert unit.advice.endswith("within 50 h is less than 1 %.")
    sure = slip_of(one_unit(checks=[("2025-06-01", 5.0), ("2025-11-20", 3.0)])).unit("S1")
    assert sure.chance_too_low_now > 0.995
    assert "a chance of more than 99 %" in sure.advice


def test_hours_ahead_may_differ_by_unit_and_must_make_sense() -> None:
    records = one_unit(checks=[("2025-11-20", 10.0)])
    assert slip_of(records, hours_ahead={"S1": 200.0}).unit("S1").chance_too_low_soon > 0.8
    with pytest.raises(WrongUsage, match="tells nothing of unit 'S1'"):
        slip_of(records, hours_ahead={"S2": 1.0})
    with pytest.raises(WrongUsage, match="must be a number of engine hours from 0 to 5,000, not"):
        slip_of(records, hours_ahead=-1.0)
    with pytest.raises(WrongUsage, match="'S9' is not in service"):
        slip_of(records).unit("S9")


@settings(max_examples=15, deadline=None)
@given(st.floats(7.5, 15.0), st.floats(7.5, 15.0), st.floats(0, 200), st.floats(0, 200))
def test_a_lower_reading_or_more_hours_never_make_the_risk_of_low_slip_smaller(
    one: float, other: float, hours: float, more: float
) -> None:
    paths, readings = invented_paths(12, 3, seed=3)[0].paths, invented_paths(12, 3, seed=3)[0].readings
    chances = []
    for slip, ahead in ((max(one, other), min(hours, more)), (min(one, other), max(hours, more))):
        changed = readings.assign(slip=readings["slip"].where(readings["path"] > 0, slip))
        height, slope = fit_wear_lines(paths, changed, 14.0, 2.0, AGES).draw(0, 2000)
        chances.append((height + slope * (300.0 + ahead) <= 9.0).mean())
    assert chances[1] >= chances[0] - 0.02


def test_on_simulated_fleets_the_true_slip_lies_in_the_interval() -> None:
    inside = []
    for seed in (1, 2, 3):
        fleet = simulate_fleet(craft=28, seasons=3, seed=seed)
        told = slip_of(fleet.records, fleet.as_of)
        lives = fleet.truth.lives.set_index("life_id")
        for unit in told.units:
            life = lives.loc[unit.life_id]
            true = life["slip_set"] - life["slip_per_hour"] * life["hours_at_end"]
            inside.append(unit.slip_now.low <= true <= unit.slip_now.high)
    # Over 20 fleets of 8, 10 of 28 and 3 of 100 craft: .90, .86, .92. Units that were set for another craft are missed.
    assert 0.8 <= np.mean(inside) <= 0.99
