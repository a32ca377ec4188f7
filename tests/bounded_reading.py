"""Sources read one by one, each in a process of its own that may take so much memory and processor time and no more.

    python -m tests.bounded_reading < PATHS

The paths come as lines; so do the answers, as JSON. What it imports is imported once, and each source read in a copy
of the process, so that fifty of them take no longer than their reading.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

TODAY = date(2026, 10, 31)
# Bounds, not timings: what is told in a few seconds and a few hundred megabytes keeps far within them, and what grows
# with the square of a file's size, or unpacks without end, does not.
MOST_CPU_SECONDS = 20
MOST_BYTES = 1_000_000_000  # of addresses, beyond those of the process that has read nothing yet


@dataclass(frozen=True)
class Outcome:
    """What became of one source: ``refusal`` is the SourceError's text, ``fault`` anything else that stopped it."""

    refusal: str = ""
    fault: str = ""
    used: int = 0
    refused: int = 0
    problems: int = 0
    longest_problem: int = 0
    cpu_seconds: float = 0.0
    peak_mb: float = 0.0


def outcomes(paths: Sequence[Path]) -> list[Outcome]:
    """What became of each source, in their order."""
    ran = subprocess.run(
        [sys.executable, "-m", "tests.bounded_reading"],
        input="\n".join(map(str, paths)),
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        cwd=Path(__file__).parent.parent,
    )
    return [Outcome(**json.loads(line)) for line in ran.stdout.splitlines()]


def _read(path: Path) -> Outcome:
    from forecaster.errors import ForecasterError
    from forecaster.reading import read_fleet
    from forecaster.received_files import receive
    from forecaster.zip_folders import ReceivedFile

    try:
        if path.suffix == ".zip":
            received = receive([ReceivedFile(path.name, path.read_bytes())])
            with tempfile.TemporaryDirectory() as place:
                reading = read_fleet(received.lay_out(place), TODAY)
        else:
            reading = read_fleet(path, TODAY)
    except ForecasterError as error:
        return Outcome(refusal=str(error))
    return Outcome(
        used=sum(reading.read.values()),
        refused=sum(reading.refused_counts.values()),
        problems=len(reading.problems),
        longest_problem=max((len(str(problem)) for problem in reading.problems), default=0),
    )


def _in_a_copy(path: Path, addresses: int) -> Outcome:
    """The outcome of one source, read in a copy of this process."""
    away, here = os.pipe()
    copy = os.fork()
    if copy == 0:
        os.close(away)
        resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_SECONDS, MOST_CPU_SECONDS))
        resource.setrlimit(resource.RLIMIT_AS, (addresses + MOST_BYTES,) * 2)
        try:
            told = _read(path)
        except BaseException as error:  # noqa: BLE001 - whatever it is, the test names it
            told = Outcome(fault=f"{type(error).__name__}: {error}"[:300])
        os.write(here, json.dumps(asdict(told)).encode())
        os._exit(0)
    os.close(here)
    with os.fdopen(away, "rb") as pipe:
        answer = pipe.read()
    _, status, used = os.wait4(copy, 0)
    told = json.loads(answer) if answer else asdict(Outcome(fault=f"ended by signal or abort, status {status}"))
    return Outcome(**told | {"cpu_seconds": used.ru_utime + used.ru_stime, "peak_mb": used.ru_maxrss / 1e3})


def main() -> None:
    """Read what standard input names."""
    import python_calamine  # noqa: F401 - before it is copied

    import forecaster.reading
    import forecaster.received_files  # noqa: F401

    with tempfile.TemporaryDirectory() as place:
        small = Path(place) / "craft.csv"
        small.write_text("craft_id\nC001\n")
        _read(small.parent)  # whatever else is imported at first use
    addresses = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    for line in sys.stdin:
        print(json.dumps(asdict(_in_a_copy(Path(line.rstrip("\n")), addresses))), flush=True)


if __name__ == "__main__":
    main()
