"""Priors: what is believed of a bearing before a fleet's own records, read from priors.toml or a user's copy of it.

All parameters of the two stages live on an unconstrained scale (logarithms, log odds), where the prior is a
multivariate normal: independent as the file gives it, correlated where it comes from another fleet's experience.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from difflib import get_close_matches
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from forecaster.errors import SettingsError
from forecaster.shown_values import shortened, shown
from forecaster.small_files import NotUsable, read_small_text, read_toml

# Order of the parameters everywhere. log_: natural logarithm; logit_: log odds.
PARAMETERS = (
    "log_shape_1",
    "log_scale_1_h",
    "log_shape_2",
    "log_scale_2_h",
    "log_jump_untreated",
    "log_jump_treated",
    "log_ratio_aftermarket",
    "log_ratio_salt",
    "log_ratio_tuned",
    "log_rate_noticed_per_h",
    "lasting_log_ratio",
    "logit_sensitivity",
    "logit_specificity",
)
# Range of each parameter, as it is read by people (the logarithm where it stands as one): far beyond any bearing, and
# as far as powers of hours stay numbers. Medians lie within; what a posterior holds beyond counts as at the end.
RANGES = {
    "log_shape_1": (0.1, 20.0),
    "log_scale_1_h": (1e-5, 1e7),
    "log_shape_2": (0.1, 20.0),
    "log_scale_2_h": (1e-5, 1e7),
    "log_jump_untreated": (1e-12, 150.0),
    "log_jump_treated": (1e-12, 150.0),
    "log_ratio_aftermarket": (1e-3, 1e3),
    "log_ratio_salt": (1e-3, 1e3),
    "log_ratio_tuned": (1e-3, 1e3),
    "log_rate_noticed_per_h": (1e-12, 150.0),
    "lasting_log_ratio": (-7.0, 7.0),
    "logit_sensitivity": (1e-6, 1.0 - 1e-6),
    "logit_specificity": (1e-6, 1.0 - 1e-6),
}
# Spread of a parameter's logarithm in a file: below, nothing is believed but one number; above, its 90 % interval spans
# a factor of 14 million, which tells nobody anything, and few draws fall where the records speak.
SPREADS = (1e-3, 5.0)
INDEX = {name: i for i, name in enumerate(PARAMETERS)}
COVARIATES = ("aftermarket", "salt", "tuned")

PLACES = {  # parameter: section, key, scale on which the file gives it
    "log_shape_1": ("sound_to_defective", "shape", "log"),
    "log_scale_1_h": ("sound_to_defective", "scale_h", "log"),
    "log_shape_2": ("defective_to_failed", "shape", "log"),
    "log_scale_2_h": ("defective_to_failed", "scale_h", "log"),
    "log_jump_untreated": ("water", "jump_untreated", "log"),
    "log_jump_treated": ("water", "jump_treated", "log"),
    "log_ratio_aftermarket": ("hazard_ratio", "aftermarket", "log"),
    "log_ratio_salt": ("hazard_ratio", "salt", "log"),
    "log_ratio_tuned": ("hazard_ratio", "tuned", "log"),
    "log_rate_noticed_per_h": ("noticed", "rate_per_h", "log"),
    "lasting_log_ratio": ("water", "lasting_log_ratio", "plain"),
    "logit_sensitivity": ("spin_check", "sensitivity", "logit"),
    "logit_specificity": ("spin_check", "specificity", "logit"),
}


# On each scale: the parts of an entry that hold one number each, the centre first, and those that hold several.
_SCALE_PARTS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "log": (("median", "spread"), ()),
    "logit": (("median", "spread"), ()),
    "plain": (("mean", "sd"), ()),
}


def on_its_scale(name: str, value: float) -> float:
    """A parameter as people read it -> as it stands among PARAMETERS."""
    scale = PLACES[name][2]
    return value if scale == "plain" else float(np.log(value) if scale == "log" else np.log(value / (1 - value)))


_LOWEST, _HIGHEST = (np.array([on_its_scale(name, RANGES[name][end]) for name in PARAMETERS]) for end in (0, 1))


def within_range(theta: np.ndarray) -> np.ndarray:
    """Parameters (..., p) with what lies beyond `RANGES` at their ends."""
    held: np.ndarray = np.clip(theta, _LOWEST, _HIGHEST)
    return held


@dataclass(frozen=True)
class Prior:
    """A multivariate normal over PARAMETERS and the fixed figures that go with it.

    `mean` (p,), `covariance` (p, p); `untreated_share` by treatment: the share of such incidents that count as
    untreated; `starting_ages_h` (k,): equally likely ages of a unit whose starting age nobody knows;
    `unknown_share` by covariate: taken where a fleet never records it.
    """

    mean: np.ndarray
    covariance: np.ndarray
    untreated_share: dict[str, float]
    starting_ages_h: np.ndarray
    unknown_share: dict[str, float]
    oil_water_exponent: float
    oil_water_reference_ppm: float
    oil_water_tested_ppm: tuple[float, float]
    between_fleets_spread: float
    source: str = "general experience"

    def with_normal(self, mean: np.ndarray, covariance: np.ndarray, source: str) -> Prior:
        """The same fixed figures around another normal, for example another fleet's posterior."""
        return replace(self, mean=mean, covariance=covariance, source=source)

    def flat(self, spread: float = 100.0) -> Prior:
        """The same centre with next to no information, for comparison with maximum likelihood."""
        return replace(self, covariance=np.eye(len(self.mean)) * spread**2, source="flat")

    def without(self, *names: str, **values: float) -> Prior:
        """Hold parameters fixed: each of `names` at its mean, each of `values` at the number given."""
        mean, covariance = self.mean.copy(), self.covariance.copy()
        for name in (*names, *values):
            i = INDEX[name]
            mean[i] = values.get(name, mean[i])
            covariance[i, :] = covariance[:, i] = 0.0
            covariance[i, i] = FIXED_VARIANCE
        return replace(self, mean=mean, covariance=covariance)

    def jump_scale(self, ppm: np.ndarray) -> np.ndarray:
        """Factor on an incident's jump for a laboratory water content, (n,); 1 where there is none (NaN).

        Cantley 1977: bearing life L = (100/x)^0.6 for x ppm, so the hazard grows as (x/100)^0.6. He tested 25 to
        400 ppm; outside, the value at the nearer end is used, since a formula is not evidence where nobody tested.
        """
        low, high = self.oil_water_tested_ppm
        held = np.clip(np.nan_to_num(ppm, nan=self.oil_water_reference_ppm), low, high)
        scale: np.ndarray = (held / self.oil_water_reference_ppm) ** self.oil_water_exponent
        return np.where(np.isnan(ppm), 1.0, scale)


