"""Uploads are read in a process of their own: the same answer, bounded memory and time, and nobody else waits."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
import time
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from forecaster import reading_apart, template_folder
from forecaster.command_line import parse
from forecaster.commands import COMMANDS
from forecaster.errors import SourceError, WrongUsage
from forecaster.problems import Reading
from forecaster.ranges import UPLOAD_MEMORY, UPLOAD_TIME
from forecaster.reading import read_fleet
from forecaster.reading_apart import (
    MEMORY_VARIABLE,
    SECONDS_VARIABLE,
    UPLOAD_MEMORY_MB,
    UPLOAD_SECONDS,
    UploadLimits,
    get_ready_to_read,
    read_apart,
    receive_apart,
    upload_limits,
)
from forecaster.reading_child import do
from forecaster.records import TABLES
from forecaster.zip_folders import ReceivedFile
from tests.small_fleet import TODAY, set_cell, small_fleet_folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The small fleet, with a row that is refused."""
    made = small_fleet_folder(tmp_path / "harbour")
    set_cell(made / "hours.csv", 5, "meter", "=120 h")
    return made


def files_of(folder: Path) -> list[ReceivedFile]:
    return [ReceivedFile(f"{folder.name}/{f.name}", f.read_bytes()) for f in sorted(folder.iterdir())]


def out(tmp_path: Path) -> Path:
    made = tmp_path / "out"
    made.mkdir()
    return made


def assert_same(one: Reading, other: Reading) -> None:
    for table in TABLES:
        pd.testing.assert_frame_equal(one.records.table(table), other.records.table(table))
    assert (one.problems, one.records.settings, one.records.name) == (
        other.problems,
        other.records.settings,
        other.records.name,
    )
    assert {name: rows.to_dict() for name, rows in one.refused.items()} == {
        name: rows.to_dict() for name, rows in other.refused.items()
    }


def test_what_is_read_apart_is_what_is_read_here(folder: Path, tmp_path: Path) -> None:
    found = receive_apart(files_of(folder), out(tmp_path), TODAY)
    assert found.received is not None
    assert found.source == tmp_path / "out" / "harbour"
    assert_same(found.reading, read_fleet(folder, TODAY))
    assert_same(read_apart(found.source, TODAY), found.reading)


def test_a_process_that_waits_ready_gives_the_same(folder: Path, tmp_path: Path) -> None:
    get_ready_to_read()
    (waiting,) = reading_apart._spare
    get_ready_to_read()
    assert [waiting] == reading_apart._spare
    found = receive_apart(files_of(folder), out(tmp_path), TODAY)
    assert_same(found.reading, read_fleet(folder, TODAY))
    assert waiting.returncode == 0
    assert reading_apart._spare == []


def test_one_that_died_waiting_is_replaced(folder: Path, tmp_path: Path) -> None:
    get_ready_to_read()
    reading_apart._spare[0].kill()
    reading_apart._spare[0].wait(30)
    found = receive_apart(files_of(folder), out(tmp_path), TODAY)
    assert_same(found.reading, read_fleet(folder, TODAY))


def test_files_go_into_an_earlier_fleet_or_a_folder_of_this_machine(folder: Path, tmp_path: Path) -> None:
    mended = small_fleet_folder(tmp_path / "mended") / "hours.csv"
    found = receive_apart([ReceivedFile("hours.csv", mended.read_bytes())], out(tmp_path), TODAY, folder)
    assert found.reading.problems == ()
    assert found.source.name == "harbour"
    again = tmp_path / "again"
    again.mkdir()
    spoiled = ReceivedFile("hours.csv", (folder / "hours.csv").read_bytes())
    assert len(receive_apart([spoiled], again, TODAY, found.received).reading.problems) == 1


def test_a_refusal_is_told_as_it_is_here(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match=r"photo\.jpg is of a kind that is not read"):
        receive_apart([ReceivedFile("photo.jpg", b"\xff\xd8")], out(tmp_path), TODAY)


# --- limits ---------------------------------------------------------------------------------------------------------


def test_an_upload_that_takes_too_long_is_broken_off_in_one_line(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(SourceError, match=r"could not be read within 0 s, .* --upload-seconds\.$") as refusal:
        receive_apart(files_of(folder), out(tmp_path), TODAY, limits=UploadLimits(seconds=0))
    assert "\n" not in str(refusal.value)


@pytest.mark.skipif(sys.platform != "linux", reason="another way to limit memory there, without a system to try it on")
def test_an_upload_that_takes_too_much_memory_is_broken_off_in_one_line(tmp_path: Path) -> None:
    rows = "\n".join(f"C{n},2025-05-05,{n}.5" for n in range(300_000))
    files = [
        ReceivedFile("craft.csv", b"craft_id\nC1\n"),
        ReceivedFile("hours.csv", f"craft_id,read_on,meter\n{rows}".encode()),
    ]
    with pytest.raises(SourceError, match=r"could not be read within 160 MB of memory, .* --upload-memory\.$"):
        receive_apart(files, out(tmp_path), TODAY, limits=UploadLimits(memory_mb=160))


def test_a_reading_that_ends_by_itself_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading_apart, "_started", lambda: started("raise SystemExit(3)"))
    with pytest.raises(SourceError, match="the reading ended before its time"):
        receive_apart([ReceivedFile("f.zip", template_folder())], out(tmp_path), TODAY)


