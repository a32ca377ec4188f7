"""The screens of the dashboard, each launched whole: what it opens with, what it asks, what it does with bad input."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import forecaster
import forecaster.learning
import loading
import words
from forecaster import Fleet, open_fleet
from tests.opened_screen import bare, open_screen, read, spaced, title, told
from tests.ten_craft import AS_OF, ten_craft_folder
from words import all_told, chance_words, hours_words, interval, plain

FLEET, UNIT, DATA = "screens/fleet_today.py", "screens/one_unit.py", "screens/data_problems.py"
Opener = Callable[..., AppTest]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fleet of ten craft and two seasons."""
    return ten_craft_folder(tmp_path_factory.mktemp("fleets"))


@pytest.fixture(scope="module")
def fleet(folder: Path) -> Fleet:
    return open_fleet(folder, today=AS_OF)


@pytest.fixture
def copied(folder: Path, tmp_path: Path) -> Path:
    """The fleet of ten craft, to spoil."""
    return Path(shutil.copytree(folder, tmp_path / "spoiled"))


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opener:
    """Opens the dashboard on a source, at a screen, with a link."""

    def open_at(source: Path | None, screen: str = FLEET, **link: str) -> AppTest:
        day = {"as_of": AS_OF.isoformat()} if source is not None else {}
        return open_screen(monkeypatch, source, screen, **{**day, **link})

    return open_at


def change(file: Path, row: int, **cells: str) -> None:
    """Overwrite cells of one row of a CSV file; rows as a spreadsheet numbers them."""
    with file.open(encoding="utf-8", newline="") as text:
        table = list(csv.reader(text))
    for column, value in cells.items():
        table[row - 1][table[0].index(column)] = value
    with file.open("w", encoding="utf-8", newline="") as text:
        csv.writer(text).writerows(table)


# --- fleet today ---------------------------------------------------------------------------------------------------


def week_line(app: AppTest) -> str:
    """The line above the picture that leads to this week."""
    (line,) = (markdown.value for markdown in app.markdown if "[This week](#this-week)" in markdown.value)
    return str(line)


