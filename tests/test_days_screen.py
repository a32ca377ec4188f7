"""How the screens write days: as the fleet does, or as the viewer chose, in words, fields, tables and pictures."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from days_panel import AS_FLEET, CHOICE
from forecaster import sample_fleet_folder
from tests.opened_screen import LANDING, bare, open_screen, read, spaced
from tests.ten_craft import AS_OF, ten_craft_folder

FLEET, UNIT, DATA = "screens/fleet_today.py", "screens/one_unit.py", "screens/data_problems.py"
DECISION, PLAN, WATER = "screens/now_or_later.py", "screens/off_season_plan.py", "screens/after_water.py"
WRITTEN = {"day-month-year": "1 Nov 2022", "month-day-year": "Nov 1, 2022", "iso": "2022-11-01"}
FIELDS = {"day-month-year": "DD.MM.YYYY", "month-day-year": "MM/DD/YYYY", "iso": "YYYY-MM-DD"}
Opener = Callable[..., AppTest]


@pytest.fixture(scope="module")
def fleets(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A fleet of ten craft for each way in which fleet.toml may have days written."""
    made = {}
    for form in WRITTEN:
        folder = ten_craft_folder(tmp_path_factory.mktemp(form))
        toml = folder / "fleet.toml"
        toml.write_text(toml.read_text(encoding="utf-8").replace("day-month-year", form), encoding="utf-8")
        made[form] = folder
    return made


@pytest.fixture
def opened(fleets: dict[str, Path], monkeypatch: pytest.MonkeyPatch) -> Opener:
    """Opens a screen on the fleet that writes days so, with a link."""

    def open_at(form: str, screen: str = FLEET, **link: str) -> AppTest:
        return open_screen(monkeypatch, fleets[form], screen, **{"as_of": AS_OF.isoformat(), **link})

    return open_at


def choose(app: AppTest, form: str) -> AppTest:
    """What the viewer chooses at the foot of the page."""
    app.radio(key=CHOICE).set_value(form).run()
    assert not app.exception
    return app


def pictures(app: AppTest) -> list[Any]:
    """The layouts of what is drawn, with its traces."""
    return [json.loads(chart.proto.spec) for chart in app.get("plotly_chart")]


def columns(app: AppTest) -> list[dict[str, Any]]:
    """How the columns of each table are written."""
    return [json.loads(table.proto.columns) for table in app.dataframe if table.proto.columns]


@pytest.mark.parametrize("form", WRITTEN)
def test_a_screen_writes_days_as_its_fleet_does(opened: Opener, form: str) -> None:
    app = opened(form)
    assert f"as of {WRITTEN[form]}" in read(app)
    assert app.date_input(key="as_of").proto.format == FIELDS[form]


def test_the_viewers_choice_beats_the_fleets_and_stands_in_the_link(opened: Opener) -> None:
    app = choose(opened("iso"), "month-day-year")
    assert f"as of {WRITTEN['month-day-year']}" in read(app)
    assert WRITTEN["iso"] not in read(app).replace("stay 2022", "")
    assert app.date_input(key="as_of").proto.format == FIELDS["month-day-year"]
    assert app.query_params["days"] == "month-day-year"
    assert app.query_params["as_of"] == AS_OF.isoformat()  # what programs read stays ISO
    assert app.date_input(key="as_of").value == AS_OF  # the field was drawn anew, and asks for the same day


def test_a_link_tells_the_choice(opened: Opener) -> None:
    app = opened("iso", days="month-day-year")
    assert f"as of {WRITTEN['month-day-year']}" in read(app)
    assert app.radio(key=CHOICE).value == "month-day-year"


def test_the_choice_is_kept_from_screen_to_screen(opened: Opener) -> None:
    app = choose(opened("iso"), "month-day-year")
    app.query_params.clear()  # as the row of screens leads on
    app.switch_page(DECISION).run()
    assert f"Beside a rebuild on {WRITTEN['month-day-year']}" in read(app)
    assert app.query_params["days"] == "month-day-year"


def test_the_choice_can_be_left_to_the_fleet_again(opened: Opener) -> None:
    app = choose(choose(opened("month-day-year"), "iso"), AS_FLEET)
    assert f"as of {WRITTEN['month-day-year']}" in read(app)
    assert "days" not in app.query_params


def test_the_choice_is_kept_when_another_fleet_is_opened(opened: Opener) -> None:
    app = choose(opened("iso", DATA), "month-day-year")
    app.button(key="to-sample").click().run()
    assert app.query_params["fleet"] == "sample"
    assert app.radio(key=CHOICE).value == "month-day-year"


def test_a_link_that_asks_for_what_there_is_not_is_told_so_and_mended(opened: Opener) -> None:
    app = opened("iso", days="YYYY")
    assert "days=YYYY: day-month-year, month-day-year and iso are known" in read(app)
    assert f"as of {WRITTEN['iso']}" in read(app)
    assert "days" not in app.query_params