# A parameter held fixed keeps this much variance so that the covariance stays invertible: far below any data's.
FIXED_VARIANCE = 1e-10


def read_priors(path: str | Path | None = None) -> Prior:
    """The prior of the package, or of a user's copy of priors.toml.

    Raises SettingsError that names the section and key where something is missing or impossible.
    """
    file = "priors.toml" if path is None else str(path)
    try:
        if path is None:
            text = resources.files("forecaster").joinpath("priors.toml").read_text("utf-8")
        else:
            text = read_small_text(path)
        given = read_toml(text)
    except NotUsable as error:
        raise SettingsError(f"{file}: {error}") from error
    _refuse_unknown(given, file)
    return _Given(given, file).prior()


BETWEEN_FLEETS = (0.01, SPREADS[1])  # spread between fleets: without any, one fleet would speak for all
SHARES = (0.0, 1.0)
EXPONENTS = (0.0, 5.0)
TESTED_PPM = (1.0, 1e6)
AGES_H = (0.0, 1e5)
MOST_AGES = 20  # starting ages that are averaged over: each is as much work as a life of its own
COPY_IT = "Correct it, or copy that line from the package's priors.toml."
_ONE_VALUE = (
    ("water", "share_untreated_if_late"),
    ("water", "share_untreated_if_unknown"),
    *(("unknown_covariate", name) for name in COVARIATES),
    ("between_fleets", "spread"),
)
# By section and key: the parts that hold one number each, and those that hold several; each may name its source.
_PARTS: dict[tuple[str, str], tuple[tuple[str, ...], tuple[str, ...]]] = {
    **{(section, key): _SCALE_PARTS[scale] for section, key, scale in PLACES.values()},
    **dict.fromkeys(_ONE_VALUE, (("value",), ())),
    ("water", "oil_water"): (("exponent", "reference_ppm"), ("tested_ppm",)),
    ("unknown_start", "ages_h"): ((), ("values",)),
}