def test_until_it_is_weighed_the_line_above_says_so(
    opened: Opener, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("loading.decided_if_known", lambda *_: None)  # whatever other tests have asked for
    assert week_line(opened(folder)).endswith("weighing each unit ...")


def test_a_large_fleet_is_weighed_by_its_button(opened: Opener, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("this_week_panel.WEIGHED_AT_ONCE", 5)  # ten craft are many then
    known: dict[object, object] = {}
    monkeypatch.setattr("loading._known", lambda: known)  # nothing yet, whatever other tests have asked for
    app = opened(folder)
    assert not known
    app.button(key="weigh-all").click().run()
    assert not app.exception
    assert "weigh-all" not in [button.key for button in app.button]
    assert known
    assert "weighing" not in week_line(app)


def test_the_fleet_opens_with_the_answer_in_one_sentence(
    opened: Opener, folder: Path, fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(loading, "decided_if_known", loading.decided)
    forecast, instructions = fleet.forecast(AS_OF), fleet.instructions(AS_OF)
    to_open = [unit for unit in forecast.units if instructions[unit.unit_id].act == "rebuild"]
    first = to_open[0]
    expected = (
        f"{len(to_open)} of {len(forecast.units)} units should be opened before the season opens on 1 May 2023; "
        f"{plain(first.unit_id)} first: {chance_words(first.fails_within)} to fail within the next 50 h."
    )
    assert spaced(title(opened(folder))) == spaced(expected)


def test_the_fleet_says_what_stands_behind_it(opened: Opener, folder: Path, fleet: Fleet) -> None:
    evidence = fleet.fit(AS_OF).evidence
    assert f"Learned from {evidence.lives} lives, {evidence.failures} failures among them" in told(opened(folder))


def test_until_it_is_weighed_the_sentence_tells_the_highest_risk(
    opened: Opener, folder: Path, fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(loading, "decided_if_known", lambda *_: None)
    first = fleet.forecast(AS_OF).units[0]
    assert f"The highest risk: {plain(first.unit_id)}, {chance_words(first.fails_within)}" in title(opened(folder))


def test_the_table_has_every_unit_with_its_intervals_and_reasons(
    opened: Opener, folder: Path, fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(loading, "decided_if_known", loading.decided)
    instructions = fleet.instructions(AS_OF)
    table = opened(folder).dataframe[0].value.set_index("unit")
    for unit in fleet.forecast(AS_OF).units:
        row = table.loc[unit.unit_id]
        assert row["fails"] == pytest.approx(100 * unit.fails_within.mean)
        assert row["fails_interval"] == interval(unit.fails_within)
        assert row["p50"] == pytest.approx(unit.hours_left.p50)
        assert row["because"] == all_told(unit.because)
        assert row["instruction"] == words.told(forecaster.instruction_in_words(instructions[unit.unit_id]))


def test_the_horizon_changes_the_answer_and_the_link(opened: Opener, folder: Path, fleet: Fleet) -> None:
    app = opened(folder)
    app.slider(key="hours").set_value(120).run()
    first = fleet.forecast(AS_OF, hours=120).units[0]
    assert chance_words(first.fails_within) in title(app)
    assert app.query_params["hours"] == "120"


def test_a_change_of_horizon_learns_nothing_anew(opened: Opener, copied: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    learned = []
    fit = forecaster.learning.fit_two_stage
    monkeypatch.setattr(
        forecaster.learning, "fit_two_stage", lambda *lives, **how: learned.append(1) or fit(*lives, **how)
    )
    app = opened(copied)
    for hours in (20, 100):
        app.slider(key="hours").set_value(hours).run()
    assert len(learned) == 1


def test_a_saved_change_of_the_records_shows_at_the_next_drawing(opened: Opener, copied: Path) -> None:
    app = opened(copied)
    change(copied / "craft.csv", 2, name="Renamed Otter")
    app.run()
    assert app.dataframe[0].value["craft"].str.contains("Renamed Otter").any()


def test_a_base_narrows_the_fleet_down(opened: Opener, folder: Path, fleet: Fleet) -> None:
    craft = fleet.records.craft.set_index("craft_id")["base"]
    base = craft.iloc[0]
    app = opened(folder, base=base)
    expected = {u.unit_id for u in fleet.forecast(AS_OF).units if craft[u.craft_id] == base}
    assert set(app.dataframe[0].value["unit"]) == expected
    assert f"of {len(expected)} unit" in spaced(title(app))
    assert f"at {base}" in title(app)


def test_the_simple_model_shows_no_hidden_state(opened: Opener, folder: Path) -> None:
    app = opened(folder, model="weibull")
    assert app.dataframe[0].value["defective"].isna().all()
    app.switch_page(UNIT).run()
    assert not app.exception
    assert "Defective now" not in told(app)


@pytest.mark.parametrize(
    ("name", "value"),
    [("hours", "lots"), ("hours", "5000"), ("as_of", "soon"), ("as_of", "1999-01-01"), ("model", "tarot")],
)
def test_a_link_that_asks_for_what_there_is_not_is_told_so(opened: Opener, folder: Path, name: str, value: str) -> None:
    app = opened(folder, **{name: value})
    assert f"{name}={value}" in read(app)


def test_refused_rows_are_announced(opened: Opener, copied: Path) -> None:
    change(copied / "hours.csv", 5, meter="-77")
    assert "1 row was refused" in spaced("".join(link.label for link in opened(copied).get("page_link")))


def test_few_records_are_told_to_be_mostly_general_experience(opened: Opener, tmp_path: Path) -> None:
    (tmp_path / "craft.csv").write_text("craft_id\nC1\nC2\n", encoding="utf-8")
    (tmp_path / "fittings.csv").write_text("unit_id,craft_id,fitted_on\nS1,C1,2022-05-01\nS2,C2,2022-05-01\n")
    app = opened(tmp_path)
    assert "Mostly general experience: no failures in 2 lives" in told(app)
    for screen in (UNIT, DATA):
        app.switch_page(screen).run()
        assert not app.exception


def test_a_users_text_is_shown_as_it_is(opened: Opener, copied: Path) -> None:
    change(copied / "craft.csv", 2, name="**[Otter](http://127.0.0.1)** :smile: $x$")
    app = opened(copied, UNIT, unit=str(open_fleet(copied, AS_OF).records.fittings["unit_id"].iloc[0]))
    assert "**[Otter]" not in told(app)
    assert ":smile:" not in told(app)


# --- one unit ------------------------------------------------------------------------------------------------------


def test_a_link_opens_its_unit_as_of_its_day(opened: Opener, folder: Path, fleet: Fleet) -> None:
    unit = fleet.forecast(AS_OF).units[3]
    app = opened(folder, UNIT, unit=unit.unit_id)
    assert title(app).startswith(f"{plain(unit.unit_id)}: {chance_words(unit.fails_within)} to fail")
    told_first = words.told(forecaster.instruction_in_words(fleet.instructions(AS_OF)[unit.unit_id]))
    assert any(spaced(told_first) in spaced(bare(info.value)) for info in app.info)
    assert app.query_params["unit"] == unit.unit_id
    assert app.query_params["as_of"] == AS_OF.isoformat()


def test_a_unit_shows_its_reasons_and_hours_left(opened: Opener, folder: Path, fleet: Fleet) -> None:
    unit = fleet.forecast(AS_OF).units[0]
    shown = told(opened(folder, UNIT, unit=unit.unit_id))
    assert all(plain(reason) in shown for reason in unit.because)
    assert spaced(f"an even chance of failing within {hours_words(unit.hours_left.p50)}") in shown


def test_a_unit_shows_what_is_recorded_of_it(opened: Opener, folder: Path, fleet: Fleet) -> None:
    histories = fleet.histories(AS_OF)
    running = histories.in_service()
    life = running.incidents["life_id"].iloc[0]
    unit_id = running.lives.set_index("life_id")["unit_id"][life]
    own = histories.select(histories.lives["unit_id"] == unit_id)
    tables = [table.value for table in opened(folder, UNIT, unit=unit_id).dataframe]
    incidents = next(table for table in tables if "treated" in table)
    assert list(incidents["on"]) == list(own.incidents["happened_on"].iloc[::-1])
    assert next(len(table) for table in tables if "ended_by" in table) == own.n_lives


def test_a_unit_that_is_nowhere_is_told_and_the_first_one_shown(opened: Opener, folder: Path, fleet: Fleet) -> None:
    app = opened(folder, UNIT, unit="S9999")
    assert "S9999 is not in service" in told(app)
    assert title(app).startswith(plain(fleet.forecast(AS_OF).units[0].unit_id))


def test_choosing_a_unit_goes_into_the_link(opened: Opener, folder: Path, fleet: Fleet) -> None:
    app = opened(folder, UNIT)
    second = fleet.forecast(AS_OF).units[1].unit_id
    app.selectbox(key="unit_choice").set_value(second).run()
    assert title(app).startswith(plain(second))
    assert app.query_params["unit"] == second


def test_every_unit_can_be_opened(opened: Opener, folder: Path, fleet: Fleet) -> None:
    app = opened(folder, UNIT)
    for unit in fleet.forecast(AS_OF).units:
        app.selectbox(key="unit_choice").set_value(unit.unit_id).run()
        assert not app.exception
        assert title(app).startswith(plain(unit.unit_id))


# --- data ----------------------------------------------------------------------------------------------------------


def test_every_problem_is_shown_with_its_place_and_remedy(opened: Opener, copied: Path) -> None:
    change(copied / "hours.csv", 5, meter="-77")
    (problem,) = (p for p in open_fleet(copied, AS_OF).reading.problems if p.file == "hours.csv")
    app = opened(copied, DATA)
    for part in ("hours.csv, row 5, meter", "-77", problem.reason, problem.remedy):
        assert plain(part) in told(app)
    row = app.dataframe[0].value.iloc[0]
    assert (row["file"], row["row"], row["column"], row["value"]) == ("hours.csv", 5, "meter", "-77")


def test_refused_rows_can_be_downloaded_as_they_were_given(opened: Opener, copied: Path) -> None:
    change(copied / "hours.csv", 5, meter="-77")
    app = opened(copied, DATA)
    assert "Download refused rows of hours.csv" in [button.label for button in app.get("download_button")]
    refused = next(t.value for t in app.dataframe if "new_meter" in t.value.columns)
    assert refused.loc[5, "meter"] == "-77"
    assert refused.loc[5, "reason"]


def test_columns_that_nobody_knows_are_kept_aside_and_told(opened: Opener, copied: Path) -> None:
    with (copied / "craft.csv").open(encoding="utf-8", newline="") as text:
        table = list(csv.reader(text))
    with (copied / "craft.csv").open("w", encoding="utf-8", newline="") as text:
        csv.writer(text).writerows([[*row, "red" if number else "colour"] for number, row in enumerate(table)])
    files = next(t.value for t in opened(copied, DATA).dataframe if "aside" in t.value.columns)
    assert files.set_index("file")["aside"]["craft.csv"] == "colour"


def test_clean_records_are_said_to_be_clean(opened: Opener, folder: Path) -> None:
    assert "nothing was refused" in title(opened(folder, DATA))


# --- refusals ------------------------------------------------------------------------------------------------------


def test_records_that_stop_the_answer_are_refused_in_plain_words(opened: Opener, copied: Path) -> None:
    (copied / "fittings.csv").unlink()
    app = opened(copied)
    assert app.error
    assert "fittings.csv" in read(app)
    app.switch_page(DATA).run()
    assert not app.exception
    assert "cannot be used yet" in title(app)


def test_wrong_settings_are_refused_with_their_key(opened: Opener, copied: Path) -> None:
    (copied / "fleet.toml").write_text("[costs]\nrebuilds = 3\n", encoding="utf-8")
    assert "rebuilds" in told(opened(copied))


def test_a_source_that_is_gone_is_told(opened: Opener, tmp_path: Path) -> None:
    app = opened(tmp_path / "gone")
    assert "gone" in told(app)
    app.switch_page(DATA).run()
    assert not app.exception
    assert app.error


def test_a_fleet_with_nothing_in_service_is_told(opened: Opener, tmp_path: Path) -> None:
    (tmp_path / "craft.csv").write_text("craft_id\nC1\n", encoding="utf-8")
    (tmp_path / "fittings.csv").write_text(
        "unit_id,craft_id,fitted_on,removed_on\nS1,C1,2022-05-01,2022-06-01\n", encoding="utf-8"
    )
    app = opened(tmp_path)
    assert not app.title
    assert "No unit is in service on 1 Nov 2022" in read(app)


# --- no fleet yet --------------------------------------------------------------------------------------------------


def test_without_a_source_the_sample_is_one_click_away(opened: Opener) -> None:
    app = opened(None)
    assert "No fleet is open yet" in told(app)
    app.button(key="to-sample").click().run()
    assert not app.exception
    assert "an invented sample" in told(app)
    assert app.query_params["fleet"] == "sample"


def test_the_start_page_explains_every_file_of_a_fleet(opened: Opener) -> None:
    app = opened(None)
    assert [e.label.split(":")[0].replace("\\", "") for e in app.expander] == [
        table.file for table in forecaster.TABLES.values()
    ]
    shown = app.dataframe[0].value["column"]
    assert [c.removesuffix(" *") for c in shown] == list(forecaster.TABLES["craft"].columns)


def test_a_link_can_open_the_sample_but_no_folder(opened: Opener, folder: Path) -> None:
    assert "an invented sample" in told(opened(None, fleet="sample"))
    assert "No fleet is open yet" in told(opened(None, fleet=str(folder)))


def test_a_copy_of_the_sample_is_called_invented_too(opened: Opener, sample_copy: Path) -> None:
    assert "an invented sample" in told(opened(sample_copy))


def test_only_the_sample_is_called_invented(opened: Opener, folder: Path) -> None:
    assert "an invented sample" not in told(opened(folder))
