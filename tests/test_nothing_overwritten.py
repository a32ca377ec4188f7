"""No command writes over a file unless told to by --force, and none over what was read, told or not."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from forecaster import received_folder, write_fleet
from forecaster.errors import WrongUsage
from forecaster.priors import PARAMETERS
from forecaster.reading import files_of, read_fleet
from forecaster.records import TABLES
from forecaster.simulate import SimulatedFleet, check_invented, simulate_fleet, write_simulated
from forecaster.templates import template_workbook
from forecaster.writing import refused_lists, write_refused
from tests import command_answers
from tests.small_fleet import TODAY, add_row, cell, rows_of, set_cell, small_fleet, small_fleet_folder

DAY = ("--as-of", TODAY.isoformat())
FORCED = [(), ("--force",)]
answer_to = command_answers.answer_to.__wrapped__  # files change here between the same words: nothing is kept
Refused = Callable[..., str]


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    """The small fleet, of which a reading, a craft's twin and an opening are refused."""
    folder = small_fleet_folder(tmp_path / "fleet")
    set_cell(folder / "hours.csv", 5, "meter", "=120 h")
    add_row(folder / "craft.csv", craft_id="C001", name="Otter again")
    set_cell(folder / "rebuilds.csv", 3, "bearing", "sond")
    return folder


@pytest.fixture
def refused() -> Refused:
    """Ask what is refused as wrong usage; what is told."""

    def ask(*words: object) -> str:
        status, printed, told = answer_to(*map(str, words))
        assert (status, printed) == (2, ""), told
        return told

    return ask


def bytes_in(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir() if file.is_file()}


def mended(fleet: Path) -> None:
    """What was refused is mended in the records."""
    write_fleet(small_fleet(), fleet, force=True)


# The files that are read --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("force", FORCED)
def test_refused_rows_are_never_written_over_the_workbook_that_they_come_from(
    refused: Refused, tmp_path: Path, force: tuple[str, ...]
) -> None:
    book = tmp_path / "my.xlsx"
    book.write_bytes(before := template_workbook())
    told = refused("validate", book, *DAY, "--refused", book, *force)
    assert "my.xlsx was read for this answer: it is never written over, not even with --force. Name another" in told
    assert book.read_bytes() == before


@pytest.mark.parametrize("force", FORCED)
@pytest.mark.parametrize("name", ["craft.csv", "CRAFT.CSV", "fleet.toml", "water.csv"])
def test_experience_is_never_saved_over_a_file_of_the_fleet(
    refused: Refused, fleet: Path, force: tuple[str, ...], name: str
) -> None:
    (fleet / "water.csv").unlink()  # a name that the fleet would be read by is none for other files either
    before = bytes_in(fleet)
    told = refused("experience", "save", fleet, fleet / name, *DAY, *force)
    assert "was read for this answer" in told or "would be read as the fleet's own water.csv" in told
    assert bytes_in(fleet) == before


def test_experience_is_not_saved_over_what_another_fleet_taught_in_silence(
    refused: Refused, fleet: Path, tmp_path: Path
) -> None:
    (bench := tmp_path / "bench.json").write_text("another's")
    told = refused("experience", "save", fleet, bench, *DAY)
    assert "bench.json is there already. Name another place, or write over it with --force." in told
    assert bench.read_text() == "another's"
    assert answer_to("experience", "save", str(fleet), str(bench), *DAY, "--force")[0] == 0
    assert json.loads(bench.read_text())["parameters"] == list(PARAMETERS)


def test_the_sheet_after_water_is_never_written_over_priors_that_it_rests_on(refused: Refused, tmp_path: Path) -> None:
    (mine := tmp_path / "mine.toml").write_text("mine")
    told = refused("flooded", "--priors", mine, "--sheet", mine, "--force")
    assert "mine.toml was read for this answer" in told


def test_a_paper_is_never_written_over_the_changes_that_it_was_made_with(
    refused: Refused, fleet: Path, tmp_path: Path
) -> None:
    (mine := tmp_path / f"fleet-{TODAY}.csv").write_text("unit_id,action\nS1,leave\n")
    told = refused("report", fleet, *DAY, "--changes", mine, "--out", tmp_path, "--only", "csv", "--force")
    assert "was read for this answer" in told
    assert mine.read_text() == "unit_id,action\nS1,leave\n"


