"""One hostile run of the command line, or one reading, and all that must never come of it.

A case is a room of files and the words of a command that is run in it. It is at fault where the program says that it is
at fault, raises, warns, ends with another status than 0, 1 or 2, takes longer than `PATIENCE_S` or more memory than
`MEMORY`, answers and refuses at once, or writes JSON that is none; and where rows are lost.
"""

from __future__ import annotations

import contextlib
import faulthandler
import io
import json
import os
import re
import signal
import stat
import subprocess
import sys
import time
import traceback
import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from types import FrameType
from unittest import mock

from forecaster.commands import main
from forecaster.errors import ForecasterError
from forecaster.reading import read_fleet
from forecaster.received_files import receive
from forecaster.row_checks import GIVEN_REASON
from forecaster.zip_folders import ReceivedFile
from tests.small_fleet import TODAY

if sys.platform != "win32":
    import resource

ROOM = "{room}"  # in words: the folder in which the case's files lie
PATIENCE_S = 20  # many times what any of these small fleets needs, on a machine that others use too
WAITS = 3
MEMORY = 2_500_000_000  # bytes of addresses beyond what the process has already
STATUSES = (0, 1, 2)
FAULT_LINE = "a fault of the program"
NO_WORDS = re.compile(r"(?<![\w-])(?:nan|NaN|NaT|inf|Infinity|None|Traceback)(?![\w-])")


class Odd(Enum):
    """What lies where a file is expected."""

    FOLDER = "a folder"
    PIPE = "a pipe that nobody writes into"
    ENDLESS = "a device without end"


@dataclass(frozen=True)
class Case:
    """Files by their path in a room, and the words of a command; `{room}` in a word is the room's own path.

    `rows`: rows of tables as they were given, header first, where all of them must be found again; `did`: what was done
    to a good fleet, for a reader. Without `words` the files are an upload: received, laid out and read.
    """

    kind: str
    files: Mapping[str, bytes | Odd] = field(default_factory=dict)
    words: tuple[str, ...] = ()
    rows: Mapping[str, list[list[str]]] = field(default_factory=dict)
    did: tuple[str, ...] = ()

    def lay_out(self, room: Path) -> None:
        """Put the files into the room."""
        for name, content in self.files.items():
            place = room / name
            if not place.resolve().is_relative_to(room.resolve()):
                raise ValueError(f"{name} leads out of the room: only an upload may be called so")
            place.parent.mkdir(parents=True, exist_ok=True)
            if isinstance(content, bytes):
                place.write_bytes(content)
            else:
                _lay_odd(place, content)

    def words_in(self, room: Path) -> list[str]:
        """The words of the command, with the room's own path in them."""
        return [word.replace(ROOM, str(room)) for word in self.words]


def _lay_odd(place: Path, what: Odd) -> None:
    if what is Odd.PIPE and hasattr(os, "mkfifo"):
        os.mkfifo(place)
        return
    if what is Odd.ENDLESS and hasattr(os, "mknod"):
        with contextlib.suppress(OSError):  # a device of its own, so that nothing can harm the system's; root alone may
            os.mknod(place, 0o666 | stat.S_IFCHR, os.stat("/dev/zero").st_rdev)
            return
    place.mkdir()


@dataclass(frozen=True)
class Ran:
    """What came of a run. `raised`: the traceback of what left the program; `status` is None then."""

    status: int | None
    out: str = ""
    err: str = ""
    raised: str = ""
    warned: tuple[str, ...] = ()
    seconds: float = 0.0


class TookTooLong(BaseException):
    """The run was still going after its time."""


