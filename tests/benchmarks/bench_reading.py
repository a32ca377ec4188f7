"""How fast a large log is read and checked, beside pandas alone reading the same file without any check.

    python tests/benchmarks/bench_reading.py [READINGS]

Prints rows per second and the ratio, the best of three runs each, for a good log and for one in which every craft
has a reading typed wrong. Not collected by pytest: no test hangs on a machine's speed.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from forecaster.reading import read_fleet

READINGS_PER_CRAFT = 200
DAYS_BETWEEN = 5
TODAY = date(2026, 1, 15)
RUNS = 3


def write_log(folder: Path, craft: int, wrong: bool) -> None:
    """A fleet folder of `craft` craft with 200 readings each; where `wrong`, one of each with a digit too many."""
    rng = np.random.default_rng(1)
    names = np.array([f"C{number:05d}" for number in range(craft)])
    meter = np.cumsum(rng.uniform(0, 6, (craft, READINGS_PER_CRAFT)), axis=1).round(1)
    if wrong:
        meter[np.arange(craft), rng.integers(1, READINGS_PER_CRAFT, craft)] *= 10
    days = np.datetime64("2023-01-01") + DAYS_BETWEEN * np.arange(READINGS_PER_CRAFT)
    pd.DataFrame({"craft_id": names}).to_csv(folder / "craft.csv", index=False)
    fittings = {"unit_id": np.char.replace(names, "C", "S"), "craft_id": names, "fitted_on": "2022-12-01"}
    pd.DataFrame(fittings).to_csv(folder / "fittings.csv", index=False)
    hours = {
        "craft_id": np.repeat(names, READINGS_PER_CRAFT),
        "read_on": np.tile(days.astype(str), craft),
        "meter": meter.ravel().round(1),
        "new_meter": "",
    }
    pd.DataFrame(hours).to_csv(folder / "hours.csv", index=False)


def best_seconds(act: Callable[[], object]) -> float:
    """The least of a few runs: what else the machine does only adds."""
    seconds = []
    for _ in range(RUNS):
        start = time.perf_counter()
        act()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def main() -> None:
    """Measure and print."""
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    for wrong in (False, True):
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            write_log(folder, readings // READINGS_PER_CRAFT, wrong)
            plain = best_seconds(lambda folder=folder: pd.read_csv(folder / "hours.csv"))  # type: ignore[misc]
            checked = best_seconds(lambda folder=folder: read_fleet(folder, TODAY))  # type: ignore[misc]
            reading = read_fleet(folder, TODAY)
        print(
            f"{'a wrong reading in each craft' if wrong else 'a good log'}: "
            f"{readings / checked:,.0f} rows/s read and checked ({checked:.2f} s, {len(reading.problems):,} problems), "
            f"{readings / plain:,.0f} rows/s by pandas alone ({plain:.2f} s): ratio {checked / plain:.1f}"
        )


if __name__ == "__main__":
    main()
