"""Engine hours ahead: the simple rule, worked out by hand."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from forecaster.records import TABLES, FleetRecords, empty_frame
from forecaster.settings import FleetSettings, read_settings
from forecaster.usage import READINGS_WORTH, expected_use


def fleet(*readings: tuple[str, str, float], craft: tuple[str, ...] = (), settings: str = "") -> FleetRecords:
    """Records of nothing but meter readings: (craft_id, day, meter); "new" after the day marks a changed meter."""
    rows = [
        {"craft_id": c, "read_on": pd.Timestamp(day.split()[0]), "meter": m, "new_meter": "yes" if " " in day else "no"}
        for c, day, m in readings
    ]
    names = craft or tuple(sorted({c for c, _, _ in readings}))
    tables = {name: empty_frame(name) for name in TABLES}
    if rows:
        tables["hours"] = pd.DataFrame(rows)
    tables["craft"] = pd.DataFrame({"craft_id": list(names)})
    return FleetRecords(**tables, settings=read_settings(settings) if settings else FleetSettings())


def test_one_craft_goes_on_as_it_ran_last_season() -> None:
    records = fleet(("C1", "2026-05-01", 100.0), ("C1", "2026-10-15", 267.0))  # 167 h in the 167 days after the first
    use = expected_use(records, date(2026, 11, 1))
    assert (use.opens, use.closes, use.days) == (date(2027, 5, 1), date(2027, 10, 15), 168)
    assert use.craft.loc["C1", "hours"] == pytest.approx(168.0)


def test_in_season_only_the_days_that_are_left_count() -> None:
    records = fleet(("C1", "2026-05-01", 0.0), ("C1", "2026-08-01", 92.0))  # 1 h a day
    use = expected_use(records, date(2026, 10, 5))
    assert use.days == 10
    assert use.craft.loc["C1", "hours"] == pytest.approx(10.0)


def test_few_readings_are_drawn_towards_the_fleet() -> None:
    busy = [("C1", f"2026-{month:02d}-01", 30.0 * (month - 5)) for month in range(5, 11)]
    records = fleet(*busy, ("C2", "2026-05-01", 0.0), ("C2", "2026-10-01", 0.0))
    craft = expected_use(records, date(2026, 11, 1)).craft
    fleet_rate = 150.0 / (153 + 153)
    own = 150.0 / 153
    assert craft.loc["C1", "hours_per_day"] == pytest.approx((5 * own + READINGS_WORTH * fleet_rate) / (5 + 4))
    assert craft.loc["C2", "hours_per_day"] == pytest.approx(READINGS_WORTH * fleet_rate / (1 + 4))


def test_a_craft_without_readings_gets_the_fleets_rate() -> None:
    records = fleet(("C1", "2026-05-01", 0.0), ("C1", "2026-10-15", 167.0), craft=("C1", "C9"))
    craft = expected_use(records, date(2026, 11, 1)).craft
    assert craft.loc["C9", "hours"] == craft.loc["C1", "hours"]
    assert craft.loc["C9", "readings"] == 0


def test_a_season_that_has_just_opened_does_not_stand_alone() -> None:
    # 1 h a day last season; then the fleet stood still on the first rainy week
    records = fleet(
        ("C1", "2025-05-01", 0.0), ("C1", "2025-10-15", 167.0), ("C1", "2026-05-01", 167.0), ("C1", "2026-05-08", 167.0)
    )  # fmt: skip
    rate = expected_use(records, date(2026, 5, 8)).craft.loc["C1", "hours_per_day"]
    assert rate == pytest.approx(167.0 / 175.0)


def test_hours_of_the_seasons_before_do_not_count() -> None:
    records = fleet(("C1", "2024-05-01", 0.0), ("C1", "2025-04-30", 900.0), ("C1", "2025-10-15", 1068.0))
    assert expected_use(records, date(2025, 11, 1)).craft.loc["C1", "hours_per_day"] == pytest.approx(1.0)


def test_old_readings_count_where_there_are_no_newer_ones() -> None:
    records = fleet(("C1", "2023-05-01", 0.0), ("C1", "2023-10-15", 167.0))
    assert expected_use(records, date(2026, 11, 1)).craft.loc["C1", "hours_per_day"] == pytest.approx(1.0)


def test_over_a_change_of_meters_the_craft_goes_on_as_usual() -> None:
    records = fleet(("C1", "2026-05-01", 100.0), ("C1", "2026-07-01 new", 2.0), ("C1", "2026-10-15", 108.0))
    assert expected_use(records, date(2026, 11, 1)).craft.loc["C1", "own_hours_per_day"] == pytest.approx(1.0)


def test_a_meter_changed_on_the_day_of_its_last_reading_comes_after_it() -> None:
    records = fleet(
        ("C1", "2026-05-01", 100.0), ("C1", "2026-07-01 new", 0.0), ("C1", "2026-07-01", 161.0),
        ("C1", "2026-10-15", 106.0),
    )  # fmt: skip
    assert expected_use(records, date(2026, 11, 1)).craft.loc["C1", "own_hours_per_day"] == pytest.approx(1.0)


def test_nothing_dated_later_is_used() -> None:
    known = [("C1", "2026-05-01", 0.0), ("C1", "2026-07-01", 61.0)]
    later = fleet(*known, ("C1", "2026-07-09", 999.0))
    as_of = date(2026, 7, 8)
    pd.testing.assert_frame_equal(expected_use(later, as_of).craft, expected_use(fleet(*known), as_of).craft)


@pytest.mark.parametrize("readings", [(), (("C1", "2026-06-01", 5.0),), (("C1", "2025-12-01", 5.0),)])
def test_without_readings_that_tell_no_hours_are_expected_and_it_says_so(readings: tuple) -> None:
    use = expected_use(fleet(*readings, craft=("C1",)), date(2026, 11, 1))
    assert use.craft.loc["C1", "hours"] == 0.0
    assert "the season's risk is understated" in use.remark


def test_a_fleet_that_reads_its_meters_once_a_year_is_told_by_more_than_one_season() -> None:
    records = fleet(("C1", "2024-10-15", 0.0), ("C1", "2025-10-15", 168.0), ("C1", "2026-10-15", 336.0))
    assert expected_use(records, date(2026, 11, 1)).craft.loc["C1", "hours_per_day"] == pytest.approx(1.0)


def test_a_season_over_the_turn_of_the_year() -> None:
    south = '[season]\nopens = "11-01"\ncloses = "03-31"\n'
    records = fleet(("C1", "2025-11-01", 0.0), ("C1", "2026-03-31", 150.0), settings=south)
    use = expected_use(records, date(2026, 6, 1))
    assert (use.opens, use.closes, use.days) == (date(2026, 11, 1), date(2027, 3, 31), 151)
    assert use.craft.loc["C1", "hours"] == pytest.approx(151.0)
