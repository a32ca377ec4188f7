"""Every screen of the dashboard, whatever the fleet: no exception, and an answer or plain words of what to do next.

Screens are found in their folder, so that a new one is tested as soon as it is there.
"""

from __future__ import annotations

import re
import shutil
from datetime import date
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecaster import TABLES, dashboard_app, sample_fleet_folder, simulate_fleet, write_fleet
from tests.conftest import SAMPLE_DAY
from tests.opened_screen import PATIENCE, bare, read, spaced
from tests.small_fleet import rows_of, write_rows
from tests.ten_craft import ten_craft_folder

SCREENS = sorted(f.stem for f in (dashboard_app().parent / "screens").glob("*.py") if f.stem != "__init__")
NO_FLEET = "no_fleet"  # offered only where no fleet is open
ANSWER_ALONE = ("after_water", "bench")  # these answer without records too
KINDS = ("sample", "empty", "one craft", "500 craft", "40 problems", "odd zeros", "none in service", "gone")
ON_EVERY_FLEET = [(kind, screen) for kind in KINDS for screen in SCREENS if screen != NO_FLEET]
LATE = date(2022, 11, 1)  # for every other fleet
FAULTS = re.compile(r"Traceback|Error:|\b(?:nan|NaN|NaT)\b|Timestamp\(|dtype|<class|: None\b")
# What a screen without an answer may say to do next, in the words of the refusals.
REMEDIES = (
    "Add ",
    "Enter ",
    "Mend ",
    "Ask for ",
    "Without one row",
    "Open ",
    "Upload ",
    "See what was read",
    "Choose ",
)


@pytest.fixture(scope="session")
def fleets(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A folder of each kind of fleet, made once."""
    place = tmp_path_factory.mktemp("kinds")
    ten = ten_craft_folder(place)
    return {
        "sample": sample_fleet_folder(),
        "empty": _headers_only(ten, place / "headers only"),
        "one craft": _one_craft(place / "one craft"),
        "500 craft": _many_craft(place / "many craft"),
        "40 problems": _with_problems(ten, place / "forty problems", 40),
        "odd zeros": _with_odd_zeros(ten, place / "odd zeros"),
        "none in service": _none_in_service(ten, place / "none in service"),
        "gone": place / "gone",
    }


def _headers_only(given: Path, folder: Path) -> Path:
    folder.mkdir()
    for file in given.glob("*.csv"):
        header = file.read_text(encoding="utf-8").split("\n", 1)[0]
        (folder / file.name).write_text(header + "\n", encoding="utf-8")
    return folder


def _one_craft(folder: Path) -> Path:
    """One craft with the two files that are needed and nothing else: no failure, no reading, no finding."""
    folder.mkdir()
    (folder / "craft.csv").write_text("craft_id\nC1\n", encoding="utf-8")
    (folder / "fittings.csv").write_text("unit_id,craft_id,fitted_on\nS1,C1,2022-05-01\n", encoding="utf-8")
    return folder


def _many_craft(folder: Path) -> Path:
    """500 craft of one season: each runs, few were opened, so that it is as quick as so many can be."""
    write_fleet(simulate_fleet(craft=500, seasons=1, seed=4, first_year=2022).records, folder)
    return folder


def _with_problems(given: Path, folder: Path, count: int) -> Path:
    shutil.copytree(given, folder)
    with (folder / "hours.csv").open("a", encoding="utf-8") as rows:
        rows.writelines(f"C0{1 + n % 9:02d},2022-07-{1 + n % 28:02d},-{n + 1},no\n" for n in range(count))
    return folder


def _with_odd_zeros(given: Path, folder: Path) -> Path:
    """A -0 in the last rows of every number column."""
    shutil.copytree(given, folder)
    for table in TABLES.values():
        rows = rows_of(folder / table.file)
        numbers = [at for at, name in enumerate(rows[0]) if table.columns[name].kind == "number"]
        for row in rows[-2:]:
            for at in numbers:
                row[at] = "-0"
        write_rows(folder / table.file, rows)
    return folder


def _none_in_service(given: Path, folder: Path) -> Path:
    shutil.copytree(given, folder)
    (folder / "fittings.csv").write_text(
        "unit_id,craft_id,fitted_on,removed_on\nS1,C001,2021-05-01,2021-09-01\n", encoding="utf-8"
    )
    for name in ("rebuilds.csv", "checks.csv"):
        (folder / name).unlink()
    return folder


@pytest.fixture(scope="session")
def visits() -> dict[str, AppTest]:
    """One visit to each fleet, kept through its screens."""
    return {}


def shown(kind: str, screen: str, fleets: dict[str, Path], visits: dict[str, AppTest]) -> AppTest:
    """A screen of a fleet, drawn whole."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FORECASTER_SOURCE", "" if kind == "none" else str(fleets[kind]))
        link = {} if kind == "none" else {"as_of": (SAMPLE_DAY if kind == "sample" else LATE).isoformat()}
        if kind not in visits:
            visits[kind] = AppTest.from_file(dashboard_app(), default_timeout=PATIENCE)
        app = visits[kind]
        app.switch_page(f"screens/{screen}.py")
        app.query_params.update(link)
        app.run()
    return app


