"""The process that reads uploads: takes one task from standard input, and gives what came of it to standard output.

``python -m forecaster.reading_child`` waits with everything imported and tried. The system limits its memory: on Linux
what it may write to, on Windows its job object; elsewhere it looks at itself twenty times a second. Its time is limited
by who started it, and by an alarm of its own should that one be gone.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

from forecaster.errors import ForecasterError
from forecaster.reading import read_fleet
from forecaster.reading_apart import BYTES_OF_MB, OUT_OF_MEMORY, ReadApart, ReadingTask, RefusedApart, UploadLimits
from forecaster.received_files import ReceivedFleet, receive, received_folder
from forecaster.templates import template_folder
from forecaster.zip_folders import ReceivedFile

WAITS_SECONDS = 600  # for a task: whoever chose files and then went away wants none
AFTER_DEADLINE_SECONDS = 10  # past the time that the starter allows it, which ends it first while it is there
BETWEEN_LOOKS_SECONDS = 0.05
_alarms: list[threading.Timer] = []  # where the system has none


def main() -> None:
    """Take a task, do it, hand back what came of it."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever else prints must not come between
    _end_after(WAITS_SECONDS)
    _warm_up()
    task = _task()
    if task is None:
        return
    _end_after(task.limits.seconds + AFTER_DEADLINE_SECONDS)
    sys.excepthook = _fault_to(answers)
    limit_memory(task.limits.memory_mb * BYTES_OF_MB)
    answers.write(_pickled(task))
    answers.flush()
    os._exit(0)  # at once: taking the libraries down would be half of what the asker waits for


def _warm_up() -> None:
    """Read a small fleet, so that what libraries put off until they are used is done before anybody waits."""
    with tempfile.TemporaryDirectory(prefix="forecaster-") as folder:
        do(ReadingTask(UploadLimits(), date.today(), Path(folder), (ReceivedFile("fleet.zip", template_folder()),)))


def _task() -> ReadingTask | None:
    """The task; None where whoever would have given one has gone."""
    given = sys.stdin.buffer.read()
    task: ReadingTask | None = pickle.loads(given) if given else None
    return task


def _pickled(task: ReadingTask) -> bytes:
    try:
        return pickle.dumps(do(task), pickle.HIGHEST_PROTOCOL)
    except MemoryError:
        return pickle.dumps(RefusedApart(""))


def do(task: ReadingTask) -> ReadApart | RefusedApart:
    """What comes of a task, its refusals too; MemoryError where there is too little."""
    try:
        received, source = None, task.source
        if task.files:
            received = _received(task)
            source = received.lay_out(task.source)
        return ReadApart(received, source, read_fleet(source, task.today))
    except ForecasterError as refusal:
        return RefusedApart(str(refusal))


def _received(task: ReadingTask) -> ReceivedFleet:
    received = receive(task.files)
    if task.earlier is None:
        return received
    return received.in_place_of(received_folder(task.earlier) if isinstance(task.earlier, Path) else task.earlier)


def _fault_to(answers: BinaryIO) -> Callable[..., None]:
    """Hands a fault of the program back as one line, which is worth reporting."""

    def tell(kind: type[BaseException], fault: BaseException, trace: TracebackType | None) -> None:
        frames = traceback.extract_tb(trace)
        where = f" at {os.path.basename(frames[-1].filename)} line {frames[-1].lineno}" if frames else ""
        why = f"A fault of the program, not of your files: {kind.__name__}: {fault}{where}. Please report this line."
        answers.write(pickle.dumps(RefusedApart(why)))
        answers.flush()
        os._exit(0)

    return tell


# --- limits --------------------------------------------------------------------------------------------------------


def _end_after(seconds: float) -> None:
    """End this process then, whatever it is doing; a later call replaces an earlier one."""
    if sys.platform == "win32":
        for earlier in _alarms:
            earlier.cancel()
        _alarms[:] = [threading.Timer(seconds, os._exit, [1])]
        _alarms[0].daemon = True
        _alarms[0].start()
    else:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, seconds)


def limit_memory(most: int) -> None:
    """Let this process have so many bytes for what it works with, and no more."""
    if sys.platform == "win32":
        _limit_job(most)
    elif sys.platform == "linux":
        import resource

        resource.setrlimit(resource.RLIMIT_DATA, (most, most))
    else:
        threading.Thread(target=_look_after_memory, args=(most,), daemon=True).start()


def _look_after_memory(most: int) -> None:
    """For systems that take the limit and do not keep it: end when more is in use."""
    import resource

    while resource.getrusage(resource.RUSAGE_SELF).ru_maxrss < most:  # bytes on macOS
        time.sleep(BETWEEN_LOOKS_SECONDS)
    os._exit(OUT_OF_MEMORY)


if sys.platform == "win32":

    def _limit_job(most: int) -> None:
        """Put this process into a job object of its own with a limit of memory.

        Structures and numbers as the Windows SDK's winnt.h has them (from memory); where the system refuses, the
        time is limited alone.
        """
        import ctypes
        from ctypes import wintypes

        class Basic(ctypes.Structure):
            _fields_ = [
                ("PerProcessUserTimeLimit", ctypes.c_int64),
                ("PerJobUserTimeLimit", ctypes.c_int64),
                ("LimitFlags", wintypes.DWORD),
                ("MinimumWorkingSetSize", ctypes.c_size_t),
                ("MaximumWorkingSetSize", ctypes.c_size_t),
                ("ActiveProcessLimit", wintypes.DWORD),
                ("Affinity", ctypes.c_size_t),
                ("PriorityClass", wintypes.DWORD),
                ("SchedulingClass", wintypes.DWORD),
            ]

        class Extended(ctypes.Structure):
            _fields_ = [
                ("Basic", Basic),
                ("IoInfo", ctypes.c_uint64 * 6),
                ("ProcessMemoryLimit", ctypes.c_size_t),
                ("JobMemoryLimit", ctypes.c_size_t),
                ("PeakProcessMemoryUsed", ctypes.c_size_t),
                ("PeakJobMemoryUsed", ctypes.c_size_t),
            ]

        extended_limits, limits_process_memory = 9, 0x100
        kernel = ctypes.WinDLL("kernel32")
        kernel.CreateJobObjectW.restype = wintypes.HANDLE
        kernel.GetCurrentProcess.restype = wintypes.HANDLE
        kernel.SetInformationJobObject.argtypes = [wintypes.HANDLE, ctypes.c_int, ctypes.c_void_p, wintypes.DWORD]
        kernel.AssignProcessToJobObject.argtypes = [wintypes.HANDLE, wintypes.HANDLE]
        job = kernel.CreateJobObjectW(None, None)  # open for as long as this process is
        limits = Extended()
        limits.Basic.LimitFlags = limits_process_memory
        limits.ProcessMemoryLimit = most
        kernel.SetInformationJobObject(job, extended_limits, ctypes.byref(limits), ctypes.sizeof(limits))
        kernel.AssignProcessToJobObject(job, kernel.GetCurrentProcess())


if __name__ == "__main__":
    main()
