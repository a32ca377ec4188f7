"""Past forecasts beside what then happened: by hand, no peeking, and against a known truth."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecaster import past_forecasts, simple_rules
from forecaster.aftermath import after_hours, after_season
from forecaster.backtest import Backtest, backtest, origins_until
from forecaster.commands import main
from forecaster.errors import ModelError, WrongUsage
from forecaster.hindsight import without_hindsight
from forecaster.histories import build_histories
from forecaster.judging import judge
from forecaster.lives import STRETCHES, Histories, frame, lives_by_hours
from forecaster.records import FleetRecords
from forecaster.report.as_json import written
from forecaster.report.backtest_text import backtest_json, backtest_text, stress_sentence, verdict
from forecaster.report.text import Page
from forecaster.settings import Season
from forecaster.simulate import SimulatedFleet, simulate_fleet
from forecaster.truth import true_chances
from forecaster.writing import write_fleet
from tests.conftest import ROOT, SAMPLE_DAY
from tests.paper_fleet import fitted, opened, paper_fleet

AVERAGE, LIMIT = "fleet average", "every N hours"
OPENING = date(2024, 5, 1)


def six_craft(bearing_of_the_last: str = "failed") -> FleetRecords:
    """Six units, fresh in May 2023, with 100 h each when the season of 2024 opens; then:

    U1 fails at 130 h. U2 is noticed at 120 h and found rough. U3 is opened at 140 h, sound. U4 runs to 190 h, U5 to
    149 h. U6 stops at 145 h and is found failed in November.
    """
    meters = {"C1": 130.0, "C2": 120.0, "C3": 140.0, "C4": 190.0, "C5": 149.0, "C6": 145.0}
    last_day = {"C1": "2024-06-15", "C2": "2024-07-01", "C3": "2024-08-01"}
    hours = {
        craft: [
            ("2023-05-01", 0.0),
            ("2023-10-15", 100.0),
            ("2024-05-01", 100.0),
            (last_day.get(craft, "2024-10-15"), meter),
        ]
        for craft, meter in meters.items()
    }
    return paper_fleet(
        craft=list(meters),
        fittings=[fitted(f"U{i}", f"C{i}", "2023-05-01", last_day.get(f"C{i}"), hours=0.0) for i in range(1, 6)]
        + [fitted("U6", "C6", "2023-05-01", "2024-11-10", hours=0.0)],
        hours=hours,
        rebuilds=[
            opened("U1", "2024-06-15", "failure", "failed", "scrapped"),
            opened("U2", "2024-07-01", "symptom", "rough", "rebuilt"),
            opened("U3", "2024-08-01", "scheduled", "sound", "rebuilt"),
            opened("U6", "2024-11-10", "scheduled", bearing_of_the_last, "rebuilt"),
        ],
    )


def by_hand(**asked: object) -> Backtest:
    options = {"models": (AVERAGE, LIMIT), "every": "season"} | asked
    return backtest(six_craft(), date(2024, 12, 1), 50.0, **options)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def base() -> Backtest:
    return by_hand()


@pytest.fixture(scope="module")
def fleet() -> SimulatedFleet:
    return simulate_fleet(craft=16, seasons=3, seed=11)


@pytest.fixture(scope="module")
def by_months(fleet: SimulatedFleet) -> Backtest:
    return backtest(fleet.records, fleet.as_of, 50.0, models=(AVERAGE, LIMIT))


# --- by hand -------------------------------------------------------------------------------------------------------


def test_what_happened_within_50_hours_by_hand(base: Backtest) -> None:
    told = base.forecasts.set_index("unit_id")
    assert told["ran"].to_dict() == {"U1": 30.0, "U2": 20.0, "U3": 40.0, "U4": 90.0, "U5": 49.0, "U6": 45.0}
    assert told["happened"].to_dict() == {
        "U1": "failed",
        "U2": "opened defective",
        "U3": "opened",
        "U4": "ran through",
        "U5": "out of sight",
        "U6": "failed",  # found failed: it was opened 45 h on, so that it failed before
    }
    assert told.index[told["failed"]].tolist() == ["U1", "U6"]


def test_what_happened_by_the_close_by_hand(base: Backtest) -> None:
    told = base.season_forecasts.set_index("unit_id")
    assert told["happened"].to_dict() == {
        "U1": "failed",
        "U2": "opened defective",
        "U3": "opened",
        "U4": "ran through",
        "U5": "ran through",
        "U6": "failed",  # found failed in November: it failed while it still ran, in the season
    }
    assert told.loc["U1", "ran"] == pytest.approx(45 / 167)  # 1 May to 15 June, of 1 May to 15 October
    # 100 h in the 167 days from 1 May to 15 October 2023, and as many days to come; a little less, since the day of
    # the opening went by without an hour.
    assert told["asked_hours"].to_numpy() == pytest.approx(97.0, rel=0.02)


def test_forecasts_are_what_was_known_on_the_day(base: Backtest) -> None:
    # 600 h without a failure, and general experience of 1 in 400 h.
    told = base.forecasts
    assert told[AVERAGE].to_numpy() == pytest.approx(-np.expm1(-50 / 1000))
    assert told["hours_since_rebuild"].tolist() == [100.0] * 6
    assert set(told["origin"]) == {pd.Timestamp(OPENING)}


def test_scores_by_hand(base: Backtest) -> None:
    # Weights: U1 was one of 5 left of 6 (6/5), U6 one of 3 left of 4 of those (8/5), U4 one of 1 left of 2 (16/5).
    p = float(-np.expm1(-0.05))
    scores = base.scores.set_index(["question", "model"]).loc[("hours", AVERAGE)]
    assert scores["brier_score"] == pytest.approx(((6 / 5 + 8 / 5) * (1 - p) ** 2 + 16 / 5 * p**2) / 6)
    assert scores["log_score"] == pytest.approx(((6 / 5 + 8 / 5) * np.log(p) + 16 / 5 * np.log(1 - p)) / 6)
    assert scores["observed"] == pytest.approx((6 / 5 + 8 / 5) / 6)
    assert (scores["n"], scores["failures"], scores["ran_through"]) == (6, 2, 1)


def test_units_opened_defective_count_as_failed_where_asked(base: Backtest) -> None:
    scores = base.scores.set_index(["question", "model"]).loc[("hours_or_defective", AVERAGE)]
    assert (scores["n"], scores["failures"]) == (6, 3)


def test_first_opening_had_nothing_to_learn_from(base: Backtest) -> None:
    told = base
    assert told.origins["origin"].tolist() == [pd.Timestamp(OPENING)]
    assert any(remark.startswith("2023-05-01: no forecasts; 0 lives had run") for remark in told.remarks)


# --- what became of a life -----------------------------------------------------------------------------------------


def then_and_later(ran: float, seen: str, last_known_running: float = 0.0, **columns: object) -> pd.Series:
    """What became within 50 h of a life that had run 100 h, part-worn at 30 h when its record began."""
    then = lives_by_hours(np.array([130.0]), ["alive"], 30.0)
    later = lives_by_hours(np.array([130.0 + ran]), [seen], 30.0, last_known_running=last_known_running, **columns)
    return after_hours(then, later, 50.0).iloc[0]


def test_found_failed_long_after_it_last_ran_is_unknown_from_then_on() -> None:
    became = then_and_later(80.0, "found_failed", last_known_running=120.0)
    assert (became["ran"], became["failed"], became["happened"]) == (20.0, False, "unknown")


def test_found_failed_after_it_was_known_to_run_past_the_window_ran_through() -> None:
    became = then_and_later(80.0, "found_failed", last_known_running=155.0)
    assert (became["failed"], became["happened"]) == (False, "ran through")


def test_found_failed_and_never_looked_at_before_is_unknown_from_the_start() -> None:
    became = then_and_later(80.0, "found_failed", last_known_running=40.0)
    assert (became["ran"], became["happened"]) == (0.0, "unknown")


def test_failure_at_the_end_of_the_window_is_within_it() -> None:
    assert then_and_later(50.0, "failed")["failed"]
    assert then_and_later(50.1, "failed")["happened"] == "ran through"


@pytest.mark.parametrize(
    ("seen", "ended_by", "happened"),
    [
        ("symptom", "symptom", "opened defective"),
        ("defective", "check", "opened defective"),
        ("sound", "scheduled", "opened"),
        ("alive", "scheduled", "opened"),
        ("alive", "running", "out of sight"),
        ("alive", "stored", "out of sight"),
    ],
)
def test_how_a_life_went_out_of_sight(seen: str, ended_by: str, happened: str) -> None:
    became = then_and_later(20.0, seen, ended_by=ended_by)
    assert (became["ran"], became["failed"], became["happened"]) == (20.0, False, happened)


def test_age_that_becomes_known_later_changes_no_hours() -> None:
    then = lives_by_hours(np.array([100.0]), ["alive"]).with_lives(hours_at_entry=np.nan)
    later = lives_by_hours(np.array([330.0]), ["failed"], 200.0)
    assert after_hours(then, later, 50.0)["ran"].tolist() == [30.0]


def test_hours_that_the_later_record_does_not_tell_are_not_guessed() -> None:
    then = lives_by_hours(np.array([100.0, 100.0]), ["alive", "alive"])
    later = lives_by_hours(np.array([90.0]), ["failed"])  # less than before; and the second life is gone
    became = after_hours(then, later, 50.0)
    assert became["ran"].isna().all()
    assert became["happened"].tolist() == ["unknown", "unknown"]
    assert not became["failed"].any()


def season_of(ended_on: str, seen: str, came_off: str, ended_by: str = "scheduled") -> pd.Series:
    then = lives_by_hours(np.array([100.0]), ["alive"], as_of=OPENING)
    later = lives_by_hours(
        np.array([150.0]), [seen], as_of=date(2025, 12, 1), ended_on=pd.Timestamp(ended_on), ended_by=ended_by
    )
    row = {"life_id": "U000001/1", "from_on": pd.Timestamp("2023-05-01"), "to_on": pd.Timestamp(came_off)}
    later = Histories(later.as_of, later.lives, stretches=frame(STRETCHES, [row | {"craft_id": "C1"}]))
    return after_season(then, later, date(2024, 10, 15), date(2025, 5, 1)).iloc[0]


def test_unit_that_came_off_failed_before_the_close_and_was_opened_after_it_failed_in_the_season() -> None:
    became = season_of("2024-10-28", "failed", came_off="2024-10-10", ended_by="failure")
    assert became["failed"]
    assert became["ran"] == pytest.approx(162 / 167)


def test_unit_found_failed_in_the_break_failed_in_the_season() -> None:
    became = season_of("2024-11-10", "found_failed", came_off="2024-11-10")
    assert (became["ran"], became["failed"]) == (1.0, True)


def test_unit_found_failed_a_season_later_may_have_failed_in_either() -> None:
    became = season_of("2025-11-10", "found_failed", came_off="2025-11-10")
    assert not became["failed"]
    assert became["happened"] == "unknown"
    assert became["ran"] < 1.0


def test_unit_put_on_the_shelf_in_summer_is_out_of_sight() -> None:
    became = season_of("2025-12-01", "alive", came_off="2024-07-01", ended_by="stored")
    assert became["happened"] == "out of sight"
    assert became["ran"] == pytest.approx(61 / 167)


# --- days looked back on -------------------------------------------------------------------------------------------


def test_origins_are_openings_that_are_past() -> None:
    days = list(origins_until(Season(), date(2023, 6, 1), date(2025, 5, 1)))
    assert days == [date(2024, 5, 1)]


def test_months_of_a_season_end_with_it() -> None:
    days = list(origins_until(Season(), date(2024, 1, 1), date(2024, 12, 31), "month"))
    assert days == [date(2024, month, 1) for month in (5, 6, 7, 8, 9, 10)]


def test_season_over_the_turn_of_the_year() -> None:
    season = Season(opens="11-30", closes="03-15")
    days = list(origins_until(season, date(2023, 1, 1), date(2024, 12, 1), "month"))
    assert days[:2] == [date(2023, 1, 30), date(2023, 2, 28)]
    assert days[2:6] == [date(2023, 11, 30), date(2023, 12, 30), date(2024, 1, 30), date(2024, 2, 29)]


def test_no_hour_of_a_life_is_scored_twice(by_months: Backtest) -> None:
    told = by_months.forecasts.sort_values(["life_id", "origin"])
    again = told["life_id"].duplicated()
    # hours run between two forecasts of one life: at least the window
    since = told["hours_since_rebuild"].diff()[again]
    assert again.sum() > 20
    assert (since.dropna() >= 50.0).all()


def test_each_failure_counts_once_and_every_failure_is_a_real_one(by_months: Backtest, fleet: SimulatedFleet) -> None:
    failed = by_months.forecasts[by_months.forecasts["failed"]]
    assert len(failed) >= 5
    assert not failed["life_id"].duplicated().any()
    truth = fleet.truth.lives.set_index("life_id")["state"]
    assert (truth[failed["life_id"]] == "failed").all()


# --- no peeking ----------------------------------------------------------------------------------------------------


def strange_tomorrow(records: FleetRecords, after: date) -> FleetRecords:
    """The same records with everything dated after a day made strange."""
    day = pd.Timestamp(after)
    hours = records.hours[records.hours["read_on"] <= day]
    later = records.hours[records.hours["read_on"] > day]
    rebuilds = records.rebuilds.copy()
    own = rebuilds["opened_on"] > day
    rebuilds.loc[own, ["reason", "bearing", "parts"]] = ["failure", "failed", "aftermarket"]
    return replace(
        records,
        hours=pd.concat([hours, later[later["read_on"].dt.dayofyear % 3 == 0]]),
        water=records.water[records.water["happened_on"] <= day],
        rebuilds=rebuilds,
        checks=records.checks[records.checks["checked_on"] <= day],
    )


def test_strange_tomorrow_changes_no_forecast() -> None:
    fleet = simulate_fleet(craft=12, seasons=3, seed=5)
    day = date(fleet.first_year + 1, 5, 1)

    def as_of_that_day(records: FleetRecords) -> pd.DataFrame:
        told = backtest(records, fleet.as_of, models=("two-stage", "weibull", LIMIT), every="season")
        both = pd.concat([told.forecasts, told.season_forecasts])
        return both[both["origin"] == pd.Timestamp(day)].reset_index(drop=True)

    known, strange = as_of_that_day(fleet.records), as_of_that_day(strange_tomorrow(fleet.records, day))
    outcome = ["ran", "failed", "happened"]
    pd.testing.assert_frame_equal(known.drop(columns=outcome), strange.drop(columns=outcome), check_exact=True)
    assert not known[outcome].equals(strange[outcome])  # the strange tomorrow is one
    assert known["two-stage"].nunique() > 5


def test_what_is_dated_after_as_of_changes_nothing(fleet: SimulatedFleet) -> None:
    as_of = date(fleet.first_year + 1, 8, 20)
    asked = {"models": (AVERAGE,), "every": "month"}
    known = backtest(without_hindsight(fleet.records, as_of), as_of, **asked)  # type: ignore[arg-type]
    peeked = backtest(fleet.records, as_of, **asked)  # type: ignore[arg-type]
    for table in ("origins", "forecasts", "season_forecasts", "scores", "calibration"):
        pd.testing.assert_frame_equal(getattr(known, table), getattr(peeked, table), check_exact=True)


def test_season_that_is_not_over_is_not_scored(fleet: SimulatedFleet) -> None:
    opening = date(fleet.first_year + 2, 5, 1)
    told = backtest(fleet.records, date(opening.year, 10, 14), models=(AVERAGE,), every="season")
    assert pd.Timestamp(opening) in set(told.forecasts["origin"])
    assert pd.Timestamp(opening) not in set(told.season_forecasts["origin"])


# --- who forecasts better ------------------------------------------------------------------------------------------


def test_true_chances_beat_the_average_rate_over_several_fleets() -> None:
    scored = []
    for seed in (1, 2, 3):
        fleet = simulate_fleet(craft=40, seasons=2, seed=seed)
        told = backtest(fleet.records, fleet.as_of, 100.0, models=(AVERAGE,), every="season").forecasts
        for day, own in told.groupby("origin"):
            units = build_histories(fleet.records, day.date()).in_service()
            units = units.select(units.lives["life_id"].isin(own["life_id"]))
            assert units.lives["life_id"].tolist() == own["life_id"].tolist()
            truth = true_chances(fleet.truth, units, np.array([100.0]))[:, 0]
            scored.append(own.assign(truth=truth, unit_id=own["unit_id"] + f" of fleet {seed}"))
    found = judge(pd.concat(scored), ("truth", AVERAGE), 100.0)
    scores = found.scores.set_index("model")
    assert scores.loc["truth", "log_score"] > scores.loc[AVERAGE, "log_score"]
    assert scores.loc["truth", "brier_score"] < scores.loc[AVERAGE, "brier_score"]
    assert scores.loc["truth", "concordance"] > 0.6
    assert scores.loc["truth", "observed_low"] < scores.loc["truth", "mean_forecast"]


def invented(n: int = 300, seed: int = 3) -> pd.DataFrame:
    """Forecasts of n units over 50 h: true chances, a blunt and a boastful rival."""
    rng = np.random.default_rng(seed)
    rate = rng.gamma(1.5, 0.005, n)
    fails = rng.exponential(1 / rate)
    true = -np.expm1(-50 * rate)
    return pd.DataFrame(
        {
            "unit_id": [f"U{i}" for i in range(n)],
            "ran": fails,
            "failed": fails <= 50,
            "happened": np.where(fails <= 50, "failed", "ran through"),
            "true": true,
            "blunt": true.mean(),
            "boastful": np.where(true > true.mean(), 0.95, 0.05),
        }
    )


def test_the_first_model_is_preferred_where_it_leads_all_by_more_than_luck() -> None:
    found = judge(invented(), ("true", "blunt", "boastful"), 50.0)
    assert found.leads["more_than_luck"].all()
    assert (found.leads["log_score_lead"] > 0).all()
    assert found.preferred == "true"


def test_a_rival_is_preferred_where_it_leads_by_more_than_luck() -> None:
    found = judge(invented(), ("boastful", "blunt", "true"), 50.0)
    assert found.preferred == "true"
    assert (found.leads["log_score_lead"] < 0).all()


def test_nobody_is_preferred_where_luck_can_explain_it() -> None:
    told = invented()
    told["twin"] = np.clip(told["true"] * np.where(np.arange(len(told)) % 2, 0.97, 1.03), 0, 1)
    assert judge(told, ("true", "twin"), 50.0).preferred is None


def test_lead_is_the_difference_of_the_scores() -> None:
    found = judge(invented(), ("true", "blunt"), 50.0)
    scores, lead = found.scores.set_index("model"), found.leads.iloc[0]
    assert lead["log_score_lead"] == pytest.approx(scores.loc["true", "log_score"] - scores.loc["blunt", "log_score"])
    assert lead["brier_score_lead"] == pytest.approx(
        scores.loc["blunt", "brier_score"] - scores.loc["true", "brier_score"]
    )
    assert lead["low"] < lead["log_score_lead"] < lead["high"]


def test_certain_and_wrong_is_infinitely_worse() -> None:
    told = invented()
    told["certain"] = 0.0
    found = judge(told, ("true", "certain"), 50.0)
    assert found.leads["log_score_lead"].tolist() == [np.inf]
    assert found.preferred == "true"


def test_a_model_that_could_not_be_fitted_takes_its_days_from_all() -> None:
    told = invented()
    told.loc[:99, "blunt"] = np.nan
    found = judge(told, ("true", "blunt"), 50.0)
    assert found.scores["n"].tolist() == [200, 200]


def test_a_model_that_was_never_fitted_is_left_out() -> None:
    told = invented().assign(never=np.nan)
    found = judge(told, ("never", "true", "blunt"), 50.0)
    assert found.scores["model"].tolist() == ["true", "blunt"]
    assert found.preferred == "true"


# --- where little can be said --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("n", "failures", "why"),
    [
        (0, 0, "no past forecast can be looked back on"),
        (60, 0, "no failure fell into the windows of 60 forecasts"),
        (60, 3, "3 failures in 60 forecasts are too few"),
        (12, 6, "12 forecasts are too few"),
        (30, 28, "2 windows run through in 30 forecasts are too few"),
        (30, 30, "no unit is known to have run through its window"),
    ],
)
def test_nothing_is_concluded_from_little(n: int, failures: int, why: str) -> None:
    failed = np.arange(n) < failures
    told = pd.DataFrame(
        {
            "unit_id": [f"U{i}" for i in range(n)], "ran": np.where(failed, 20.0, 60.0), "failed": failed,
            "happened": "", "one": np.linspace(0.1, 0.2, n), "other": np.linspace(0.2, 0.3, n),
        }
    )  # fmt: skip
    found = judge(told, ("one", "other"), 50.0)
    assert why in found.cannot_tell
    assert found.preferred is None
    assert found.leads.empty


def test_fleet_without_a_past_says_so() -> None:
    told = backtest(six_craft(), date(2023, 6, 1), models=(AVERAGE, LIMIT))
    assert told.better is None
    assert told.forecasts.empty
    assert verdict(told) == (
        "Nothing can be said yet about past forecasts of failing within 50 engine hours: no past forecast can be "
        "looked back on."
    )
    assert "Nothing can be said" in backtest_text(told, Page())
    json.loads(written(backtest_json(told)))


def test_fleet_without_records_says_so() -> None:
    told = backtest(paper_fleet(craft=["C1"]), date(2025, 6, 1))
    assert told.cannot_tell["hours"] == "no past forecast can be looked back on"
    assert "Nothing can be said" in backtest_text(told, Page())


def test_where_the_hours_cannot_be_told_the_season_decides(base: Backtest) -> None:
    told = replace(base, preferred=base.preferred | {"hours": None, "season": LIMIT})
    assert told.better == LIMIT
    assert replace(told, cannot_tell=told.cannot_tell | {"hours": ""}).better is None


def test_few_failures_are_told_and_not_judged(base: Backtest) -> None:
    told = base
    assert told.better is None
    assert "6 forecasts are too few (at least 20 are needed)" in verdict(told)
    assert told.cannot_tell["season"]


def test_season_before_which_no_hours_were_known_is_not_forecast() -> None:
    records = six_craft()
    hours = records.hours[records.hours["read_on"] != pd.Timestamp("2023-10-15")]
    quiet = replace(records, hours=hours[hours["read_on"] != pd.Timestamp("2023-05-01")])
    told = backtest(quiet, date(2024, 12, 1), models=(AVERAGE,), every="season")
    assert told.season_forecasts.empty


# --- models that fail, questions that make no sense ----------------------------------------------------------------


def give_up(histories: Histories, seed: int = 1) -> None:
    raise ModelError(f"{histories.n_lives} lives are not enough for me")


def test_model_that_gives_up_is_a_remark(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(simple_rules, "give_up", give_up, raising=False)
    monkeypatch.setitem(past_forecasts.MODELS, "weibull", ("forecaster.simple_rules", "give_up"))
    told = by_hand(models=("weibull", AVERAGE))
    assert "2024-05-01: no forecasts of the weibull model: 6 lives are not enough for me" in told.remarks
    assert told.forecasts["weibull"].isna().all()
    assert set(told.scores["model"]) == {AVERAGE}
    assert "lives are not enough for me" in " ".join(backtest_text(told, Page()).split())


@pytest.mark.parametrize(
    ("asked", "complaint"),
    [
        ({"hours": 0.0}, "number of engine hours from 0.1 to 5,000"),
        ({"hours": np.nan}, "number of engine hours from 0.1 to 5,000"),
        ({"models": ("two-stages",)}, "Did you mean two-stage"),
        ({"models": ()}, "at least one model"),
        ({"models": (AVERAGE, AVERAGE)}, "each once"),
        ({"every": "week"}, "every 'week'"),
    ],
)
def test_questions_that_make_no_sense_are_refused(asked: dict[str, object], complaint: str) -> None:
    with pytest.raises(WrongUsage, match=complaint):
        backtest(six_craft(), date(2024, 12, 1), **asked)  # type: ignore[arg-type]


def test_progress_is_told() -> None:
    seen: list[tuple[int, int, str]] = []
    by_hand(progress=lambda done, total, what: seen.append((done, total, what)))
    assert [row[:2] for row in seen] == [(0, 2), (1, 2), (2, 2)]
    assert "2024-05-01" in seen[1][2]


def test_the_same_records_give_the_same_answer(fleet: SimulatedFleet) -> None:
    asked = {"models": ("two-stage", AVERAGE), "every": "season"}
    one, two = (backtest(fleet.records, fleet.as_of, **asked) for _ in range(2))  # type: ignore[arg-type]
    assert backtest_json(one) == backtest_json(two)


# --- in words ------------------------------------------------------------------------------------------------------


def told_of(models: tuple[str, str], base: Backtest, forecasts: pd.DataFrame) -> Backtest:
    """A backtest in which the named models gave the invented chances."""
    found, stressed = judge(forecasts, models, 50.0), judge(forecasts, models, 50.0, defective_counts=True)
    questions = {"hours": found, "hours_or_defective": stressed}

    def stacked(part: str) -> pd.DataFrame:
        return pd.concat([getattr(j, part).assign(question=q) for q, j in questions.items()], ignore_index=True)

    return replace(
        base,
        models=models,
        forecasts=forecasts.assign(origin=pd.Timestamp(OPENING)),
        season_forecasts=base.season_forecasts.iloc[:0].reindex(columns=[*past_forecasts.FORECASTS, *models]),
        scores=stacked("scores"),
        leads=stacked("leads"),
        calibration=stacked("calibration"),
        cannot_tell=base.cannot_tell | {"hours": found.cannot_tell},
        preferred=base.preferred | {"hours": found.preferred},
    )


def test_verdict_tells_scores_difference_and_luck(base: Backtest) -> None:
    forecasts = invented().rename(columns={"true": "two-stage", "blunt": "weibull"})
    told = told_of(("two-stage", "weibull"), base, forecasts)
    scores, lead = told.scores.set_index("model")["log_score"], told.leads.iloc[0]
    figures = [
        scores["two-stage"].iloc[0],
        scores["weibull"].iloc[0],
        lead["log_score_lead"],
        lead["low"],
        lead["high"],
    ]
    own, other, gap, low, high = (f"{value:.3f}".replace("-", "−") for value in figures)
    failures = int(forecasts["failed"].sum())
    assert verdict(told) == (
        f"Over 1 season and 300 forecasts of failing within 50 engine hours, with {failures} failures, the two-stage "
        f"model forecast better than the Weibull regression (log score {own} against {other}; difference {gap}, "
        f"90 % interval {low} to {high}: more than luck). On this fleet's past, prefer the two-stage model."
    )
    assert told.better == "two-stage"


def test_where_the_first_model_does_worse_the_other_is_named(base: Backtest) -> None:
    told = told_of(("two-stage", "weibull"), base, invented().rename(columns={"blunt": "two-stage", "true": "weibull"}))
    assert told.better == "weibull"
    assert "the two-stage model forecast worse than the Weibull regression" in verdict(told)
    assert verdict(told).endswith("prefer the Weibull regression: forecast with --model weibull.")


def test_where_a_rule_of_thumb_does_better_the_model_is_not_praised(base: Backtest) -> None:
    told = told_of(("two-stage", AVERAGE), base, invented().rename(columns={"boastful": "two-stage", "blunt": AVERAGE}))
    assert told.better == AVERAGE
    assert "take the ranking of units with care" in verdict(told)


def test_where_luck_can_explain_it_the_words_say_so(base: Backtest) -> None:
    forecasts = invented()
    forecasts["two-stage"], forecasts["weibull"] = forecasts["true"], forecasts["true"] ** 1.01
    told = told_of(("two-stage", "weibull"), base, forecasts)
    assert told.better is None
    assert "no more than luck may do" in verdict(told)
    assert "is beaten by none of them by more than luck" in verdict(told)


def test_verdict_that_hangs_on_units_opened_noisy_says_so(base: Backtest) -> None:
    # The first model gave high chances to units that were then opened rusted: unproven, unless those count as failed.
    forecasts = invented()
    opened_noisy = (~forecasts["failed"]) & (forecasts["true"] > forecasts["true"].quantile(0.6))
    forecasts.loc[opened_noisy, "happened"] = "opened defective"
    forecasts.loc[opened_noisy, "ran"] = 25.0
    forecasts["two-stage"] = np.where(opened_noisy, 0.9, forecasts["true"])
    forecasts["weibull"] = forecasts["true"]
    told = told_of(("two-stage", "weibull"), base, forecasts)
    assert told.better is None
    assert stress_sentence(told).startswith(f"In {opened_noisy.sum()} windows the unit was opened rusted or rough")
    assert stress_sentence(told).endswith(
        "Had each counted as failed, the two-stage model would have forecast better than the Weibull regression."
    )


def test_verdict_that_stands_anyway_says_so(base: Backtest) -> None:
    forecasts = invented().rename(columns={"true": "two-stage", "blunt": "weibull"})
    forecasts.loc[forecasts.index[~forecasts["failed"]][:5], ["happened", "ran"]] = ["opened defective", 25.0]
    assert stress_sentence(told_of(("two-stage", "weibull"), base, forecasts)).endswith("the verdict would stand.")


def test_text_fits_the_page(by_months: Backtest) -> None:
    text = backtest_text(by_months, Page(width=80))
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "no engine hour of a unit is scored twice" in " ".join(text.split())


def test_json_holds_scores_leads_and_forecasts(by_months: Backtest) -> None:
    told = json.loads(written(backtest_json(by_months)))
    assert told["models"] == [AVERAGE, LIMIT]
    assert told["verdict"]["hours"] == verdict(by_months)
    assert len(told["forecasts"]) == len(by_months.forecasts)
    first = told["forecasts"][0]
    assert set(first["chance"]) == {AVERAGE, LIMIT}
    assert {"origin", "unit_id", "asked_hours", "ran", "failed", "happened"} <= set(first)
    assert {row["question"] for row in told["scores"]} == {
        f"{question}{suffix}" for question in ("hours", "season") for suffix in ("", "_or_defective")
    }


def test_json_has_null_for_what_is_infinite_or_unknown(base: Backtest) -> None:
    forecasts = invented().assign(never=0.0).rename(columns={"true": "two-stage", "never": "weibull"})
    told = json.loads(written(backtest_json(told_of(("two-stage", "weibull"), base, forecasts))))
    assert told["leads"][0]["log_score_lead"] is None


def test_command_prints_the_verdict_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_fleet(six_craft(), tmp_path)
    assert main(["backtest", str(tmp_path), "--as-of", "2024-12-01", "--every", "season", "--hours", "40"]) == 0
    first = " ".join(capsys.readouterr().out.split("\n\n")[0].split())
    assert first.startswith(
        "Nothing can be said yet about past forecasts of failing within 40 engine hours: 6 forecasts"
    )


def test_command_answers_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    sample = str(ROOT / "sample_fleet")
    assert main(["backtest", sample, "--as-of", SAMPLE_DAY.isoformat(), "--every", "season", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["as_of"], told["hours"], told["every"]) == (SAMPLE_DAY.isoformat(), 50.0, "season")
    assert told["models"] == list(past_forecasts.MODELS)
    assert all(row["log_score"] < 0 for row in told["scores"])
