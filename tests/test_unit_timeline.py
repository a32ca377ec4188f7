"""A unit's lives on the hour axis: by hand on a small fleet, laws on an invented one, and the picture of them."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from forecaster import Fleet, UnitTimeline, WrongUsage
from forecaster.histories import build_histories
from forecaster.unit_timeline import unit_timeline
from palette import SHAPE_OF_CHECK, SHAPE_OF_END, SHAPE_OF_TREATMENT
from tests.conftest import SAMPLE_DAY
from tests.small_fleet import TODAY, small_fleet
from unit_timeline_charts import lives_over_hours
from unit_timeline_rows import WATER_TOLD, clock_of, life_lanes, on_lanes, timeline_table
from words import SPACE

A_WEEK = 6.4  # h that C001 runs in each


def told_of(unit_id: str, as_of: date = TODAY) -> UnitTimeline:
    records = small_fleet()
    return unit_timeline(records, build_histories(records, as_of), unit_id)


# --- by hand: S1 sat on C001 from 10 April, was rebuilt on 2 July and put back on 4 July ------------------------------


def test_a_rebuild_parts_two_lives() -> None:
    lives = told_of("S1").lives
    assert lives["life_number"].tolist() == [1, 2]
    assert lives["from_h"].tolist() == [0.0, 0.0]
    # readings from 5 May on, every Monday: 57 days to 1 July, and 73 from 4 July to the last reading
    assert lives["to_h"].tolist() == pytest.approx([57 / 7 * A_WEEK, 73 / 7 * A_WEEK])
    assert lives["goes_on"].tolist() == [False, True]
    assert lives["ended_on"].tolist() == [pd.Timestamp(2025, 7, 2), pd.Timestamp(TODAY)]


def test_what_was_found_stands_at_the_end_of_its_life_alone() -> None:
    lives = told_of("S1").lives
    first, second = lives.iloc[0], lives.iloc[1]
    assert (first["bearing"], first["impeller"], first["front_housing"]) == ("rusted", "good", "corroded")
    assert (first["outcome"], first["slip_found"], first["seen"]) == ("rebuilt", 12.0, "defective")
    assert (second["bearing"], second["outcome"]) == ("", "")
    assert np.isnan(second["slip_found"])


def test_water_stands_at_the_hours_at_which_it_came_in() -> None:
    (row,) = told_of("S1").water.to_dict("records")
    assert row["at_h"] == pytest.approx(40 / 7 * A_WEEK)  # 14 June, 40 days after the first reading
    assert (row["life_id"], row["treatment"], row["label"]) == ("S1/1", "prompt", "swamped, treated promptly")


def test_each_meter_reading_stands_in_the_life_in_which_it_was_taken() -> None:
    readings = told_of("S1").readings
    first = readings[readings["life_id"] == "S1/1"]
    assert first["at_h"].tolist() == pytest.approx([A_WEEK * week for week in range(9)])  # 5 May to 30 June
    assert first["meter"].iloc[:2].tolist() == [120.3, 126.7]
    second = readings[readings["life_id"] == "S1/2"]
    assert second["on"].iloc[0] == pd.Timestamp(2025, 7, 7)
    assert second["at_h"].iloc[0] == pytest.approx(3 / 7 * A_WEEK)
    assert len(first) + len(second) == 20


def test_a_part_worn_unit_begins_at_its_age_and_goes_on_on_another_craft() -> None:
    told = told_of("S2")
    (life,) = told.lives.to_dict("records")
    assert (life["from_h"], life["age_known"], life["goes_on"]) == (35.5, True, True)
    (look,) = told.looks.to_dict("records")  # opened on 2 August, found sound, closed again
    assert (look["known_state"], look["label"]) == ("sound", "opened and found sound")
    assert look["at_h"] == pytest.approx(35.5 + 89 / 7 * 5.1)  # from the first reading of C002 on 5 May
    assert set(told.readings["craft_id"]) == {"C002", "C003"}


def test_a_unit_of_unknown_age_is_said_to_be_one_and_counts_from_its_record() -> None:
    told = told_of("S4")
    (life,) = told.lives.to_dict("records")
    assert (life["from_h"], life["age_known"]) == (0.0, False)
    assert life["to_h"] == pytest.approx(44 / 7 * 4.0)  # removed on 20 June, opened a day later
    assert (life["seen"], life["bearing"], life["front_housing"]) == ("failed", "failed", "destroyed")
    assert (told.water["treatment"].tolist(), told.water["at_h"].tolist()) == (["none"], [pytest.approx(20.0)])
    assert "in the record" in clock_of(told)


def test_nothing_dated_later_is_told() -> None:
    told = told_of("S1", date(2025, 6, 20))
    (life,) = told.lives.to_dict("records")
    assert life["goes_on"]
    assert life["bearing"] == ""
    assert told.readings["on"].max() == pd.Timestamp(2025, 6, 16)
    pd.testing.assert_frame_equal(told.water, told_of("S1").water)


def test_before_its_first_fitting_a_unit_has_no_lives() -> None:
    with pytest.raises(WrongUsage, match=r"'S5' has no life in the record by 2025-05-01\. Known: S1, S2, S3, S4"):
        told_of("S5", date(2025, 5, 1))
    with pytest.raises(WrongUsage, match="Known: no unit yet"):
        told_of("S1", date(2024, 1, 1))


def test_hours_that_people_stated_have_no_readings() -> None:
    records = small_fleet()
    silent = records.hours[records.hours["craft_id"] != "C001"]
    records = type(records)(**{**vars(records), "hours": silent})
    told = unit_timeline(records, build_histories(records, TODAY), "S1")
    assert told.lives["to_h"].iloc[0] == pytest.approx(49.5)  # the hours of the rebuild row
    assert told.readings.empty


# --- laws on the sample --------------------------------------------------------------------------------------------


def test_everything_lies_on_its_own_life(sample: Fleet) -> None:
    for unit_id in sample.histories(SAMPLE_DAY).lives["unit_id"].unique():
        told = sample.timeline(unit_id, SAMPLE_DAY)
        lives = told.lives.set_index("life_id")
        for events in (told.water, told.looks, told.readings):
            low, high = (events["life_id"].map(lives[name]) for name in ("from_h", "to_h"))
            assert (events["at_h"] >= low - 1e-6).all()
            assert (events["at_h"] <= high + 1e-6).all()
        assert told.readings.groupby("life_id")["at_h"].is_monotonic_increasing.all()


def test_between_two_readings_of_one_meter_lie_the_hours_that_it_counted(sample: Fleet) -> None:
    unit_id = sample.histories(SAMPLE_DAY).in_service().lives["unit_id"].iloc[0]
    readings = sample.timeline(unit_id, SAMPLE_DAY).readings
    for _, own in readings.groupby(["life_id", "craft_id"]):
        counted = np.diff(own["meter"])
        np.testing.assert_allclose(np.diff(own["at_h"])[counted >= 0], counted[counted >= 0], atol=1e-6)


def test_every_opening_that_ended_a_life_is_told(sample: Fleet) -> None:
    rebuilds = sample.records.rebuilds
    ended = rebuilds[rebuilds["outcome"] != "closed"]
    told = pd.concat([sample.timeline(u, SAMPLE_DAY).lives.assign(unit_id=u) for u in ended["unit_id"].unique()])
    found = told[told["outcome"] != ""]
    pairs = set(zip(found["unit_id"], found["ended_on"], found["bearing"], strict=True))
    assert pairs == set(zip(ended["unit_id"], ended["opened_on"], ended["bearing"], strict=True))


# --- the picture ---------------------------------------------------------------------------------------------------


def pictured(told: UnitTimeline) -> list[dict[str, object]]:
    lanes = life_lanes(told)
    figure = lives_over_hours(
        lanes,
        on_lanes(told.water, lanes),
        on_lanes(told.looks, lanes),
        on_lanes(told.readings, lanes),
        WATER_TOLD,
        clock_of(told),
    )
    return [dict(trace.to_plotly_json()) for trace in figure.data]


def test_the_latest_life_is_on_top_and_each_is_told_in_words() -> None:
    labels = [label.replace(SPACE, " ") for label in life_lanes(told_of("S1"))["label"]]
    assert labels == ["Life 2, running: 67 h now", "Life 1, to 2 Jul 2025 at 52 h: rusted and rebuilt"]
    (label,) = life_lanes(told_of("S4"))["label"]
    assert label.replace(SPACE, " ") == ("Life 1, to 21 Jun 2025 at 25 h: failed and scrapped, earlier hours unknown")


def test_what_happened_is_drawn_in_its_lane_and_named() -> None:
    traces = {str(trace["name"]): trace for trace in pictured(told_of("S1"))}
    assert set(traces) == {"meter reading", "water, treated promptly", "opened: rusted or rough"}
    water = traces["water, treated promptly"]
    assert list(water["x"]) == pytest.approx([40 / 7 * A_WEEK])  # type: ignore[call-overload]
    assert 0.5 < water["y"][0] < 1.5  # type: ignore[index]  # the older life, below


def test_treatments_and_ends_differ_in_shape() -> None:
    assert len(set(SHAPE_OF_TREATMENT.values())) == len(SHAPE_OF_TREATMENT) == len(WATER_TOLD)
    assert SHAPE_OF_END["failed"] != SHAPE_OF_END["found_failed"]
    assert len(set(SHAPE_OF_CHECK.values())) == len(SHAPE_OF_CHECK)


def test_the_table_has_every_event_latest_first() -> None:
    told = told_of("S1")
    table = timeline_table(told)
    assert len(table) == len(told.readings) + len(told.water) + len(told.looks) + 2 * len(told.lives)
    assert table["life_number"].is_monotonic_decreasing
    found = "bearing rusted, impeller good, front housing corroded and slip 12 lb·ft; rebuilt"
    (row,) = table[table["what"].str.startswith("opened after water")].to_dict("records")
    # nobody read the meter before 5 May: it may have run more
    assert row["what"].replace(SPACE, " ") == f"opened after water at 52 h (the meter allows 51–103 h): {found}"


def test_a_users_text_is_no_markup_in_the_picture() -> None:
    told = told_of("S1")
    rough = UnitTimeline("S1", TODAY, told.lives, told.water, told.looks, told.readings.assign(craft_id="<b>C1</b>"))
    lanes = life_lanes(rough)
    assert not on_lanes(rough.readings, lanes)["hover"].str.contains("<b>").any()
