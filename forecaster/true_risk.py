"""The true risk of a running unit under a world's law: an account of its own, independent of the life models.

Where the life models integrate with Gauss-Legendre nodes on the logarithm, this sums the law's own masses of onset on a
fine grid. It is checked against closed forms and against bearings played forward (``forecaster.bearing_life``).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from forecaster.worlds import World

CELLS_PER_DELAY = 200  # cells of the true risk's grid per stage-2 scale: leaves errors under 1e-5 in the tests
WIDEST_CELL_H = 0.25
MOST_CELLS = 20_000


class Wetting(NamedTuple):
    """Water got in at that age, h, was treated so, and left so much in the oil (NaN: kappa as it stands)."""

    age_h: float
    treatment: str
    oil_water_ppm: float = math.nan


@dataclass(frozen=True)
class RunningUnit:
    """What an owner who kept perfect books would know of a running unit, and what follows under a world's law.

    age_h: hours since new or rebuilt. incidents: water that got in. ratio_steps: (from age, hazard ratio), the first
    from 0. quiet_checks, rattles: ages at spin checks. opened_sound, opened_defective: ages at which it was opened,
    found so, and put back as it was.
    """

    age_h: float
    incidents: tuple[Wetting, ...] = ()
    ratio_steps: tuple[tuple[float, float], ...] = ((0.0, 1.0),)
    quiet_checks: tuple[float, ...] = ()
    rattles: tuple[float, ...] = ()
    opened_sound: tuple[float, ...] = ()
    opened_defective: tuple[float, ...] = ()

    def chances_of_failing(self, world: World, hours: np.ndarray) -> np.ndarray:
        """Chance of failing within each of `hours` (h,) more engine hours, (h,), in [0, 1].

        With W(u) the likelihood of the checks for a bearing that became defective at u, and the noticing in it,

            [ sum of dF1(u) W(u) e^{-rho (a-u)} (S2(a-u) - S2(a+h-u)), u <= a  +  W(>a) sum of dF1(u) F2(a+h-u), u > a ]
            / [ W(>a) S1(a) + sum of dF1(u) W(u) e^{-rho (a-u)} S2(a-u), u <= a ]

        by Stieltjes sums of the trapezoid kind on a fine grid between the ages at which anything happened, with the
        jumps at incidents added exactly.
        """
        onset, weight = self._onsets(world)
        weight_sound = self._sound(world)
        gone = self.age_h - onset
        defective = weight * _stage_two_surviving(world, gone)
        now = weight_sound + defective.sum()
        chances = np.zeros(len(hours))
        for i, ahead in enumerate(np.asarray(hours, dtype=float)):
            already = weight * (_stage_two_surviving(world, gone) - _stage_two_surviving(world, gone + ahead))
            ages = _grid(world, self.age_h, self.age_h + ahead)
            sound = np.exp(-(self._smooth_hazard(world, ages) - self._smooth_hazard(world, ages[:1])))
            fails = -np.expm1(-(((self.age_h + ahead - ages) / world.eta2) ** world.beta2))
            later = weight_sound * np.sum((sound[:-1] - sound[1:]) * (fails[:-1] + fails[1:]) / 2)
            chances[i] = (already.sum() + later) / now
        return chances

    def chance_defective(self, world: World) -> float:
        """Chance that it is defective now, given that it runs."""
        onset, weight = self._onsets(world)
        defective = float((weight * _stage_two_surviving(world, self.age_h - onset)).sum())
        return defective / (defective + self._sound(world))

    def _looks(self, world: World) -> list[tuple[float, float, float]]:
        """(age, likelihood if defective by then, likelihood if still sound) of each check and opening."""
        quiet = [(age, 1 - world.sensitivity, world.specificity) for age in self.quiet_checks]
        rattles = [(age, world.sensitivity, 1 - world.specificity) for age in self.rattles]
        sound = [(age, 0.0, 1.0) for age in self.opened_sound]
        defective = [(age, 1.0, 0.0) for age in self.opened_defective]
        return quiet + rattles + sound + defective

    def _sound(self, world: World) -> float:
        """Joint likelihood of being sound now and of all looks."""
        likelihood = math.prod(sound for _, _, sound in self._looks(world))
        jumps = sum(world.kappa(wet.treatment, wet.oil_water_ppm) for wet in self.incidents)
        return likelihood * math.exp(-float(self._smooth_hazard(world, np.array([self.age_h]))[0]) - jumps)

    def _onsets(self, world: World) -> tuple[np.ndarray, np.ndarray]:
        """Ages of onset up to now, and the likelihood of each: onset, looks, and not being noticed since."""
        looks = self._looks(world)
        breaks = {0.0, self.age_h, *(wet.age_h for wet in self.incidents), *(look[0] for look in looks)}
        breaks |= {age for age, _ in self.ratio_steps}
        ages = sorted(age for age in breaks if 0 <= age <= self.age_h)
        onset, mass, before = [], [], []  # before: an age by which to tell on which side of a look the onset lies
        for start, end in itertools.pairwise(ages):
            grid = _grid(world, start, end)
            jumps = sum(world.kappa(wet.treatment, wet.oil_water_ppm) for wet in self.incidents if wet.age_h <= start)
            sound = np.exp(-self._smooth_hazard(world, grid) - jumps)
            half = (sound[:-1] - sound[1:]) / 2  # half of each cell's mass to each of its ends: the trapezoid
            onset += [grid[:-1], grid[1:]]
            mass += [half, half]
            before += [np.full(2 * len(half), (start + end) / 2)]
        so_far = 0.0
        for wet in sorted(self.incidents):
            smooth = float(self._smooth_hazard(world, np.array([wet.age_h]))[0])
            jump = world.kappa(wet.treatment, wet.oil_water_ppm)
            onset += [np.array([wet.age_h])]
            mass += [np.array([math.exp(-smooth - so_far) * -math.expm1(-jump)])]
            before += [np.array([wet.age_h])]
            so_far += jump
        u = np.concatenate([*onset, np.zeros(0)])
        weight = np.concatenate([*mass, np.zeros(0)]) * np.exp(-world.rho * (self.age_h - u))
        side = np.concatenate([*before, np.zeros(0)])
        for age, if_defective, if_sound in looks:
            weight = weight * np.where(side <= age, if_defective, if_sound)
        return u, weight

    def _smooth_hazard(self, world: World, ages: np.ndarray) -> np.ndarray:
        """H1 without its jumps: piecewise linear in (a / eta1)^beta1, one piece for each hazard ratio."""
        lasting = [wet.age_h for wet in self.incidents if wet.treatment != "prompt"]
        since = min(lasting, default=math.inf)
        steps = sorted(self.ratio_steps)
        starts = sorted({0.0, *(age for age, _ in steps), *([since] if lasting else [])})
        slopes = [
            next(ratio for age, ratio in reversed(steps) if age <= start)
            * (math.exp(world.lasting_log_ratio) if start >= since else 1.0)
            for start in starts
        ]
        clock = (np.asarray(ages) / world.eta1) ** world.beta1
        knots = [(start / world.eta1) ** world.beta1 for start in starts] + [math.inf]
        total = np.zeros(len(clock))
        for slope, first, last in zip(slopes, knots[:-1], knots[1:], strict=True):
            total += slope * np.clip(clock - first, 0.0, last - first)
        return total


def chance_of_failing(
    world: World,
    age_h: float,
    hours: float,
    incidents: Iterable[tuple[float, str] | Wetting] = (),
    parts: str = "oem",
    salt: float = 0.0,
    tuned: float = 0.0,
    quiet_checks: Iterable[float] = (),
) -> float:
    """Chance that a running unit's bearing fails within `hours` more engine hours, by this world's law.

    The unit runs unopened at `age_h`: it has not failed, and nobody noticed anything in use, which would have ended
    the life. `incidents`: (age at which water got in, treatment) or `Wetting`. `salt`, `tuned`: shares, 0 to 1.
    `quiet_checks`: ages at spin checks that came out quiet or slight; a check at the age of an incident came after
    it. In the `hours` ahead nobody opens the unit, so that being noticed does not save it, and no further water
    comes. See `RunningUnit` for rattles, openings and units that moved between waters.
    """
    wet = tuple(Wetting(*incident) for incident in incidents)
    unit = RunningUnit(age_h, wet, ((0.0, world.hazard_ratio(parts, salt, tuned)),), tuple(quiet_checks))
    return float(unit.chances_of_failing(world, np.array([hours]))[0])


def _stage_two_surviving(world: World, delay: np.ndarray) -> np.ndarray:
    surviving: np.ndarray = np.exp(-((np.maximum(delay, 0.0) / world.eta2) ** world.beta2))
    return surviving


def _grid(world: World, start: float, end: float) -> np.ndarray:
    cell = min(WIDEST_CELL_H, world.eta2 / CELLS_PER_DELAY)
    return np.linspace(start, end, 1 + min(MOST_CELLS, max(8, math.ceil((end - start) / cell))))
