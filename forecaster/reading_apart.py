"""Files of strangers are read in a process of their own, with so much memory and time and no more.

A packed file of some kilobytes can ask for gigabytes, or for minutes: then that process is ended, the refusal says why
in one line, and whoever else is asking the dashboard is answered meanwhile. A fleet that the command names is read as
every command reads it: it is the user's own, and as large as the user has patience for.

What comes back is pickled: this program's own child made it, under the same user, so that it is as trustworthy as the
program, and a table of a million rows is back at once. Nothing that was uploaded is ever unpickled.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from forecaster.errors import SourceError
from forecaster.problems import Reading
from forecaster.ranges import UPLOAD_MEMORY, UPLOAD_TIME, NumberRange
from forecaster.received_files import ReceivedFleet
from forecaster.zip_folders import ReceivedFile

MEMORY_VARIABLE, SECONDS_VARIABLE = "FORECASTER_UPLOAD_MEMORY", "FORECASTER_UPLOAD_SECONDS"
UPLOAD_MEMORY_MB = 1_000  # a workbook of 365,000 readings needs 300 to 400, one of 1,000,000 needs 800 to 1,000
UPLOAD_SECONDS = 60  # as long as a person waits; those workbooks take 10 and 37 s on a busy machine
READ_AT_ONCE = 2  # more would want more memory than a small machine has
BYTES_OF_MB = 10**6
OUT_OF_MEMORY = 137  # exit status of a child that ended itself for it, as shells call what the system killed
# The child works in one thread: others would only reserve memory.
_ONE_THREAD = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")


@dataclass(frozen=True)
class UploadLimits:
    """What one upload may take: memory of the process that reads it, in MB, and seconds."""

    memory_mb: int = UPLOAD_MEMORY_MB
    seconds: int = UPLOAD_SECONDS


@dataclass(frozen=True)
class ReadingTask:
    """What the child is to do: make a fleet of files and lay it out in a folder, or take a source; and read it.

    `earlier`: the fleet whose files of the same names they replace; a path is a fleet folder of this machine.
    """

    limits: UploadLimits
    today: date
    source: Path
    files: tuple[ReceivedFile, ...] = ()
    earlier: ReceivedFleet | Path | None = None


@dataclass(frozen=True)
class ReadApart:
    """What came of it: the fleet that files made up (None where a source was read), its source, what was read."""

    received: ReceivedFleet | None
    source: Path
    reading: Reading


@dataclass(frozen=True)
class RefusedApart:
    """Why there is nothing: a refusal in plain words, or that memory ran out (empty)."""

    why: str


def upload_limits(environment: Mapping[str, str] = os.environ) -> UploadLimits:
    """The limits that the command set; the defaults where it set none."""

    def of(name: str, usual: int, limits: NumberRange) -> int:
        text = environment.get(name, "")
        given = int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else usual
        return int(min(max(given, limits.least), limits.most))

    return UploadLimits(
        of(MEMORY_VARIABLE, UPLOAD_MEMORY_MB, UPLOAD_MEMORY), of(SECONDS_VARIABLE, UPLOAD_SECONDS, UPLOAD_TIME)
    )


def receive_apart(
    files: Sequence[ReceivedFile],
    folder: str | Path,
    today: date,
    earlier: ReceivedFleet | Path | None = None,
    limits: UploadLimits | None = None,
) -> ReadApart:
    """The fleet that files make up, laid out in `folder` and read, all in a process of its own.

    Raises SourceError where they make up none, or where making it up and reading it takes more than the limits.
    """
    told = files[0].base if len(files) == 1 else f"These {len(files)} files"
    task = ReadingTask(limits or upload_limits(), today, Path(folder), tuple(files), earlier)
    return _done_apart(task, told)


def read_apart(source: str | Path, today: date, limits: UploadLimits | None = None) -> Reading:
    """``read_fleet`` of an uploaded fleet that is laid out already; raises likewise, and beyond the limits."""
    source = Path(source)
    return _done_apart(ReadingTask(limits or upload_limits(), today, source), source.name).reading


# --- the process ---------------------------------------------------------------------------------------------------


_turns = threading.BoundedSemaphore(READ_AT_ONCE)
_spare: list[subprocess.Popen[bytes]] = []
_spare_lock = threading.Lock()


def get_ready_to_read() -> None:
    """Start a process that waits for files, so that whoever hands some over need not wait for its start."""
    with _spare_lock:
        _spare[:] = [_waiting() or _started()]


def _started() -> subprocess.Popen[bytes]:
    path = os.pathsep.join(filter(None, [str(Path(__file__).parent.parent), os.environ.get("PYTHONPATH", "")]))
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "forecaster.reading_child"],  # -P: nothing of the folder that the user is in
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, **_ONE_THREAD, "PYTHONPATH": path},
    )


def _ready() -> subprocess.Popen[bytes]:
    with _spare_lock:
        waiting = _waiting()
    return waiting or _started()


def _waiting() -> subprocess.Popen[bytes] | None:
    """The process that waits, which is now the asker's; None where there is none, or it has waited its time out."""
    waiting = _spare.pop() if _spare else None
    if waiting is None or waiting.poll() is None:
        return waiting
    with waiting:  # closes its pipes
        return None


def _done_apart(task: ReadingTask, told: str) -> ReadApart:
    if not _turns.acquire(timeout=task.limits.seconds):
        raise SourceError(f"{told} cannot be read yet: {READ_AT_ONCE} other uploads are being read. Try again soon.")
    try:
        found = _answer(_ready(), task, told)
    finally:
        _turns.release()
    if isinstance(found, ReadApart):
        return found
    raise SourceError(found.why or _too_much_memory(told, task.limits))


def _answer(child: subprocess.Popen[bytes], task: ReadingTask, told: str) -> ReadApart | RefusedApart:
    with child:
        try:
            answer, _ = child.communicate(pickle.dumps(task), timeout=task.limits.seconds)
        except subprocess.TimeoutExpired as late:
            child.kill()
            raise SourceError(
                f"{told} could not be read within {task.limits.seconds} s, and reading was broken off. Upload fewer "
                "rows, or give it more time: start the dashboard with --upload-seconds."
            ) from late
        except BaseException:
            child.kill()
            raise
    if child.returncode != 0 or not answer:
        return RefusedApart("" if _ran_out_of_memory(child.returncode) else _ended_by_itself(told))
    found: ReadApart | RefusedApart = pickle.loads(answer)
    return found


def _ran_out_of_memory(status: int) -> bool:
    """Whether a process that ended so most likely could get no more memory: libraries in C and Rust abort then."""
    if sys.platform == "win32":
        return False
    return status == OUT_OF_MEMORY or -status in (signal.SIGABRT, signal.SIGKILL, signal.SIGSEGV, signal.SIGBUS)


def _too_much_memory(told: str, limits: UploadLimits) -> str:
    return (
        f"{told} could not be read within {limits.memory_mb:,} MB of memory, and reading was broken off. Upload fewer "
        "rows, or give it more memory: start the dashboard with --upload-memory."
    )


def _ended_by_itself(told: str) -> str:
    return f"{told} could not be read: the reading ended before its time. Save the file again and upload it anew."
