"""A longer fuzz round: hostile fleets, settings, options, workbooks and uploads with random seeds, and what came of it.

    python -m tests.fuzz_round [--minutes 10] [--seed N] [--kinds cells,options] [--keep FOLDER]

Each child works through a hundred cases within bounds of time and memory; one that does not come back is a fault too.
The last lines are a table: cases, answered, refused and faults of each kind, and every fault once with how often it was
met. `--keep`: the first case of each distinct fault is laid out there, with the words of its command.
"""

from __future__ import annotations

import argparse
import json
import pickle
import random
import re
import shlex
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from tests.fuzz_runs import PATIENCE_S, Case, Judged, judged
from tests.fuzz_screens import screens, screens_judged
from tests.fuzzed_fleets import cells, keys, whole_files
from tests.fuzzed_options import options
from tests.fuzzed_workbooks import uploads, workbooks

Judge = Callable[[Case, Path, bool], Judged]
KINDS: dict[str, tuple[Callable[[], st.SearchStrategy[Case]], Judge]] = {
    "cells": (cells, judged),
    "files": (whole_files, judged),
    "keys": (keys, judged),
    "options": (options, judged),
    "workbook": (workbooks, judged),
    "upload": (uploads, judged),
    "screens": (screens, screens_judged),
}
CASES_OF_A_CHILD = 100
CHILD_S = 600  # of processor time; a hundred cases take some 30 s
IN_A_PROCESS_OF_ITS_OWN = 25  # one case in so many goes through the installed program's own door
TRIED = "tried.pickle"  # the case that a child is at
VARIES = re.compile(r"/[^ ]*/tmp\w+|'[^']{20,}'|[0-9]{5,}|[0-9]\.[0-9e+-]{4,}")  # from case to case of one fault
COLUMNS = ("cases", "answered", "refused", "faults")


# The child: some cases of one kind ------------------------------------------------------------------------------------


def work_through(kind: str, number: int, count: int, place: Path) -> None:
    """Judge `count` cases of one kind, and write what came of each into `place`."""
    if sys.platform != "win32":
        import resource

        resource.setrlimit(resource.RLIMIT_CPU, (CHILD_S, CHILD_S))
    met = 0
    strategy, judge = KINDS[kind]

    @seed(number)
    @settings(
        max_examples=count,
        phases=(Phase.generate,),
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy())
    def each(case: Case) -> None:
        nonlocal met
        met += 1
        (place / TRIED).write_bytes(pickle.dumps(case))
        with tempfile.TemporaryDirectory() as room:
            found = judge(case, Path(room), met % IN_A_PROCESS_OF_ITS_OWN == 0)
        if found.faults:
            (place / f"{met}.pickle").write_bytes(pickle.dumps((case, found)))
        with (place / "log").open("a", encoding="utf-8") as log:
            log.write(json.dumps([found.status, len(found.faults)]) + "\n")

    each()


# The parent: the whole round ------------------------------------------------------------------------------------------


def main() -> int:
    """Run the round and print its table; the exit status says whether there was a fault."""
    asked = _parsed()
    if asked.child:
        work_through(asked.kinds, asked.seed, asked.count, Path(asked.child))
        return 0
    numbers = random.Random(asked.seed)
    kinds = asked.kinds.split(",")
    counts = {kind: Counter[str]() for kind in kinds}
    faults: Counter[str] = Counter()
    end, turn = time.monotonic() + 60 * asked.minutes, 0
    while time.monotonic() < end:
        kind = kinds[turn % len(kinds)]
        turn += 1
        with tempfile.TemporaryDirectory() as place:
            for case, found in _child(kind, numbers.randrange(2**32), asked.count, Path(place), counts[kind]):
                for fault in found.faults:
                    known = signature(fault)
                    faults[known] += 1
                    if faults[known] == 1:
                        print(f"{kind}: {known}", flush=True)
                        _keep(asked.keep, len(faults), case, found)
    _print_table(counts, faults)
    return int(bool(faults))


def _parsed() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--count", type=int, default=CASES_OF_A_CHILD, help="cases of a child")
    parser.add_argument("--child", help=argparse.SUPPRESS)
    return parser.parse_args()


def _child(kind: str, number: int, count: int, place: Path, counts: Counter[str]) -> list[tuple[Case, Judged]]:
    """Let a child work through some cases, and count them; those at fault are returned."""
    words = [sys.executable, "-m", "tests.fuzz_round", "--kinds", kind, "--seed", str(number), "--count", str(count)]
    ended = subprocess.run([*words, "--child", str(place)], capture_output=True, text=True)
    log = (place / "log").read_text(encoding="utf-8").splitlines() if (place / "log").exists() else []
    for line in log:
        status, faults = json.loads(line)
        counts["cases"] += 1
        counts["answered" if status == 0 else "refused"] += 1
        counts["faults"] += bool(faults)
    found = [pickle.loads(file.read_bytes()) for file in sorted(place.glob("[0-9]*.pickle"))]
    if ended.returncode:
        counts["cases"] += 1
        counts["faults"] += 1
        if not (place / TRIED).exists():
            raise SystemExit(ended.stderr)
        why = f"raised: the process ended with {ended.returncode}: {_own_line(ended.stderr)}"
        found.append((pickle.loads((place / TRIED).read_bytes()), Judged(None, (why,))))
    return found


def _own_line(trace: str) -> str:
    lines = [line.strip() for line in trace.splitlines() if "forecaster" in line]
    return lines[0] if lines else trace.strip()[-300:]


def signature(fault: str) -> str:
    """A fault without what differs from case to case: of a traceback its error and the last place in our own code."""
    kind, _, rest = fault.partition(": ")
    if "Traceback" in rest:
        places = re.findall(r'File "[^"]*?((?:forecaster|dashboard)/[\w/]+\.py)", line (\d+)', rest)
        error = rest.strip().splitlines()[-1]
        rest = f"{error[:110]} (at {':'.join(places[-1]) if places else 'nowhere'})"
    return f"{kind}: {VARIES.sub('#', rest)[:200]}"


def _keep(folder: Path | None, number: int, case: Case, found: Judged) -> None:
    """Lay a case out with its command and what was at fault."""
    if folder is None:
        return
    room = folder / f"{number:03d} {case.kind}"
    room.mkdir(parents=True, exist_ok=True)
    if case.words:
        case.lay_out(room)
    (room / "case.pickle").write_bytes(pickle.dumps(case))
    words = shlex.join(case.words_in(room))
    told = [f"{case.kind}: {words}", *case.did, *found.faults]
    (room / "what.txt").write_text("\n".join(told) + "\n", encoding="utf-8", errors="backslashreplace")


def _print_table(counts: dict[str, Counter[str]], faults: Counter[str]) -> None:
    print(f"\n| kind | {' | '.join(COLUMNS)} |\n| --- |{' --- |' * len(COLUMNS)}")
    for kind, of in counts.items():
        print(f"| {kind} | {' | '.join(f'{of[column]:,}' for column in COLUMNS)} |")
    total = sum(counts.values(), Counter())
    print(f"| all | {' | '.join(f'{total[column]:,}' for column in COLUMNS)} |")
    print(f"\n{len(faults)} distinct faults (each case within {PATIENCE_S} s)")
    for fault, times in faults.most_common():
        print(f"{times:5d} {fault}")


if __name__ == "__main__":
    sys.exit(main())
