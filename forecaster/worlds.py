"""Laws of nature for invented fleets: how a bearing goes from sound to defective to failed.

Nothing here is learned and nothing is shared with the life models, so that they can be checked against it.
``forecaster.bearing_life`` plays a law forward, ``forecaster.true_risk`` works out what follows from it.

The law, on the axis of a life's engine hours (its *age*, hours since new or since the last rebuild):

* sound -> defective. Cumulative hazard H1(a) = exp(x'gamma) (a / eta1)^beta1, where exp(x'gamma) is the product of
  the hazard ratios of aftermarket parts, salt water (brackish counts half) and a tuned engine, each while it lasts.
  At a water incident H1 jumps by kappa, so that a sound bearing becomes defective at once with chance
  1 - exp(-kappa); kappa depends on the treatment and, with x ppm of water in the oil, on (x / 100)^water_exponent.
  After the first incident that was not treated promptly the hazard is multiplied for good by exp(lasting_log_ratio);
  further incidents do not multiply it again.
* defective -> failed. The delay is Weibull(beta2, eta2).
* A defective unit is noticed in use at rate rho per engine hour.
* A spin check calls a defective unit a rattle with chance `sensitivity`, a sound one quiet or slight with chance
  `specificity`. Whether it says quiet or slight tells nothing more.

This is the delay-time model of inspection maintenance (Christer & Waller 1984; Baker & Christer 1994) with water
incidents added. The parameters of `WORLDS` are invented.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from difflib import get_close_matches
from typing import Literal

import numpy as np

from forecaster.errors import WrongUsage

Treatment = Literal["prompt", "late", "none"]
State = Literal["sound", "defective", "failed"]

REFERENCE_PPM = 100.0  # water in the oil at which kappa stands as it is


@dataclass(frozen=True)
class World:
    """One law of nature: all its parameters. Hours are engine hours; ratios multiply the stage-1 hazard."""

    name: str = "rust_at_incident"
    beta1: float = 2.0
    eta1: float = 340.0
    beta2: float = 1.3
    eta2: float = 40.0
    rho: float = 0.004
    kappa_prompt: float = 0.08
    kappa_late: float = 0.35
    kappa_none: float = 0.8
    water_exponent: float = 0.0
    lasting_log_ratio: float = 0.0
    aftermarket_ratio: float = 2.2
    salt_ratio: float = 1.35
    tuned_ratio: float = 1.3
    sensitivity: float = 0.90
    specificity: float = 0.96

    def __post_init__(self) -> None:
        """Raise ValueError that names the parameter which no law can have."""
        for info in fields(self):
            value = getattr(self, info.name)
            if info.name in ("name", "lasting_log_ratio", "water_exponent"):
                continue
            may_be_0 = info.name.startswith(("kappa", "rho"))
            if not math.isfinite(value) or value < 0 or (value == 0 and not may_be_0):
                raise ValueError(f"{info.name} must be {'at least 0' if may_be_0 else 'above 0'}, not {value!r}")
        for name in ("sensitivity", "specificity"):
            if getattr(self, name) > 1:
                raise ValueError(f"{name} must be at most 1, not {getattr(self, name)!r}")

    @classmethod
    def named(cls, name: str) -> World:
        """The world of that name in `WORLDS`; WrongUsage names the nearest known one."""
        if name in WORLDS:
            return WORLDS[name]
        near = get_close_matches(name, WORLDS, n=1, cutoff=0.0)[0]
        raise WrongUsage(f"{name!r} is not a known world. The nearest is {near}; known: {', '.join(WORLDS)}.")

    @classmethod
    def drawn_from(cls, ranges: Mapping[str, tuple[float, float]], rng: np.random.Generator) -> World:
        """A world drawn at random, for calibration studies: does a 90 % interval hold the truth 90 % of the time?

        `ranges` as `PRIOR_RANGES`: positive parameters (median, sd of the log) and drawn log-normally; sensitivity
        and specificity (hits, misses) of a Beta distribution; lasting_log_ratio (mean, sd), normal. A parameter that
        is not named keeps its default, but kappa_late is then the mean of kappa_prompt and kappa_none. The draws are
        taken in the order of World's fields, whatever the order of `ranges`.
        """
        unknown = set(ranges) - {info.name for info in fields(cls)}
        if unknown:
            raise WrongUsage(f"{', '.join(sorted(unknown))}: not a parameter of a world.")
        drawn: dict[str, float] = {}
        for name in (info.name for info in fields(cls) if info.name in ranges):
            first, second = ranges[name]
            if name in ("sensitivity", "specificity"):
                drawn[name] = float(rng.beta(first, second))
            elif name == "lasting_log_ratio":
                drawn[name] = first + second * float(rng.standard_normal())
            else:
                drawn[name] = first * math.exp(second * float(rng.standard_normal()))
        world = replace(cls(name="drawn"), **drawn)  # type: ignore[arg-type]
        if "kappa_late" in ranges:
            return world
        return replace(world, kappa_late=(world.kappa_prompt + world.kappa_none) / 2)

    def hazard_ratio(self, parts: str = "oem", salt: float = 0.0, tuned: float = 0.0) -> float:
        """exp(x'gamma): what multiplies the stage-1 hazard. `salt` and `tuned` are shares, 0 to 1."""
        aftermarket = self.aftermarket_ratio if parts == "aftermarket" else 1.0
        return float(aftermarket * self.salt_ratio**salt * self.tuned_ratio**tuned)

    def kappa(self, treatment: str, oil_water_ppm: float = math.nan) -> float:
        """The jump of H1 at an incident with that treatment and water content."""
        if treatment not in ("prompt", "late", "none"):
            raise WrongUsage(f"treatment must be prompt, late or none, not {treatment!r}: nature knows which it was.")
        jump = float(getattr(self, f"kappa_{treatment}"))
        if self.water_exponent == 0 or math.isnan(oil_water_ppm):
            return jump
        return float(jump * (oil_water_ppm / REFERENCE_PPM) ** self.water_exponent)


WORLDS: dict[str, World] = {
    world.name: world
    for world in (
        World(),
        World("lasting_rise", kappa_prompt=0.0, kappa_late=0.0, kappa_none=0.0, lasting_log_ratio=math.log(3.25)),
        World("dry", kappa_prompt=0.01, kappa_late=0.03, kappa_none=0.05),
        World("long_noise", eta2=150.0),
    )
}

# Spread of worlds for calibration studies: median and sd of the log; Beta counts for the spin check. The general
# experience that the life model starts from, written down here a second time on purpose (nothing is shared).
PRIOR_RANGES: dict[str, tuple[float, float]] = {
    "beta1": (1.8, 0.35),
    "eta1": (400.0, 0.6),
    "beta2": (1.3, 0.3),
    "eta2": (40.0, 0.8),
    "rho": (0.003, 1.0),
    "kappa_prompt": (0.1, 0.9),
    "kappa_none": (0.6, 0.8),
    "aftermarket_ratio": (2.0, 0.6),
    "salt_ratio": (1.3, 0.4),
    "tuned_ratio": (1.3, 0.4),
    "sensitivity": (18.0, 2.0),
    "specificity": (48.0, 2.0),
}