def told(app: AppTest) -> str:
    """Everything that a screen says in text, and its links to others."""
    return "\n".join([read(app), *(bare(link.label) for link in app.get("page_link"))])


def assert_plain(app: AppTest) -> None:
    """Nothing of the program's inside is on the screen, and there is an answer, or a refusal with what to do next."""
    assert not app.exception
    text = told(app)
    assert text
    assert FAULTS.findall(text) == []
    if not app.title:
        assert app.error
        assert any(remedy in text for remedy in REMEDIES), text


def test_every_screen_is_found() -> None:
    assert {"fleet_today", "one_unit", "data_problems", *ANSWER_ALONE, NO_FLEET} <= set(SCREENS)


@pytest.mark.parametrize(("kind", "screen"), ON_EVERY_FLEET)
def test_a_screen_answers_or_says_what_to_do(
    kind: str, screen: str, fleets: dict[str, Path], visits: dict[str, AppTest]
) -> None:
    assert_plain(shown(kind, screen, fleets, visits))


@pytest.mark.parametrize("screen", [NO_FLEET, *ANSWER_ALONE])
def test_without_any_fleet_the_screens_that_need_none_answer(
    screen: str, fleets: dict[str, Path], visits: dict[str, AppTest]
) -> None:
    app = shown("none", screen, fleets, visits)
    assert_plain(app)
    assert app.title


@pytest.mark.parametrize("screen", [s for s in SCREENS if s != NO_FLEET])
def test_a_fleet_that_can_be_asked_is_answered_on_every_screen(
    screen: str, fleets: dict[str, Path], visits: dict[str, AppTest]
) -> None:
    assert shown("sample", screen, fleets, visits).title


@pytest.mark.parametrize("kind", ["empty", "gone"])
def test_records_that_cannot_be_used_can_be_replaced_where_that_is_told(
    kind: str, fleets: dict[str, Path], visits: dict[str, AppTest]
) -> None:
    app = shown(kind, "data_problems", fleets, visits)
    assert app.title
    assert app.file_uploader
    assert app.button(key="to-sample")


def test_forty_problems_are_counted_and_the_first_told_in_full(
    fleets: dict[str, Path], visits: dict[str, AppTest]
) -> None:
    app = shown("40 problems", "data_problems", fleets, visits)
    assert "40 rows were refused" in spaced(app.title[0].value)
    assert "more problems in the table" in told(app)


def test_a_large_fleet_is_weighed_when_asked_for(fleets: dict[str, Path], visits: dict[str, AppTest]) -> None:
    app = shown("500 craft", "fleet_today", fleets, visits)
    assert "Weigh all" in app.button(key="weigh-all").label
