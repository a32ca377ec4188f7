"""What a large fleet takes, command by command, each as a process of its own: time and memory.

    python tests/benchmarks/bench_large_fleet.py [--craft 5000] [--fleet FOLDER] [--as-of DAY] [--beside TREE]

Prints for each command its wall time, the processor time of all its threads, the most memory that it held at once, and
its processor time beside that of reading and checking alone (``validate``) in the same run, which is the figure to
compare between machines. `--beside`: the same of another checkout, command by command in turn, so that both meet the
same machine. Not collected by pytest: no test hangs on a machine's speed. Needs a system that tells what a process took
(not Windows).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parents[2]
LAST_DAY = "2026-10-31"  # of the invented records
GOALS = {"compare": (10.0, None), "plan": (60.0, 1.5), "report": (90.0, 1.5)}  # seconds on two free cores, GB
TO_GB = 1e6 if sys.platform != "darwin" else 1e9  # ru_maxrss tells kB, on a Mac bytes


@dataclass(frozen=True)
class Took:
    """What one process took: seconds by the clock, seconds of all processors, GB at most."""

    wall_s: float
    cpu_s: float
    peak_gb: float


def took(tree: Path, words: Sequence[str]) -> Took:
    """Run a command of a checkout; raises where it fails."""
    begun = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "forecaster", *words],
        cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    said = process.stderr.read()
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(words)} failed: {said}")
    return Took(time.perf_counter() - begun, used.ru_utime + used.ru_stime, used.ru_maxrss / TO_GB)


def commands(fleet: str, unit_id: str, as_of: str, out: Path) -> dict[str, list[str]]:
    """What is measured, by name."""
    day = ["--as-of", as_of]
    return {
        "validate": ["validate", fleet],
        "forecast": ["forecast", fleet, *day],
        "compare": ["compare", fleet, unit_id, *day],
        "plan": ["plan", fleet, *day],
        "report": ["report", fleet, *day, "--out", str(out), "--force"],
    }


def first_unit(fleet: str, as_of: str) -> str:
    """A unit in service."""
    from datetime import date

    from forecaster import open_fleet

    day = date.fromisoformat(as_of)
    return str(open_fleet(fleet, day).histories(day).in_service().lives["unit_id"].iloc[0])


def main() -> None:
    """Measure and print, a row a command and checkout."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--craft", type=int, default=5000)
    asked.add_argument("--fleet", help="a fleet that is there already")
    asked.add_argument("--as-of", default=LAST_DAY)
    asked.add_argument("--only", nargs="+", default=["validate", "forecast", "compare", "plan", "report"])
    asked.add_argument("--beside", type=Path, help="another checkout to measure in turn")
    options = asked.parse_args()
    trees = {"here": HERE} | ({"beside": options.beside.resolve()} if options.beside else {})
    with tempfile.TemporaryDirectory() as place:
        fleet = options.fleet
        if fleet is None:
            fleet = str(Path(place) / "fleet")
            took(HERE, ["simulate", fleet, "--craft", str(options.craft), "--seasons", "3", "--seed", "5"])
        fleet = str(Path(fleet).resolve())
        every = commands(fleet, first_unit(fleet, options.as_of), options.as_of, Path(place) / "papers")
        print("| command | checkout | wall, s | processor, s | beside validate | most memory, GB | goal |")
        print("| --- | --- | --- | --- | --- | --- | --- |")
        reading: dict[str, float] = {}
        for name in dict.fromkeys(["validate", *options.only]):
            for called, tree in trees.items():
                found = took(tree, every[name])
                reading.setdefault(called, found.cpu_s)
                seconds, gigabytes = GOALS.get(name, (None, None))
                goal = ", ".join(
                    [*([f"{seconds:g} s"] if seconds else []), *([f"{gigabytes:g} GB"] if gigabytes else [])]
                )
                print(
                    f"| `{name}` | {called} | {found.wall_s:.1f} | {found.cpu_s:.1f} | "
                    f"{found.cpu_s / reading[called]:.1f} | {found.peak_gb:.2f} | {goal} |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
