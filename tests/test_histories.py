"""From records to lives: by hand on paper, the rules one by one, laws, and fleets whose truth is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.histories import build_histories
from forecaster.lives import CHECKS, ENDED_BY, INCIDENTS, LIVES, SEEN, STRETCHES, TREATMENTS, Histories
from forecaster.records import TABLES, FleetRecords
from forecaster.simulate import simulate_fleet
from tests.paper_fleet import Row, day, fitted, life, opened, paper_fleet, said, same, span

# -- three craft on paper ---------------------------------------------------------------------------------------------

# C1, salt, stock. Engine hours since 05-01 (the meter was changed after 06-20; 1 h a day either side of the 2 days
# between, so 2 h, at least 0 and at most 4):
#     05-01 0   05-11 10   06-10 40   06-20 50   06-22 52 (50 to 54)   07-12 72 (70 to 74)
# C2, fresh, tuned: 06-01 50   06-11 70   10-01 170
# C3, brackish, tune not known, retired on 08-31: 05-01 0   08-01 92   08-31 122
CRAFT: list[Row] = [
    {"craft_id": "C1", "water": "salt", "tune": "stock", "cooling": "open", "catch_can": "no"},
    {"craft_id": "C2", "water": "fresh", "tune": "tuned", "cooling": "closed", "catch_can": "yes"},
    {"craft_id": "C3", "water": "brackish", "retired_on": "2025-08-31"},
]
HOURS = {
    "C1": [
        ("2025-05-01", 100.0),
        ("2025-05-11", 110.0),
        ("2025-06-10", 140.0),
        ("2025-06-20", 150.0),
        ("2025-06-22", 2.0, "new"),
        ("2025-07-02", 12.0),
        ("2025-07-12", 22.0),
    ],
    "C2": [("2025-06-01", 50.0), ("2025-06-11", 70.0), ("2025-10-01", 170.0)],
    "C3": [("2025-05-01", 0.0), ("2025-08-01", 92.0), ("2025-08-31", 122.0)],
}
# S1: fresh on C1 05-01 to 05-31, no reading that day: two thirds of the way from 10 to 40, so 30 h (10 to 40). Then on
#     C2 from 06-05, 4/10 of the way from 50 to 70, so 58: 112 h to 10-01 (170 - 70 = 100 to 170 - 50 = 120).
#     Together 142 h, at least 110, at most 160.
# S2: 40 h old when it follows on C1 on 05-31; fails on 07-12. 72 - 30 = 42 h; at least 70 - 40 = 30, at most 74 - 10.
# S3: age unknown on C3; opened on 06-01 in place, rusted, rebuilt: 31 of the 92 h of 92 days, 0 to 92. The next life
#     runs until the craft is retired: 122 - 31 = 91 h, at least 122 - 92 = 30, at most 122.
# S4: fresh on C1 from 07-12, where nobody read the meter any more, to 08-10, then on the shelf. C1 ran 1 h an in-season
#     day when it was read; 29 days, twice that at most: 0 h, 0 to 58.
FITTINGS = [
    fitted("S1", "C1", "2025-05-01", "2025-05-31", hours=0.0),
    fitted("S1", "C2", "2025-06-05"),
    fitted("S2", "C1", "2025-05-31", "2025-07-12", hours=40.0) | {"parts": "aftermarket"},
    fitted("S3", "C3", "2025-05-01") | {"parts": "aftermarket"},
    fitted("S4", "C1", "2025-07-12", "2025-08-10", hours=0.0) | {"parts": "oem"},
]
REBUILDS = [
    opened("S2", "2025-06-20", "check", "sound", "closed", slip_found=13.5),
    opened("S2", "2025-07-12", "failure", "failed", "scrapped"),
    opened("S3", "2025-06-01", "scheduled", "rusted", "rebuilt", parts="oem"),
]
WATER = [
    # the day that S1 came off and S2 went on: S1's
    {"craft_id": "C1", "happened_on": "2025-05-31", "kind": "swamped", "treated": "yes", "treated_within_h": 24.0},
    # 1 h after 06-10, and the day that S2 failed
    {"craft_id": "C1", "happened_on": "2025-06-11", "kind": "capsized", "water": "fresh", "treated": "no"},
    {"craft_id": "C1", "happened_on": "2025-07-12", "kind": "leak", "treated": "yes", "treated_within_h": 30.0},
    # nobody's
    {"craft_id": "C1", "happened_on": "2025-09-01", "kind": "swamped"},
]
LOOKS = [
    {
        "unit_id": "S1",
        "checked_on": "2025-06-02",
        "spin": "quiet",
        "oil": "milky",
        "oil_water_ppm": 180.0,
    },  # on the shelf
    {"unit_id": "S3", "checked_on": "2025-06-01", "spin": "rattle"},  # before it was opened that day
    {"unit_id": "S4", "checked_on": "2025-09-01", "spin": "slight", "slip": 14.1},
]


def paper(as_of: str = "2025-10-01") -> Histories:
    return build_histories(paper_fleet(CRAFT, FITTINGS, HOURS, WATER, REBUILDS, LOOKS), day(as_of))


def test_the_lives_on_paper() -> None:
    lives = paper().lives
    assert lives["life_id"].tolist() == ["S1/1", "S2/1", "S3/1", "S3/2", "S4/1"]
    assert lives["craft_id"].tolist() == ["C2", "C1", "C3", "C3", "C1"]
    assert lives["hours_at_entry"].fillna(-1).tolist() == [0, 40, -1, 0, 0]
    assert lives["ended_by"].tolist() == ["running", "failure", "scheduled", "stored", "stored"]
    assert lives["seen"].tolist() == ["alive", "failed", "defective", "alive", "alive"]
    assert lives["in_service"].tolist() == [True, False, False, False, False]
    assert lives["parts"].tolist() == ["unknown", "aftermarket", "aftermarket", "oem", "oem"]
    assert lives["began_on"].dt.strftime("%m-%d").tolist() == ["05-01", "05-31", "05-01", "06-01", "07-12"]
    assert lives["ended_on"].dt.strftime("%m-%d").tolist() == ["10-01", "07-12", "06-01", "10-01", "10-01"]
    assert lives["last_reading_on"].dt.strftime("%m-%d").tolist() == ["10-01", "07-12", "08-31", "08-31", "07-12"]


def test_the_hours_on_paper() -> None:
    histories = paper()
    assert span(histories, "S1/1") == (142.0, 110.0, 160.0)
    assert span(histories, "S2/1") == (42.0, 30.0, 64.0)
    assert span(histories, "S3/1") == (31.0, 0.0, 92.0)
    assert span(histories, "S3/2") == (91.0, 30.0, 122.0)
    assert span(histories, "S4/1") == (0.0, 0.0, 58.0)


def test_the_stretches_on_paper() -> None:
    stretches = paper().stretches
    rows = stretches[["life_id", "craft_id", "from_observed_hours", "to_observed_hours", "tune", "catch_can"]]
    assert rows.round(9).to_numpy().tolist() == [
        ["S1/1", "C1", 0.0, 30.0, "stock", "no"],
        ["S1/1", "C2", 30.0, 142.0, "tuned", "yes"],
        ["S2/1", "C1", 0.0, 42.0, "stock", "no"],
        ["S3/1", "C3", 0.0, 31.0, "unknown", "unknown"],
        ["S3/2", "C3", 0.0, 91.0, "unknown", "unknown"],
        ["S4/1", "C1", 0.0, 0.0, "stock", "no"],
    ]


def test_the_incidents_on_paper() -> None:
    incidents = paper().incidents
    columns = ["life_id", "observed_hours", "observed_hours_low", "observed_hours_high", "water", "treatment"]
    # S2's first: by 06-11 40 + 1 - 30 = 11 h; least 40 - 40, most 50 - 10
    assert incidents[columns].round(9).to_numpy().tolist() == [
        ["S1/1", 30.0, 10.0, 40.0, "salt", "prompt"],
        ["S2/1", 11.0, 0.0, 40.0, "fresh", "none"],
        ["S2/1", 42.0, 30.0, 64.0, "salt", "late"],
    ]
    # the laboratory's value of 06-02, two days after S1's incident, on the shelf
    assert incidents["oil_water_ppm"].fillna(0).tolist() == [180.0, 0.0, 0.0]


def test_the_looks_on_paper() -> None:
    checks = paper().checks
    assert checks[["life_id", "observed_hours", "spin", "known_state"]].round(9).to_numpy().tolist() == [
        ["S1/1", 30.0, "quiet", ""],
        ["S2/1", 20.0, "not_done", "sound"],
        ["S3/1", 31.0, "rattle", ""],
        ["S4/1", 0.0, "slight", ""],
    ]
    assert checks["slip"].fillna(0).tolist() == [0, 13.5, 0, 14.1]
    assert paper().lives["last_known_running"].round(9).tolist() == [30.0, 20.0, 0.0, 0.0, 0.0]


def test_water_and_tune_on_paper_are_weighed_by_hours() -> None:
    lives = paper().lives
    # S1: 30 h salt and stock, 112 h fresh and tuned; S4 has no hours: its last craft's
    assert lives["salt_share"].round(9).tolist() == pytest.approx([30 / 142, 1.0, 0.5, 0.5, 1.0])
    assert lives["tuned_share"].fillna(-1).tolist() == pytest.approx([112 / 142, 0.0, -1, -1, 0.0])
    assert lives["water"].tolist() == ["fresh", "salt", "brackish", "brackish", "salt"]


def test_the_remarks_on_paper() -> None:
    histories = paper()
    assert "changed between 2025-06-20 and 2025-06-22" in said(histories, "C1")
    assert "took water on 2025-09-01 (swamped) while no unit sat on it" in said(histories, "C1")
    assert "after C1's last reading on 2025-07-12" in said(histories, "S4")
    assert "58 h more" in said(histories, "S4")
    assert {remark.about for remark in histories.remarks} == {"C1", "S4"}


def test_earlier_days_on_paper() -> None:
    # 06-01: S1 is on the shelf since 05-31; C1 was last read on 05-11, C2 and C3 on 06-01 and 05-01
    early = paper("2025-06-01")
    assert early.lives["ended_by"].tolist() == ["stored", "running", "scheduled", "running"]
    assert early.lives["life_id"].tolist() == ["S1/1", "S2/1", "S3/1", "S3/2"]
    # C1 ran 10 h in 10 in-season days: 20 more days to 05-31, 2 h a day at most
    assert span(early, "S1/1") == (10.0, 10.0, 50.0)
    assert early.in_service().lives["unit_id"].tolist() == ["S2", "S3"]
    # 08-30, the day before C3 is retired
    assert paper("2025-08-30").in_service().lives["unit_id"].tolist() == ["S1", "S3"]
    assert paper("2025-08-31").in_service().lives["unit_id"].tolist() == ["S1"]


# -- rule by rule -----------------------------------------------------------------------------------------------------

# One craft, an hour a day, read every tenth day of the season of 2025 and on 05-01 and 10-01.
DAILY = [(str(d.date()), float(i)) for i, d in enumerate(pd.date_range("2025-05-01", "2025-10-01"))]
READ = {"C1": [row for i, row in enumerate(DAILY) if i % 10 == 0 or i == len(DAILY) - 1]}
READ |= {"C2": READ["C1"]}
AS_OF = date(2025, 10, 1)


def built(
    fittings: list[Row],
    rebuilds: list[Row] = [],  # noqa: B006  never changed
    checks: list[Row] = [],  # noqa: B006
    water: list[Row] = [],  # noqa: B006
    hours: dict | None = None,
    craft: list = ["C1", "C2"],  # noqa: B006
    as_of: date = AS_OF,
) -> Histories:
    return build_histories(
        paper_fleet(craft, fittings, READ if hours is None else hours, water, rebuilds, checks), as_of
    )


@pytest.mark.parametrize(
    ("reason", "bearing", "seen"),
    [
        ("failure", "failed", "failed"),
        ("failure", "unknown", "failed"),
        ("failure", "rough", "failed"),
        ("failure", "sound", "sound"),
        ("symptom", "rough", "symptom"),
        ("symptom", "rusted", "symptom"),
        ("symptom", "failed", "found_failed"),
        ("symptom", "sound", "sound"),
        ("symptom", "unknown", "alive"),
        ("scheduled", "rusted", "defective"),
        ("check", "rough", "defective"),
        ("water", "failed", "found_failed"),
        ("other", "sound", "sound"),
        ("scheduled", "unknown", "alive"),
    ],
)
def test_what_an_opening_says_of_the_bearing(reason: str, bearing: str, seen: str) -> None:
    histories = built(
        [fitted("S1", "C1", "2025-05-01", "2025-06-30", hours=0)],
        [opened("S1", "2025-06-30", reason, bearing, "rebuilt")],
    )
    assert life(histories, "S1/1")[["seen", "ended_by"]].tolist() == [seen, reason]


def test_a_failure_with_a_sound_bearing_is_remarked() -> None:
    histories = built(
        [fitted("S1", "C1", "2025-05-01", "2025-06-30", hours=0)],
        [opened("S1", "2025-06-30", "failure", "sound", "rebuilt")],
    )
    assert "failed for some other cause" in said(histories, "S1")


def test_an_opening_days_after_the_removal_ends_the_life_that_ended_there() -> None:
    fittings = [fitted("S1", "C1", "2025-05-01", "2025-06-30", hours=0), fitted("S1", "C2", "2025-08-09")]
    openings = [opened("S1", "2025-07-20", "scheduled", "rough", "rebuilt", parts="oem")]
    between = built(fittings, openings, as_of=date(2025, 7, 10))
    assert life(between, "S1/1")[["ended_by", "seen"]].tolist() == ["stored", "alive"]
    on_the_shelf = built(fittings, openings, as_of=date(2025, 8, 1))
    assert on_the_shelf.lives["life_id"].tolist() == ["S1/1"]
    assert life(on_the_shelf, "S1/1")["ended_on"] == pd.Timestamp("2025-07-20")
    later = built(fittings, openings)
    assert span(later, "S1/1") == (60.0, 60.0, 60.0)
    # C2 read 100 on 08-09
    assert life(later, "S1/2")[["hours_at_entry", "hours_observed", "parts"]].tolist() == [0.0, 53.0, "oem"]


def test_removal_opening_and_fitting_on_one_day_make_two_lives_and_no_third() -> None:
    histories = built(
        [fitted("S1", "C1", "2025-05-01", "2025-06-30", hours=0), fitted("S1", "C1", "2025-06-30")],
        [opened("S1", "2025-06-30", "scheduled", "sound", "rebuilt")],
    )
    assert histories.lives["hours_observed"].tolist() == [60.0, 93.0]
    assert histories.lives["hours_at_entry"].tolist() == [0.0, 0.0]


def test_a_closed_unit_lives_on_and_its_state_that_day_is_known() -> None:
    openings = [
        opened("S1", "2025-06-10", "check", "rusted", "closed"),
        opened("S1", "2025-05-21", "other", "sound", "closed"),
        opened("S1", "2025-06-20", "other", "unknown", "closed"),
    ]
    histories = built([fitted("S1", "C1", "2025-05-01", hours=0)], openings)
    assert histories.lives["life_id"].tolist() == ["S1/1"]
    looks = histories.checks[["observed_hours", "known_state"]].to_numpy().tolist()
    assert looks == [[20.0, "sound"], [40.0, "defective"], [50.0, ""]]
    assert life(histories, "S1/1")["last_known_running"] == 50.0


def test_a_unit_found_failed_but_entered_as_closed_ends_its_life_and_is_remarked() -> None:
    openings = [opened("S1", "2025-06-10", "check", "failed", "closed")]
    histories = built([fitted("S1", "C1", "2025-05-01", hours=0)], openings)
    assert life(histories, "S1/1")[["seen", "hours_observed"]].tolist() == ["found_failed", 40.0]
    assert np.isnan(life(histories, "S1/2")["hours_at_entry"])
    assert life(histories, "S1/2")["ended_by"] == "running"
    assert "entered as closed: a failed bearing cannot run on" in said(histories, "S1")


def test_found_failed_was_last_known_running_at_the_last_look_that_shows_it() -> None:
    looks = [
        {"unit_id": "S1", "checked_on": "2025-05-31", "spin": "quiet"},
        {"unit_id": "S1", "checked_on": "2025-06-10", "spin": "not_done"},
        {"unit_id": "S1", "checked_on": "2025-06-20", "spin": "rattle"},
    ]
    openings = [opened("S1", "2025-06-22", "check", "failed", "rebuilt")]
    histories = built([fitted("S1", "C1", "2025-05-01", hours=0)], openings, looks)
    assert life(histories, "S1/1")[["seen", "last_known_running"]].tolist() == ["found_failed", 30.0]
    assert life(histories, "S1/2")["last_known_running"] == 0.0


def test_a_scrapped_unit_ends_and_later_rows_of_it_are_remarked() -> None:
    histories = built(
        [fitted("S1", "C1", "2025-05-01", "2025-06-30", hours=0), fitted("S1", "C2", "2025-07-10", hours=0)],
        [
            opened("S1", "2025-06-30", "failure", "failed", "scrapped"),
            opened("S1", "2025-09-18", "failure", "failed", "rebuilt"),
        ],
    )
    assert histories.lives["life_id"].tolist() == ["S1/1"]
    assert "scrapped on 2025-06-30, yet fitted to C2 on 2025-07-10" in said(histories, "S1")
    assert "scrapped on 2025-06-30, yet opened on 2025-09-18" in said(histories, "S1")


def test_a_unit_replaced_in_place_but_never_removed_is_remarked_and_its_craft_has_no_unit() -> None:
    histories = built(
        [fitted("S1", "C1", "2025-05-01", hours=0)],
        [opened("S1", "2025-06-30", "symptom", "rough", "replaced")],
        water=[{"craft_id": "C1", "happened_on": "2025-07-30", "kind": "swamped"}],
    )
    assert histories.lives["hours_observed"].tolist() == [60.0]
    assert not histories.in_service().n_lives
    assert "Enter removed_on" in said(histories, "S1")
    assert "no unit sat on it" in said(histories, "C1")


def test_a_unit_opened_before_its_first_fitting_begins_fresh_and_what_was_lost_is_remarked() -> None:
    histories = built(
        [fitted("S1", "C1", "2025-05-11") | {"parts": "oem"}],
        [opened("S1", "2025-04-20", "failure", "failed", "rebuilt", parts="aftermarket", hours=90)],
    )
    assert life(histories, "S1/1")[["hours_at_entry", "parts"]].tolist() == [0.0, "aftermarket"]
    assert "opened on 2025-04-20 before its first fitting" in said(histories, "S1")


def test_a_unit_that_was_opened_but_never_fitted_is_remarked() -> None:
    histories = built([], [opened("S7", "2025-04-20", "failure", "failed", "rebuilt", hours=90)])
    assert histories.n_lives == 0
    assert "never fitted in the record" in said(histories, "S7")


def test_a_fitting_with_0_h_of_a_unit_that_had_run_begins_a_fresh_life() -> None:
    histories = built(
        [
            fitted("S1", "C1", "2025-05-01", "2025-06-30", hours=0),
            fitted("S1", "C2", "2025-07-10", hours=0) | {"parts": "aftermarket"},
        ]
    )
    assert life(histories, "S1/1")[["ended_by", "seen", "hours_observed"]].tolist() == ["other", "alive", 60.0]
    assert life(histories, "S1/1")["ended_on"] == pd.Timestamp("2025-07-10")
    second = life(histories, "S1/2")
    assert second[["hours_at_entry", "hours_observed", "parts"]].tolist() == [0.0, 83.0, "aftermarket"]
    assert "fitted as fresh to C2 on 2025-07-10 without a rebuild row" in said(histories, "S1")


def test_a_fitting_with_0_h_after_hardly_any_running_is_the_same_life() -> None:
    histories = built(
        [fitted("S1", "C1", "2025-05-01", "2025-05-05", hours=0), fitted("S1", "C2", "2025-05-11", hours=0)]
    )
    assert histories.lives["hours_observed"].tolist() == [147.0]
    assert said(histories, "S1") == ""


def test_an_unknown_starting_age_is_told_by_a_later_fitting() -> None:
    # 60 h on C1, then stated as 100 h: it began with 40
    histories = built([fitted("S1", "C1", "2025-05-01", "2025-06-30"), fitted("S1", "C2", "2025-07-10", hours=100)])
    assert histories.lives["hours_at_entry"].tolist() == [40.0]


def test_an_unknown_starting_age_is_told_by_the_hours_of_the_rebuild_row() -> None:
    openings = [opened("S1", "2025-06-30", "scheduled", "sound", "rebuilt", hours=85)]
    histories = built([fitted("S1", "C1", "2025-05-01", "2025-06-30")], openings)
    assert life(histories, "S1/1")[["hours_at_entry", "hours_observed"]].tolist() == [25.0, 60.0]
    assert said(histories, "S1") == ""


def test_a_stated_age_below_what_was_observed_tells_nothing_and_is_remarked() -> None:
    openings = [opened("S1", "2025-06-30", "scheduled", "sound", "rebuilt", hours=20)]
    histories = built([fitted("S1", "C1", "2025-05-01", "2025-06-30")], openings)
    assert np.isnan(life(histories, "S1/1")["hours_at_entry"])
    assert "stated to have 20 h on 2025-06-30, but ran 60.0 h" in said(histories, "S1")


@pytest.mark.parametrize(("stated", "remarked"), [(64.0, False), (66.0, True), (54.0, True), (None, False)])
def test_a_later_fitting_that_contradicts_the_log_is_remarked_and_the_log_used(
    stated: float | None, remarked: bool
) -> None:
    histories = built(
        [fitted("S1", "C1", "2025-05-01", "2025-06-30", hours=0), fitted("S1", "C2", "2025-07-10", hours=stated)]
    )
    assert life(histories, "S1/1")["hours_observed"] == 60.0 + 83.0
    assert ("the log says 60.0 h" in said(histories, "S1")) is remarked


def test_a_rebuilt_unit_fitted_with_hours_ran_elsewhere_and_is_remarked() -> None:
    histories = built(
        [fitted("S1", "C1", "2025-05-01", "2025-06-30", hours=0), fitted("S1", "C2", "2025-07-10", hours=35)],
        [opened("S1", "2025-07-01", "scheduled", "sound", "rebuilt")],
    )
    assert life(histories, "S1/2")["hours_at_entry"] == 35.0
    assert "with 35 h" in said(histories, "S1")


def test_where_the_log_is_silent_the_stated_hours_count_give_or_take_a_tenth() -> None:
    # a customer's craft without a log: fresh on 05-01, opened on 06-30 with 90 h stated; swamped half-way
    histories = built(
        [fitted("S1", "C9", "2025-05-01", "2025-06-30", hours=0)],
        [opened("S1", "2025-06-30", "symptom", "rough", "rebuilt", hours=90)],
        water=[{"craft_id": "C9", "happened_on": "2025-05-31", "kind": "swamped", "treated": "no"}],
        craft=["C1", "C2", "C9"],
    )
    assert span(histories, "S1/1") == (90.0, 81.0, 99.0)
    assert histories.incidents["observed_hours"].tolist() == [45.0]
    assert "the 90 h stated are used, since the meter log says nothing (±10 %)" in said(histories, "S1")


def test_hours_stated_at_a_later_fitting_fill_a_silent_stretch_and_the_log_does_the_rest() -> None:
    histories = built(
        [fitted("S1", "C9", "2025-05-01", "2025-06-30", hours=10), fitted("S1", "C1", "2025-07-10", hours=60)],
        craft=["C1", "C9"],
    )
    assert span(histories, "S1/1") == (50.0 + 83.0, 45.0 + 83.0, 55.0 + 83.0)


def test_where_neither_age_nor_log_is_known_usual_use_divides_the_stated_age() -> None:
    # the fleet runs 1 h an in-season day: 60 h of the stated 150 in the record, 90 before it
    histories = built(
        [fitted("S1", "C9", "2025-05-01", "2025-06-30")],
        [opened("S1", "2025-06-30", "symptom", "rough", "rebuilt", hours=150)],
        craft=["C1", "C9"],
    )
    assert life(histories, "S1/1")["hours_at_entry"] == pytest.approx(90.0)
    assert span(histories, "S1/1") == (60.0, 0.0, 150.0)


def test_stated_ages_around_a_silent_stretch_fill_it_whatever_the_age_was_at_the_start() -> None:
    # 60 h on C1 of unknown age, 100 h stated then, so 40 h at the start; on C9 to 150 h, so 50 h there
    fittings = [
        fitted("S1", "C1", "2025-05-01", "2025-06-30"),
        fitted("S1", "C9", "2025-06-30", "2025-08-01", hours=100),
    ]
    openings = [opened("S1", "2025-08-01", "scheduled", "sound", "closed", hours=1)]
    openings.append(opened("S1", "2025-08-05", "scheduled", "sound", "rebuilt", hours=150))
    histories = built(fittings, openings, craft=["C1", "C9"])
    assert life(histories, "S1/1")["hours_at_entry"] == 40.0
    assert span(histories, "S1/1") == (110.0, 105.0, 115.0)


def test_where_the_log_tells_the_stated_hours_are_not_used() -> None:
    openings = [opened("S1", "2025-06-30", "symptom", "rough", "rebuilt", hours=90)]
    histories = built([fitted("S1", "C1", "2025-05-01", "2025-06-30", hours=0)], openings)
    assert span(histories, "S1/1") == (60.0, 60.0, 60.0)


def test_a_craft_without_any_reading_is_remarked() -> None:
    histories = built([fitted("S1", "C9", "2025-05-01", hours=0)], craft=["C9"])
    assert span(histories, "S1/1")[:2] == (0.0, 0.0)
    assert pd.isna(life(histories, "S1/1")["last_reading_on"])
    assert "C9 has no meter reading" in said(histories, "S1")


def test_a_short_time_since_the_last_reading_is_not_worth_a_remark() -> None:
    hours = {"C1": [row for row in READ["C1"] if row[0] <= "2025-09-18"]}
    assert built([fitted("S1", "C1", "2025-05-01", hours=0)], hours=hours).remarks == ()
    longer = {"C1": [row for row in READ["C1"] if row[0] <= "2025-09-01"]}
    assert "after C1's last reading on 2025-08-29" in said(
        built([fitted("S1", "C1", "2025-05-01")], hours=longer), "S1"
    )


def test_an_incident_on_the_day_of_a_first_fitting_came_before_it_and_is_remarked() -> None:
    histories = built(
        [fitted("S1", "C1", "2025-06-10", hours=0)],
        water=[{"craft_id": "C1", "happened_on": "2025-06-10", "kind": "swamped"}],
    )
    assert len(histories.incidents) == 0
    assert "A unit fitted that day was fitted after the incident" in said(histories, "C1")


def test_an_incident_on_the_day_of_a_rebuild_in_place_belongs_to_the_life_before() -> None:
    histories = built(
        [fitted("S1", "C1", "2025-05-01", hours=0)],
        [opened("S1", "2025-06-10", "water", "rusted", "rebuilt")],
        [{"unit_id": "S1", "checked_on": "2025-06-10", "spin": "rattle"}],
        [{"craft_id": "C1", "happened_on": "2025-06-10", "kind": "swamped"}],
    )
    assert histories.incidents["life_id"].tolist() == ["S1/1"]
    assert histories.checks["life_id"].tolist() == ["S1/1"]
    assert histories.lives["life_id"].tolist() == ["S1/1", "S1/2"]


def test_a_look_at_a_rebuilt_unit_on_the_shelf_counts_for_the_life_that_then_begins() -> None:
    fittings = [fitted("S1", "C1", "2025-05-01", "2025-06-10", hours=0), fitted("S1", "C2", "2025-07-10")]
    openings = [opened("S1", "2025-06-10", "water", "rusted", "rebuilt")]
    looks = [{"unit_id": "S1", "checked_on": "2025-06-12", "spin": "quiet"}]
    histories = built(fittings, openings, looks)
    assert histories.checks[["life_id", "observed_hours"]].to_numpy().tolist() == [["S1/2", 0.0]]
    not_yet = built(fittings, openings, looks, as_of=date(2025, 7, 1))
    assert len(not_yet.checks) == 0
    assert "when it had no life in the record" in said(not_yet, "S1")


def test_a_look_before_the_first_fitting_counts_at_its_start_and_is_remarked() -> None:
    histories = built(
        [fitted("S1", "C1", "2025-06-10", hours=30)],
        checks=[{"unit_id": "S1", "checked_on": "2025-04-10", "spin": "quiet"}],
    )
    assert histories.checks["observed_hours"].tolist() == [0.0]
    assert "before its first fitting" in said(histories, "S1")


@pytest.mark.parametrize(
    ("treated", "within", "treatment"),
    [
        ("yes", 24.0, "prompt"),
        ("yes", 24.5, "late"),
        ("yes", None, "unknown"),
        ("no", None, "none"),
        ("unknown", None, "unknown"),
        ("unknown", 3.0, "unknown"),
    ],
)
def test_how_an_incident_was_treated(treated: str, within: float | None, treatment: str) -> None:
    row = {"craft_id": "C1", "happened_on": "2025-06-10", "kind": "swamped"}
    water = [row | {"treated": treated, "treated_within_h": within}]
    histories = built([fitted("S1", "C1", "2025-05-01", hours=0)], water=water)
    assert histories.incidents["treatment"].tolist() == [treatment]


@pytest.mark.parametrize(
    ("checked_on", "ppm"),
    [("2025-06-09", None), ("2025-06-10", 250.0), ("2025-07-10", 250.0), ("2025-07-11", None)],
)
def test_a_laboratory_value_counts_for_30_days_after_the_incident(checked_on: str, ppm: float | None) -> None:
    histories = built(
        [fitted("S1", "C1", "2025-05-01", hours=0)],
        checks=[{"unit_id": "S1", "checked_on": checked_on, "oil_water_ppm": 250.0}],
        water=[{"craft_id": "C1", "happened_on": "2025-06-10", "kind": "swamped"}],
    )
    assert histories.incidents["oil_water_ppm"].tolist() == pytest.approx([np.nan if ppm is None else ppm], nan_ok=True)


def test_the_first_laboratory_value_counts_and_none_from_after_the_next_incident_or_opening() -> None:
    def lab(day: str, ppm: float) -> Row:
        return {"unit_id": "S1", "checked_on": day, "oil_water_ppm": ppm}

    wet = [
        {"craft_id": "C1", "happened_on": on, "kind": "swamped"} for on in ("2025-06-01", "2025-06-10", "2025-07-01")
    ]
    histories = built(
        [fitted("S1", "C1", "2025-05-01", hours=0)],
        [opened("S1", "2025-07-04", "water", "rusted", "rebuilt")],
        [lab("2025-06-10", 90.0), lab("2025-06-12", 400.0), lab("2025-06-12", 70.0), lab("2025-07-05", 60.0)],
        wet,
    )
    # 06-01: the report of 06-10 is of the water of that day. 06-10: that report. 07-01: the unit was opened first.
    assert histories.incidents["oil_water_ppm"].fillna(0).tolist() == [0.0, 90.0, 0.0]


def test_parts_not_known_from_the_rebuild_row_are_told_by_a_later_fitting_but_not_by_an_earlier() -> None:
    fittings = [
        fitted("S1", "C1", "2025-05-01", "2025-07-30", hours=0) | {"parts": "aftermarket"},
        fitted("S1", "C2", "2025-08-01") | {"parts": "oem"},
    ]
    openings = [opened("S1", "2025-06-10", "scheduled", "sound", "rebuilt")]
    before = built(fittings, openings, as_of=date(2025, 7, 1))
    assert before.lives["parts"].tolist() == ["aftermarket", "unknown"]
    assert built(fittings, openings).lives["parts"].tolist() == ["aftermarket", "oem"]


def test_salt_is_weighed_over_the_hours_whose_water_is_known() -> None:
    craft = [{"craft_id": "C1", "water": "salt"}, {"craft_id": "C2"}]
    moved = built([fitted("S1", "C1", "2025-05-01", "2025-05-11", 0), fitted("S1", "C2", "2025-05-11")], craft=craft)
    assert life(moved, "S1/1")[["salt_share", "water"]].tolist() == [1.0, "unknown"]
    alone = built([fitted("S1", "C2", "2025-05-11")], craft=craft)
    assert np.isnan(life(alone, "S1/1")["salt_share"])
    assert np.isnan(life(alone, "S1/1")["tuned_share"])


def test_a_unit_on_a_craft_that_is_not_yet_in_service_is_not_forecast() -> None:
    craft = [{"craft_id": "C1", "in_service_on": "2025-11-01"}]
    histories = built([fitted("S1", "C1", "2025-09-01", hours=0)], craft=craft)
    assert life(histories, "S1/1")[["ended_by", "in_service"]].tolist() == ["running", False]


def test_a_period_that_a_later_fitting_overtakes_is_cut_there_and_remarked() -> None:
    histories = built([fitted("S1", "C1", "2025-05-01", hours=0), fitted("S1", "C2", "2025-06-10")])
    assert histories.stretches["to_on"].tolist() == [pd.Timestamp("2025-06-10"), pd.Timestamp("2025-10-01")]
    assert "is taken to end there" in said(histories, "S1")


def test_a_fleet_of_no_rows_has_empty_histories_of_the_right_shape() -> None:
    histories = build_histories(paper_fleet([]), AS_OF)
    assert (histories.n_lives, histories.n_failures, histories.remarks) == (0, 0, ())
    assert histories.in_service().n_lives == 0


def test_hours_that_a_craft_ran_without_a_unit_are_remarked() -> None:
    # C1 was read on 07-10 (70 h) and on 08-09 (100 h), and had no unit from 07-05 to 08-15
    fittings = [fitted("S1", "C1", "2025-05-01", "2025-07-05", hours=0), fitted("S2", "C1", "2025-08-15", hours=0)]
    assert "ran at least 30.0 h between 2025-07-05 and 2025-08-15 with no unit" in said(built(fittings), "C1")
    assert built([fittings[0], fitted("S2", "C1", "2025-07-11", hours=0)]).remarks == ()


# -- laws -------------------------------------------------------------------------------------------------------------


@settings(max_examples=15)
@given(st.integers(0, 10_000))
def test_the_order_of_the_rows_has_no_effect(seed: int) -> None:
    records = paper_fleet(CRAFT, FITTINGS, HOURS, WATER, REBUILDS, LOOKS)
    same(build_histories(shuffled(records, seed), AS_OF), build_histories(records, AS_OF))


def test_the_order_of_the_rows_of_a_whole_fleet_has_no_effect() -> None:
    fleet = simulate_fleet(craft=6, seasons=2, seed=5)
    whole = build_histories(fleet.records, fleet.as_of)
    for seed in range(5):
        same(build_histories(shuffled(fleet.records, seed), fleet.as_of), whole)


def shuffled(records: FleetRecords, seed: int) -> FleetRecords:
    rng = np.random.default_rng(seed)
    tables = {name: records.table(name).sample(frac=1, random_state=rng) for name in TABLES}
    return replace(records, **tables)


def without(histories: Histories, unit_id: str) -> Histories:
    return replace(histories.select(histories.lives["unit_id"] != unit_id), remarks=(), craft_without_unit=())


def test_moving_a_unit_between_craft_with_the_same_readings_changes_its_craft_and_nothing_else() -> None:
    rows = [fitted("S2", "C2", "2025-08-01", hours=5)]
    stays = built([fitted("S1", "C1", "2025-05-01", hours=0), *rows])
    moved = built(
        [fitted("S1", "C1", "2025-05-01", "2025-06-30", 0), fitted("S1", "C9", "2025-06-30"), *rows],
        hours=READ | {"C9": READ["C1"]},
    )
    hours = [name for name in LIVES if name.startswith("hours")]
    assert life(stays, "S1/1")[hours].tolist() == life(moved, "S1/1")[hours].tolist()
    same(without(stays, "S1"), without(moved, "S1"))


def test_writing_one_period_in_two_rows_changes_nothing() -> None:
    one = built([fitted("S1", "C1", "2025-05-01", hours=0)])
    two = built([fitted("S1", "C1", "2025-05-01", "2025-06-13", hours=0), fitted("S1", "C1", "2025-06-13")])
    same(one, two)


def test_changing_a_meter_on_the_day_of_a_reading_changes_nothing() -> None:
    rows = READ["C1"]
    changed = [*rows[:5], (rows[4][0], 0.0, "new"), *((on, meter - rows[4][1]) for on, meter in rows[5:])]
    fittings = [fitted("S1", "C1", "2025-05-01", "2025-07-13", 0), fitted("S2", "C1", "2025-07-17", hours=3)]
    same(built(fittings), built(fittings, hours={"C1": changed, "C2": READ["C2"]}))


@given(st.integers(1, 14))
def test_deleting_one_interior_reading_changes_no_total_and_stays_within_the_bounds(number: int) -> None:
    fittings = [
        fitted("S1", "C1", "2025-05-01", "2025-07-13", 0),
        fitted("S1", "C2", "2025-07-13"),
        fitted("S2", "C1", "2025-07-17", hours=3),
    ]
    whole = built(fittings)
    thin = built(fittings, hours=READ | {"C1": [row for i, row in enumerate(READ["C1"]) if i != number]})
    touches = number in (7, 8)  # 07-10 and 07-20, the readings either side of the removal and the next fitting
    for life_id in ("S1/1", "S2/1"):
        best, low, high = span(thin, life_id)
        assert low <= span(whole, life_id)[0] <= high
        if not touches:
            assert (best, low, high) == span(whole, life_id)


def test_a_unit_of_another_craft_has_no_influence() -> None:
    fittings = [fitted("S1", "C1", "2025-05-03", "2025-07-13", 0)]
    crowd = [fitted(f"R{i}", f"B{i}", "2025-05-03", hours=i) for i in range(30)]
    hours = READ | {f"B{i}": [(on, 1.7 * i + 1.1 * meter) for on, meter in READ["C1"]] for i in range(30)}
    both = built([*fittings, *crowd], hours=hours)
    same(both.select(both.lives["unit_id"] == "S1"), built(fittings))


@pytest.mark.parametrize(("changed_on", "days"), [("2025-05-21", "that day"), ("2025-05-24", "those 4 days")])
def test_the_days_in_which_a_meter_was_changed_are_counted_in_plain_words(changed_on: str, days: str) -> None:
    hours = {"C1": [("2025-05-01", 100.0), ("2025-05-20", 138.0), (changed_on, 1.0, "new"), ("2025-06-20", 60.0)]}
    told = said(built([fitted("S1", "C1", "2025-05-01", hours=0)], hours=hours), "C1")
    assert f"what ran in {days} is not recorded" in told


# -- fleets whose truth is known --------------------------------------------------------------------------------------

ROUNDING_H = 0.11  # meters are read to a tenth


def test_tidy_books_need_no_remark_but_for_meter_changes() -> None:
    for seed in range(10):
        fleet = simulate_fleet(craft=6, seasons=2, seed=seed)
        texts = [remark.text for remark in build_histories(fleet.records, fleet.as_of).remarks]
        assert all("was changed between" in text for text in texts)


@pytest.fixture(scope="module")
def small_fleets() -> pd.DataFrame:
    """Lives of 200 small invented fleets beside their truth."""
    rows = []
    for seed in range(200):
        fleet = simulate_fleet(craft=3, seasons=1 + (seed % 10 == 0), seed=seed)
        lives = build_histories(fleet.records, fleet.as_of).lives
        true = fleet.truth.lives.set_index("life_id")[
            ["hours_at_entry", "hours_at_end", "state", "ended_by", "ended_on"]
        ]
        rows.append(lives.join(true.add_prefix("true_"), on="life_id", how="left").assign(seed=seed))
    return pd.concat(rows, ignore_index=True)


def test_every_life_of_200_fleets_is_one_of_the_truth_and_ended_as_it_did(small_fleets: pd.DataFrame) -> None:
    assert len(small_fleets) > 800
    assert small_fleets["true_state"].notna().all()
    assert (small_fleets["ended_by"] == small_fleets["true_ended_by"]).all()
    assert (small_fleets["ended_on"] == small_fleets["true_ended_on"]).all()


def test_the_true_hours_of_200_fleets_lie_within_the_bounds(small_fleets: pd.DataFrame) -> None:
    true = small_fleets["true_hours_at_end"] - small_fleets["true_hours_at_entry"]
    assert (true >= small_fleets["hours_observed_low"] - ROUNDING_H).all()
    assert (true <= small_fleets["hours_observed_high"] + ROUNDING_H).all()


def test_the_estimated_hours_of_200_fleets_are_unbiased_to_within_their_resolution(small_fleets: pd.DataFrame) -> None:
    # a craft stands still between a failure and the next fitting; interpolation spreads those days' hours evenly
    error = small_fleets["hours_observed"] - (small_fleets["true_hours_at_end"] - small_fleets["true_hours_at_entry"])
    width = (small_fleets["hours_observed_high"] - small_fleets["hours_observed_low"]).mean()
    assert abs(error.mean()) < 0.25 * width
    assert abs(error.mean()) < 0.5


def test_what_was_seen_in_200_fleets_is_never_at_odds_with_the_truth(small_fleets: pd.DataFrame) -> None:
    possible = {
        "failed": {"failed"},
        "found_failed": {"failed"},
        "symptom": {"defective"},
        "defective": {"defective"},
        "sound": {"sound"},
        "alive": {"sound", "defective"},
    }
    for seen, states in possible.items():
        assert set(small_fleets.loc[small_fleets["seen"] == seen, "true_state"]) == states


def test_known_starting_ages_of_200_fleets_are_true_to_the_rounding(small_fleets: pd.DataFrame) -> None:
    known = small_fleets["hours_at_entry"].notna()
    off = (small_fleets["hours_at_entry"] - small_fleets["true_hours_at_entry"])[known]
    assert off.abs().max() <= 0.51  # people round part-worn ages to the hour
    assert (~known).any()


def test_incidents_and_checks_fall_on_the_lives_that_they_truly_happened_to() -> None:
    for seed in range(20):
        fleet = simulate_fleet(craft=4, seasons=2, seed=seed)
        histories = build_histories(fleet.records, fleet.as_of)
        wet = fleet.truth.incidents.set_index(["craft_id", "happened_on"])
        for row in histories.incidents.itertuples():
            true = wet.loc[(row.craft_id, row.happened_on)]
            assert true["life_id"] == row.life_id
            assert row.treatment in (true["treatment"], "unknown")
            entry = fleet.truth.lives.set_index("life_id").loc[row.life_id, "hours_at_entry"]
            assert row.observed_hours_low - ROUNDING_H <= true["age_h"] - entry <= row.observed_hours_high + ROUNDING_H
        looks = fleet.truth.checks.set_index(["unit_id", "checked_on"])["life_id"]
        for row in histories.checks.itertuples():
            assert row.life_id in set(looks.loc[[(row.life_id.split("/")[0], row.checked_on)]])
        assert len(histories.incidents) == len(fleet.truth.incidents)
        assert len(histories.checks) == len(fleet.truth.checks)


def test_the_tables_keep_the_contract() -> None:
    fleet = simulate_fleet(craft=8, seasons=2, seed=4)
    histories = build_histories(fleet.records, fleet.as_of)
    for table, columns in (
        (histories.lives, LIVES),
        (histories.incidents, INCIDENTS),
        (histories.checks, CHECKS),
        (histories.stretches, STRETCHES),
    ):
        assert {name: str(dtype) for name, dtype in table.dtypes.items()} == columns
        assert isinstance(table.index, pd.RangeIndex)
        place = pd.Index(histories.lives["life_id"]).get_indexer(table["life_id"])
        assert (place >= 0).all()
        assert (np.diff(place) >= 0).all()
    lives = histories.lives
    assert set(lives["seen"]) <= set(SEEN)
    assert set(lives["ended_by"]) <= set(ENDED_BY)
    assert set(histories.incidents["treatment"]) <= set(TREATMENTS)
    assert lives[["unit_id", "life_number"]].equals(
        lives[["unit_id", "life_number"]].sort_values(["unit_id", "life_number"])
    )
    for table in (histories.incidents, histories.checks):
        total = lives.set_index("life_id")["hours_observed"].reindex(table["life_id"]).to_numpy()
        assert (table["observed_hours"].to_numpy() <= total + 1e-9).all()
        assert (table.groupby("life_id")["observed_hours"].diff().dropna() >= 0).all()
