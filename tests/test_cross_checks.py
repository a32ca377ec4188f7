"""Checks between rows and tables: names that are nowhere, meters, overlapping fittings, the life of a unit, doubts."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.cross_checks import cross_check
from forecaster.doubts import doubtful_units
from forecaster.meters import check_meters as meter_problems
from forecaster.problems import Problem
from forecaster.records import TABLES, empty_frame
from forecaster.row_checks import CheckedTable, check_table
from forecaster.text_files import read_text_table

TODAY = date(2026, 1, 15)
Rows = list[dict[str, str]]
CRAFT: Rows = [{"craft_id": "C1"}, {"craft_id": "C2"}, {"craft_id": "C3"}]
FITTINGS: Rows = [
    {"unit_id": "S1", "craft_id": "C1", "fitted_on": "2025-04-01"},
    {"unit_id": "S2", "craft_id": "C2", "fitted_on": "2025-04-01"},
]


class Checked:
    """A fleet after all checks; tables that are not given hold nothing."""

    def __init__(self, **tables: Rows) -> None:
        given_ = {"craft": CRAFT, "fittings": FITTINGS} | tables
        self.tables = cross_check({name: _table(name, given_.get(name, [])) for name in TABLES})
        self.problems = [problem for table in self.tables.values() for problem in table.problems]
        self.doubtful = doubtful_units(self.tables)

    def rows(self, table: str) -> list[int]:
        """The rows that are used."""
        return self.tables[table].accepted.index.tolist()

    def the_only(self) -> Problem:
        assert len(self.problems) == 1, [str(problem) for problem in self.problems]
        return self.problems[0]


def _table(name: str, rows: Rows) -> CheckedTable:
    if not rows:
        return CheckedTable(TABLES[name], TABLES[name].file, empty_frame(name))
    columns = [column for column in TABLES[name].columns if any(column in row for row in rows)]
    lines = [",".join(columns), *(",".join(row.get(column, "") for column in columns) for row in rows)]
    return check_table(read_text_table("\n".join(lines).encode(), TABLES[name], f"{name}.csv"), TODAY)


def fitting(unit: str, craft: str, fitted: str, removed: str = "") -> dict[str, str]:
    return {"unit_id": unit, "craft_id": craft, "fitted_on": fitted, "removed_on": removed}


def opening(unit: str, day: str, outcome: str = "rebuilt", **more: str) -> dict[str, str]:
    row = {"unit_id": unit, "opened_on": day, "reason": "scheduled", "bearing": "sound", "outcome": outcome}
    return row | more


def incident(craft: str, day: str, **more: str) -> dict[str, str]:
    return {"craft_id": craft, "happened_on": day, "kind": "swamped"} | more


# --- names ---------------------------------------------------------------------------------------------------------


def test_a_name_that_is_nowhere_is_refused_with_the_nearest_known_one() -> None:
    problem = Checked(water=[incident("c2", "2025-06-01")]).the_only()
    assert (problem.file, problem.row, problem.column, problem.value) == ("water.csv", 2, "craft_id", "c2")
    assert problem.reason == "craft c2 is nowhere in craft.csv"
    assert "The nearest name there is C2." in problem.remedy


def test_a_name_like_no_other_is_not_likened_to_one() -> None:
    assert "Add it to craft.csv" in Checked(water=[incident("zebra", "2025-06-01")]).the_only().remedy


def test_rows_about_a_unit_whose_only_fitting_was_refused_say_so() -> None:
    checked = Checked(
        fittings=[*FITTINGS, fitting("S3", "C3", "soon")],
        rebuilds=[opening("S3", "2025-06-01")],
        checks=[{"unit_id": "S3", "checked_on": "2025-06-01"}],
    )
    about_unit = [p for p in checked.problems if p.file != "fittings.csv"]
    assert [p.file for p in about_unit] == ["rebuilds.csv", "checks.csv"]
    assert {p.reason for p in about_unit} == {"unit S3 was refused in fittings.csv row 4"}
    assert checked.doubtful.keys() == {"S3"}


def test_without_any_craft_other_rows_are_not_blamed() -> None:
    checked = Checked(craft=[], hours=[{"craft_id": "C1", "read_on": "2025-05-05", "meter": "1"}])
    assert checked.problems == []


# --- meters --------------------------------------------------------------------------------------------------------


def log(*readings: tuple[str, float] | tuple[str, float, str], craft: str = "C1") -> pd.DataFrame:
    """Readings (day, meter, new_meter) as hours.csv holds them, rows 2, 3, ... in the order given."""
    rows = [
        {"craft_id": craft, "read_on": pd.Timestamp(day), "meter": float(meter), "new_meter": new[0] if new else "no"}
        for day, meter, *new in readings
    ]
    return pd.DataFrame(rows, index=pd.RangeIndex(2, len(rows) + 2, name="row"))


def check_meters(hours: pd.DataFrame) -> list[Problem]:
    return list(meter_problems(hours))


def refused(problems: list[Problem]) -> list[int]:
    return sorted(p.row for p in problems if p.refused and p.row is not None)


def test_a_log_that_only_grows_has_no_problem() -> None:
    assert check_meters(log(("2025-05-05", 10), ("2025-05-12", 16.2), ("2025-05-19", 16.2))) == []


def test_rows_may_stand_in_any_order() -> None:
    assert check_meters(log(("2025-05-19", 20), ("2025-05-05", 10), ("2025-05-12", 16.2))) == []


def test_a_changed_meter_starts_anew_on_the_day_of_the_old_ones_last_reading() -> None:
    assert (
        check_meters(log(("2025-05-05", 500), ("2025-05-12", 0, "yes"), ("2025-05-12", 510), ("2025-05-19", 6))) == []
    )


@pytest.mark.parametrize(
    ("typed", "meant", "slip"),
    [
        (1523.0, "152.3", "the decimal point is missing"),
        (15.23, "152.3", ""),
        (125.3, "152.3", "two digits are swapped"),
        (1552.3, "152.3", "one digit is too many"),
        (752.3, "152.3", "one digit is wrong"),
    ],
)
def test_a_digit_typed_wrong_is_found_and_the_value_that_would_fit_suggested(
    typed: float, meant: str, slip: str
) -> None:
    days = ("2025-05-05", "2025-05-06", "2025-05-12", "2025-05-13", "2025-05-19")
    hours = (140, 148.1, typed, 155, 163)
    (problem,) = check_meters(log(*zip(days, hours, strict=True)))
    assert (problem.row, problem.column, problem.refused) == (4, "meter", True)
    assert (
        f"({meant} would fit: {slip})" if slip else "(between its neighbours 148.1 to 155 would fit)"
    ) in problem.remedy


def test_a_first_reading_far_too_high_is_the_one_refused() -> None:
    (problem,) = check_meters(log(("2025-05-05", 1000), ("2025-05-12", 106), ("2025-05-19", 112)))
    assert problem.row == 2
    assert "shows less later: 106 h on 2025-05-12 (row 3)" in problem.reason


def test_a_last_reading_far_too_high_is_the_one_refused() -> None:
    (problem,) = check_meters(log(("2025-05-05", 100), ("2025-05-12", 106), ("2025-05-19", 1120)))
    assert problem.row == 4
    assert "1014 h since 106 h on 2025-05-12 (row 3) are more than 24 h a day" in problem.reason
    assert "(112 would fit: the decimal point is missing)" in problem.remedy


def test_where_nothing_tells_which_of_two_is_wrong_both_are_refused() -> None:
    problems = check_meters(log(("2025-05-05", 100), ("2025-05-12", 150), ("2025-05-19", 140), ("2025-05-26", 160)))
    assert refused(problems) == [3, 4]
    assert "cannot show this and also 140 h on 2025-05-19 (row 4)" in problems[0].reason


def test_of_two_readings_less_than_an_hour_apart_the_first_is_kept() -> None:
    problems = check_meters(log(("2025-05-05", 100), ("2025-05-12", 150.6), ("2025-05-13", 150), ("2025-05-26", 160)))
    assert refused(problems) == [4]


def test_a_meter_changed_without_a_word_refuses_what_follows_and_names_the_one_row_to_mend() -> None:
    problems = check_meters(
        log(("2025-05-05", 500), ("2025-05-12", 506), ("2025-05-19", 3), ("2025-05-26", 9), ("2025-06-02", 15))
    )
    assert refused(problems) == [4, 5, 6]
    assert "write new_meter = yes in the first row of the new one, this one; then the 3 readings" in problems[0].remedy
    assert {p.remedy for p in problems[1:]} == {"Mend row 4; then this reading is used."}


def test_the_row_named_does_mend_it() -> None:
    readings = [("2025-05-05", 500), ("2025-05-12", 506), ("2025-05-19", 3, "yes"), ("2025-05-26", 9)]
    assert check_meters(log(*readings)) == []


def test_readings_of_a_new_meter_whose_first_one_is_refused_are_refused_with_it() -> None:
    problems = check_meters(
        log(("2025-05-05", 500), ("2025-05-12", 9000, "yes"), ("2025-05-19", 6), ("2025-05-26", 12), ("2025-06-02", 18))
    )
    assert refused(problems) == [3, 4, 5, 6]
    assert "goes on from row 3, the first of this meter, which is refused" in problems[1].reason


def test_each_craft_has_its_own_meter() -> None:
    first, second = log(("2025-05-05", 500), ("2025-05-12", 506)), log(("2025-05-06", 1), ("2025-05-13", 4), craft="C2")
    assert check_meters(pd.concat([first, second.set_axis([4, 5])])) == []


def test_twenty_four_hours_a_day_are_the_most_that_a_clock_allows() -> None:
    # from the morning of the 5th to the evening of the 7th: three days, 72 h
    assert refused(check_meters(log(("2025-05-05", 0), ("2025-05-07", 72)))) == []
    assert refused(check_meters(log(("2025-05-05", 0), ("2025-05-07", 72.1)))) == [2, 3]


def test_long_days_are_used_with_a_notice() -> None:
    # 15 h a day over three days is possible and hardly likely; 13 h a day passes
    (problem,) = check_meters(log(("2025-05-05", 0), ("2025-05-07", 45)))
    assert not problem.refused
    assert "15 h a day since 0 h on 2025-05-05 (row 2)" in problem.reason
    assert check_meters(log(("2025-05-05", 0), ("2025-05-07", 39))) == []


def test_a_reading_in_the_morning_and_one_in_the_evening_are_both_used_with_a_notice() -> None:
    (problem,) = check_meters(log(("2025-05-05", 100), ("2025-05-05", 104.5), ("2025-05-06", 104.5)))
    assert (problem.row, problem.refused) == (3, False)
    assert "two readings on 2025-05-05" in problem.reason


def test_two_readings_of_one_day_that_no_day_can_hold_are_refused() -> None:
    assert refused(check_meters(log(("2025-05-05", 100), ("2025-05-05", 160)))) == [2, 3]


def test_a_new_meter_that_goes_on_from_the_old_one_is_a_notice() -> None:
    (problem,) = check_meters(log(("2025-05-05", 100), ("2025-05-12", 106, "yes"), ("2025-05-19", 112)))
    assert (problem.row, problem.column, problem.value, problem.refused) == (3, "new_meter", "yes", False)
    assert "the hours between are not counted" in problem.reason


def plausible(hours: pd.DataFrame) -> bool:
    """The rule itself, reading by reading."""
    for _, readings in hours.groupby("craft_id"):
        ordered = readings.assign(new=readings["new_meter"] == "yes").sort_values(["read_on", "new", "meter"])
        for before, after in pairwise(ordered.to_dict("records")):
            step = after["meter"] - before["meter"]
            most = 24 * ((after["read_on"] - before["read_on"]).days + 1)
            if not after["new"] and not 0 <= step <= most:
                return False
    return True


LOGS = st.lists(
    st.tuples(st.integers(0, 12), st.integers(0, 60).map(lambda n: n * 12.0), st.sampled_from(["no"] * 6 + ["yes"])),
    min_size=1,
    max_size=9,
)


def any_log(readings: list[tuple[int, float, str]]) -> pd.DataFrame:
    return log(*((str(date(2025, 5, 1) + timedelta(days=day)), meter, new) for day, meter, new in readings))


@given(LOGS)
def test_what_is_kept_of_any_log_is_plausible(readings: list[tuple[int, float, str]]) -> None:
    hours = any_log(readings)
    problems = check_meters(hours)
    assert plausible(hours.drop(index=refused(problems)))
    assert len(refused(problems)) == len(set(refused(problems)))


@given(LOGS)
def test_a_plausible_log_loses_nothing(readings: list[tuple[int, float, str]]) -> None:
    hours = any_log(readings)
    if plausible(hours):
        assert refused(check_meters(hours)) == []
    else:
        assert refused(check_meters(hours))


@given(LOGS, st.randoms(use_true_random=False))
def test_the_order_of_the_rows_changes_nothing(readings: list[tuple[int, float, str]], random: object) -> None:
    hours = any_log(list(dict.fromkeys(readings)))
    shuffled = list(hours.index)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    same_day = hours.duplicated(["read_on", "meter"], keep=False) | hours.duplicated(
        ["read_on", "new_meter"], keep=False
    )
    if not same_day.any():  # rows that nothing but their number tells apart keep their order
        assert refused(check_meters(hours.loc[shuffled])) == refused(check_meters(hours))


def test_a_long_log_with_a_wrong_last_reading_is_searched_quickly_enough_to_finish() -> None:
    meter = np.arange(20_000) * 0.5
    meter[-1] = 3.0
    hours = pd.DataFrame(
        {
            "craft_id": "C1",
            "read_on": pd.Timestamp("1960-01-01") + pd.to_timedelta(np.arange(20_000), unit="D"),
            "meter": meter,
            "new_meter": "no",
        },
        index=pd.RangeIndex(2, 20_002, name="row"),
    )
    assert refused(check_meters(hours)) == [20_001]


# --- fittings ------------------------------------------------------------------------------------------------------


def test_a_unit_may_go_on_the_next_craft_on_the_day_that_it_came_off() -> None:
    assert (
        Checked(fittings=[fitting("S1", "C1", "2025-04-01", "2025-05-01"), fitting("S1", "C2", "2025-05-01")]).problems
        == []
    )


def test_two_overlapping_fittings_of_a_unit_are_both_refused_since_either_may_be_wrong() -> None:
    checked = Checked(fittings=[fitting("S1", "C1", "2025-04-01"), fitting("S1", "C2", "2025-06-01")])
    assert checked.rows("fittings") == []
    first, second = checked.problems
    assert "unit S1 is on C2 at that time: row 3 says 2025-06-01 still fitted" in first.reason
    assert "which row is wrong cannot be known" in second.reason
    assert "removed_on is missing" in first.remedy
    assert list(checked.doubtful) == ["S1"]


def test_two_units_on_one_craft_are_refused() -> None:
    checked = Checked(fittings=[fitting("S1", "C1", "2025-04-01", "2025-06-01"), fitting("S2", "C1", "2025-05-31")])
    assert [p.column for p in checked.problems] == ["craft_id", "craft_id"]
    assert "C1 has unit S2 at that time" in checked.problems[0].reason


def test_the_one_fitting_that_clashes_with_all_others_is_the_one_refused() -> None:
    checked = Checked(
        fittings=[
            fitting("S1", "C1", "2025-04-01", "2025-05-01"),
            fitting("S1", "C2", "2025-05-01", "2025-06-01"),
            fitting("S1", "C3", "2025-04-15", "2025-07-01"),
            fitting("S1", "C1", "2025-06-01"),
        ]
    )
    assert checked.rows("fittings") == [2, 3, 5]
    assert checked.the_only().row == 4
    assert "(also rows 3, 5)" in checked.the_only().reason


def test_a_fitting_of_no_days_inside_another_is_a_clash() -> None:
    checked = Checked(
        fittings=[fitting("S1", "C1", "2025-04-01", "2025-05-01"), fitting("S1", "C2", "2025-04-15", "2025-04-15")]
    )
    assert [p.row for p in checked.problems] == [2, 3]


PERIODS = st.lists(
    st.tuples(st.sampled_from("AB"), st.sampled_from("12"), st.integers(1, 12), st.integers(0, 6) | st.none()),
    min_size=1,
    max_size=6,
)


@given(PERIODS)
def test_what_is_kept_of_any_fittings_does_not_overlap(periods: list[tuple[str, str, int, int | None]]) -> None:
    def day(number: int) -> str:
        return f"2025-01-{number:02d}"

    rows = [fitting(f"S{u}", f"C{c}", day(a), "" if b is None else day(a + b)) for u, c, a, b in periods]
    kept = Checked(fittings=rows).tables["fittings"].accepted.fillna({"removed_on": pd.Timestamp("2099-01-01")})
    spans = list(kept[["unit_id", "craft_id", "fitted_on", "removed_on"]].itertuples(index=False, name=None))
    for n, (unit, craft, begins, ends) in enumerate(spans):
        for other_unit, other_craft, other_begins, other_ends in spans[n + 1 :]:
            if unit == other_unit or craft == other_craft:
                assert begins >= other_ends or other_begins >= ends


def test_thousands_of_fittings_that_all_clash_are_refused_and_end() -> None:
    checked = Checked(fittings=[fitting("S1", "C1", f"2025-04-{1 + n % 28:02d}", "2025-09-01") for n in range(300)])
    assert checked.rows("fittings") == []


def test_a_fitting_on_a_retired_craft_is_used_with_a_notice() -> None:
    checked = Checked(craft=[{"craft_id": "C1", "retired_on": "2025-01-31"}, *CRAFT[1:]])
    assert (checked.the_only().row, checked.the_only().refused) == (2, False)


# --- the life of a unit --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("outcome", ["scrapped", "replaced"])
def test_nothing_can_happen_to_a_unit_after_its_end(outcome: str) -> None:
    checked = Checked(
        fittings=[
            fitting("S1", "C1", "2025-04-01", "2025-06-01"),
            FITTINGS[1],
            fitting("S1", "C1", "2025-06-01"),  # the new unit under the old one's name
        ],
        rebuilds=[opening("S1", "2025-06-01", outcome), opening("S1", "2025-08-01")],
        checks=[{"unit_id": "S1", "checked_on": "2025-06-01"}, {"unit_id": "S1", "checked_on": "2025-06-02"}],
    )
    assert [(p.file, p.row, p.value) for p in checked.problems] == [
        ("fittings.csv", 4, "2025-06-01"),
        ("rebuilds.csv", 3, "2025-08-01"),
        ("checks.csv", 3, "2025-06-02"),
    ]
    assert all(f"unit S1 was {outcome} on 2025-06-01 (rebuilds.csv row 2)" in p.reason for p in checked.problems)
    assert all("a name of its own" in p.remedy for p in checked.problems)
    assert list(checked.doubtful) == ["S1"]


def test_an_end_before_the_first_fitting_is_refused_and_not_the_fitting() -> None:
    checked = Checked(rebuilds=[opening("S1", "2015-06-01", "scrapped")])
    assert checked.the_only().file == "rebuilds.csv"
    assert checked.the_only().refused
    assert checked.rows("fittings") == [2, 3]


def test_a_rebuild_before_the_first_fitting_is_used_with_a_notice() -> None:
    problem = Checked(rebuilds=[opening("S1", "2025-02-01")]).the_only()
    assert not problem.refused
    assert "before it was first fitted (2025-04-01)" in problem.reason


def test_a_check_before_the_first_fitting_is_used_with_a_notice() -> None:
    problem = Checked(checks=[{"unit_id": "S1", "checked_on": "2025-02-01", "spin": "quiet"}]).the_only()
    assert (problem.file, problem.refused) == ("checks.csv", False)


def test_a_unit_opened_twice_on_one_day_with_two_stories_is_refused_in_both() -> None:
    checked = Checked(rebuilds=[opening("S1", "2025-06-01"), opening("S1", "2025-06-01", "closed")])
    assert [p.row for p in checked.problems] == [2, 3]
    assert "with different facts (also row 3)" in checked.problems[0].reason


@pytest.mark.parametrize(
    ("row", "column"),
    [
        (opening("S1", "2025-06-01", reason="failure", bearing="sound"), "bearing"),
        (opening("S1", "2025-06-01", reason="failure", bearing="rusted"), "bearing"),
        (opening("S1", "2025-06-01", "closed", bearing="failed"), "bearing"),
        (opening("S1", "2025-06-01", front_housing="destroyed"), "outcome"),
        (opening("S1", "2025-06-01", "closed", parts="oem"), "parts"),
    ],
)
def test_facts_of_an_opening_that_hardly_go_together_are_a_notice(row: dict[str, str], column: str) -> None:
    checked = Checked(rebuilds=[row])
    problem = checked.the_only()
    assert (problem.row, problem.column, problem.value, problem.refused) == (2, column, row[column], False)
    assert checked.rows("rebuilds") == [2]


def test_facts_that_go_together_are_no_notice() -> None:
    checked = Checked(
        rebuilds=[
            opening("S1", "2025-06-01", reason="failure", bearing="failed", parts="oem"),
            opening("S2", "2025-06-01", "scrapped", reason="failure", bearing="unknown", front_housing="destroyed"),
        ]
    )
    assert checked.problems == []


# --- water ---------------------------------------------------------------------------------------------------------

SERVICE: Rows = [{"craft_id": "C1", "in_service_on": "2025-05-01", "retired_on": "2025-09-30"}, *CRAFT[1:]]


@pytest.mark.parametrize("day", ["2025-03-01", "2025-10-01"])
def test_an_incident_out_of_service_without_a_unit_is_refused(day: str) -> None:
    checked = Checked(
        craft=SERVICE,
        fittings=[fitting("S1", "C1", "2025-05-01", "2025-09-30"), FITTINGS[1]],
        water=[incident("C1", day)],
    )
    assert (checked.the_only().value, checked.the_only().refused) == (day, True)


@pytest.mark.parametrize(("day", "end"), [("2025-04-20", "in_service_on"), ("2025-10-01", "retired_on")])
def test_an_incident_out_of_service_with_a_unit_fitted_is_used_with_a_notice(day: str, end: str) -> None:
    checked = Checked(craft=SERVICE, fittings=FITTINGS, water=[incident("C1", day)])
    problem = next(p for p in checked.problems if p.file == "water.csv")
    assert not problem.refused
    assert end in problem.remedy
    assert checked.rows("water") == [2]


def test_an_incident_that_counts_for_no_unit_is_a_notice() -> None:
    problem = Checked(water=[incident("C3", "2025-06-01")]).the_only()
    assert "counts for none" in problem.reason
    assert not problem.refused


def test_an_incident_on_the_day_of_a_change_belongs_to_the_unit_before() -> None:
    fittings = [fitting("S1", "C1", "2025-04-01", "2025-06-01"), fitting("S2", "C1", "2025-06-01")]
    assert Checked(fittings=fittings, water=[incident("C1", "2025-06-01")]).problems == []
    assert Checked(fittings=fittings, water=[incident("C1", "2025-04-01")]).the_only().refused is False


def test_two_incidents_of_one_day_are_used_with_a_notice_each() -> None:
    checked = Checked(water=[incident("C1", "2025-06-01"), incident("C1", "2025-06-01", kind="capsized")])
    assert [(p.row, p.refused) for p in checked.problems] == [(2, False), (3, False)]


@pytest.mark.parametrize("days", [1, 2])
@pytest.mark.parametrize(
    ("kind", "earlier"), [("swamped", "swamped"), ("ingestion", "leak"), ("capsized", "ingestion")]
)
def test_an_incident_that_may_be_the_one_of_a_day_or_two_before_is_asked_about(
    days: int, kind: str, earlier: str
) -> None:
    water = [incident("C1", f"2025-06-0{1 + days}", kind=kind), incident("C1", "2025-06-01", kind=earlier)]
    checked = Checked(water=water)
    problem = checked.the_only()
    assert (problem.row, problem.value, problem.refused) == (2, f"2025-06-0{1 + days}", False)
    assert "C1 took water on 2025-06-01 too (row 3" in problem.reason
    assert "If it was one incident, keep one row" in problem.remedy
    assert checked.rows("water") == [2, 3]


@pytest.mark.parametrize(
    "other",
    [
        incident("C2", "2025-06-02"),  # another craft
        incident("C1", "2025-06-04"),  # three days on
        incident("C1", "2025-06-02", kind="capsized"),
    ],
)
def test_two_incidents_that_cannot_well_be_one_are_not_asked_about(other: dict[str, str]) -> None:
    assert Checked(water=[incident("C1", "2025-06-01"), other]).problems == []


@pytest.mark.parametrize(("meter", "asked"), [("11.9", True), ("12.0", False)])
def test_two_incidents_between_which_the_craft_was_in_use_are_not_asked_about(meter: str, asked: bool) -> None:
    water = [incident("C1", "2025-06-01"), incident("C1", "2025-06-03")]
    hours = [reading("C1", "2025-05-28", "1"), reading("C1", "2025-06-01", "10"), reading("C1", "2025-06-03", meter)]
    assert (len(Checked(water=water, hours=hours).problems) == 1) is asked


def test_hours_before_the_first_of_two_incidents_do_not_tell_them_apart() -> None:
    water = [incident("C1", "2025-06-02"), incident("C1", "2025-06-03")]
    hours = [reading("C1", "2025-06-01", "10"), reading("C1", "2025-06-03", "14")]
    assert len(Checked(water=water, hours=hours).problems) == 1


def test_a_meter_that_was_changed_between_two_incidents_shows_no_hours() -> None:
    water = [incident("C1", "2025-06-01"), incident("C1", "2025-06-03")]
    hours = [reading("C1", "2025-06-01", "10"), reading("C1", "2025-06-02", "90", "yes")]
    assert len(Checked(water=water, hours=hours).problems) == 1


def test_of_an_incident_told_day_after_day_each_row_names_the_one_before() -> None:
    checked = Checked(water=[incident("C1", f"2025-06-0{day}") for day in (1, 2, 3)])
    assert [p.row for p in checked.problems] == [3, 4]
    assert ["row 2" in checked.problems[0].reason, "row 3" in checked.problems[1].reason] == [True, True]


def test_a_time_to_a_treatment_that_was_not_done_is_a_notice() -> None:
    row = incident("C1", "2025-06-01", treated="no", treated_within_h="5")
    assert Checked(water=[row]).the_only().column == "treated_within_h"


# --- doubts --------------------------------------------------------------------------------------------------------


def reading(craft: str, day: str, meter: str, new_meter: str = "") -> dict[str, str]:
    return {"craft_id": craft, "read_on": day, "meter": meter, "new_meter": new_meter}


def test_good_rows_cast_no_doubt() -> None:
    checked = Checked(hours=[reading("C1", "2025-05-05", "1")], rebuilds=[opening("S1", "2025-06-01")])
    assert checked.doubtful == {}


@pytest.mark.parametrize(
    ("tables", "why"),
    [
        ({"rebuilds": [opening("S1", "2025-06-01", "mended")]}, "an opening of it was refused (rebuilds.csv row 2)"),
        ({"rebuilds": [opening("S1", "soon")]}, "an opening of it was refused (rebuilds.csv row 2)"),
        (
            {"checks": [{"unit_id": "S1", "checked_on": "2025-06-01", "spin": "x"}]},
            "a check of it was refused (checks.csv row 2)",
        ),
        (
            {"water": [incident("C1", "2025-06-01", treated="x")]},
            "a water incident of C1 was refused (water.csv row 2)",
        ),
        ({"water": [incident("C1", "soon")]}, "a water incident of C1 was refused (water.csv row 2)"),
        ({"hours": [reading("C1", "2025-05-05", "x")]}, "every reading of C1 was refused (hours.csv row 2)"),
        (
            {"hours": [reading("C1", "2025-05-05", "1"), reading("C1", "2025-05-12", "x")]},
            "the latest reading of C1 was refused (hours.csv row 3)",
        ),
        (
            {"hours": [reading("C1", "2025-05-05", "1"), reading("C1", "soon", "5")]},
            "the latest reading of C1 was refused (hours.csv row 3)",
        ),
        (
            {
                "hours": [
                    reading("C1", "2025-05-05", "1"),
                    reading("C1", "2025-05-12", "x", "yes"),
                    reading("C1", "2025-05-19", "9"),
                ]
            },
            "the first reading of a new meter of C1 was refused (hours.csv row 3)",
        ),
    ],
)
def test_what_was_refused_makes_its_unit_doubtful(tables: dict[str, Rows], why: str) -> None:
    assert Checked(**tables).doubtful == {"S1": why}


def test_a_reading_refused_between_good_ones_casts_no_doubt() -> None:
    hours = [reading("C1", "2025-05-05", "1"), reading("C1", "2025-05-12", "x"), reading("C1", "2025-05-19", "9")]
    assert Checked(hours=hours).doubtful == {}


def test_a_late_reading_that_was_refused_casts_no_doubt_on_a_unit_that_had_gone() -> None:
    fittings = [fitting("S1", "C1", "2025-04-01", "2025-05-01"), fitting("S2", "C1", "2025-05-01")]
    hours = [reading("C1", "2025-05-05", "1"), reading("C1", "2025-05-12", "x")]
    assert list(Checked(fittings=fittings, hours=hours).doubtful) == ["S2"]


def test_an_incident_on_a_known_day_casts_doubt_only_on_the_unit_fitted_then() -> None:
    fittings = [fitting("S1", "C1", "2025-04-01", "2025-06-01"), fitting("S2", "C1", "2025-06-01")]
    checked = Checked(fittings=fittings, water=[incident("C1", "2025-07-01", kind="x")])
    assert list(checked.doubtful) == ["S2"]


def test_an_incident_on_a_day_that_cannot_be_read_casts_doubt_on_all_that_were_fitted() -> None:
    fittings = [fitting("S1", "C1", "2025-04-01", "2025-06-01"), fitting("S2", "C1", "2025-06-01")]
    assert list(Checked(fittings=fittings, water=[incident("C1", "?")]).doubtful) == ["S1", "S2"]


def test_many_reasons_are_told_in_short() -> None:
    rebuilds = [opening("S1", f"2025-06-0{n}", "x") for n in range(1, 7)]
    assert Checked(rebuilds=rebuilds).doubtful["S1"].endswith("(rebuilds.csv row 4); and 3 more")
