"""Commands that are killed while they write, or run out of disk: all as before, or whole, or a notice says neither."""

from __future__ import annotations

import builtins
import io
import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import pytest

from forecaster import leftovers
from forecaster.commands import main
from forecaster.reading import read_fleet
from tests.conftest import ROOT
from tests.kill_round import HALF, NOTHING, TOLD, WHOLE, Scene, given, kept, left_over, lying, scenes, told_of_half
from tests.small_fleet import TODAY, small_fleet_folder

ACTS = ("replace", "rename", "unlink", "remove", "rmdir", "mkdir", "chmod")
NAMES = (
    "report, new folder",
    "report, beside other files",
    "report --force",
    "experience save",
    "experience save --force",
    "validate --refused",
    "validate --refused --force",
    "simulate",
    "simulate --force",
)


class Killed(BaseException):
    """In the place of a kill: from here on no act on the disk succeeds, so that nothing is put in order either."""


@pytest.fixture(scope="module")
def all_scenes(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Scene]]:
    """The commands, with nothing left to do but to write."""
    folder = tmp_path_factory.mktemp("kept")
    what, laid = kept(folder, craft=4), scenes(folder)
    with given(what):
        yield {scene.name: scene for scene in laid}


@pytest.fixture
def dead_at(monkeypatch: pytest.MonkeyPatch) -> Callable[[int | None], None]:
    """Let the process be as if dead from its act of a number on (from 0), or be alive again (None)."""
    left: list[int | None] = [None]

    def watched(act: Callable[..., Any]) -> Callable[..., Any]:
        def acting(*given_: Any, **options: Any) -> Any:
            if left[0] is not None:
                if left[0] <= 0:
                    raise Killed
                left[0] -= 1
            return act(*given_, **options)

        return acting

    for name in ACTS:
        monkeypatch.setattr(os, name, watched(getattr(os, name)))
    monkeypatch.setattr(os, "fsync", watched(lambda _: None))  # the disk itself is not what is tested
    opened, watched_open = builtins.open, watched(builtins.open)
    writes = lambda mode: set(mode) & set("wax")  # noqa: E731
    monkeypatch.setattr(
        builtins, "open", lambda f, mode="r", *a, **k: (watched_open if writes(mode) else opened)(f, mode, *a, **k)
    )
    monkeypatch.setattr(leftovers, "_is_running", lambda _: False)

    def die(act: int | None) -> None:
        left[0] = act

    return die


def run(words: tuple[str, ...]) -> int:
    with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
        return main(words)


@pytest.mark.parametrize("name", NAMES)
def test_killed_at_any_act_it_leaves_all_as_before_or_whole_or_says_so_and_can_be_run_again(
    all_scenes: dict[str, Scene], dead_at: Callable[[int | None], None], tmp_path: Path, name: str
) -> None:
    scene = all_scenes[name]
    scene.lay(tmp_path / "undisturbed")
    run(scene.words_in(tmp_path / "undisturbed"))
    whole = lying(tmp_path / "undisturbed")
    assert whole != scene.before
    kinds, act = [], 0
    while True:
        (folder := tmp_path / str(act)).mkdir()
        scene.lay(folder)
        dead_at(act)
        try:
            run(scene.words_in(folder))
            break  # it came to its end: every act was tried
        except Killed:
            pass
        finally:
            dead_at(None)
        there = lying(folder)
        kinds.append(
            NOTHING if there == scene.before else WHOLE if there == whole else TOLD if told_of_half(folder) else HALF
        )
        run(scene.words_in(folder))
        assert lying(folder) == whole, f"act {act}"
        assert left_over(folder) == [], f"act {act}"
        act += 3 if name == "simulate --force" else 1  # many files, moved as those of a report are
    assert HALF not in kinds
    assert {NOTHING, WHOLE} <= set(kinds)
    assert (TOLD in kinds) == (name in ("report, beside other files", *(n for n in NAMES if n[-7:] == "--force"))
                               and "experience" not in name)  # fmt: skip


def test_a_fleet_that_is_not_whole_is_not_read_as_one(
    all_scenes: dict[str, Scene], dead_at: Callable[[int | None], None], tmp_path: Path
) -> None:
    scene = all_scenes["simulate --force"]
    told = 0
    for act in range(25, 55, 6):
        (folder := tmp_path / str(act)).mkdir()
        scene.lay(folder)
        dead_at(act)
        try:
            run(scene.words_in(folder))
        except Killed:
            pass
        finally:
            dead_at(None)
        if told_of_half(folder):
            reading = read_fleet(folder / "out", TODAY)
            assert any("forecaster was stopped while it put the files" in p.reason for p in reading.stops_answer)
            told += 1
    assert told > 2


@pytest.mark.parametrize(
    ("listed", "stops"), [("craft.csv", True), ("Hours.csv", True), ("fleet-2026-01-15.pdf", False)]
)
def test_a_notice_stops_the_fleet_where_it_lists_a_file_of_its_own(tmp_path: Path, listed: str, stops: bool) -> None:
    small_fleet_folder(tmp_path)
    run_ = f"{leftovers._host()}-1-0123abcd"
    leftovers.notice(tmp_path, run_).write_bytes(leftovers.notice_of([leftovers.Move(listed, 1, 1)]))
    reading = read_fleet(tmp_path, TODAY)
    assert bool(reading.stops_answer) == stops
    assert [problem.file for problem in reading.problems] == [leftovers.notice(tmp_path, run_).name]


@pytest.fixture(scope="module")
def round_() -> dict[str, dict[str, Any]]:
    """Each command killed once in earnest, by a signal, and once given a disk without room."""
    words = ("-W", "error", "-m", "tests.kill_round", "--json", "--kills", "0", "--acts", "1", "--craft", "4")
    told = subprocess.run([sys.executable, *words], capture_output=True, text=True, cwd=ROOT, check=True)
    found: dict[str, dict[str, Any]] = json.loads(told.stdout)
    return found


def test_a_kill_in_earnest_leaves_no_half_and_the_same_command_mends_it(round_: dict[str, dict[str, Any]]) -> None:
    assert set(round_) == set(NAMES)
    assert sum(one["kills"] for one in round_.values()) >= len(NAMES)
    assert [one for one in round_.values() if HALF in one or one["not mended"]] == []


@pytest.mark.parametrize("name", NAMES)
def test_a_disk_without_room_is_told_and_leaves_all_as_before(round_: dict[str, dict[str, Any]], name: str) -> None:
    full = round_[name]["full disk"]
    assert (full["status"], full["as_before"], full["left_over"]) == (1, True, [])
    assert "cannot be written (the file is larger than may be written there). Free some space" in full["told"]