def run_in_process(words: Sequence[str], room: Path) -> Ran:
    """Run a command as its process would, its streams and warnings caught, within the bounds of time and memory."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="\n", write_through=True) for _ in range(2))
    status: int | None = None
    raised, began = "", time.monotonic()
    with warnings.catch_warnings(record=True) as warned, _as_a_process(room):
        warnings.simplefilter("default")
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                with bounded():
                    status = main(list(words))
            except SystemExit as end:
                status = 0 if end.code is None else end.code if isinstance(end.code, int) else -1
            except TookTooLong:
                raised = f"still running after {PATIENCE_S} s: {_last_line()}"
            except BaseException:  # noqa: BLE001 - whatever leaves the program is what is looked for
                raised = traceback.format_exc()
    texts = [stream.buffer.getvalue().decode("utf-8") for stream in (out, err)]  # type: ignore[attr-defined]
    told = tuple(f"{each.category.__name__}: {each.message} ({each.filename}:{each.lineno})" for each in warned)
    return Ran(status, *texts, raised, told, time.monotonic() - began)


def run_in_a_process_of_its_own(words: Sequence[str], room: Path) -> Ran:
    """Run a command through the installed program's own door."""
    root = str(Path(__file__).resolve().parent.parent)
    began = time.monotonic()
    try:
        ended = subprocess.run(
            [sys.executable, "-m", "forecaster", *words],
            capture_output=True,
            cwd=room,
            timeout=2 * WAITS * PATIENCE_S,
            env={**os.environ, "PYTHONPATH": root},
            stdin=subprocess.DEVNULL,
        )
    except subprocess.TimeoutExpired:
        return Ran(None, raised=f"still running after {2 * WAITS * PATIENCE_S} s")
    texts = (ended.stdout.decode("utf-8", "replace"), ended.stderr.decode("utf-8", "replace"))
    return Ran(ended.returncode, *texts, seconds=time.monotonic() - began)


@contextlib.contextmanager
def _as_a_process(room: Path) -> Iterator[None]:
    """The process's own things as a command may leave them changed: folder, environment, hooks; and no server."""
    here, hook, interval = os.getcwd(), sys.excepthook, sys.getswitchinterval()
    os.chdir(room)
    with (
        mock.patch.dict(os.environ),
        mock.patch("forecaster.serving._serve"),
        mock.patch("forecaster.serving._announce"),
    ):
        try:
            yield
        finally:
            os.chdir(here)
            sys.excepthook = hook
            sys.setswitchinterval(interval)


@contextlib.contextmanager
def bounded(seconds: int = PATIENCE_S) -> Iterator[None]:
    """Bounds of time and memory, where the system knows such; TookTooLong and MemoryError beyond them.

    `seconds`: of the processor; whoever waits for something that does not come has `WAITS` times as many by the clock,
    since others may use the machine too.
    """
    if sys.platform == "win32":
        yield
        return
    kept = {which: signal.signal(which, _too_long) for which in (signal.SIGALRM, signal.SIGPROF)}
    most, hard = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (_addresses() + MEMORY, hard))
    # For what no signal can interrupt.
    faulthandler.dump_traceback_later(2 * WAITS * seconds, exit=True, file=sys.__stderr__)
    signal.alarm(WAITS * seconds)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.alarm(0)
        faulthandler.cancel_dump_traceback_later()
        resource.setrlimit(resource.RLIMIT_AS, (most, hard))
        for which, handler in kept.items():
            signal.signal(which, handler)


def _too_long(_: int, frame: FrameType | None) -> None:
    raise TookTooLong


def _last_line() -> str:
    frames = traceback.extract_tb(sys.exc_info()[2])
    own = [f for f in frames if "forecaster" in f.filename and f.name != "_too_long"] or frames
    return f"{Path(own[-1].filename).name} line {own[-1].lineno}"


def _addresses() -> int:
    try:
        return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    except OSError:  # elsewhere the bound is what a process of these libraries takes, and as much again
        return MEMORY


# What must never come of it -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Judged:
    """The exit status of a case's command (0 or 1 of an upload; None where it did not end), and its faults."""

    status: int | None
    faults: tuple[str, ...]


def judged(case: Case, room: Path, own_process: bool = False) -> Judged:
    """Lay a case out in an empty room, run it, and say all that is at fault with it."""
    if not case.words:
        return upload_judged(case, room)
    case.lay_out(room)
    faults = row_faults(case, room) if case.rows else []
    words = case.words_in(room)
    # No system passes a NUL on to a process, and a server that is started would not end.
    own_process = own_process and words[0] != "dashboard" and not any("\0" in word for word in words)
    ran = run_in_a_process_of_its_own(words, room) if own_process else run_in_process(words, room)
    return Judged(ran.status, (*faults, *run_faults(case, ran)))