def test_changes_may_be_mended_in_their_own_file_but_in_no_other_that_was_read(
    refused: Refused, fleet: Path, tmp_path: Path
) -> None:
    (mine := tmp_path / "mine.csv").write_text("unit_id,action,week_of,note\nS1,leave,,\n")
    words = ("plan", str(fleet), *DAY, "--changes", str(mine), "--change", "S2:leave", "--save-changes", str(mine))
    assert "mine.csv is there already" in refused(*words)
    assert answer_to(*words, "--force")[0] == 0
    assert rows_of(mine)[1:] == [["S1", "leave", "", ""], ["S2", "leave", "", ""]]
    told = refused("plan", fleet, *DAY, "--save-changes", fleet / "fleet.toml", "--force")
    assert "fleet.toml was read for this answer" in told


def test_papers_and_refused_rows_may_lie_in_the_fleets_folder_and_the_fleet_reads_as_before(fleet: Path) -> None:
    before, received = read_fleet(fleet, TODAY), received_folder(fleet)
    assert answer_to("report", str(fleet), *DAY, "--out", str(fleet), "--no-look-back")[0] == 0
    assert answer_to("validate", str(fleet), *DAY, "--refused", str(fleet))[0] == 0
    after = read_fleet(fleet, TODAY)
    assert len(list(fleet.iterdir())) > len(files_of(fleet)) + 5
    assert after.read == before.read
    assert after.refused_counts == before.refused_counts
    assert received_folder(fleet).files == received.files
    assert set(after.problems) >= set(before.problems)
    assert not any(problem.refused or problem.stops_answer for problem in set(after.problems) - set(before.problems))


def test_records_are_never_written_over_what_they_were_read_from(fleet: Path) -> None:
    before = bytes_in(fleet)
    reading = read_fleet(fleet, TODAY)
    with pytest.raises(WrongUsage, match="was read for this answer"):
        write_fleet(reading.records, fleet, force=True)
    assert bytes_in(fleet) == before
    os.chdir(fleet)
    with pytest.raises(WrongUsage, match="was read for this answer"):
        write_fleet(read_fleet(".", TODAY).records, fleet, force=True)


def test_a_fleet_is_not_written_over_another_unless_told(tmp_path: Path) -> None:
    (tmp_path / "craft.csv").write_text("another's")
    with pytest.raises(WrongUsage, match=r"craft\.csv is there already"):
        write_fleet(small_fleet(), tmp_path)
    assert bytes_in(tmp_path) == {"craft.csv": b"another's"}
    write_fleet(small_fleet(), tmp_path, force=True)
    assert read_fleet(tmp_path, TODAY).problems == ()


# Refused rows, a second time ----------------------------------------------------------------------------------------


def lists(*tables: str) -> set[str]:
    return {f"refused_{table}.csv" for table in tables}


def test_rows_that_were_mended_by_hand_are_not_discarded(refused: Refused, fleet: Path, tmp_path: Path) -> None:
    words = ("validate", fleet, *DAY, "--refused", tmp_path / "mend")
    assert answer_to(*map(str, words))[0] == 0
    (mine := tmp_path / "mend" / "refused_hours.csv").write_text("mended by hand")
    told = refused(*words, "--json")
    assert "refused_craft.csv" in told
    assert "are there already. Name another place, or write over them with --force." in told
    assert mine.read_text() == "mended by hand"
    assert answer_to(*map(str, words), "--force")[0] == 0
    assert "=120 h" in mine.read_text(encoding="utf-8-sig")


def test_lists_of_which_nothing_is_refused_any_more_stand_in_the_way_and_go_with_force(
    refused: Refused, fleet: Path, tmp_path: Path
) -> None:
    words = ("validate", fleet, *DAY, "--refused", tmp_path / "mend")
    answer_to(*map(str, words))
    assert set(bytes_in(tmp_path / "mend")) == lists("craft", "hours", "rebuilds")
    set_cell(fleet / "hours.csv", 5, "meter", cell(small_fleet_folder(tmp_path / "good") / "hours.csv", 5, "meter"))
    (tmp_path / "mend" / "refused_craft.csv").unlink()
    (tmp_path / "mend" / "refused_rebuilds.csv").unlink()
    assert "refused_hours.csv is there already" in refused(*words)  # though none of its rows is refused now
    told = answer_to(*map(str, words), "--force")[2]
    assert "Deleted, since nothing of it is refused any more" in told
    assert set(bytes_in(tmp_path / "mend")) == lists("craft", "rebuilds")


