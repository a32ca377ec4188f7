"""How the work on hostile files grows: each read at its size and at twice that, in processes of their own.

    python tests/benchmarks/bench_hostile.py [NAME ...]

Prints processor time and peak memory of both, and the ratio of the times: 2.5 at most is the law, 4 would be a square.
Where the smaller takes less than a fifth of a second the ratio tells nothing and is left out. Then each pattern of the
reading rooms against texts of one length and of twice that. Not collected by pytest.
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from tests.bounded_reading import outcomes
from tests.hostile_files import MAKERS
from tests.linear_patterns import apply, patterns, texts

MOST_RATIO = 2.5
LEAST_SECONDS = 0.2
LEAST_OF_PATTERN = 0.0005
LENGTH = 40_000


def files(names: list[str]) -> None:
    """Each hostile file at its size and at twice that."""
    for name in names:
        hostile = MAKERS[name]
        with tempfile.TemporaryDirectory() as place:
            sources = []
            for times in (1, 2):
                folder = Path(place) / str(times)
                folder.mkdir()
                sources.append(hostile.make(folder, times * hostile.size))
            once, twice = outcomes(sources)
        ratio = twice.cpu_seconds / once.cpu_seconds if once.cpu_seconds > LEAST_SECONDS else 0.0
        told = f"ratio {ratio:.1f}" if ratio else "too quick to tell"
        mark = "  MORE THAN THE LAW ALLOWS" if ratio > MOST_RATIO else ""
        print(
            f"{name:34} {once.cpu_seconds:6.2f} s {once.peak_mb:5.0f} MB, twice as large {twice.cpu_seconds:6.2f} s "
            f"{twice.peak_mb:5.0f} MB: {told}{mark}{once.fault or twice.fault}",
            flush=True,
        )


def all_patterns() -> None:
    """Every pattern against the texts that it takes longest for."""

    def seconds(pattern: re.Pattern, times: int) -> float:
        worst = 0.0
        for text in texts(times):
            begun = time.process_time()
            apply(pattern, text)
            worst = max(worst, time.process_time() - begun)
        return worst

    for name, pattern in patterns():
        once, twice = seconds(pattern, LENGTH), seconds(pattern, 2 * LENGTH)
        told = f"ratio {twice / once:.1f}" if once > LEAST_OF_PATTERN else "too quick to tell"
        print(f"{name:34} {1e3 * once:6.1f} ms, twice as long {1e3 * twice:6.1f} ms: {told}")


if __name__ == "__main__":
    files(sys.argv[1:] or list(MAKERS))
    if not sys.argv[1:]:
        all_patterns()
