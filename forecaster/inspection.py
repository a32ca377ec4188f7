"""How often to look at parts that turn defective before they fail: the delay-time model's inspection interval.

Christer & Waller 1984, Journal of the Operational Research Society 35(5), 401-406: defects arise at a constant rate and
fail after a delay unless an inspection finds them first. An account of its own beside ``forecaster.interval``, for the
rate of defects of a whole fleet rather than the age of one bearing.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from forecaster.errors import WrongUsage

PANELS, NODES = 64, 8  # of the quadrature over delays

Density = Callable[[np.ndarray], np.ndarray]


def exponential_delay(rate: float) -> Density:
    """Density of an exponential delay time, f(h) = rate exp(-rate h)."""
    return lambda delays: rate * np.exp(-rate * np.asarray(delays, dtype=float))


def chance_of_failing_first(delay: Density, intervals: np.ndarray) -> np.ndarray:
    """Chance that a defect fails before the next inspection finds it, for each of `intervals` T (n,), above 0.

    b(T) = integral from 0 to T of (T - h) / T f(h) dh: defects arise evenly over the interval, and every inspection
    finds what is there.
    """
    intervals = np.asarray(intervals, dtype=float)
    if not (intervals > 0).all():
        raise WrongUsage(f"An inspection interval must be above 0, not {intervals.min():g}.")
    node, weight = np.polynomial.legendre.leggauss(NODES)
    within = ((np.arange(PANELS)[:, None] + (node + 1) / 2) / PANELS).ravel()
    share = np.tile(weight / 2, PANELS) / PANELS
    chance: np.ndarray = (delay(intervals[:, None] * within) * (1 - within)) @ share * intervals
    return chance


def loss_rate(
    defects_per_time: float, delay: Density, per_failure: float, per_inspection: float, intervals: np.ndarray
) -> np.ndarray:
    """Expected downtime per unit of time of inspecting every T, for each of `intervals` (n,).

    D(T) = (k T b(T) df + di) / (T + di): k defects per unit of time, df the downtime of a failure, di that of an
    inspection, in which nothing runs.
    """
    intervals = np.asarray(intervals, dtype=float)
    failing = defects_per_time * intervals * chance_of_failing_first(delay, intervals)
    lost: np.ndarray = (failing * per_failure + per_inspection) / (intervals + per_inspection)
    return lost
