"""Priors: what is believed of a bearing before a fleet's own records, read from priors.toml or a user's copy of it.

All parameters of the two stages live on an unconstrained scale (logarithms, log odds), where the prior is a
multivariate normal: independent as the file gives it, correlated where it comes from another fleet's experience.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from forecaster.errors import SettingsError

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
    if path is None:
        file, text = "priors.toml", resources.files("forecaster").joinpath("priors.toml").read_text("utf-8")
    else:
        file = str(path)
        try:
            text = Path(path).read_text("utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise SettingsError(f"{file}: cannot be read: {error}.") from error
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{file}: not valid TOML: {error}.") from error
    return _prior(given, file)


def _prior(given: dict[str, Any], file: str) -> Prior:
    mean, sd = np.empty(len(PARAMETERS)), np.empty(len(PARAMETERS))
    for i, name in enumerate(PARAMETERS):
        section, key, scale = PLACES[name]
        entry = _entry(given, file, section, key)
        centre, spread = ("mean", "sd") if scale == "plain" else ("median", "spread")
        mean[i] = on_its_scale(name, _number(entry, centre, file, section, key, *RANGES[name]))
        sd[i] = _number(entry, spread, file, section, key, *SPREADS)
    water = _entry(given, file, "water", "oil_water")

    def value(section: str, key: str, low: float = 0.0, high: float = 1.0) -> float:
        return _number(_entry(given, file, section, key), "value", file, section, key, low, high)

    tested = _numbers(water, "tested_ppm", file, "water", "oil_water", *TESTED_PPM)
    if len(tested) != 2 or tested[0] > tested[1]:
        raise SettingsError(f"{file}: [water] oil_water: tested_ppm must be two numbers, the lower first.")
    return Prior(
        mean=mean,
        covariance=np.diag(sd**2),
        untreated_share={
            "prompt": 0.0,
            "none": 1.0,
            "late": value("water", "share_untreated_if_late"),
            "unknown": value("water", "share_untreated_if_unknown"),
        },
        starting_ages_h=np.array(
            _numbers(_entry(given, file, "unknown_start", "ages_h"), "values", file, "unknown_start", "ages_h", *AGES_H)
        ),
        unknown_share={name: value("unknown_covariate", name) for name in COVARIATES},
        oil_water_exponent=_number(water, "exponent", file, "water", "oil_water", 0.0, 5.0),
        oil_water_reference_ppm=_number(water, "reference_ppm", file, "water", "oil_water", *TESTED_PPM),
        oil_water_tested_ppm=(tested[0], tested[1]),
        between_fleets_spread=value("between_fleets", "spread", *BETWEEN_FLEETS),
    )


BETWEEN_FLEETS = (0.01, SPREADS[1])  # spread between fleets: without any, one fleet would speak for all
TESTED_PPM = (1.0, 1e6)
AGES_H = (0.0, 1e5)


def _entry(given: dict[str, Any], file: str, section: str, key: str) -> dict[str, Any]:
    table = given.get(section)
    entry = table.get(key) if isinstance(table, dict) else None
    if not isinstance(entry, dict):
        raise SettingsError(f"{file}: [{section}] {key} is missing; copy that line from the package's priors.toml.")
    return entry


def _number(entry: dict[str, Any], part: str, file: str, section: str, key: str, least: float, most: float) -> float:
    return _within(entry.get(part), f"{file}: [{section}] {key}: {part}", least, most)


def _numbers(
    entry: dict[str, Any], part: str, file: str, section: str, key: str, least: float, most: float
) -> list[float]:
    given = entry.get(part)
    if not isinstance(given, list) or not given:
        raise SettingsError(f"{file}: [{section}] {key}: {part} must be a list of numbers, not {given!r}.")
    return [_within(number, f"{file}: [{section}] {key}: {part}", least, most) for number in given]


def _within(number: object, what: str, least: float, most: float) -> float:
    if not isinstance(number, (int, float)) or isinstance(number, bool) or not np.isfinite(number):
        raise SettingsError(f"{what} must be a number, not {number!r}.")
    if not least <= number <= most:
        raise SettingsError(
            f"{what} must be between {least:g} and {most:g}, not {number:g}. Correct it, or copy that line from the "
            "package's priors.toml."
        )
    return float(number)
