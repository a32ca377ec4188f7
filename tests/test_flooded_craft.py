"""After water on a craft of a fleet: what its records tell of the unit, the day and the looks since; by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

import numpy as np
import pytest

from forecaster.errors import DataStopsAnswer, WrongUsage
from forecaster.fleet import Fleet
from forecaster.flooded_craft import flooded_alone, flooded_in_fleet, likely_day
from forecaster.flooding import AfterWater
from forecaster.flooding_facts import flooding_of
from forecaster.learning import TwoStageFit, fit_two_stage
from forecaster.lives import LIVES, Histories, frame
from forecaster.priors import read_priors
from forecaster.records import FleetRecords
from forecaster.report.after_water_wording import words_after_water
from forecaster.settings import FleetSettings
from tests.paper_fleet import fitted, opened, paper_fleet

WET, DAY = date(2025, 7, 10), date(2025, 7, 20)
METER = {"C1": [("2025-05-01", 100), ("2025-07-10", 150), ("2025-07-20", 160)]}


@cache
def general() -> TwoStageFit:
    return fit_two_stage(Histories(DAY, frame(LIVES)), draws=40)


def book(
    fittings: list[dict[str, Any]] | None = None, hours: dict[str, list[tuple[Any, ...]]] | None = None, **tables: Any
) -> FleetRecords:
    """S1, 20 h old when it came on C1 on May 1: 70 h at the water, 80 h when it is asked."""
    return paper_fleet(
        [{"craft_id": "C1", "water": "salt", "day_rate": 300.0}],
        fittings or [fitted("S1", "C1", "2025-05-01", hours=20.0)],
        hours=hours or METER,
        **tables,
    )


def asked(records: FleetRecords, craft_id: str = "C1", as_of: date = DAY, **facts: Any) -> AfterWater:
    flooding = flooding_of(**({"happened_on": WET} | facts))
    return flooded_in_fleet(records, general(), craft_id, flooding, as_of)


def row_of_water(day: str = "2025-07-10", **more: Any) -> dict[str, Any]:
    return {"craft_id": "C1", "happened_on": day, "kind": "swamped", **more}


# The unit -------------------------------------------------------------------------------------------------------------


def test_the_unit_and_its_hours_come_from_the_log() -> None:
    answer = asked(book())
    assert (answer.craft_id, answer.unit_id) == ("C1", "S1")
    assert answer.hours_since_rebuild == pytest.approx(80.0)
    assert answer.flooding.hours_run_since == pytest.approx(10.0)


def test_earlier_water_counts_and_this_one_not_twice() -> None:
    dry, wet = asked(book()), asked(book(water=[row_of_water("2025-06-01", treated="no")]))
    assert wet.risk[-1].no_incident.mean > dry.risk[-1].no_incident.mean
    logged = asked(book(water=[row_of_water()]))
    assert [row.untreated for row in logged.risk] == [row.untreated for row in dry.risk]
    assert [row.no_incident for row in logged.risk] == [row.no_incident for row in dry.risk]


def test_a_craft_that_is_not_there_names_the_nearest() -> None:
    with pytest.raises(WrongUsage, match=r"no craft 'C2' in craft\.csv\. Did you mean C1"):
        asked(book(), "C2")


def test_hours_since_the_water_are_the_logs_to_tell() -> None:
    with pytest.raises(WrongUsage, match=r"Enter a meter reading in hours\.csv"):
        asked(book(), hours_run_since=3.0)


@pytest.mark.parametrize(
    ("fittings", "rebuilds", "told"),
    [
        ([fitted("S1", "C1", "2025-05-01", "2025-07-15")], [], "No unit is in service on C1 on 2025-07-20"),
        (
            [fitted("S1", "C1", "2025-05-01", "2025-07-15"), fitted("S2", "C1", "2025-07-16", hours=0.0)],
            [],
            "S2, the unit on C1 now, was not on it then: S1 was",
        ),
        ([fitted("S2", "C1", "2025-07-16", hours=0.0)], [], "No unit sat on C1 on 2025-07-10"),
        (
            [fitted("S1", "C1", "2025-05-01", hours=0.0)],
            [opened("S1", "2025-07-12", "water", "rusted", "rebuilt")],
            "S1, the unit on C1 now, was rebuilt since: that water is no longer in it",
        ),
    ],
)
def test_water_that_is_not_in_the_unit_stops_the_answer(
    fittings: list[dict[str, Any]], rebuilds: list[dict[str, Any]], told: str
) -> None:
    with pytest.raises(DataStopsAnswer, match=told):
        asked(book(fittings, rebuilds=rebuilds))


# What the records tell of the day -------------------------------------------------------------------------------------


def test_what_is_left_out_comes_from_the_days_row() -> None:
    row = row_of_water(water="brackish", oil="clear", treated="yes", treated_within_h=30.0)
    answer = asked(book(water=[row]))
    told = answer.flooding
    assert (told.water, told.oil, told.treated, told.treated_within_h) == ("brackish", "clear", "yes", 30.0)
    assert answer.applies == "late"
    assert any(remark.startswith("From water.csv on 2025-07-10: ") for remark in answer.remarks)
    assert not any(step.code in ("write_down", "log_in_water_csv") for step in answer.steps)


def test_what_is_told_goes_before_the_days_row() -> None:
    row = row_of_water(water="brackish", treated="yes", treated_within_h=30.0)
    told = asked(book(water=[row]), treated="no", water="salt").flooding
    assert (told.water, told.treated, told.treated_within_h) == ("salt", "no", None)


def test_oil_that_was_milky_before_it_was_changed_is_no_reason_to_stop() -> None:
    assert not asked(book(water=[row_of_water(oil="milky", treated="yes", treated_within_h=3.0)])).stop
    assert asked(book(water=[row_of_water(oil="milky", treated="no")])).stop
    assert asked(book(water=[row_of_water(oil="milky", treated="yes")]), oil="milky").stop


def test_an_incident_that_is_not_logged_is_told_how_to_be() -> None:
    answer = asked(book(), water="salt", treated="yes", treated_within_h=5)
    told = [step.do for step in words_after_water(answer).steps]
    assert "Write it into water.csv: C1, 2025-07-10, its kind, water salt, treated yes, treated_within_h 5." in told


def test_water_a_few_days_off_may_be_the_same() -> None:
    answer = asked(book(water=[row_of_water("2025-07-08")]))
    assert any("water.csv has water on C1 on 2025-07-08 too" in remark for remark in answer.remarks)
    far = asked(book(water=[row_of_water("2025-06-08")]))
    assert not any("too, counted besides" in remark for remark in far.remarks)


@pytest.mark.parametrize(
    ("checks", "told", "stop"),
    [
        ([("2025-07-12", "quiet")], "quiet", False),
        ([("2025-07-12", "rattle")], "rattle", True),
        ([("2025-07-12", "rattle"), ("2025-07-14", "quiet")], "rattle", True),  # a rattle is not undone by a spin
        ([("2025-07-01", "rattle")], "not_done", True),  # before the water: it stands on the unit's record
        ([("2025-07-01", "rattle"), ("2025-07-12", "quiet")], "quiet", True),
        ([("2025-07-25", "rattle")], "not_done", False),  # after the day asked about
    ],
)
def test_looks_since_the_water_are_known(checks: list[tuple[str, str]], told: str, stop: bool) -> None:
    rows = [{"unit_id": "S1", "checked_on": day, "spin": spin} for day, spin in checks]
    answer = asked(book(checks=rows))
    assert (answer.flooding.spin, answer.stop) == (told, stop)


def test_a_rattle_is_undone_by_opening_it_and_finding_it_sound() -> None:
    rows = [{"unit_id": "S1", "checked_on": "2025-07-12", "spin": "rattle"}]
    found = [opened("S1", "2025-07-14", "check", "sound", "closed")]
    assert not asked(book(checks=rows, rebuilds=found)).stop


def test_milky_oil_seen_at_a_look_stops() -> None:
    assert asked(book(checks=[{"unit_id": "S1", "checked_on": "2025-07-12", "oil": "milky"}])).stop


def test_a_strange_tomorrow_changes_nothing() -> None:
    today = asked(book(hours={"C1": METER["C1"]}, water=[row_of_water(treated="unknown")]), as_of=WET)
    later = book(
        hours={"C1": METER["C1"]},
        water=[row_of_water(treated="yes", treated_within_h=90.0), row_of_water("2025-07-15", oil="milky")],
        rebuilds=[opened("S1", "2025-07-18", "failure", "failed", "scrapped")],
        checks=[{"unit_id": "S1", "checked_on": "2025-07-12", "spin": "rattle"}],
    )
    assert asked(later, as_of=WET) == today


def test_clock_hours_alone_find_the_day_that_the_log_has() -> None:
    logged = book(water=[row_of_water("2025-07-18")])
    assert likely_day(logged, "C1", 30.0, DAY) == date(2025, 7, 18)  # a day ago by the clock, two by the calendar
    assert likely_day(book(), "C1", 30.0, DAY) == date(2025, 7, 19)
    assert likely_day(logged, "C1", None, DAY) == DAY


def test_clock_hours_that_the_log_rules_out_give_way_to_it() -> None:
    records = book(hours={"C1": [("2025-05-01", 100), ("2025-07-19", 150), ("2025-07-20", 160)]})
    answer = asked(records, happened_on=date(2025, 7, 19), hours_ago=3.0)
    assert answer.flooding.hours_ago is None
    assert answer.flooding.hours_run_since == pytest.approx(10.0)
    assert any("said to be 3 clock hours ago" in remark for remark in answer.remarks)


def test_a_craft_without_a_catch_can_is_told_to_get_one() -> None:
    records = book()
    bare = replace(records, craft=records.craft.assign(catch_can="no"))
    assert "fit_catch_can" in [step.code for step in asked(bare).steps]
    assert "fit_catch_can" not in [step.code for step in asked(records).steps]


# Prices ---------------------------------------------------------------------------------------------------------------


def test_lost_rental_days_count_at_the_crafts_own_rate() -> None:
    dear = replace(book(), craft=book().craft.assign(day_rate=1000.0))
    own, dearer = asked(book()), asked(dear)
    assert dearer.options[0].expected_cost > own.options[0].expected_cost + 3 * 700.0
    assert not any("day_rate" in remark for remark in own.remarks)


def test_a_craft_without_a_rate_takes_the_settings_and_says_so_whatever_the_others_earn() -> None:
    rate = FleetSettings().costs.day_rate_if_unknown
    two = paper_fleet([{"craft_id": "C1", "water": "salt"}, {"craft_id": "C2", "day_rate": 9000.0}])
    blank, stated = replace(book(), craft=two.craft), replace(book(), craft=book().craft.assign(day_rate=rate))
    assert asked(blank).options == asked(stated).options
    assert (
        "C1 has no day_rate in craft.csv: USD 200 for each lost day is assumed (day_rate_if_unknown in fleet.toml)."
        in asked(blank).remarks
    )


def test_off_season_opening_costs_no_rental_days() -> None:
    records = book(hours={"C1": [("2025-05-01", 100), ("2025-10-10", 150), ("2025-12-01", 151)]})
    in_season = asked(records, as_of=date(2025, 10, 10), happened_on=date(2025, 10, 10))
    off_season = asked(records, as_of=date(2025, 12, 1), happened_on=date(2025, 12, 1))
    saved = in_season.options[0].expected_cost - off_season.options[0].expected_cost
    assert saved == pytest.approx(120.0 + 3 * 300.0)


# The sample, and no fleet at all --------------------------------------------------------------------------------------


def test_in_the_sample_water_does_no_good_and_treating_does(sample: Fleet) -> None:
    day = date(2026, 9, 20)
    for craft_id in ("C001", "C007"):
        flooding = flooding_of(happened_on=date(2026, 9, 18), spin="quiet")
        for row in sample.after_water(craft_id, flooding, day).risk:
            chances = [row.no_incident, row.treated, row.late, row.untreated]
            assert [one.mean for one in chances] == sorted(one.mean for one in chances)
            assert all(one.low < one.mean < one.high for one in chances)


def test_without_a_fleet_it_is_general_experience() -> None:
    answer = flooded_alone(flooding_of(happened_on=DAY), DAY)
    assert answer.evidence.lives == 0
    assert "mostly general experience" in words_after_water(answer).reasons
    assert any("averaged over 5, 35, 75, 130, 230 h" in remark for remark in answer.remarks)


def test_without_a_fleet_another_ones_experience_may_stand_in() -> None:
    base = read_priors()
    worse = base.with_normal(
        base.mean - 0.5 * (np.arange(len(base.mean)) == 1), base.covariance, "experience of 9 lives"
    )
    flooding = flooding_of(happened_on=DAY)
    general, taught = (flooded_alone(flooding, DAY, 80.0, prior=prior) for prior in (None, worse))
    assert taught.risk[-1].no_incident.mean > general.risk[-1].no_incident.mean
    assert "mostly experience of 9 lives" in words_after_water(taught).reasons


def test_without_a_fleet_prices_may_be_given() -> None:
    dear = FleetSettings.model_validate({"costs": {"rebuild": 900}, "season": {"opens": "05-01", "closes": "06-01"}})
    flooding = flooding_of(happened_on=DAY)
    usual, given = (flooded_alone(flooding, DAY, 80.0, settings=one) for one in (None, dear))
    assert given.options[0].expected_cost > usual.options[0].expected_cost + 100.0