def run_faults(case: Case, ran: Ran) -> list[str]:
    """What is at fault with a run."""
    faults = [f"raised: {ran.raised}"] if ran.raised else []
    faults += [f"warned: {one}" for one in ran.warned]
    if not ran.raised and ran.status not in STATUSES:
        faults.append(f"exit status {ran.status}")
    faults += [f"told: {line}" for line in ran.err.splitlines() if FAULT_LINE in line or "Warning:" in line]
    if "Traceback" in ran.err:
        faults.append(f"told: {ran.err}")
    if ran.err.startswith("forecaster: ") and ran.out and ran.status in (1, 2):
        faults.append(f"answered and refused: {ran.out[:200]!r} and {ran.err[:200]!r}")
    if ran.status in (1, 2) and not ran.out and not ran.err:
        faults.append(f"status {ran.status} without a word")
    if "--json" in case.words and ran.out:
        faults += _json_faults(ran.out)
    return faults + _strange_words(case, ran)


def _json_faults(text: str) -> list[str]:
    def refuse(name: str) -> None:
        raise ValueError(f"{name} in JSON")

    try:
        json.loads(text, parse_constant=refuse)
    except ValueError as error:
        return [f"no JSON: {error}"] if "usage: " not in text[:10] else []
    return []


def _strange_words(case: Case, ran: Ran) -> list[str]:
    """Words of the machine in what people read, where the user did not write them."""
    written = " ".join(case.words) + "".join(str(c) for c in case.files.values())
    found = {word for word in NO_WORDS.findall(ran.out) if word.casefold() not in written.casefold()}
    lines = [line for line in ran.out.splitlines() if any(word in line for word in found)]
    return [f"writes {sorted(found)}: {lines[0][:160]}"] if found and "--json" not in case.words else []


def upload_judged(case: Case, room: Path) -> Judged:
    """Files handed over as an upload is: received, laid out and read, or refused in plain words."""
    files = [ReceivedFile(name, content) for name, content in case.files.items() if isinstance(content, bytes)]
    folder = room / "laid out"
    folder.mkdir()
    status, raised = 0, []
    with warnings.catch_warnings(record=True) as warned:
        warnings.simplefilter("default")
        try:
            with bounded():
                read_fleet(receive(files).lay_out(folder), TODAY)
        except ForecasterError as refusal:
            status, raised = 1, [] if str(refusal).strip() else ["refused without a word"]
        except TookTooLong:
            raised = [f"raised: still reading after {PATIENCE_S} s: {_last_line()}"]
        except BaseException:  # noqa: BLE001 - whatever leaves the program is what is looked for
            raised = [f"raised: {traceback.format_exc()}"]
    return Judged(status, (*raised, *(f"warned: {one.message} ({one.filename}:{one.lineno})" for one in warned)))


# Rows add up ----------------------------------------------------------------------------------------------------------


def row_faults(case: Case, room: Path) -> list[str]:
    """Where the rows read and refused are not those given, or a refused row is not kept as it was given."""
    try:
        with warnings.catch_warnings(), bounded():
            warnings.simplefilter("ignore")  # told by the run itself
            reading = read_fleet(room / "fleet", TODAY)
    except ForecasterError:
        return []
    except BaseException:  # noqa: BLE001 - told by the run itself, which reads the same
        return []
    not_read = {problem.table for problem in reading.stops_answer if problem.row is None}
    faults = []
    for table, rows in case.rows.items():
        given = rows_given(rows)
        found = reading.read[table] + reading.refused_counts[table]
        if found != len(given) and not (found == 0 and table in not_read):
            faults.append(f"{table}: {len(given)} rows given, {reading.read[table]} read and {found} in all")
            continue
        refused = reading.refused.get(table)
        if refused is None or found == 0:
            continue
        kept = refused.drop(columns="reason").rename(columns={GIVEN_REASON: "reason"})
        for number, cells in zip(kept.index.tolist(), kept.itertuples(index=False, name=None), strict=True):
            row = given.get(number)
            width = len(cells)
            if row is None or [*row, *[""] * width][:width] != list(cells):
                faults.append(f"{table} row {number}: given {row!r}, kept {cells!r}")
    return faults


def rows_given(rows: list[list[str]]) -> dict[int, list[str]]:
    """The rows below the header that hold something, by the number that a spreadsheet gives them."""
    filled = [(number, row) for number, row in enumerate(rows, 1) if any(cell.strip() for cell in row)]
    return dict(filled[1:])
