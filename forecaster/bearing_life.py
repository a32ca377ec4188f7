"""One bearing played forward, hour by hour, under a world's law: the dice of an invented fleet."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from forecaster.worlds import State, Treatment, World

Happening = Literal["", "noticed", "failed"]


class BearingLife:
    """One bearing played forward under a world's law: what nature does, hour by hour, unseen by anybody.

    `age_h` at the start; where it is positive the bearing is one that was still running then, neither failed nor
    noticed. `ratio` is the hazard ratio of its time before the start.
    """

    def __init__(self, world: World, rng: np.random.Generator, age_h: float = 0.0, ratio: float = 1.0) -> None:
        """Draw what is to come; for a part-worn start, draw again until it is one that still runs."""
        self.world = world
        self._rng = rng
        self.age_h = age_h
        self.lasting = 1.0
        self.from_water = False
        while True:
            self._left_sound = float(rng.standard_exponential()) - ratio * (age_h / world.eta1) ** world.beta1
            self._delay: float = world.eta2 * float(rng.standard_exponential()) ** (1 / world.beta2)
            self._unnoticed = self._until_noticed()
            self.defective_at_h = math.nan
            if self._left_sound > 0:
                return
            self.defective_at_h = self._inverted(self._left_sound, ratio)
            if self.defective_at_h + min(self._delay, self._unnoticed) > age_h:
                return

    @property
    def state(self) -> State:
        """The bearing's true state now."""
        if math.isnan(self.defective_at_h):
            return "sound"
        return "failed" if self.age_h >= self.failed_at_h else "defective"

    @property
    def failed_at_h(self) -> float:
        """Age at which it fails if it is run on; NaN while sound."""
        return self.defective_at_h + self._delay

    def run(self, hours: float, ratio: float) -> tuple[float, Happening]:
        """Run it up to `hours` more at that hazard ratio; (hours really run, what stopped it or "")."""
        if math.isnan(self.defective_at_h):
            world = self.world
            base = (self.age_h / world.eta1) ** world.beta1
            step = ratio * self.lasting * (((self.age_h + hours) / world.eta1) ** world.beta1 - base)
            if step < self._left_sound:
                self._left_sound -= step
                self.age_h += hours
                return hours, ""
            self.defective_at_h = min(self._inverted(self._left_sound, ratio * self.lasting), self.age_h + hours)
        stops_at = self.defective_at_h + min(self._delay, self._unnoticed)
        if stops_at > self.age_h + hours:
            self.age_h += hours
            return hours, ""
        ran = stops_at - self.age_h
        self.age_h = stops_at
        if self._delay <= self._unnoticed:
            return ran, "failed"
        self._unnoticed += self._until_noticed()  # should somebody put it back as it is
        return ran, "noticed"

    def gets_wet(self, treatment: Treatment, oil_water_ppm: float = math.nan) -> None:
        """Water got in at its present age, was treated so, and left so much in the oil."""
        if math.isnan(self.defective_at_h):
            self._left_sound -= self.world.kappa(treatment, oil_water_ppm)
            if self._left_sound <= 0:
                self.defective_at_h = self.age_h
                self.from_water = True
        if treatment != "prompt":
            self.lasting = math.exp(self.world.lasting_log_ratio)

    def spun_by_hand(self, rng: np.random.Generator) -> bool:
        """Whether a spin check calls it a rattle."""
        chance = 1 - self.world.specificity if self.state == "sound" else self.world.sensitivity
        return bool(rng.random() < chance)

    def _until_noticed(self) -> float:
        rate = self.world.rho
        return float(self._rng.standard_exponential()) / rate if rate > 0 else math.inf

    def _inverted(self, hazard: float, ratio: float) -> float:
        """Age at which the cumulative hazard is `hazard` more than at the present age."""
        world = self.world
        clock = (self.age_h / world.eta1) ** world.beta1 + hazard / ratio
        return float(world.eta1 * max(clock, 0.0) ** (1 / world.beta1))
