"""Getting a fleet in through the dashboard: uploads, templates, the sample and back, and whose files they are."""

from __future__ import annotations

import csv
import io
import shutil
import tempfile
import zipfile
from datetime import date
from pathlib import Path

import pytest
from streamlit.runtime.caching.cache_resource_api import clear_session_cache
from streamlit.testing.v1 import AppTest

import forecaster
import forecaster.learning
from forecaster import (
    open_fleet,
    reading_apart,
    sample_fleet_folder,
    simulate_fleet,
    template_folder,
    template_table,
    template_workbook,
    write_fleet,
)
from tests.opened_screen import LANDING, open_screen, read, spaced

DATA = "screens/data_problems.py"
Upload = tuple[str, bytes, str]


@pytest.fixture(autouse=True)
def temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where uploads are kept during a test."""
    place = tmp_path / "temporary"
    place.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(place))
    end_session()
    return place


def end_session() -> None:
    """What the server does when a viewer's page is closed; all visits of AppTest share one session's name."""
    clear_session_cache("test session id")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("fleets") / "six craft"
    write_fleet(simulate_fleet(craft=6, seasons=1, seed=4, first_year=2022).records, place)
    return place


def visit(source: Path | None = None, **link: str) -> AppTest:
    """A viewer who opens the dashboard; `source`: what the command named."""
    with pytest.MonkeyPatch.context() as patch:
        return open_screen(patch, source, LANDING, **link)


def files_of(folder: Path) -> list[Upload]:
    return [(f.name, f.read_bytes(), "text/csv") for f in sorted(folder.iterdir()) if f.suffix in (".csv", ".toml")]


def zip_of(folder: Path) -> Upload:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as into:
        for name, content, _ in files_of(folder):
            into.writestr(f"{folder.name}/{name}", content)
    return f"{folder.name}.zip", packed.getvalue(), "application/zip"


def upload(app: AppTest, *files: Upload, meant: str | None = None) -> AppTest:
    """Choose files and open them."""
    app.file_uploader[0].set_value(list(files)).run()
    if meant is not None:
        app.radio(key="upload meant as").set_value(meant)
    app.button(key="open-upload").click().run()
    assert not app.exception
    return app


def rows_in_use(app: AppTest) -> dict[str, int]:
    """What the data screen says was read."""
    app.switch_page(DATA).run()
    assert not app.exception
    files = next(table.value for table in app.dataframe if "used" in table.value.columns)
    return dict(zip(files["file"], files["used"], strict=True))


def read_of(folder: Path) -> dict[str, int]:
    read = open_fleet(folder, date.today()).reading.read
    return {f"{name}.csv": rows for name, rows in read.items()}


# --- what can be uploaded ------------------------------------------------------------------------------------------


def test_the_files_of_a_folder_open_together(folder: Path) -> None:
    assert rows_in_use(upload(visit(), *files_of(folder))) == read_of(folder)


def test_a_zip_of_a_folder_opens_under_its_name(folder: Path) -> None:
    app = upload(visit(), zip_of(folder))
    assert spaced(app.title[0].value).count("of 6 units") == 1
    assert "six craft, as of" in read(app)
    assert rows_in_use(app) == read_of(folder)


def test_a_workbook_opens() -> None:
    app = upload(visit(), ("north.xlsx", template_workbook(), ""))
    assert set(rows_in_use(app).values()) == {1}
    assert "north" in read(app)


def test_a_single_file_says_what_is_missing() -> None:
    app = upload(visit(), ("hours.csv", template_table("hours"), "text/csv"))
    app.switch_page(DATA).run()
    assert "cannot be used yet" in app.title[0].value
    assert "Add craft.csv" in read(app)


def test_a_refused_upload_is_told_and_changes_nothing() -> None:
    app = upload(visit(), ("photo.jpg", b"\xff\xd8", "image/jpeg"))
    assert "photo.jpg is of a kind that is not read" in read(app)
    assert "No fleet is open yet" in read(app)


def test_an_upload_beyond_its_limits_is_told_in_one_line_and_leaves_nothing(
    folder: Path, temporary: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading_apart, "upload_limits", lambda: reading_apart.UploadLimits(seconds=0))
    app = upload(visit(), zip_of(folder))
    assert "six craft.zip could not be read within 0 s" in read(app)
    assert "No fleet is open yet" in read(app)
    assert list(temporary.iterdir()) == []


def test_what_was_uploaded_is_read_once_and_not_by_the_server(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read_here: list[object] = []
    twin = Path(shutil.copytree(folder, folder.parent / "read once", dirs_exist_ok=True))
    for name in ("read_fleet", "read_apart", "open_fleet"):
        monkeypatch.setattr(forecaster, name, lambda source, *_, **__: read_here.append(source))
    app = upload(visit(), zip_of(twin))
    app.switch_page(DATA).run()
    assert not app.exception
    assert read_here == []


def test_another_choice_of_files_forgets_the_refusal(folder: Path) -> None:
    app = upload(visit(), ("photo.jpg", b"\xff\xd8", "image/jpeg"))
    app.file_uploader[0].set_value([zip_of(folder)]).run()
    assert not app.error


def test_what_was_passed_over_is_told(folder: Path) -> None:
    app = upload(visit(), *files_of(folder), ("notes.csv", b"a,b\n1,2\n", "text/csv"))
    app.switch_page(DATA).run()
    assert "notes.csv was passed over" in read(app)


# --- mending -------------------------------------------------------------------------------------------------------


def test_refused_rows_are_mended_and_brought_back_in_one_file(folder: Path, tmp_path: Path) -> None:
    spoiled = Path(shutil.copytree(folder, tmp_path / "spoiled"))
    mended = (spoiled / "hours.csv").read_bytes()
    rows = list(csv.reader(mended.decode().splitlines()))
    rows[3][rows[0].index("meter")] = "-77"
    with (spoiled / "hours.csv").open("w", encoding="utf-8", newline="") as text:
        csv.writer(text).writerows(rows)
    app = upload(visit(), zip_of(spoiled))
    app.switch_page(DATA).run()
    assert "1 row was refused" in read(app)
    assert "Download refused rows of hours.csv" in [button.label for button in app.get("download_button")]
    upload(app, ("hours.csv", mended, "text/csv"), meant="in place of the same files of")
    assert "nothing was refused" in read(app)
    assert rows_in_use(app) == read_of(folder)
    assert "spoiled, uploaded by you" in read(app).replace("*", "")


def test_a_file_can_stand_in_for_one_of_the_fleet_that_the_command_named(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORECASTER_SOURCE", str(folder))
    app = visit(folder)
    monkeypatch.setenv("FORECASTER_SOURCE", str(folder))
    app.switch_page(DATA).run()
    header, *rows = (folder / "checks.csv").read_bytes().splitlines(keepends=True)
    upload(app, ("checks.csv", header + b"".join(rows[:1]), "text/csv"), meant="in place of the same files of")
    assert rows_in_use(app) == {**read_of(folder), "checks.csv": 1}
    assert len((folder / "checks.csv").read_bytes().splitlines()) == len(rows) + 1  # the folder itself stays as it was


# --- from fleet to fleet -------------------------------------------------------------------------------------------


def test_the_sample_is_one_click_away_and_so_is_the_way_back(folder: Path) -> None:
    app = upload(visit(), zip_of(folder))
    app.switch_page(DATA).run()
    app.button(key="to-sample").click().run()
    assert app.query_params["fleet"] == "sample"
    assert rows_in_use(app) == read_of(sample_fleet_folder())
    app.button(key="back-to-own").click().run()
    assert "fleet" not in app.query_params
    assert rows_in_use(app) == read_of(folder)


def test_the_fleet_of_the_command_is_left_for_the_sample_and_found_again(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORECASTER_SOURCE", str(folder))
    app = visit(folder)
    monkeypatch.setenv("FORECASTER_SOURCE", str(folder))
    app.switch_page(DATA).run()
    app.button(key="to-sample").click().run()
    assert rows_in_use(app) == read_of(sample_fleet_folder())
    assert app.button(key="back-to-own").label == "Back to six craft"
    app.button(key="back-to-own").click().run()
    assert rows_in_use(app) == read_of(folder)


def test_choices_about_one_fleet_are_not_asked_of_the_next(folder: Path) -> None:
    app = upload(visit(), zip_of(folder))
    app.slider(key="hours").set_value(80).run()
    app.switch_page(DATA).run()
    app.button(key="to-sample").click().run()
    assert {name: app.query_params[name] for name in app.query_params} == {"fleet": "sample"}


# --- whose files they are ------------------------------------------------------------------------------------------


def test_files_lie_in_a_temporary_folder_and_go_when_the_fleet_is_closed(folder: Path, temporary: Path) -> None:
    app = upload(visit(), zip_of(folder))
    (kept,) = temporary.iterdir()
    assert (kept / "six craft" / "craft.csv").is_file()
    app.switch_page(DATA).run()
    app.button(key="close-upload").click().run()
    assert not kept.exists()
    assert "No fleet is open yet" in read(app)


def test_files_go_when_the_page_is_closed(folder: Path, temporary: Path) -> None:
    upload(visit(), zip_of(folder))
    assert list(temporary.iterdir())
    end_session()
    assert not list(temporary.iterdir())


def test_a_network_that_failed_for_a_moment_loses_nothing(folder: Path) -> None:
    app = upload(visit(), zip_of(folder))
    end_session()
    assert rows_in_use(app) == read_of(folder)


def test_files_go_when_another_fleet_is_uploaded(folder: Path, temporary: Path) -> None:
    app = upload(visit(), zip_of(folder))
    (first,) = temporary.iterdir()
    app.switch_page(DATA).run()
    upload(app, ("north.zip", template_folder(), "application/zip"))
    (second,) = temporary.iterdir()
    assert second != first


def test_another_viewer_does_not_see_them(folder: Path) -> None:
    upload(visit(), zip_of(folder))
    assert "No fleet is open yet" in read(visit())


@pytest.mark.parametrize("names", ["{folder}", "{kept}", "uploaded fleet", "six craft"])
def test_no_link_opens_a_folder_or_what_somebody_uploaded(folder: Path, temporary: Path, names: str) -> None:
    upload(visit(), zip_of(folder))
    (kept,) = temporary.iterdir()
    assert "No fleet is open yet" in read(visit(fleet=names.format(folder=folder, kept=kept / "six craft")))


def test_the_screen_says_where_the_files_stay() -> None:
    assert "Stays on this computer" in read(visit())
    assert "Nothing is sent anywhere" in read(visit())


def test_the_same_files_again_need_no_new_fit(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    learned = []
    fit = forecaster.learning.fit_two_stage
    monkeypatch.setattr(
        forecaster.learning, "fit_two_stage", lambda *lives, **how: learned.append(1) or fit(*lives, **how)
    )
    twin = folder.parent / "twin craft"
    shutil.copytree(folder, twin, dirs_exist_ok=True)  # of this test alone, so that nothing was fitted before
    upload(visit(), zip_of(twin))
    upload(visit(), zip_of(twin))
    assert len(learned) == 1


# --- templates -----------------------------------------------------------------------------------------------------


def test_templates_are_offered_where_there_is_no_fleet_and_beside_the_data(folder: Path) -> None:
    labels = [button.label for button in visit().get("download_button")]
    assert {"Workbook template (XLSX)", "CSV templates and fleet.toml (ZIP)"} <= set(labels)
    assert {f"Template {table.file}" for table in forecaster.TABLES.values()} <= set(labels)
    app = upload(visit(), zip_of(folder))
    app.switch_page(DATA).run()
    assert "Workbook template (XLSX)" in [button.label for button in app.get("download_button")]
