"""What was learned, parameter by parameter and in plain words, beside what was believed before."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from forecaster.learning import TwoStageFit, learned_share
from forecaster.priors import INDEX, PARAMETERS

Curve = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Learned:
    """One parameter: in the trade's words, with median and central 90 % before and after, on a scale people read.

    `share`: how much of the prior's variance the records took away, 0 nothing to 1 all; below 0.2 it is mostly general
    experience.
    """

    name: str
    words: str
    unit: str  # "h", "%", "x" (a ratio) or "" (a shape)
    prior: tuple[float, float, float]  # median, low, high
    posterior: tuple[float, float, float]
    share: float

    @property
    def mostly_prior(self) -> bool:
        """Whether the records say little about it."""
        return self.share < 0.2


def _chance(log_jump: np.ndarray) -> np.ndarray:
    """Per cent of incidents that start rust, from the logarithm of the jump."""
    answer: np.ndarray = 100 * -np.expm1(-np.exp(log_jump))
    return answer


def _per_cent(logit: np.ndarray) -> np.ndarray:
    answer: np.ndarray = 100 / (1 + np.exp(-logit))
    return answer


def _hours_unnoticed(log_rate: np.ndarray) -> np.ndarray:
    answer: np.ndarray = np.exp(-log_rate)
    return answer


WORDS: dict[str, tuple[str, str, Curve]] = {
    "log_shape_1": ("wear-out of a sound bearing: 1 is none, above 1 it ages", "", np.exp),
    "log_scale_1_h": (
        "hours by which 63 % of dry, original, stock, fresh-water units are rough or rusted",
        "h",
        np.exp,
    ),
    "log_shape_2": ("how sharply a noisy unit's end comes: 1 at any time, above 1 after a while", "", np.exp),
    "log_scale_2_h": ("hours by which 63 % of noisy units have failed if run on", "h", np.exp),
    "log_jump_untreated": ("an untreated incident starts rust in this share of cases", "%", _chance),
    "log_jump_treated": ("a promptly treated incident starts rust in this share of cases", "%", _chance),
    "log_ratio_aftermarket": ("aftermarket parts wear this much faster than original ones", "x", np.exp),
    "log_ratio_salt": ("in salt water bearings go bad this much faster than in fresh", "x", np.exp),
    "log_ratio_tuned": ("on a tuned engine bearings go bad this much faster than on a stock one", "x", np.exp),
    "log_rate_noticed_per_h": ("hours that a noisy unit runs on average until somebody notices", "h", _hours_unnoticed),
    "lasting_log_ratio": (
        "after an untreated incident that started no rust, later wear is this much faster",
        "x",
        np.exp,
    ),
    "logit_sensitivity": ("a spin check hears a bad bearing in this share of cases", "%", _per_cent),
    "logit_specificity": ("a spin check lets a sound bearing pass in this share of cases", "%", _per_cent),
}


def learned(fit: TwoStageFit) -> tuple[Learned, ...]:
    """Every parameter of the two stages in plain words, prior beside posterior."""
    share = learned_share(fit.prior, fit.theta)
    sd = np.sqrt(np.diag(fit.prior.covariance))
    rows = []
    for name in PARAMETERS:
        i = INDEX[name]
        words, unit, scale = WORDS[name]
        before = np.sort(scale(fit.prior.mean[i] + sd[i] * np.array([-1.645, 0.0, 1.645])))
        after = np.sort(scale(np.quantile(fit.theta[:, i], [0.05, 0.5, 0.95])))
        rows.append(
            Learned(
                name,
                words,
                unit,
                (float(before[1]), float(before[0]), float(before[2])),
                (float(after[1]), float(after[0]), float(after[2])),
                float(share[i]),
            )
        )
    return tuple(rows)