@pytest.mark.parametrize("place", ["mend", "mend.xlsx"])
def test_where_nothing_is_refused_any_more_old_lists_are_told_of_and_go_with_force(
    fleet: Path, tmp_path: Path, place: str
) -> None:
    words = ("validate", str(fleet), *DAY, "--refused", str(tmp_path / place))
    answer_to(*words)
    earlier = refused_lists(tmp_path / place)
    assert earlier
    mended(fleet)
    status, _, told = answer_to(*words, "--json")
    assert status == 0
    assert "No row was refused. Of an earlier run, and no longer so: " in told
    assert str(earlier[0]) in told
    assert refused_lists(tmp_path / place) == earlier
    told = answer_to(*words, "--force")[2]
    assert "No row was refused. Deleted, since nothing of it is refused any more: " in told
    assert refused_lists(tmp_path / place) == []
    assert not any(file.exists() for file in earlier)


def test_a_file_of_another_kind_is_not_deleted_as_an_old_list(fleet: Path, tmp_path: Path) -> None:
    mended(fleet)
    (tmp_path / "mend").mkdir()
    (tmp_path / "mend" / "refused_hours.csv").write_text("my own notes")
    (tmp_path / "prices.xlsx").write_bytes(template_workbook())
    for place in ("mend", "prices.xlsx"):
        told = answer_to("validate", str(fleet), *DAY, "--refused", str(tmp_path / place), "--force")[2]
        assert told == "No row was refused.\n"
    assert (tmp_path / "mend" / "refused_hours.csv").read_text() == "my own notes"
    assert (tmp_path / "prices.xlsx").read_bytes() == template_workbook()


@pytest.mark.parametrize("again", ["utf-16", "utf-8"])
def test_a_list_is_known_however_a_spreadsheet_saved_it_again(fleet: Path, tmp_path: Path, again: str) -> None:
    files = write_refused(read_fleet(fleet, TODAY), tmp_path)
    for file in files:
        text = file.read_text(encoding="utf-8-sig").replace(",", ";")
        file.write_text('"' + text.replace(";", '";"', 3), encoding=again)
    assert refused_lists(tmp_path) == files


# Invented fleets ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def drawn() -> SimulatedFleet:
    return simulate_fleet(3, 1, 7)


@pytest.mark.parametrize("name", ["README.md", "truth.json", "craft.csv", "fleet.toml"])
def test_an_invented_fleet_is_not_put_over_files_of_yours(refused: Refused, tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("mine")
    told = refused("simulate", tmp_path, "--craft", 3, "--seasons", 1, "--truth")
    assert name in told
    assert bytes_in(tmp_path) == {name: b"mine"}


@pytest.mark.parametrize("name", ["craft.csv", "CRAFT.CSV", "fleet.toml"])
def test_a_fleet_that_was_not_invented_is_never_written_over(refused: Refused, tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("mine")
    told = refused("simulate", tmp_path, "--craft", 3, "--seasons", 1, "--force")
    assert f"{name} is there, and no README.md says that it is invented" in told
    assert "never written over, not even with --force. Name another folder." in told
    assert bytes_in(tmp_path) == {name: b"mine"}


def test_an_invented_fleet_to_which_records_were_added_is_somebodys_own(drawn: SimulatedFleet, tmp_path: Path) -> None:
    write_simulated(drawn, tmp_path)
    add_row(tmp_path / "hours.csv", craft_id="C001", read_on="2026-05-05", meter="500")
    count = len(drawn.records.hours)
    with pytest.raises(WrongUsage, match=rf"hours\.csv has {count + 1:,} rows, and README\.md tells of {count:,}"):
        write_simulated(drawn, tmp_path, force=True)


def test_another_invented_fleet_takes_its_place_with_force_and_no_old_truth_stays(
    drawn: SimulatedFleet, tmp_path: Path
) -> None:
    write_simulated(drawn, tmp_path / "fleet", truth=True)
    other = simulate_fleet(4, 1, 8)
    with pytest.raises(WrongUsage, match="are there already"):
        check_invented(tmp_path / "fleet")
    write_simulated(other, tmp_path / "fleet", force=True)
    write_simulated(other, tmp_path / "afresh")
    names = {*(table.file for table in TABLES.values()), "fleet.toml", "README.md"}
    assert set(bytes_in(tmp_path / "fleet")) == names
    for name in names - {"README.md"}:
        assert (tmp_path / "fleet" / name).read_bytes() == (tmp_path / "afresh" / name).read_bytes()


def test_a_truth_of_yours_stays(drawn: SimulatedFleet, tmp_path: Path) -> None:
    (tmp_path / "truth.json").write_text('{"mine": 1}')
    write_simulated(drawn, tmp_path)
    assert (tmp_path / "truth.json").read_text() == '{"mine": 1}'
    assert read_fleet(tmp_path, date(2100, 1, 1)).problems == ()