def _refuse_unknown(given: dict[str, Any], file: str) -> None:
    """A key that is not known is a slip of the pen, and what it says would count for nothing."""
    sections = {section for section, _ in _PARTS}
    for section, entries in given.items():
        _refuse_stranger(section, sections, file, "")
        for key, entry in entries.items() if isinstance(entries, dict) else ():
            _refuse_stranger(key, [own for place, own in _PARTS if place == section], file, f"[{section}] ")
            for part in entry if isinstance(entry, dict) else ():
                one, several = _PARTS[section, key]
                _refuse_stranger(part, (*one, *several, "source"), file, f"[{section}] {key}: ")


def _refuse_stranger(name: str, known: Iterable[str], file: str, where: str) -> None:
    names = list(known)
    if name not in names:
        told = shortened(name)
        near = get_close_matches(told, names, n=1, cutoff=0.0)[0]
        raise SettingsError(f"{file}: {where}{told} is not a known key. The nearest known key is {near}.")


@dataclass(frozen=True)
class _Given:
    """What a file says, entry by entry; each refusal names the file, section, key and value, and what to do."""

    entries: dict[str, Any]
    file: str

    def prior(self) -> Prior:
        """The prior of all entries. Raises SettingsError where one is missing or impossible."""
        mean, sd = np.empty(len(PARAMETERS)), np.empty(len(PARAMETERS))
        for i, name in enumerate(PARAMETERS):
            section, key, scale = PLACES[name]
            centre, spread = _SCALE_PARTS[scale][0]
            mean[i] = on_its_scale(name, self._number(section, key, centre, RANGES[name]))
            sd[i] = self._number(section, key, spread, SPREADS)
        tested = self._numbers("water", "oil_water", "tested_ppm", TESTED_PPM, most=2)
        if len(tested) != 2 or tested[0] > tested[1]:
            raise SettingsError(
                f"{self.file}: [water] oil_water: tested_ppm must be two numbers, the lower first, "
                f"not {shown(tested)}. {COPY_IT}"
            )
        return Prior(
            mean=mean,
            covariance=np.diag(sd**2),
            untreated_share={
                "prompt": 0.0,
                "none": 1.0,
                "late": self._number("water", "share_untreated_if_late", "value", SHARES),
                "unknown": self._number("water", "share_untreated_if_unknown", "value", SHARES),
            },
            starting_ages_h=np.array(self._numbers("unknown_start", "ages_h", "values", AGES_H, most=MOST_AGES)),
            unknown_share={name: self._number("unknown_covariate", name, "value", SHARES) for name in COVARIATES},
            oil_water_exponent=self._number("water", "oil_water", "exponent", EXPONENTS),
            oil_water_reference_ppm=self._number("water", "oil_water", "reference_ppm", TESTED_PPM),
            oil_water_tested_ppm=(tested[0], tested[1]),
            between_fleets_spread=self._number("between_fleets", "spread", "value", BETWEEN_FLEETS),
        )

    def _entry(self, section: str, key: str) -> dict[str, Any]:
        table = self.entries.get(section)
        entry = table.get(key) if isinstance(table, dict) else None
        if not isinstance(entry, dict):
            what = f"must be written {{ ... }}, not {shown(entry)}" if entry is not None else "is missing"
            raise SettingsError(
                f"{self.file}: [{section}] {key} {what}; copy that line from the package's priors.toml."
            )
        return entry

    def _number(self, section: str, key: str, part: str, limits: tuple[float, float]) -> float:
        given = self._entry(section, key).get(part)
        return _within(given, f"{self.file}: [{section}] {key}: {part}", limits)

    def _numbers(self, section: str, key: str, part: str, limits: tuple[float, float], most: int) -> list[float]:
        given = self._entry(section, key).get(part)
        what = f"{self.file}: [{section}] {key}: {part}"
        if not isinstance(given, list) or not 1 <= len(given) <= most:
            raise SettingsError(f"{what} must be a list of numbers, 1 to {most} of them, not {shown(given)}. {COPY_IT}")
        return [_within(number, what, limits) for number in given]


def _within(number: object, what: str, limits: tuple[float, float]) -> float:
    if isinstance(number, bool) or not isinstance(number, (int, float)) or number != number:
        raise SettingsError(f"{what} must be a number, not {shown(number)}. {COPY_IT}")
    least, most = limits
    if not least <= number <= most:
        raise SettingsError(f"{what} must be between {least:g} and {most:g}, not {shown(number)}. {COPY_IT}")
    return float(number) + 0.0
