"""Age replacement and renewals of one kind of part: when to replace it before it fails, and how often it fails.

The textbook rules, for a part that is either good or failed: Barlow & Proschan 1965, Mathematical Theory of
Reliability, ch. 4. The bearing's own rule, with two stages, water and checks, is in ``forecaster.interval``; where its
second stage is short and nobody notices anything, it is this one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from forecaster.errors import WrongUsage

PANELS, NODES = 32, 8  # of the quadrature of mean life
SCANNED = 400  # ages looked at before the least cost is narrowed down
HALVINGS = 60  # down to the last digit of a float
GOLDEN_CUTS = 45  # of the least cost: past the digits in which it still changes

Survival = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Replacement:
    """The age at which to replace, None: never before it fails; and the cost per unit of time of doing so."""

    age: float | None
    cost_rate: float


def mean_time_used(survival: Survival, ages: np.ndarray) -> np.ndarray:
    """Mean time until failure or replacement at each of `ages` (a,), whichever comes first: the integral of survival.

    `survival`: ages, any shape, to the chance of getting there, same shape.
    """
    node, weight = np.polynomial.legendre.leggauss(NODES)
    even = ((np.arange(PANELS)[:, None] + (node + 1) / 2) / PANELS).ravel()
    # Nodes lie denser towards age 0 (third power), where survival falls steeply if the hazard falls.
    within, share = even**3, 3 * even**2 * np.tile(weight / 2, PANELS) / PANELS
    ages = np.asarray(ages, dtype=float)
    used: np.ndarray = survival(ages[:, None] * within) @ share * ages
    return used


def cost_rate(survival: Survival, planned_cost: float, failure_cost: float, ages: np.ndarray) -> np.ndarray:
    """Long-run cost per unit of time of replacing at each of `ages` (a,), above 0, or at failure if that comes first.

    [cp R(T) + cf (1 - R(T))] / integral of R from 0 to T (Barlow & Proschan 1965). Raises WrongUsage for an age or
    cost that makes no sense.
    """
    ages = np.asarray(ages, dtype=float)
    _refuse_costs(planned_cost, failure_cost)
    if not (ages > 0).all():
        raise WrongUsage(f"Ages at which to replace must be above 0, not {ages.min():g}.")
    surviving = survival(ages)
    rate: np.ndarray = (planned_cost * surviving + failure_cost * (1 - surviving)) / mean_time_used(survival, ages)
    return rate


def best_age(survival: Survival, planned_cost: float, failure_cost: float, oldest: float) -> Replacement:
    """The age of least cost up to `oldest`; never, where the cost still falls there.

    It falls for ever where failing costs no more than replacing, or the hazard does not rise. `oldest`: an age that
    hardly any part reaches; only what comes before it is searched. The cost is flat around its least value, so the age
    is good to about seven digits.
    """
    ages = np.linspace(oldest / SCANNED, oldest, SCANNED)
    rates = cost_rate(survival, planned_cost, failure_cost, ages)
    at = int(np.argmin(rates))
    if rates[-1] <= rates[at] * (1 + 1e-9):
        return Replacement(None, float(rates[-1]))
    low, high = (ages[at - 1] if at else ages[0] * 1e-6), ages[at + 1]
    golden = (np.sqrt(5) - 1) / 2
    for _ in range(GOLDEN_CUTS):
        pair = np.array([high - golden * (high - low), low + golden * (high - low)])
        left, right = cost_rate(survival, planned_cost, failure_cost, pair)
        low, high = (low, pair[1]) if left <= right else (pair[0], high)
    age = (low + high) / 2
    return Replacement(float(age), float(cost_rate(survival, planned_cost, failure_cost, np.array([age]))[0]))


def balance(survival: Survival, hazard: Survival, ages: np.ndarray) -> np.ndarray:
    """h(T) times the integral of R, less F(T), at each of `ages` (a,): at the best age it equals cp / (cf - cp).

    Barlow & Proschan 1965: the derivative of the cost rate set to 0. It rises with T as long as the hazard does.
    """
    ages = np.asarray(ages, dtype=float)
    left: np.ndarray = hazard(ages) * mean_time_used(survival, ages) - (1 - survival(ages))
    return left


def weibull_survival(shape: float, scale: float) -> Survival:
    """R(t) = exp(-(t / scale)^shape)."""
    return lambda ages: np.exp(-((np.asarray(ages, dtype=float) / scale) ** shape))


def weibull_hazard(shape: float, scale: float) -> Survival:
    """h(t) = shape / scale (t / scale)^(shape - 1)."""
    return lambda ages: shape / scale * (np.asarray(ages, dtype=float) / scale) ** (shape - 1)


def weibull_best_age(shape: float, scale: float, planned_cost: float, failure_cost: float) -> Replacement:
    """The age of least cost of a Weibull life, to the last digit: where ``balance`` meets cp / (cf - cp).

    Never where the hazard does not rise (shape up to 1) or failing costs no more than replacing: then the cost is that
    of running to failure.
    """
    _refuse_costs(planned_cost, failure_cost)
    survival, hazard = weibull_survival(shape, scale), weibull_hazard(shape, scale)
    if shape <= 1 or failure_cost <= planned_cost:
        from scipy.special import gamma

        return Replacement(None, failure_cost / (scale * float(gamma(1 + 1 / shape))))
    wanted = planned_cost / (failure_cost - planned_cost)
    low, high = 0.0, scale
    while balance(survival, hazard, np.array([high]))[0] < wanted:
        low, high = high, 2 * high
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        too_early = balance(survival, hazard, np.array([middle]))[0] < wanted
        low, high = (middle, high) if too_early else (low, middle)
    return Replacement(high, float(cost_rate(survival, planned_cost, failure_cost, np.array([high]))[0]))


def renewals(survival: Survival, until: float, steps: int = 2000) -> tuple[np.ndarray, np.ndarray]:
    """Expected failures by each time, if every failure is followed at once by a fresh part: the renewal function M.

    M(t) = F(t) + integral of M(t - x) dF(x), by the midpoint scheme of Xie 1989 (Communications in Statistics B
    18(1), 281-293) in `steps` equal steps. Returns times and M, (steps + 1,) each.
    """
    step = until / steps
    times = np.arange(steps + 1) * step
    by_then = 1 - survival(times)
    by_middle = 1 - survival(times[:-1] + step / 2)  # k: after k and a half steps
    expected = np.zeros(steps + 1)
    for i in range(1, steps + 1):
        grown = np.diff(expected[:i])  # in steps 1 .. i-1, whose middles lie i - j + 1/2 steps back
        before = by_middle[i - 1 : 0 : -1] @ grown
        expected[i] = (by_then[i] + before - by_middle[0] * expected[i - 1]) / (1 - by_middle[0])
    return times, expected


def _refuse_costs(planned_cost: float, failure_cost: float) -> None:
    for name, cost in (("replacing", planned_cost), ("failing", failure_cost)):
        if not (np.isfinite(cost) and cost > 0):
            raise WrongUsage(f"The cost of {name} must be above 0, not {cost:g}.")