@pytest.mark.parametrize("screen", ["screens/no_fleet.py", "screens/bench.py", WATER])
def test_without_a_fleet_the_choice_is_there_too(monkeypatch: pytest.MonkeyPatch, screen: str) -> None:
    app = choose(open_screen(monkeypatch, None, screen), "month-day-year")
    assert app.query_params["days"] == "month-day-year"
    app.switch_page(WATER).run()
    assert app.date_input(key="happened").proto.format == FIELDS["month-day-year"]
    assert re.search(r"Known so far: the day, [A-Z][a-z]{2} \d+, \d{4}\.", read(app))


def test_a_fleet_that_cannot_be_asked_writes_days_so_too(opened: Opener, fleets: dict[str, Path]) -> None:
    folder = fleets["iso"].parent / "stopped"
    folder.mkdir()
    (folder / "fleet.toml").write_text('date_format = "month-day-year"', encoding="utf-8")
    (folder / "craft.csv").write_text("craft_id\nC1\n", encoding="utf-8")
    fleets["stopped"] = folder
    app = opened("stopped", DATA)
    as_fleet = spaced(app.radio(key=CHOICE).options[0])
    assert as_fleet == "As the fleet does: May 21, 2027 (typed 05/21/2027)"


def test_an_unknown_format_in_fleet_toml_is_a_problem_with_its_remedy(
    opened: Opener, fleets: dict[str, Path], tmp_path: Path
) -> None:
    folder = fleets["wrong"] = ten_craft_folder(tmp_path)
    toml = folder / "fleet.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace("day-month-year", "MM/DD"), encoding="utf-8")
    assert "date_format = 'MM/DD': must be 'day-month-year', 'month-day-year' or 'iso'" in read(opened("wrong", DATA))


@pytest.mark.parametrize(("form", "format_of_columns"), [("month-day-year", "MMM D, YYYY"), ("iso", "YYYY-MM-DD")])
def test_columns_of_days_follow(opened: Opener, form: str, format_of_columns: str) -> None:
    for screen in (UNIT, DECISION):
        typed = [one.get("type_config", {}) for table in columns(opened(form, screen)) for one in table.values()]
        days = [config["format"] for config in typed if config.get("type") == "date"]
        assert days
        assert set(days) == {format_of_columns}


def test_pictures_follow_along_the_axis_and_beside_the_marks(opened: Opener) -> None:
    (costs, *_) = pictures(opened("month-day-year", DECISION))
    hovers = [trace["hovertemplate"] for trace in costs["data"] if "hovertemplate" in trace]
    assert any("week of %{x|%b %-d, %Y}" in hover for hover in hovers)
    (bench, *_) = pictures(opened("month-day-year", PLAN))
    assert bench["layout"]["xaxis"]["tickformat"] == "%b %-d<br>%Y"
    assert any("season opens May\u00a01" in one.get("text", "") for one in bench["layout"]["annotations"])
    hovers = [told for trace in bench["data"] for told in trace.get("hovertext", [])]
    assert hovers
    assert all(re.search(r"in the week of [A-Z][a-z]{2}\u00a0\d+,\u00a0\d{4}", told) for told in hovers)


def test_a_units_records_in_words_follow(opened: Opener) -> None:
    app = opened("month-day-year", UNIT)
    assert re.search(r"- from [A-Z][a-z]{2} \d+, \d{4}, ", read(app))
    assert not re.search(r"\d{4}-\d\d-\d\d", read(app).replace("2027-05-21", ""))


def test_weeks_to_choose_in_the_plans_table_follow_and_stay_iso_beneath(opened: Opener) -> None:
    (table,) = (table for table in columns(opened("month-day-year", PLAN)) if "week" in table)
    offered = table["week"]["type_config"]["options"]
    assert offered[1] == {"value": "2022-11-07", "label": "Nov 7, 2022"}


def test_what_must_be_done_this_week_tells_its_days_so(opened: Opener) -> None:
    told = read(opened("month-day-year", as_of="2022-11-05"))
    assert "oil milky on Aug 15, 2022" in told.split("This week")[-1]


@pytest.mark.parametrize("year", [1970, 3000, 9999])
def test_a_clock_that_is_wrong_is_said_on_the_page_and_nothing_is_answered(
    monkeypatch: pytest.MonkeyPatch, year: int
) -> None:
    class Clock(date):
        @classmethod
        def today(cls) -> date:
            return date(year, 1, 1)

    monkeypatch.setattr("datetime.date", Clock)  # the router imports it anew in each run
    app = open_screen(monkeypatch, sample_fleet_folder(), LANDING)
    assert [bare(error.value) for error in app.error] == [
        f"The day of this computer's clock must lie between 1 Jan 1990 and 31 Dec 2100; it is 1 Jan {year}. Set the "
        "clock right."
    ]
    assert not app.title