def started(program: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", f"import sys\nsys.stdin.buffer.read()\n{program}"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
    )  # fmt: skip


def test_others_go_on_while_one_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading_apart, "_started", lambda: started("import time\ntime.sleep(60)"))
    files, told = [ReceivedFile("f.zip", template_folder())], []

    def read() -> None:
        with pytest.raises(SourceError) as refusal:
            receive_apart(files, tmp_path, TODAY, limits=UploadLimits(seconds=2))
        told.append(str(refusal.value))

    reading = threading.Thread(target=read)
    reading.start()
    steps = 0
    while reading.is_alive():  # a hog would let this thread have no step
        time.sleep(0.01)
        steps += 1
    assert steps > 20
    assert "f.zip could not be read within 2 s" in told[0]


def test_more_than_two_at_once_wait_for_their_turn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading_apart, "_turns", threading.BoundedSemaphore(1))
    assert reading_apart._turns.acquire()
    with pytest.raises(SourceError, match=r"f\.zip cannot be read yet: .* Try again soon\."):
        receive_apart([ReceivedFile("f.zip", b"")], tmp_path, TODAY, limits=UploadLimits(seconds=0))


def test_a_fault_of_the_program_is_handed_back_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program = (
        "from forecaster import reading_child\n"
        "def spoil(task): raise KeyError('rows')\n"
        "reading_child.do = spoil\nreading_child._warm_up = lambda: None\nreading_child.main()\n"
    )
    monkeypatch.setattr(
        reading_apart, "_started",
        lambda: subprocess.Popen([sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE),
    )  # fmt: skip
    with pytest.raises(SourceError, match=r"^A fault of the program, .*: KeyError: 'rows' at .* line 2\."):
        receive_apart([ReceivedFile("f.zip", template_folder())], tmp_path, TODAY)


def test_what_is_handed_to_the_child_and_back_survives_the_way(folder: Path, tmp_path: Path) -> None:
    task = reading_apart.ReadingTask(UploadLimits(), TODAY, out(tmp_path), tuple(files_of(folder)))
    found = pickle.loads(pickle.dumps(do(pickle.loads(pickle.dumps(task)))))
    assert_same(found.reading, read_fleet(folder, TODAY))


# --- settings -------------------------------------------------------------------------------------------------------


def test_the_limits_are_the_commands() -> None:
    assert upload_limits({}) == UploadLimits(UPLOAD_MEMORY_MB, UPLOAD_SECONDS) == UploadLimits(1_000, 60)
    assert upload_limits({MEMORY_VARIABLE: "2000", SECONDS_VARIABLE: "5"}) == UploadLimits(2_000, 5)
    assert upload_limits({MEMORY_VARIABLE: "1", SECONDS_VARIABLE: "0"}) == UploadLimits(UPLOAD_MEMORY.least, 1)
    assert upload_limits({MEMORY_VARIABLE: "9" * 5_000, SECONDS_VARIABLE: "-3"}) == UploadLimits()


@pytest.mark.parametrize(
    ("option", "least", "most"),
    [("--upload-memory", UPLOAD_MEMORY.least, UPLOAD_MEMORY.most), ("--upload-seconds", 1, UPLOAD_TIME.most)],
)
def test_the_command_takes_what_can_be_set_and_no_more(option: str, least: int, most: int) -> None:
    for number in (least, most):
        assert number in vars(parse(COMMANDS, ["dashboard", option, str(number)], "0", "")).values()
    for number in (least - 1, most + 1):
        with pytest.raises(WrongUsage, match="is not a whole number of"):
            parse(COMMANDS, ["dashboard", option, str(number)], "0", "")


def test_the_command_hands_its_limits_on(monkeypatch: pytest.MonkeyPatch) -> None:
    handed: list[object] = []
    monkeypatch.setattr("forecaster.serving.serve_dashboard", lambda *given: handed.append(given[-1]) or 0)
    asked = parse(COMMANDS, ["dashboard", "--upload-memory", "700", "--upload-seconds", "9"], "0", "")
    asked.command.run(asked)
    assert handed == [{MEMORY_VARIABLE: 700, SECONDS_VARIABLE: 9}]


def test_the_child_imports_nothing_from_the_folder_that_the_user_is_in(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = out(tmp_path)
    (tmp_path / "pandas.py").write_text("raise SystemExit('not this one')")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", "")
    assert receive_apart(files_of(folder), place, date(2026, 1, 1)).received is not None
    assert os.getcwd() == str(tmp_path)
