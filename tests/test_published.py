"""Published worked examples, put through the same door as a fleet's lives. The source stands beside each check."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecaster.curves import kaplan_meier, mean_cumulative_failures, nelson_aalen, risk_set_empties_at, turnbull
from forecaster.episodes import split_episodes
from forecaster.few_failures import scale_at_known_shape
from forecaster.histories import build_histories
from forecaster.lives import Histories, lives_by_hours
from forecaster.reading import read_fleet
from forecaster.weibull import fit_weibull

PUBLISHED = Path(__file__).parent / "published"

# Bearing cages, real field data: Weibull Analysis Handbook, US Air Force, AFWAL-TR-83-2079, 1983; also Meeker &
# Escobar, Statistical Methods for Reliability Data, 1998. Hours at failure; hours of the unfailed and how many units.
CAGES_FAILED = [230, 334, 423, 990, 1009, 1510]
CAGES_UNFAILED = {
    50: 288, 150: 148, 250: 124, 350: 111, 450: 106, 550: 99, 650: 110, 750: 114, 850: 119, 950: 127,
    1050: 123, 1150: 93, 1250: 47, 1350: 41, 1450: 27, 1550: 11, 1650: 6, 1850: 1, 2050: 2,
}  # fmt: skip

# Lieblein & Zelen 1956, J. Res. NBS 57, 273-316: deep-groove ball bearings, millions of revolutions to failure.
BALL_BEARINGS = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.40, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64, 68.88, 84.12,
    93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
]  # fmt: skip

# NIST/SEMATECH e-Handbook of Statistical Methods, ch. 8.4.1: hours at failure; ten more unfailed at 500 h.
NIST_FAILED = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]

# Freireich et al. 1963, Blood 21, 699-716, as used by Gehan 1965, Biometrika 52, 203-223: weeks in remission of the 21
# patients on 6-MP; those without relapse censored.
REMISSION_RELAPSED = [6, 6, 6, 7, 10, 13, 16, 22, 23]
REMISSION_CENSORED = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]


def failed_and_unfailed(failed: list[float], unfailed: list[float]) -> Histories:
    hours = np.array([*failed, *unfailed], dtype=float)
    return lives_by_hours(hours, ["failed"] * len(failed) + ["alive"] * len(unfailed))


def bearing_cages() -> Histories:
    return failed_and_unfailed(CAGES_FAILED, [h for h, units in CAGES_UNFAILED.items() for _ in range(units)])


def remissions() -> Histories:
    return failed_and_unfailed(REMISSION_RELAPSED, REMISSION_CENSORED)


def at(curve: pd.DataFrame, column: str, hours: float) -> float:
    return float(curve.loc[curve["hours"] <= hours, column].iloc[-1])


def residents(gender: int) -> Histories:
    # Channing House retirement centre: Hyde 1980; Klein & Moeschberger 2003. Ages in months; rows that leave at the age
    # of entry are dropped there.
    people = pd.read_csv(PUBLISHED / "retirement_delayed_entry.csv").query("age > ageentry and gender == @gender")
    seen = np.where(people["death"] == 1, "failed", "alive")
    return lives_by_hours(people["age"].to_numpy(float), seen, people["ageentry"].to_numpy(float))


def test_bearing_cages_weibull() -> None:
    # AFWAL-TR-83-2079: shape 2.035, scale 11,792 h, B10 3,903 h; 95 % limits of the shape 1.072 to 3.864 and the chance
    # of failing by 8,000 h .365 recomputed by maximum likelihood, as remembered from the handbook.
    fit = fit_weibull(bearing_cages())
    assert fit.evidence.lives == 1703
    assert fit.evidence.failures == 6
    assert fit.shape == pytest.approx(2.0353, abs=5e-5)
    assert fit.scale_hours == pytest.approx(11_792, abs=0.5)
    assert fit.life_hours(0.10)[0] == pytest.approx(3_903, abs=0.5)
    shape = fit.estimates(confidence=0.95).set_index("quantity").loc["shape"]
    assert (shape["low"], shape["high"]) == pytest.approx((1.072, 3.864), abs=5e-4)
    by_8000 = fit.chance_failed_by(np.array([8_000.0])).iloc[0]
    assert by_8000["chance"] == pytest.approx(0.365, abs=5e-4)
    assert by_8000["extrapolated"]


def test_bearing_cages_with_shape_2_known() -> None:
    # The same data with the shape held at 2: scale 12,320 h, B10 3,999 h (recomputed).
    scale = scale_at_known_shape(split_episodes(bearing_cages()), 2.0)
    assert scale == pytest.approx(12_320, abs=0.5)
    assert scale * np.sqrt(-np.log(0.9)) == pytest.approx(3_999, abs=0.5)


def test_ball_bearings_weibull() -> None:
    # Lieblein & Zelen 1956: shape 2.1018, scale 81.875, B10 28.07, B50 68.77 million revolutions (recomputed).
    fit = fit_weibull(failed_and_unfailed(BALL_BEARINGS, []))
    assert fit.shape == pytest.approx(2.1018, abs=1e-4)
    assert fit.scale_hours == pytest.approx(81.875, abs=1e-3)
    assert fit.life_hours(0.10)[0] == pytest.approx(28.07, abs=0.005)
    assert fit.life_hours(0.50)[0] == pytest.approx(68.77, abs=0.005)


def test_handbook_weibull_censored_at_500_h() -> None:
    # NIST/SEMATECH e-Handbook, ch. 8.4.1: shape 1.7208, scale 606.53, log-likelihood -75.135.
    fit = fit_weibull(failed_and_unfailed(NIST_FAILED, [500.0] * 10))
    assert fit.shape == pytest.approx(1.7208, abs=1e-4)
    assert fit.scale_hours == pytest.approx(606.53, abs=0.01)
    assert fit.log_likelihood == pytest.approx(-75.135, abs=5e-4)


def test_remissions_kaplan_meier() -> None:
    # Freireich et al. 1963 / Gehan 1965; recomputed with R's survival.
    curve = kaplan_meier(remissions())
    published = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
    assert {t: round(at(curve, "survival", t), 4) for t in published} == published
    assert at(curve, "n_at_risk", 10) == 15


def test_remissions_nelson_aalen() -> None:
    curve = nelson_aalen(remissions())
    assert at(curve, "cumulative_hazard", 10) == pytest.approx(0.26835, abs=5e-6)
    assert at(curve, "cumulative_hazard", 23) == pytest.approx(0.75211, abs=5e-6)


def test_delayed_entry_by_hand() -> None:
    # Therneau & Grambsch 2000, Modeling Survival Data, test data 2 of the appendix on validation.
    start = np.array([1, 2, 5, 2, 1, 7, 3, 4, 8, 8], dtype=float)
    stop = np.array([2, 3, 6, 7, 8, 9, 9, 9, 14, 17], dtype=float)
    lives = lives_by_hours(stop, ["failed"] * 7 + ["alive"] * 3, start)
    survival, hazard = kaplan_meier(lives), nelson_aalen(lives)
    ages = [2, 3, 6, 7, 8, 9]
    assert [round(at(survival, "survival", t), 4) for t in ages] == [0.5, 0.3333, 0.2667, 0.2, 0.15, 0.09]
    assert [round(at(hazard, "cumulative_hazard", t), 4) for t in ages] == [
        0.5, 0.8333, 1.0333, 1.2833, 1.5333, 1.9333,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("gender", "published"), [(1, {75: 0.80453, 80: 0.63776, 85: 0.45437}), (2, {75: 0.8649, 85: 0.5004})]
)
def test_residents_alive_past_68_years(gender: int, published: dict[int, float]) -> None:
    # Klein & Moeschberger 2003, section 4.6; recomputed with R's survival.
    curve = kaplan_meier(residents(gender), given_alive_at=68 * 12.0)
    for years, survival in published.items():
        assert at(curve, "survival", years * 12) == pytest.approx(survival, abs=5e-5)


def test_mens_curve_is_0_unless_asked_from_where_the_risk_set_last_emptied() -> None:
    # The trap in the same data: the two men who joined early died before anybody else had joined.
    men = residents(1)
    assert at(kaplan_meier(men), "survival", 68 * 12) == 0.0
    empties = risk_set_empties_at(men)
    assert empties < 68 * 12
    assert at(kaplan_meier(men, given_alive_at=empties), "survival", 85 * 12) > 0.3


def test_interval_censored_turnbull_1974() -> None:
    # Turnbull 1974, JASA 69, 169-173; the answers as in the tests of R's survival.
    times = np.array([1.0, 2.0, 3.0, 4.0])
    exact, later, earlier = (np.repeat(times, n) for n in ([12, 6, 2, 3], [3, 2, 0, 3], [2, 4, 2, 5]))
    lower = np.concatenate([exact, later, np.zeros(13)])
    upper = np.concatenate([exact, np.full(8, np.inf), earlier])
    curve = turnbull(lower, upper)
    known = curve[np.isfinite(curve["to_hours"])].set_index("to_hours")
    assert known["survival"].round(3).tolist() == [0.538, 0.295, 0.210, 0.095]


def test_interval_censored_radiotherapy() -> None:
    # Breast cosmesis, radiotherapy alone: Finkelstein & Wolfe 1985; recomputed with R's survival and an EM of its own.
    arm = pd.read_csv(PUBLISHED / "deterioration_intervals.csv").query("treat == 1")
    curve = turnbull(arm["lower"].to_numpy(float), arm["upper"].fillna(np.inf).to_numpy(float))
    assert curve["survival"].round(3).tolist()[:7] == [0.954, 0.920, 0.832, 0.761, 0.668, 0.586, 0.466]
    assert curve["from_hours"].tolist() == [4.0, 6.0, 7.0, 11.0, 24.0, 33.0, 38.0, 46.0]


def test_valve_seats_mean_cumulative_function() -> None:
    # Nelson & Doganaksoy 1989; Nelson 2003: 41 engines, 48 replacements, days. Each run between replacements is a life.
    rows = pd.read_csv(PUBLISHED / "valve_seats.csv").sort_values(
        ["id", "time", "status"], ascending=[True, True, False]
    )
    run = rows.groupby("id")["time"].diff().fillna(rows["time"]).to_numpy(float)
    number = (rows.groupby("id").cumcount() + 1).to_numpy()
    seen = np.where(rows["status"] == 1, "failed", "alive")
    engines = rows["id"].astype(str).to_numpy()
    ids = [f"{engine}/{n}" for engine, n in zip(engines, number, strict=True)]
    curve = mean_cumulative_failures(lives_by_hours(run, seen, unit_id=engines, life_number=number, life_id=ids))
    assert curve["n_failed"].sum() == 48
    assert curve["n_at_risk"].iloc[0] == 41
    published = {98: 0.1463, 326: 0.5122, 404: 0.6835, 573: 0.9585, 653: 1.5427}
    assert {t: round(at(curve, "failures_per_unit", t), 4) for t in published} == published


# ---------------------------------------------------------------- the whole way: files, reader, histories, model


def as_fleet_folder(published: Histories, folder: Path) -> None:
    """One craft and one unit a life: two readings, and a teardown where it failed; six engine hours a day."""
    lives = published.lives
    ids = lives["unit_id"].to_numpy()
    observed = lives["hours_observed"].to_numpy()
    failed = (lives["seen"] == "failed").to_numpy()
    began = np.datetime64("2024-01-01")
    ended = began + np.ceil(observed / 6).astype(int).astype("timedelta64[D]")
    craft = pd.DataFrame({"craft_id": ids})
    fittings = pd.DataFrame({"unit_id": ids, "craft_id": ids, "fitted_on": began})
    fittings["hours_at_fitting"] = lives["hours_at_entry"].to_numpy()
    fittings["removed_on"] = pd.Series(ended).where(failed)
    first = pd.DataFrame({"craft_id": ids, "read_on": began, "meter": 0.0})
    last = pd.DataFrame({"craft_id": ids, "read_on": ended, "meter": observed})
    rebuilds = pd.DataFrame({"unit_id": ids[failed], "opened_on": ended[failed]})
    rebuilds = rebuilds.assign(reason="failure", bearing="failed", outcome="scrapped")
    tables = {"craft": craft, "fittings": fittings, "hours": pd.concat([first, last]), "rebuilds": rebuilds}
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")


def the_whole_way(published: Histories, folder: Path) -> Histories:
    as_fleet_folder(published, folder)
    reading = read_fleet(folder, today=date(2026, 1, 1))
    assert not [problem for problem in reading.problems if problem.refused]
    return build_histories(reading.records, as_of=date(2026, 1, 1))


def test_bearing_cages_through_a_fleet_folder(tmp_path: Path) -> None:
    # AFWAL-TR-83-2079 again: 1,703 craft on file give the handbook's answer.
    histories = the_whole_way(bearing_cages(), tmp_path)
    fit = fit_weibull(histories, draws=4000)
    assert (fit.evidence.lives, fit.evidence.failures) == (1703, 6)
    assert fit.shape == pytest.approx(2.0353, abs=5e-5)
    assert fit.scale_hours == pytest.approx(11_792, abs=0.5)
    # a unit that runs at 1,050 h, by hand from the published estimates: 1 - exp((1050/η)^β - (1550/η)^β)
    unit = histories.select(histories.age == 1050.0).in_service()
    assert unit.n_lives == 123
    ahead = (1550 / 11_792) ** 2.0353 - (1050 / 11_792) ** 2.0353
    chances = fit.chance_of_failing(unit, np.array([500.0]))
    assert np.median(chances) == pytest.approx(1 - np.exp(-ahead), rel=0.1)


def test_ball_bearings_through_a_fleet_folder(tmp_path: Path) -> None:
    # Lieblein & Zelen 1956 again.
    fit = fit_weibull(the_whole_way(failed_and_unfailed(BALL_BEARINGS, []), tmp_path))
    assert (fit.shape, fit.scale_hours) == pytest.approx((2.1018, 81.875), abs=1e-3)


def test_handbook_weibull_through_a_fleet_folder(tmp_path: Path) -> None:
    # NIST/SEMATECH e-Handbook, ch. 8.4.1, again.
    fit = fit_weibull(the_whole_way(failed_and_unfailed(NIST_FAILED, [500.0] * 10), tmp_path))
    assert (fit.shape, fit.scale_hours) == pytest.approx((1.7208, 606.53), abs=0.01)


def test_remissions_through_a_fleet_folder(tmp_path: Path) -> None:
    # Freireich et al. 1963 / Gehan 1965 again.
    curve = kaplan_meier(the_whole_way(remissions(), tmp_path))
    assert at(curve, "survival", 10) == pytest.approx(0.7529, abs=5e-5)
    assert at(curve, "survival", 23) == pytest.approx(0.4482, abs=5e-5)


def test_residents_that_join_late_through_a_fleet_folder(tmp_path: Path) -> None:
    # Klein & Moeschberger 2003 again: part-worn units, hours_at_fitting holds the age at entry.
    curve = kaplan_meier(the_whole_way(residents(1), tmp_path), given_alive_at=68 * 12.0)
    assert at(curve, "survival", 75 * 12) == pytest.approx(0.80453, abs=5e-5)
    assert at(curve, "survival", 85 * 12) == pytest.approx(0.45437, abs=5e-5)
