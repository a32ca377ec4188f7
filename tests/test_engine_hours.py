"""Engine hours between two days: by hand, and what must hold for any log."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.day_numbers import SeasonDays, date_of, day_of
from forecaster.engine_hours import EngineHours, follow_meters
from forecaster.settings import Season
from tests.paper_fleet import paper_fleet

AS_OF = date(2025, 12, 31)


def meters(readings: dict[str, list[tuple]]) -> EngineHours:
    return follow_meters(paper_fleet([], hours=readings).hours, Season(), AS_OF)


def ran(log: EngineHours, after: str, until: str, craft: str = "C1") -> tuple[float, float, float]:
    """Best, low, high."""
    a, b = (np.array([day_of(date.fromisoformat(text))]) for text in (after, until))
    run = log.between(np.array([craft], dtype=object), a, b)
    return (round(float(run.best[0]), 9), round(float(run.low[0]), 9), round(float(run.high[0]), 9))


# C1: 10 h in 10 days, then 40 h in 20 days.
PLAIN = {"C1": [("2025-06-01", 100.0), ("2025-06-11", 110.0), ("2025-07-01", 150.0)]}


def test_between_two_readings_the_hours_are_their_difference() -> None:
    assert ran(meters(PLAIN), "2025-06-01", "2025-07-01") == (50.0, 50.0, 50.0)


def test_a_day_without_a_reading_is_interpolated_and_bounded_by_its_neighbours() -> None:
    # 06-06 is half-way from 100 to 110; 06-16 a quarter of the way from 110 to 150, so 120: 15 h between them.
    # Least: all of 06-01..06-11 before 06-06, and nothing of 06-11..07-01 by 06-16: 0. Most: 150 - 100.
    assert ran(meters(PLAIN), "2025-06-06", "2025-06-16") == (15.0, 0.0, 50.0)
    assert ran(meters(PLAIN), "2025-06-01", "2025-06-16") == (20.0, 10.0, 50.0)


def test_two_days_between_the_same_two_readings_share_their_hours() -> None:
    assert ran(meters(PLAIN), "2025-06-13", "2025-06-18") == (10.0, 0.0, 40.0)


def test_of_two_readings_on_one_day_the_later_counts_at_its_end() -> None:
    log = meters({"C1": [("2025-06-01", 100.0), ("2025-06-11", 110.0), ("2025-06-11", 112.5)]})
    assert ran(log, "2025-06-01", "2025-06-11") == (12.5, 12.5, 12.5)


def test_a_meter_changed_within_a_day_loses_no_hour() -> None:
    log = meters(
        {"C1": [("2025-06-01", 990.0), ("2025-06-05", 998.0), ("2025-06-05", 0.0, "new"), ("2025-06-09", 6.0)]}
    )
    assert ran(log, "2025-06-01", "2025-06-09") == (14.0, 14.0, 14.0)
    assert not log.remarks


def test_a_new_meter_may_start_at_any_value() -> None:
    log = meters({"C1": [("2025-06-01", 990.0), ("2025-06-01", 300.0, "new"), ("2025-06-09", 306.0)]})
    assert ran(log, "2025-06-01", "2025-06-09") == (6.0, 6.0, 6.0)


# Old meter: 1 h a day to 06-11. New one from 06-15: 3 h a day. In the 4 days between: (1 + 3)/2 a day, 8 h, 0 to 16.
CHANGED = {"C1": [("2025-06-01", 90.0), ("2025-06-11", 100.0), ("2025-06-15", 2.0, "new"), ("2025-06-25", 32.0)]}


def test_days_of_a_meter_change_run_at_the_mean_rate_of_the_intervals_either_side() -> None:
    assert ran(meters(CHANGED), "2025-06-11", "2025-06-15") == (8.0, 0.0, 16.0)
    assert ran(meters(CHANGED), "2025-06-01", "2025-06-25") == (48.0, 40.0, 56.0)
    assert ran(meters(CHANGED), "2025-06-01", "2025-06-12") == (12.0, 10.0, 26.0)


def test_a_meter_change_with_days_between_is_remarked() -> None:
    (remark,) = meters(CHANGED).remarks
    assert remark.about == "C1"
    assert "between 2025-06-11 and 2025-06-15" in remark.text
    assert "8.0 h (0 to 16.0 h)" in remark.text


def test_with_an_interval_on_one_side_only_that_one_gives_the_rate() -> None:
    log = meters({"C1": [("2025-06-01", 90.0), ("2025-06-11", 100.0), ("2025-06-15", 2.0, "new")]})
    assert ran(log, "2025-06-11", "2025-06-15") == (4.0, 0.0, 8.0)


def test_with_no_interval_on_either_side_nothing_is_estimated_and_the_fleets_use_bounds_it() -> None:
    # C2 runs 1 h an in-season day; twice that for 4 days.
    log = meters(
        {
            "C1": [("2025-06-11", 100.0), ("2025-06-15", 2.0, "new")],
            "C2": [("2025-06-01", 10.0), ("2025-07-01", 40.0)],
        }
    )
    assert ran(log, "2025-06-11", "2025-06-15") == (0.0, 0.0, 8.0)


def test_before_the_first_and_after_the_last_reading_nothing_is_added_but_twice_the_usual_use_allowed() -> None:
    # C1 ran 50 h in 30 in-season days: 5/3 h a day. 6 days before, 3 days after.
    log = meters(PLAIN)
    assert ran(log, "2025-05-26", "2025-06-01") == (0.0, 0.0, 20.0)
    assert ran(log, "2025-07-01", "2025-07-04") == (0.0, 0.0, 10.0)
    assert ran(log, "2025-05-26", "2025-07-04") == (50.0, 50.0, 80.0)
    assert ran(log, "2025-08-01", "2025-08-04") == (0.0, 0.0, 10.0)


def test_off_season_days_count_at_the_rate_that_off_season_readings_show() -> None:
    # In season (opens 05-01, closes 10-15) 30 h in 30 days. From 10-16 to 11-15 nothing: no off-season day runs.
    idle = meters({"C1": [("2025-09-15", 0.0), ("2025-10-15", 30.0), ("2025-10-16", 30.0), ("2025-11-15", 30.0)]})
    assert ran(idle, "2025-11-15", "2025-12-15") == (0.0, 0.0, 0.0)
    # A fleet that runs in winter too: 15 h in those 30 days are half an hour a day; twice that for 30 days.
    winter = meters({"C1": [("2025-09-15", 0.0), ("2025-10-15", 30.0), ("2025-10-15", 30.0), ("2025-11-14", 45.0)]})
    assert ran(winter, "2025-11-14", "2025-12-14") == (0.0, 0.0, 30.0)


def test_where_no_off_season_reading_tells_its_days_count_like_any_day() -> None:
    # 50 h in 30 days, all in season; 10 days of April before: 5/3 h each, twice.
    assert ran(meters(PLAIN), "2025-04-20", "2025-04-30") == (0.0, 0.0, pytest.approx(10 * 5 / 3 * 2))


def test_a_craft_without_readings_has_no_hours_and_the_fleets_usual_use_as_bound() -> None:
    assert ran(meters(PLAIN), "2025-06-01", "2025-06-07", craft="C9") == (0.0, 0.0, 20.0)


def test_a_log_too_short_to_tell_is_given_the_fleets_use() -> None:
    # C2's two readings a day apart would say 9 h a day; pooled with C1: 59 h in 31 days.
    log = meters(PLAIN | {"C2": [("2025-06-01", 0.0), ("2025-06-02", 9.0)]})
    assert ran(log, "2025-06-02", "2025-06-12", craft="C2") == (0.0, 0.0, pytest.approx(59 / 31 * 10 * 2))


def test_a_fleet_without_any_reading_has_no_hours_at_all() -> None:
    assert ran(meters({}), "2025-06-01", "2025-08-01") == (0.0, 0.0, 0.0)


def test_a_reading_below_an_earlier_one_is_left_out_and_remarked() -> None:
    log = meters({"C1": [("2025-06-01", 100.0), ("2025-06-06", 15.0), ("2025-06-11", 110.0)]})
    assert ran(log, "2025-06-01", "2025-06-11") == (10.0, 10.0, 10.0)
    assert ran(log, "2025-06-01", "2025-06-06") == (5.0, 0.0, 10.0)
    assert [(r.about, "15 h on 2025-06-06" in r.text) for r in log.remarks] == [("C1", True)]


@pytest.mark.parametrize(
    "season", [Season(), Season(opens="11-01", closes="03-31"), Season(opens="01-01", closes="12-31")]
)
def test_in_season_days_agree_with_the_calendar_day_by_day(season: Season) -> None:
    counted = SeasonDays(season, AS_OF)
    rng = np.random.default_rng(1)
    start = day_of(date(2023, 1, 1)) + rng.integers(0, 1000, 40)
    length = rng.integers(0, 90, 40)
    by_hand = [
        sum(season.contains(date_of(a) + timedelta(days=d)) for d in range(1, n + 1))
        for a, n in zip(start, length, strict=True)
    ]
    assert counted.between(start, start + length).tolist() == by_hand


# Any log: readings by day and hours since the reading before, some of them after a change of the meter.
LOG = st.lists(st.tuples(st.integers(1, 25), st.floats(0, 40), st.booleans()), min_size=1, max_size=12)
DAYS = st.lists(st.integers(-20, 320), min_size=3, max_size=3).map(sorted)


def drawn(steps: list[tuple[int, float, bool]]) -> dict[str, list[tuple]]:
    rows, on, meter = [], date(2025, 1, 10), 50.0
    for days, hours, changed in steps:
        on, meter = on + timedelta(days=days), 3.0 if changed else meter + hours
        rows.append((on, meter, "new") if changed else (on, meter))
    return {"C1": rows}


@given(LOG, DAYS)
def test_the_estimate_lies_within_its_bounds_and_adds_up(steps: list[tuple[int, float, bool]], days: list[int]) -> None:
    log = meters(drawn(steps))
    a, b, c = (np.array([day_of(date(2025, 1, 10)) + d]) for d in days)
    craft = np.array(["C1"], dtype=object)
    first, second, whole = log.between(craft, a, b), log.between(craft, b, c), log.between(craft, a, c)
    for run in (first, second, whole):
        assert 0 <= run.low[0] <= run.best[0] <= run.high[0]
    assert first.best + second.best == pytest.approx(whole.best, abs=1e-9)
    # cut in two, less is certain: a reading interval around the cut may fall on either side
    assert first.low + second.low <= whole.low + 1e-9
    assert first.high + second.high >= whole.high - 1e-9


@given(LOG, st.integers(0, 1000))
def test_the_order_of_the_rows_has_no_effect(steps: list[tuple[int, float, bool]], seed: int) -> None:
    rows = paper_fleet([], hours=drawn(steps) | {"B1": [("2025-03-01", 5.0), ("2025-02-01", 9.0)]}).hours
    one, two = (follow_meters(table, Season(), AS_OF) for table in (rows, rows.sample(frac=1, random_state=seed)))
    assert one.remarks == two.remarks
    for after, until in (("2025-01-15", "2025-02-20"), ("2025-02-01", "2025-12-01")):
        for craft in ("B1", "C1"):
            assert ran(one, after, until, craft) == ran(two, after, until, craft)


def test_deleting_an_interior_reading_leaves_the_hours_between_other_readings_alone() -> None:
    whole = {"C1": [("2025-06-01", 100.3), ("2025-06-11", 110.1), ("2025-06-15", 111.9), ("2025-07-01", 150.7)]}
    thinned = {"C1": [row for row in whole["C1"] if row[0] != "2025-06-11"]}
    for after, until in (("2025-06-01", "2025-07-01"), ("2025-06-01", "2025-06-15"), ("2025-06-15", "2025-06-20")):
        assert ran(meters(whole), after, until) == ran(meters(thinned), after, until)
    low, high = ran(meters(thinned), "2025-06-01", "2025-06-11")[1:]
    assert low <= ran(meters(whole), "2025-06-01", "2025-06-11")[0] <= high


def test_other_craft_are_exactly_as_they_would_be_alone() -> None:
    alone = meters(PLAIN)
    crowd = meters(PLAIN | {f"B{i}": [("2025-06-03", 1.1 * i), ("2025-06-23", 1e5 + 0.7 * i)] for i in range(40)})
    for after, until in (("2025-06-01", "2025-06-16"), ("2025-06-13", "2025-06-18"), ("2025-06-06", "2025-07-09")):
        assert ran(alone, after, until) == ran(crowd, after, until)


def test_many_questions_are_answered_as_one_by_one() -> None:
    log = meters(CHANGED | {"C2": [("2025-06-01", 10.0), ("2025-07-01", 40.0)]})
    rng = np.random.default_rng(2)
    craft = np.array(["C1", "C2", "C3"], dtype=object)[rng.integers(0, 3, 50)]
    after = day_of(date(2025, 5, 20)) + rng.integers(0, 50, 50)
    until = after + rng.integers(0, 30, 50)
    together = log.between(craft, after, until)
    for i in range(50):
        one = log.between(craft[i : i + 1], after[i : i + 1], until[i : i + 1])
        assert (one.best[0], one.low[0], one.high[0]) == (together.best[i], together.low[i], together.high[i])


def test_first_and_last_reading_and_the_days_that_they_cover() -> None:
    log = meters(PLAIN)
    craft = np.array(["C1", "C9"], dtype=object)
    first, last = log.first_and_last(craft)
    assert (date_of(first[0]), date_of(last[0])) == (date(2025, 6, 1), date(2025, 7, 1))
    assert first[1] > last[1]
    a, b = np.array([day_of(date(2025, 5, 1))] * 2), np.array([day_of(date(2025, 6, 4))] * 2)
    assert log.covered_days(craft, a, b).tolist() == [3, 0]


def test_day_numbers_are_days_since_1970() -> None:
    assert (day_of(date(1970, 1, 2)), date_of(day_of(date(2024, 2, 29)))) == (1, date(2024, 2, 29))
    assert pd.Timestamp(date_of(0)) == pd.Timestamp("1970-01-01")
