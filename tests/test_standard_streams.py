"""Standard streams that are closed, broken or full: a command ends quietly, with a status that says how it went."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import ROOT
from tests.small_fleet import TODAY, small_fleet_folder

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="shells close streams otherwise there")
FORECASTER = (sys.executable, "-m", "forecaster")
DAY = ("--as-of", TODAY.isoformat())


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> str:
    return str(small_fleet_folder(tmp_path_factory.mktemp("streams") / "fleet"))


def shell(redirect: str, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a command with a redirection of the shell's."""
    line = f'exec "$@" {redirect}'
    return subprocess.run(["sh", "-c", line, "sh", *FORECASTER, *words], capture_output=True, text=True, cwd=ROOT)


@pytest.mark.parametrize("redirect", [">&-", ">&- 2>&-", "<&- >&- 2>&-", ">/dev/null <&-"])
@pytest.mark.parametrize("json_asked", [(), ("--json",)])
def test_with_no_standard_output_the_status_is_the_answers_own_and_nothing_is_said(
    fleet: str, redirect: str, json_asked: tuple[str, ...]
) -> None:
    answered = shell(redirect, "validate", fleet, *DAY, *json_asked)
    assert (answered.returncode, answered.stdout, answered.stderr) == (0, "", "")


def test_without_standard_error_a_refusal_is_silent_and_its_status_stays() -> None:
    refused = shell("2>&-", "validate", "nowhere")
    assert (refused.returncode, refused.stdout) == (1, "")
    assert shell("2>&-", "validate", "nowhere", "--jason").returncode == 2


def test_a_refusal_is_told_where_standard_output_alone_is_closed() -> None:
    refused = shell(">&-", "validate", "nowhere")
    assert refused.returncode == 1
    assert refused.stderr.startswith("forecaster: nowhere is nowhere.")


def test_what_is_written_to_a_file_is_whole_with_every_stream_closed(fleet: str, tmp_path: Path) -> None:
    file = tmp_path / "bench.json"
    saved = shell("<&- >&- 2>&-", "experience", "save", fleet, str(file), *DAY)
    assert saved.returncode == 0
    assert json.loads(file.read_text())["version"] == 1


@pytest.mark.parametrize("words", [("validate", "FLEET", *DAY), ("--help",), ("forecast", "--help")])
def test_a_reader_that_leaves_ends_the_command_quietly(fleet: str, words: tuple[str, ...]) -> None:
    reading, writing = os.pipe()
    os.close(reading)  # nobody reads, from the first line on
    given = [fleet if word == "FLEET" else word for word in words]
    buffered = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    try:
        ended = subprocess.run(
            [*FORECASTER, *given], stdout=writing, stderr=subprocess.PIPE, text=True, cwd=ROOT, env=buffered
        )
    finally:
        os.close(writing)
    assert (ended.returncode, ended.stderr) == (1, "")


def test_whoever_is_told_may_leave_as_well() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    try:
        ended = subprocess.run([*FORECASTER, "validate", "nowhere"], stdout=subprocess.PIPE, stderr=writing, cwd=ROOT)
    finally:
        os.close(writing)
    assert (ended.returncode, ended.stdout) == (1, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full device here")
def test_a_full_disk_is_told_in_words(fleet: str) -> None:
    answered = shell(">/dev/full", "validate", fleet, *DAY)
    assert answered.returncode == 1
    assert answered.stderr == "forecaster: No space left on device. The answer is not complete.\n"


# --- warnings of libraries ------------------------------------------------------------------------------------------

WARNS = """
import sys, warnings
import numpy as np
from forecaster import commands
from forecaster.command_line import Command
def warn(asked):
    warnings.warn("for developers")
    np.log(np.zeros(1))
    return 0
commands.COMMANDS.by_name["validate"] = Command("validate", "warns", (), warn)
sys.argv = ["forecaster", "validate"]
sys.exit(commands.main())
"""


@pytest.mark.parametrize(
    ("flags", "variables", "seen"),
    [
        ((), {}, False),
        (("-W", "default"), {}, True),
        (("-X", "dev"), {}, True),
        ((), {"PYTHONWARNINGS": "default"}, True),
    ],
)
def test_warnings_of_libraries_reach_developers_alone(
    flags: tuple[str, ...], variables: dict[str, str], seen: bool
) -> None:
    told = subprocess.run(
        [sys.executable, *flags, "-c", WARNS], capture_output=True, text=True, cwd=ROOT, env={**os.environ, **variables}
    )
    assert told.returncode == 0
    assert told.stdout == ""
    assert ("for developers" in told.stderr) is seen
    assert ("RuntimeWarning" in told.stderr) is seen
    assert seen or told.stderr == ""
