"""A fleet's first answers from a second process: the same as worked out here, and no loss where nothing comes of it."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from forecaster import Fleet, PlanEdit, content_of, preparing, sample_fleet_folder
from forecaster.preparing import HORIZONS, KINDS, Job, Preparation, Preparations, prepare
from forecaster.report.plan_text import plan_json
from tests.conftest import ROOT, SAMPLE_DAY

SAMPLE = str(sample_fleet_folder())


def nothing(_: object = None) -> None:
    """Whatever is told, nobody listens."""


def never(*_: object, **__: object) -> Any:
    pytest.fail("worked out though it was taken over")


@pytest.fixture(scope="module")
def given() -> list[tuple[str, Any]]:
    """All that is given of the sample, as it comes out of the pipe."""
    found: list[tuple[str, Any]] = []

    def give(what: str, piece: Any) -> None:
        found.append(pickle.loads(pickle.dumps((what, piece))))

    prepare(Job(SAMPLE_DAY, SAMPLE), give, step_back=nothing)
    return found


@pytest.fixture
def taken_over(given: list[tuple[str, Any]]) -> Fleet:
    """The sample as the server has it once everything is there."""
    pieces = dict(given)
    fleet = Fleet(pieces["reading"][1])
    for what, piece in given:
        if what in KINDS or what == "horizon":
            fleet.take_over(piece)
    return fleet


def test_pieces_come_in_the_order_in_which_screens_ask_for_them(given: list[tuple[str, Any]]) -> None:
    assert [what for what, _ in given if what in KINDS] == list(KINDS)
    assert given[0][0] == "reading"


def asked(fleet: Fleet) -> list[Any]:
    """What the screens ask of a fleet first."""
    return [
        fleet.forecast(SAMPLE_DAY),
        *(repr(fleet.risks(SAMPLE_DAY, hours)) for hours in HORIZONS),  # of what is NaN the texts are the same
        fleet.forecast(SAMPLE_DAY, 120.0),
        fleet.instructions(SAMPLE_DAY),
        fleet.this_week(SAMPLE_DAY),
        plan_json(fleet.plan(SAMPLE_DAY), fleet.instructions(SAMPLE_DAY)),
    ]


def test_what_is_taken_over_is_what_would_have_been_worked_out_here(
    taken_over: Fleet, sample: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = asked(sample)
    monkeypatch.setattr("forecaster.fleet.FleetStanding", never)
    monkeypatch.setattr("forecaster.off_season.planned_season", never)
    assert asked(taken_over) == here


def test_one_unit_now_or_later_then_weighs_no_other_unit(
    taken_over: Fleet, sample: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    unit = sample.forecast(SAMPLE_DAY).units[0].unit_id
    here = sample.now_or_later(unit, SAMPLE_DAY)
    monkeypatch.setattr("forecaster.decisions.Decisions.weigh", never)
    told = taken_over.now_or_later(unit, SAMPLE_DAY)
    assert (told.best.action, told.best.on, told.instruction) == (here.best.action, here.best.on, here.instruction)
    # Sums over draws depend in their last digit on how an array lies in memory, which a pipe may change.
    assert told.saved.mean == pytest.approx(here.saved.mean, rel=1e-12)


def test_a_plan_that_was_taken_over_is_changed_by_hand_like_one_that_was_made_here(
    taken_over: Fleet, sample: Fleet
) -> None:
    unit = next(one.unit_id for one in sample.plan(SAMPLE_DAY).plan.actions if one.action == "rebuild")
    told, here = (fleet.plan_with({unit: PlanEdit("leave")}, SAMPLE_DAY) for fleet in (taken_over, sample))
    assert told.edits == here.edits != {}
    assert told.costs_more.mean == pytest.approx(here.costs_more.mean, rel=1e-12)
    assert told.broken == here.broken


def test_a_fleet_that_is_open_here_is_only_asked_for_the_rest(sample: Fleet) -> None:
    known = sample.worked_out(("histories", "fits", "usage"))
    found: list[str] = []
    job = Job(SAMPLE_DAY, reading=sample.reading, known=known)
    prepare(job, lambda what, _: found.append(what), step_back=nothing)
    assert [what for what in found if what != "told"] == ["decisions", "decided"]


def test_of_a_very_large_fleet_only_the_first_page_is_prepared(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(preparing, "MOST_AHEAD", 5)
    found: list[str] = []
    prepare(Job(SAMPLE_DAY, SAMPLE), lambda what, _: found.append(what), step_back=nothing)
    assert found == ["reading", "risks", "forecast", "standing"]


@pytest.fixture
def large_sample(monkeypatch: pytest.MonkeyPatch) -> None:
    """The sample counts as large."""
    monkeypatch.setattr(preparing, "LARGE", 0)


def test_a_small_source_is_read_sooner_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(preparing, "Preparation", never)
    served = Preparations()
    served.begin(SAMPLE, SAMPLE_DAY)
    assert served.serving
    assert served.fleet(content_of(SAMPLE), SAMPLE_DAY) is None


@pytest.mark.usefixtures("large_sample")
def test_a_second_process_prepares_the_sample() -> None:
    served = Preparations()
    served.begin(SAMPLE, SAMPLE_DAY)
    content, told = content_of(SAMPLE), []
    fleet = served.fleet(content, SAMPLE_DAY)
    assert fleet is not None
    served.wait("decided", content, SAMPLE_DAY, told.append)
    assert served.have("decided", content, SAMPLE_DAY)
    assert fleet.worked_out(("decided",))["decided"]
    assert told


@pytest.mark.usefixtures("large_sample")
def test_another_day_or_other_records_wait_for_nothing() -> None:
    served = Preparations()
    served.begin(SAMPLE, SAMPLE_DAY)
    assert served.fleet(content_of(SAMPLE), SAMPLE_DAY - timedelta(days=1)) is None
    assert served.fleet("other records", SAMPLE_DAY) is None
    assert not served.have("decided", "other records", SAMPLE_DAY)


def ended(command: str) -> Callable[[bool], list[str]]:
    return lambda politely: [sys.executable, "-c", command]


@pytest.mark.parametrize(
    "command",
    [
        "raise SystemExit(3)",
        "print('no pickle at all')",
        "import os, signal; os.kill(os.getpid(), signal.SIGTERM)",
        "import pickle, sys; pickle.dump(('reading', ('other records', None)), sys.stdout.buffer)",
    ],
)
def test_whatever_becomes_of_the_other_process_nobody_waits(command: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(preparing, "_command", ended(command))
    one = Preparation(SAMPLE_DAY, content_of(SAMPLE), SAMPLE)
    assert one.fleet() is None
    one.wait("decided", nothing)
    assert not one.has("decided")
    assert not one.goes_on


def test_nor_beyond_some_time_where_it_says_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(preparing, "_command", ended("import sys; sys.stdin.buffer.read()"))
    monkeypatch.setattr(preparing, "MOST_PATIENCE", 0.1)
    monkeypatch.setattr(preparing, "TOLD_EVERY", 0.05)
    one = Preparation(SAMPLE_DAY, content_of(SAMPLE), SAMPLE)
    assert one.fleet() is None
    one.wait("decided", nothing)
    assert not one.has("decided")


def test_nor_where_it_cannot_be_started(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(preparing, "_command", lambda politely: ["a program that is not there"])
    one = Preparation(SAMPLE_DAY, content_of(SAMPLE), SAMPLE)
    assert one.fleet() is None


def test_a_source_that_is_no_fleet_is_left_to_the_page_to_refuse(tmp_path: Path) -> None:
    one = Preparation(SAMPLE_DAY, content_of(str(tmp_path)), str(tmp_path))
    assert one.fleet() is None


def test_records_that_are_written_to_while_they_are_read_are_not_taken(
    sample_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found: list[tuple[str, Any]] = []
    read = preparing.content_of(str(sample_copy))
    asked = iter([read, "what it held after it was read"])
    monkeypatch.setattr(preparing, "content_of", lambda _: next(asked))
    monkeypatch.setattr(preparing, "MOST_AHEAD", 0)
    prepare(Job(SAMPLE_DAY, str(sample_copy)), lambda what, piece: found.append((what, piece)), step_back=nothing)
    assert found[0][1][0] != read


@pytest.mark.usefixtures("large_sample")
def test_nothing_is_prepared_before_the_server_begins_and_each_fleet_once(
    sample: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[str] = []

    class Begun:
        goes_on = False
        today = SAMPLE_DAY

        def __init__(self, today: object, content: str, source: object = None, fleet: object = None) -> None:
            self.content = content
            begun.append(content)

    monkeypatch.setattr(preparing, "Preparation", Begun)
    served = Preparations()
    served.begin_with(sample, "mine", SAMPLE_DAY)
    assert begun == []
    served.begin(SAMPLE, SAMPLE_DAY)
    for content in ("mine", "mine", content_of(SAMPLE)):
        served.begin_with(sample, content, SAMPLE_DAY)
    assert begun == [content_of(SAMPLE), "mine"]


@pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX")
def test_it_ends_with_the_server_however_that_ends() -> None:
    script = (
        "import os, subprocess, sys, time\n"
        "from forecaster import preparing\n"
        "stay = 'import sys, threading; from forecaster.preparing import _end_with_the_other as end; end()'\n"
        "child = subprocess.Popen([sys.executable, '-c', stay], stdin=subprocess.PIPE, **preparing._apart())\n"
        "print(child.pid, flush=True)\n"
        "time.sleep(60)\n"
    )
    with subprocess.Popen([sys.executable, "-c", script], cwd=ROOT, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        other = int(server.stdout.readline())
        os.kill(server.pid, signal.SIGKILL)
    end = time.monotonic() + 60
    while _runs(other):
        assert time.monotonic() < end, "it outlived the server"
        time.sleep(0.05)


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{process}/stat")
    return not (state.exists() and state.read_text().rsplit(")", 1)[1].split()[0] == "Z")
