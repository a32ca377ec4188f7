"""Craft in service with no unit on them: named on every face, with what was on them last and the water since."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import timedelta
from io import BytesIO
from pathlib import Path

import openpyxl
import pytest

from forecaster import Fleet, open_fleet
from forecaster.histories import build_histories
from forecaster.lives import CraftWithoutUnit, UnplacedWater
from forecaster.paper.content import _without_unit
from forecaster.paper.owners import Readership
from forecaster.paper.work_list import work_list
from forecaster.report.as_json import forecast_json
from forecaster.report.instruction_wording import what_to_do
from forecaster.report.terminal import Page
from forecaster.report.text import forecast_text
from forecaster.simulate import simulate_fleet
from tests.conftest import sample_fleet
from tests.opened_screen import open_screen, told
from tests.paper_fleet import Row, day, fitted, opened, paper_fleet
from tests.sample_papers import all_papers, sample_content
from tests.ten_craft import AS_OF, ten_craft_folder

TAKEN_OFF = [fitted("S1", "C1", "2025-05-01", "2025-07-10"), fitted("S2", "C2", "2025-05-01")]


def empty(as_of: str, craft: list[Row | str], fittings: list[Row], **more: list[Row]) -> list[CraftWithoutUnit]:
    return list(build_histories(paper_fleet(craft, fittings, **more), day(as_of)).craft_without_unit)  # type: ignore[arg-type]


def test_a_craft_whose_unit_came_off_is_named_with_it_and_the_day() -> None:
    (one,) = empty("2025-08-01", ["C1", "C2"], TAKEN_OFF)
    assert (one.craft_id, one.last_unit_id, one.since) == ("C1", "S1", day("2025-07-10"))
    assert one.told == "C1: none since 2025-07-10, when S1 came off"


def test_nothing_is_missing_before_the_unit_came_off_or_once_another_sits_there() -> None:
    assert empty("2025-07-09", ["C1", "C2"], TAKEN_OFF) == []
    assert empty("2025-08-01", ["C1", "C2"], [*TAKEN_OFF, fitted("S3", "C1", "2025-07-12")]) == []


def test_a_craft_on_which_no_unit_ever_sat_is_named_too() -> None:
    (one,) = empty("2025-06-01", ["C1", "C2", "C3"], TAKEN_OFF)
    assert (one.craft_id, one.last_unit_id, one.since) == ("C3", None, None)
    assert one.told == "C3: no unit is on record"


@pytest.mark.parametrize(
    "dates", [{"retired_on": "2025-07-20"}, {"in_service_on": "2025-09-01"}, {"retired_on": "2025-08-01"}]
)
def test_a_craft_out_of_service_lacks_nothing(dates: Row) -> None:
    assert empty("2025-08-01", [{"craft_id": "C1", **dates}, "C2"], TAKEN_OFF) == []


def test_a_craft_that_is_to_retire_later_still_lacks_its_unit() -> None:
    craft: list[Row | str] = [{"craft_id": "C1", "retired_on": "2025-09-01"}, "C2"]
    assert [one.craft_id for one in empty("2025-08-01", craft, TAKEN_OFF)] == ["C1"]


def test_a_unit_that_ended_on_its_craft_leaves_it_empty() -> None:
    fittings = [fitted("S1", "C1", "2025-05-01")]
    rebuilds = [opened("S1", "2025-07-10", "failure", "failed", "scrapped")]
    (one,) = empty("2025-08-01", ["C1"], fittings, rebuilds=rebuilds)
    assert (one.last_unit_id, one.since) == ("S1", day("2025-07-10"))


def test_a_unit_rebuilt_and_put_back_leaves_no_craft_empty() -> None:
    rebuilds = [opened("S1", "2025-07-10", "scheduled", "sound", "rebuilt")]
    assert empty("2025-08-01", ["C1"], [fitted("S1", "C1", "2025-05-01")], rebuilds=rebuilds) == []


def test_water_since_then_is_told_and_earlier_water_is_the_units() -> None:
    water: list[Row] = [
        {"craft_id": "C1", "happened_on": when, "kind": "swamped", "treated": treated}
        for when, treated in (("2025-06-01", "no"), ("2025-07-10", "no"), ("2025-07-11", "no"), ("2025-07-20", "yes"))
    ]
    (one,) = empty("2025-08-01", ["C1", "C2"], TAKEN_OFF, water=water)
    assert one.water == (
        UnplacedWater(day("2025-07-11"), "swamped", "none"),
        UnplacedWater(day("2025-07-20"), "swamped", "unknown"),
    )
    assert "took water on 2025-07-11 (swamped) while no unit sat on it" in one.remarks[0]


@pytest.mark.parametrize("seed", range(6))
def test_each_craft_in_service_is_forecast_or_named_on_any_day_and_never_both(seed: int) -> None:
    fleet = simulate_fleet(craft=8, seasons=2, seed=seed)
    craft = fleet.records.craft
    for back in range(0, 600, 37):
        as_of = fleet.as_of - timedelta(days=back)
        histories = build_histories(fleet.records, as_of)
        named = [one.craft_id for one in histories.craft_without_unit]
        forecast = list(histories.in_service().lives["craft_id"])
        on = craft["in_service_on"].isna() | (craft["in_service_on"].dt.date <= as_of)
        serves = craft.loc[on & ~(craft["retired_on"].dt.date <= as_of), "craft_id"]
        assert sorted([*named, *forecast]) == sorted(serves)


# --- faces ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten craft, from one of which its unit was taken ten days ago; it took water since."""
    source = ten_craft_folder(tmp_path_factory.mktemp("fleets"))
    copied = Path(shutil.copytree(source, source.with_name("one empty")))
    fittings = (copied / "fittings.csv").read_text(encoding="utf-8").splitlines()
    head = fittings[0].split(",")
    on_craft = open_fleet(source, AS_OF).histories(AS_OF).in_service().lives.iloc[0]
    row = max(n for n, line in enumerate(fittings) if line.startswith(f"{on_craft['unit_id']},{on_craft['craft_id']},"))
    cells = fittings[row].split(",")
    cells[head.index("removed_on")] = (AS_OF - timedelta(days=10)).isoformat()
    fittings[row] = ",".join(cells)
    (copied / "fittings.csv").write_text("\n".join(fittings) + "\n", encoding="utf-8")
    with (copied / "water.csv").open("a", encoding="utf-8") as water:
        names = (copied / "water.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
        told_of = {"craft_id": on_craft["craft_id"], "happened_on": str(AS_OF - timedelta(days=3)), "kind": "swamped"}
        water.write(",".join(str((told_of | {"treated": "no"}).get(name, "")) for name in names) + "\n")
    return copied


@pytest.fixture(scope="module")
def fleet(folder: Path) -> Fleet:
    return open_fleet(folder, AS_OF)


def test_the_forecast_names_it_as_text_and_as_json(fleet: Fleet) -> None:
    forecast = fleet.forecast(AS_OF)
    (one,) = forecast.craft_without_unit
    text = " ".join(forecast_text(forecast, Page(80)).split())
    assert "Craft in service with no unit on them" in text
    assert one.told in text
    (told_of,) = forecast_json(forecast)["craft_without_unit"]
    assert (told_of["craft_id"], told_of["last_unit_id"]) == (one.craft_id, one.last_unit_id)
    assert told_of["since"] == (AS_OF - timedelta(days=10)).isoformat()
    assert [water["treatment"] for water in told_of["water"]] == ["none"]


def test_water_on_it_waits_in_the_weeks_list(fleet: Fleet) -> None:
    (one,) = fleet.histories(AS_OF).craft_without_unit
    (task,) = (task for task in fleet.noted_this_week(AS_OF).tasks if task.craft_id == one.craft_id)
    assert (task.kind, task.unit_id) == ("water", "")
    assert what_to_do(task).startswith("do not start it before it is treated")
    assert "enter in fittings.csv which unit was on it" in what_to_do(task)


def test_after_a_month_water_on_it_waits_no_longer(fleet: Fleet) -> None:
    assert all(task.unit_id for task in fleet.noted_this_week(AS_OF + timedelta(days=30)).tasks)


def test_the_first_screen_names_it_and_lists_its_water(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = open_screen(monkeypatch, folder, "screens/fleet_today.py", as_of=AS_OF.isoformat())
    assert not app.exception
    (warning,) = (w.value for w in app.warning if "No unit is on these craft in service" in w.value)
    assert "none since" in warning
    assert "no unit on record" in told(app)


def test_paper_and_work_list_name_it() -> None:
    content = sample_content()  # the sample's own: C022's unit came off four days before
    (line,) = content.craft_without_unit
    assert line.startswith("C022: none since 27")
    book = openpyxl.load_workbook(BytesIO(work_list(content)))
    head = [row[0] for row in book["work list"].iter_rows(max_row=6, values_only=True)]
    assert any(isinstance(cell, str) and line in cell for cell in head)
    none = work_list(replace(content, craft_without_unit=()))
    assert "no unit on them" not in str([c.value for c in openpyxl.load_workbook(BytesIO(none))["work list"]["A"]])


def test_an_owners_paper_names_the_own_craft_alone() -> None:
    craft = sample_fleet().records.craft.set_index("craft_id")
    for owner, paper in all_papers().items():
        own = owner in (None, craft["owner"]["C022"])
        assert (len(paper.content.craft_without_unit) == 1) is own


def test_a_unit_that_is_another_owners_by_now_is_not_named_to_the_first() -> None:
    craft: list[Row | str] = [{"craft_id": "C1", "owner": "Ada"}, {"craft_id": "C2", "owner": "Bo"}]
    stays = [fitted("S1", "C1", "2025-05-01", "2025-07-10")]
    for fittings, named in ((stays, True), ([*stays, fitted("S1", "C2", "2025-07-12")], False)):
        records = paper_fleet(craft, fittings)
        one = build_histories(records, day("2025-08-01")).craft_without_unit[0]
        line = _without_unit(one, Readership(records, day("2025-08-01"), "Ada"))
        assert ("S1" in line) is named
        assert line.startswith("C1: none since 2025-07-10")
