"""Numbers and days that are hardly meant so: refused, or used and asked about, and never learned from in silence."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster import simulate_fleet
from forecaster.fleet import Fleet
from forecaster.histories import build_histories
from forecaster.learning import fit_two_stage
from forecaster.problems import Problem
from forecaster.reading import read_fleet
from forecaster.records import TABLES, FleetRecords
from forecaster.report.as_json import validation_json
from forecaster.weibull import fit_weibull
from forecaster.worlds import WORLDS
from forecaster.writing import write_fleet
from tests.small_fleet import TODAY, add_row, set_cell, small_fleet, small_fleet_folder
from tests.test_cross_checks import Checked, Rows, fitting, opening, reading

HALF_A_YEAR = "2025-10-01"


def fitted(unit: str, craft: str, hours: str, on: str = "2025-04-01", **more: str) -> dict[str, str]:
    return {"unit_id": unit, "craft_id": craft, "fitted_on": on, "hours_at_fitting": hours} | more


# --- ranges of one number ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("table", TABLES)
def test_every_number_of_the_contract_has_a_range_in_two_steps(table: str) -> None:
    for column in TABLES[table].columns.values():
        if column.kind == "number":
            limits = column.limits
            assert limits is not None, column.name
            assert limits.least <= limits.low < limits.high <= limits.most
            assert (column.minimum, column.maximum) == (limits.least, limits.most)
            assert limits.means or (limits.low, limits.high) == (limits.least, limits.most)


@pytest.mark.parametrize(
    ("table", "row", "column", "said"),
    [
        ("checks", {"unit_id": "S1", "checked_on": HALF_A_YEAR, "slip": "1.4"}, "slip", "less than 3 lb·ft"),
        ("checks", {"unit_id": "S1", "checked_on": HALF_A_YEAR, "boost_kpa": "620"}, "boost_kpa", "more than 300 kPa"),
        ("checks", {"unit_id": "S1", "checked_on": HALF_A_YEAR, "shaft_play_mm": "3"}, "shaft_play_mm", "2 mm"),
        ("checks", {"unit_id": "S1", "checked_on": HALF_A_YEAR, "oil_water_ppm": "225000"}, "oil_water_ppm", "5 %"),
        ("rebuilds", opening("S1", HALF_A_YEAR, slip_set="1.55"), "slip_set", "hardly drives the impeller"),
        (
            "water",
            {
                "craft_id": "C1",
                "happened_on": HALF_A_YEAR,
                "kind": "leak",
                "treated": "yes",
                "treated_within_h": "1700",
            },
            "treated_within_h",
            "more than a month after the water",
        ),
        ("hours", reading("C1", HALF_A_YEAR, "80400"), "meter", "more than 20000 h"),
    ],
)
def test_what_can_be_so_but_seldom_is_is_used_and_asked_about(
    table: str, row: dict[str, str], column: str, said: str
) -> None:
    checked = Checked(**{table: [row]})
    problem = checked.the_only()
    assert (problem.file, problem.row, problem.column, problem.refused) == (f"{table}.csv", 2, column, False)
    assert problem.value == row[column]
    assert said in problem.reason
    assert "Look for a typing error" in problem.remedy
    assert checked.rows(table) == [2]


# --- ages ----------------------------------------------------------------------------------------------------------


def ages(hours: str, others: tuple[str, ...] = (), meter: str | None = None) -> Checked:
    """A unit fitted with so many hours beside others with theirs, and perhaps a reading of some craft of that time."""
    craft = [{"craft_id": f"C{n}"} for n in range(1, len(others) + 2)]
    fittings = [fitted("S1", "C1", hours), *(fitted(f"S{n}", f"C{n}", age) for n, age in enumerate(others, 2))]
    hours_csv = [] if meter is None else [reading("C1", "2025-04-02", meter)]
    return Checked(craft=craft, fittings=fittings, hours=hours_csv)


USUAL = ("0", "56", "91", "137", "154", "176")


@pytest.mark.parametrize(
    ("hours", "others", "meter"),
    [
        ("1370", USUAL, None),  # the decimal point of 137 slipped
        ("880", USUAL, "392.2"),
        ("1370", ("300",), None),  # few others: only beyond 1,000 h
        ("1100", (), "392.2"),
        ("2400", ("1900", "1900", "1900", "1900", "1900"), None),  # beyond what any bearing runs
    ],
)
def test_an_age_far_beyond_the_fleets_is_asked_about_and_held_back(
    hours: str, others: tuple[str, ...], meter: str | None
) -> None:
    checked = ages(hours, others, meter)
    problem = checked.the_only()
    assert (problem.file, problem.row, problem.column, problem.value) == ("fittings.csv", 2, "hours_at_fitting", hours)
    assert problem.held_back
    assert not problem.refused
    assert checked.tables["fittings"].held_back == {2}
    assert checked.doubtful == {"S1": "the hours stated of it are asked about (fittings.csv row 2)"}


@pytest.mark.parametrize(
    ("hours", "others", "meter"),
    [
        ("900", (), None),  # a long life, and nothing to compare it with
        ("900", ("310", "56", "91", "137", "154"), None),  # no three times the longest of the others
        ("1370", USUAL, "1371.5"),  # as old as its engine
        ("2400", USUAL, "2400"),
        ("400", USUAL, None),
    ],
)
def test_a_long_life_that_may_well_be_one_is_not_asked_about(
    hours: str, others: tuple[str, ...], meter: str | None
) -> None:
    assert ages(hours, others, meter).problems == []


def test_the_value_that_was_probably_meant_is_suggested() -> None:
    assert "was it 137?" in ages("1370", USUAL).the_only().remedy


def test_the_hours_stated_at_an_opening_are_asked_about_alike() -> None:
    fittings = [fitted(f"S{n}", f"C{n}", age) for n, age in enumerate(USUAL, 1)]
    checked = Checked(
        craft=[{"craft_id": f"C{n}"} for n in range(1, 7)],
        fittings=fittings,
        rebuilds=[opening("S1", HALF_A_YEAR, hours="1500"), opening("S2", HALF_A_YEAR, hours="150")],
    )
    problem = checked.the_only()
    assert (problem.file, problem.row, problem.column) == ("rebuilds.csv", 2, "hours")
    assert list(checked.doubtful) == ["S1"]


# --- money ---------------------------------------------------------------------------------------------------------


def rates(*amounts: str) -> list[Problem]:
    return Checked(craft=[{"craft_id": f"C{n}", "day_rate": rate} for n, rate in enumerate(amounts, 1)]).problems


def test_a_price_ten_times_the_usual_or_a_tenth_is_asked_about() -> None:
    asked = rates("360", "350", "3600", "355", "340", "34")
    assert [(p.row, p.column, p.value, p.refused) for p in asked] == [
        (4, "day_rate", "3600", False),
        (7, "day_rate", "34", False),
    ]


def test_prices_that_differ_less_or_are_few_or_nothing_are_not() -> None:
    assert rates("360", "350", "3400", "355", "340", "0") == []
    assert rates("360", "3600") == []


# --- days ----------------------------------------------------------------------------------------------------------


def test_a_unit_that_goes_on_fresh_although_no_opening_tells_of_it_is_asked_about() -> None:
    fittings = [fitting("S1", "C1", "2025-04-01", "2025-07-01"), fitted("S1", "C1", "0", "2025-07-05")]
    hours = [reading("C1", "2025-04-01", "10"), reading("C1", "2025-06-30", "70")]
    problem = Checked(fittings=fittings, hours=hours).the_only()
    assert (problem.file, problem.row, problem.column) == ("fittings.csv", 3, "hours_at_fitting")
    assert "no opening of it since 2025-06-24" in problem.reason


@pytest.mark.parametrize(
    ("rebuilds", "hours"),
    [
        ([opening("S1", "2025-07-02")], ("10", "70")),
        ([opening("S1", "2025-06-26")], ("10", "70")),  # opened some days before its removal is written down
        ([], ("10", "14")),  # it had hardly run
    ],
)
def test_a_unit_that_may_be_fresh_is_not_asked_about(rebuilds: Rows, hours: tuple[str, str]) -> None:
    fittings = [fitting("S1", "C1", "2025-04-01", "2025-07-01"), fitted("S1", "C1", "0", "2025-07-05")]
    log = [reading("C1", day, meter) for day, meter in zip(("2025-04-01", "2025-06-30"), hours, strict=True)]
    assert Checked(fittings=fittings, hours=log, rebuilds=rebuilds).problems == []


@pytest.mark.parametrize(("opened", "asked"), [("2025-05-01", False), (None, True)])
def test_other_parts_without_an_opening_are_asked_about(opened: str | None, asked: bool) -> None:
    fittings = [
        fitting("S1", "C1", "2025-04-01", "2025-07-01") | {"parts": "oem"},
        fitting("S1", "C2", "2025-07-05") | {"parts": "aftermarket"},
    ]
    rebuilds = [] if opened is None else [opening("S1", opened)]
    problems = Checked(fittings=fittings, rebuilds=rebuilds).problems
    assert [(p.row, p.column, p.value) for p in problems] == ([(3, "parts", "aftermarket")] if asked else [])


def test_a_craft_whose_meter_runs_on_after_it_retired_is_asked_about() -> None:
    craft = [{"craft_id": "C1", "retired_on": "2024-10-01"}, {"craft_id": "C2"}]
    hours = [reading("C1", "2024-09-01", "10"), reading("C1", "2025-05-01", "60"), reading("C1", "2025-06-01", "90")]
    fittings = [fitting("S1", "C1", "2024-04-01"), fitting("S2", "C2", "2024-04-01")]
    checked = Checked(craft=craft, hours=hours, fittings=fittings)
    problem = checked.the_only()
    assert (problem.file, problem.row, problem.column, problem.value) == ("craft.csv", 2, "retired_on", "2024-10-01")
    assert "30 h more since" in problem.reason
    assert list(checked.doubtful) == ["S1"]


def test_hours_up_to_the_day_of_retirement_are_not_asked_about() -> None:
    craft = [{"craft_id": "C1", "retired_on": "2025-05-01"}, {"craft_id": "C2"}]
    hours = [reading("C1", "2024-09-01", "10"), reading("C1", "2025-05-01", "60"), reading("C1", "2025-06-01", "60")]
    assert Checked(craft=craft, hours=hours).problems == []


def test_a_craft_that_ran_before_it_was_in_service_is_asked_about() -> None:
    craft = [{"craft_id": "C1", "in_service_on": "2025-06-01"}, {"craft_id": "C2"}]
    hours = [reading("C1", "2025-04-01", "10"), reading("C1", "2025-05-01", "60")]
    problem = Checked(craft=craft, hours=hours).the_only()
    assert (problem.row, problem.column, problem.held_back) == (2, "in_service_on", False)


@pytest.mark.parametrize(
    ("in_service_on", "fitted_on", "asked"),
    [
        ("2025-05-01", "2015-04-01", True),
        ("2025-05-01", "2024-06-01", False),
        ("", "2015-04-01", True),
        ("", "2021-04-01", False),
    ],
)
def test_a_unit_fitted_long_before_its_craft_was_in_use_is_asked_about(
    in_service_on: str, fitted_on: str, asked: bool
) -> None:
    craft = [{"craft_id": "C1", "in_service_on": in_service_on}]
    hours = [reading("C1", "2025-05-02", "10")]
    checked = Checked(craft=craft, hours=hours, fittings=[fitting("S1", "C1", fitted_on)])
    assert [(p.row, p.column, p.held_back) for p in checked.problems] == ([(2, "fitted_on", True)] if asked else [])


# --- what is asked about teaches nothing about others ----------------------------------------------------------------


@pytest.fixture(scope="module")
def drawn() -> FleetRecords:
    return simulate_fleet(craft=8, seasons=2, seed=4).records


END = date(2025, 10, 31)


def with_age(records: FleetRecords, row: int, hours: float, held_back: bool) -> FleetRecords:
    fittings = records.fittings.copy()
    fittings.loc[row, "hours_at_fitting"] = hours
    return replace(records, fittings=fittings, held_back={"fittings": frozenset({row})} if held_back else {})


@pytest.mark.parametrize("fit", [fit_two_stage, fit_weibull])
def test_a_life_that_is_held_back_teaches_nothing_whatever_its_age(drawn: FleetRecords, fit: object) -> None:
    row = int(drawn.fittings.index[drawn.fittings["hours_at_fitting"] > 0][0])
    told = []
    for hours in (67.0, 4_900.0):
        histories = build_histories(with_age(drawn, row, hours, held_back=True), END)
        assert len(histories.held_back) == 1
        fitted_model = fit(histories, draws=60)  # type: ignore[operator]
        assert fitted_model.evidence.lives == histories.n_lives - 1 or fit is fit_weibull
        assert sum("not learned from" in remark for remark in fitted_model.evidence.remarks) == 1
        others = histories.in_service()
        told.append(fitted_model.chance_of_failing(others, np.array([50.0])).mean(axis=0))
    np.testing.assert_allclose(told[0], told[1], atol=1e-12)


def test_without_holding_it_back_it_would_bend_the_others(drawn: FleetRecords) -> None:
    row = int(drawn.fittings.index[drawn.fittings["hours_at_fitting"] > 0][0])
    told = []
    for hours in (67.0, 4_900.0):
        histories = build_histories(with_age(drawn, row, hours, held_back=False), END)
        others = histories.in_service()
        told.append(fit_two_stage(histories, draws=60).chance_of_failing(others, np.array([50.0])).mean(axis=0))
    assert np.abs(told[0] - told[1]).max() > 0.03


@pytest.mark.parametrize(
    ("table", "column"), [("fittings", "fitted_on"), ("rebuilds", "opened_on"), ("hours", "read_on")]
)
def test_a_row_that_is_held_back_holds_back_lives_of_its_own_unit_or_craft_alone(
    drawn: FleetRecords, table: str, column: str
) -> None:
    rows = drawn.table(table)
    about = "craft_id" if table == "hours" else "unit_id"
    row = int(rows.index[len(rows) // 2])
    histories = build_histories(replace(drawn, held_back={table: frozenset({row})}), END)
    held = histories.lives[histories.lives["life_id"].isin(histories.held_back)]
    on = histories.stretches[histories.stretches["craft_id"] == rows.loc[row, about]]["life_id"]
    own = histories.lives[histories.lives["unit_id"] == rows.loc[row, about]]["life_id"]
    assert 1 <= len(held) <= 2
    assert set(held["life_id"]) <= set(on if table == "hours" else own)
    assert (held["began_on"] <= rows.loc[row, column]).all()
    assert (held["ended_on"] >= rows.loc[row, column]).all()


def test_before_the_day_of_the_row_nothing_is_held_back(drawn: FleetRecords) -> None:
    row = int(drawn.fittings.index[-1])
    day = drawn.fittings.loc[row, "fitted_on"].date()
    held = replace(drawn, held_back={"fittings": frozenset({row})})
    assert build_histories(held, day).held_back
    assert not build_histories(held, date.fromordinal(day.toordinal() - 1)).held_back


@pytest.mark.parametrize(("stated", "remarked"), [(500.0, True), (60.0, False), (25.0, False), (4_000.0, True)])
def test_hours_stated_at_an_opening_far_from_the_log_are_remarked(stated: float, remarked: bool) -> None:
    records = small_fleet()
    rebuilds = records.rebuilds.copy()
    rebuilds.loc[2, "hours"] = stated  # of S1, which the log has run some 52 h from fresh
    told = build_histories(replace(records, rebuilds=rebuilds), TODAY).remarks
    assert any("at its opening" in one.text for one in told if one.about == "S1") is remarked


# --- every way to read, and every face ------------------------------------------------------------------------------


def test_a_wild_age_is_told_by_every_face_and_leaves_the_others_alone(tmp_path: Path) -> None:
    folder = small_fleet_folder(tmp_path)
    before = Fleet(read_fleet(folder, TODAY)).forecast(TODAY)
    set_cell(folder / "fittings.csv", 9, "hours_at_fitting", "1370")
    fleet = Fleet(read_fleet(folder, TODAY))
    (problem,) = fleet.reading.problems
    assert str(problem).startswith("fittings.csv row 9, hours_at_fitting '1370': 1370 h since new or rebuilt")
    (told,) = validation_json(fleet.reading)["problems"]
    assert (told["row"], told["column"], told["value"], told["refused"]) == (9, "hours_at_fitting", "1370", False)
    assert fleet.reading.doubtful_units == {"S5": "the hours stated of it are asked about (fittings.csv row 9)"}
    after = fleet.forecast(TODAY)
    assert after.evidence.lives == before.evidence.lives - 1
    assert any("1 life is not learned from" in remark for remark in after.evidence.remarks)


def test_the_own_answer_of_a_doubted_age_is_never_the_milder_one(tmp_path: Path) -> None:
    folder = small_fleet_folder(tmp_path)
    risks = []
    for hours in ("137", "1370", "1900"):
        set_cell(folder / "fittings.csv", 4, "hours_at_fitting", hours)
        units = Fleet(read_fleet(folder, TODAY)).forecast(TODAY).units
        risks.append(next(unit.fails_within.mean for unit in units if unit.unit_id == "S2"))
    assert min(risks[1:]) > risks[0]


@settings(max_examples=8)
@given(
    craft=st.integers(1, 10),
    seasons=st.integers(1, 4),
    seed=st.integers(0, 10_000),
    world=st.sampled_from(sorted(WORLDS)),
    untidy=st.booleans(),
    hours_a_season=st.sampled_from([40.0, 140.0, 1_000.0]),
)
def test_no_invented_fleet_is_ever_asked_about(
    tmp_path_factory: pytest.TempPathFactory,
    craft: int,
    seasons: int,
    seed: int,
    world: str,
    untidy: bool,
    hours_a_season: float,
) -> None:
    fleet = simulate_fleet(craft, seasons, seed, world, untidy=untidy, hours_a_season=hours_a_season)
    folder = tmp_path_factory.mktemp("invented")
    write_fleet(fleet.records, folder)
    reading_of_it = read_fleet(folder, fleet.as_of)
    told_twice = "took water on"  # invented craft may take water on two days in a row, and that is asked about
    assert [str(problem) for problem in reading_of_it.problems if told_twice not in problem.reason] == []
    assert reading_of_it.records.held_back == {}


def test_a_unit_refitted_on_another_craft_by_a_row_of_its_own_reads_as_before(tmp_path: Path) -> None:
    folder = small_fleet_folder(tmp_path)
    set_cell(folder / "fittings.csv", 9, "removed_on", "2025-11-01")
    add_row(folder / "fittings.csv", unit_id="S5", craft_id="C004", fitted_on="2025-11-02", hours_at_fitting="73")
    assert read_fleet(folder, TODAY).problems == ()
    assert pd.isna(read_fleet(folder, TODAY).records.fittings["removed_on"].iloc[-1])
