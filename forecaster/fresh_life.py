"""A fresh unit on a grid of engine hours: its chances of failing and of being noticed in each step, by state.

All that is known of a running unit whose water is yet to come is its age and the age at its last quiet check (0: none).
For each such state: the chance that it is defective, and that it fails, or is noticed, in the next step. Averaged over
the posterior, so that not knowing the parameters is part of the chance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.integrand import log_sigmoid
from forecaster.priors import INDEX, Prior
from forecaster.service_life import IncidentRate, chance_sound

STEP_H = 5.0
OLDEST_H = 600.0  # beyond, a unit counts as this old: by then any plausible rule has opened it
DRAWS = 100


@dataclass(frozen=True)
class FreshLife:
    """Chances by age i and age at the last quiet check j <= i, both in steps of `step_h`, (n, n) each; NaN for j > i.

    `alive` (n, n): chance of reaching that state from fresh, unopened, if the check at j was made and quiet;
    `defective`, `fails`, `noticed`: given that state; the last two within the next step. `sensitivity` and
    `specificity` of a check.
    """

    step_h: float
    alive: np.ndarray
    defective: np.ndarray
    fails: np.ndarray
    noticed: np.ndarray
    sensitivity: float
    specificity: float

    @property
    def n(self) -> int:
        """How many ages there are."""
        return len(self.alive)


def fresh_life(
    theta: np.ndarray,
    prior: Prior,
    x: np.ndarray,
    rate: IncidentRate | None,
    step_h: float = STEP_H,
    oldest_h: float = OLDEST_H,
) -> FreshLife:
    """Chances of a fresh unit with covariates `x` (3,), water at `rate`, over posterior draws `theta` (d, p)."""
    theta = theta[:DRAWS]
    return _life(theta, *_on_the_grid(theta, prior, x, rate, step_h, oldest_h), step_h)


def fresh_lives(
    theta: np.ndarray,
    prior: Prior,
    x: np.ndarray,
    rate: IncidentRate | None,
    step_h: float = STEP_H,
    oldest_h: float = OLDEST_H,
) -> list[FreshLife]:
    """The same under each of the draws alone: one life a draw, (d,)."""
    sound, steps = _on_the_grid(theta, prior, x, rate, step_h, oldest_h)
    return [_life(theta[[k]], sound[[k]], steps.of_draw(k), step_h) for k in range(len(theta))]


def _on_the_grid(
    theta: np.ndarray, prior: Prior, x: np.ndarray, rate: IncidentRate | None, step_h: float, oldest_h: float
) -> tuple[np.ndarray, Stage2Steps]:
    """Both stages by draw: the chance of being sound at each age of the grid, (d, n + 1), and stage 2's steps."""
    n = round(oldest_h / step_h) + 1
    return chance_sound(theta, prior, x, rate, np.arange(n + 1) * step_h), stage_2_steps(theta, n, step_h)


def _life(theta: np.ndarray, sound: np.ndarray, steps: Stage2Steps, step_h: float) -> FreshLife:
    """The mean life over draws `theta` (d, p), `sound` (d, n + 1) at the ages of the grid."""
    turned = sound[:, :-1] - sound[:, 1:]
    n = turned.shape[1]
    defective = _turned_before(turned, steps.running)  # [i, s]: became defective in step s, at age i runs unnoticed
    fails = _turned_before(turned, steps.fails)  # [i, s]: the same, and failing in step i
    noticed = _turned_before(turned, steps.noticed)
    fails[np.arange(n), np.arange(n)] = steps.fails_at_once @ turned / len(theta)
    noticed[np.arange(n), np.arange(n)] = steps.noticed_at_once @ turned / len(theta)
    sens = float(np.exp(log_sigmoid(theta[:, INDEX["logit_sensitivity"]])).mean())
    spec = float(np.exp(log_sigmoid(theta[:, INDEX["logit_specificity"]])).mean())
    return _by_state(sound[:, :n].mean(axis=0), defective, fails, noticed, sens, spec, step_h)


def _turned_before(turned: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Mean over draws of having turned in step s < i and what follows by age i, (n, n) [i, s]; 0 for other steps.

    `turned` (d, n) in each step; `after` (d, n): by steps from the end of the step in which it turned.
    """
    n = turned.shape[1]
    by_lag = turned.T @ after / len(turned)  # [s, steps since]
    found = np.zeros((n, n))
    age, step = np.tril_indices(n, -1)
    found[age, step] = by_lag[step, age - 1 - step]
    return found


def _by_state(
    sound: np.ndarray,
    defective: np.ndarray,
    fails: np.ndarray,
    noticed: np.ndarray,
    sens: float,
    spec: float,
    step_h: float,
) -> FreshLife:
    """Weigh what turned before the check by missing it, what turned later or not by letting it pass."""
    n = len(sound)
    none = np.arange(n) == 0  # no check at all: weights 1

    def weighted(by_step: np.ndarray) -> np.ndarray:
        before = np.concatenate([np.zeros((n, 1)), np.cumsum(by_step, axis=1)], axis=1)[:, :n]  # turned before age j
        after = by_step.sum(axis=1)[:, None] - before
        both: np.ndarray = np.where(none, 1.0, 1 - sens) * before + np.where(none, 1.0, spec) * after
        return both

    ill = weighted(defective)
    alive = ill + np.where(none, 1.0, spec) * sound[:, None]
    reachable = np.tril(np.ones((n, n), dtype=bool))

    def given(part: np.ndarray) -> np.ndarray:
        return np.where(reachable, part / np.maximum(alive, 1e-300), np.nan)

    return FreshLife(
        step_h,
        np.where(reachable, alive, np.nan),
        given(ill),
        given(weighted(fails)),
        given(weighted(noticed)),
        sens,
        spec,
    )


@dataclass(frozen=True)
class Stage2Steps:
    """A defective unit by steps since the end of the step in which it turned, per draw: (d, n) each.

    `running`: neither failed nor noticed by then; `fails`, `noticed`: in the step that follows. `..._at_once` (d,): in
    the rest of the step in which it turned, on average half of it.
    """

    running: np.ndarray
    fails: np.ndarray
    noticed: np.ndarray
    fails_at_once: np.ndarray
    noticed_at_once: np.ndarray

    def of_draw(self, k: int) -> Stage2Steps:
        """Those of one draw alone."""
        return Stage2Steps(*(part[[k]] for part in vars(self).values()))


def stage_2_steps(theta: np.ndarray, n: int, step_h: float) -> Stage2Steps:
    """Stage 2 and noticing on the grid; turning happens in the middle of a step."""
    edges = np.concatenate([[0.0], (np.arange(n + 1) + 0.5) * step_h])
    shape = np.exp(theta[:, INDEX["log_shape_2"], None])
    scale = np.exp(theta[:, INDEX["log_scale_2_h"], None])
    rate = np.exp(theta[:, INDEX["log_rate_noticed_per_h"], None])
    surviving = np.exp(-((edges / scale) ** shape))
    unnoticed = np.exp(-rate * edges)
    both = surviving * unnoticed
    # Within a step both may happen; the first counts. Failing first: mean of not being noticed over the step.
    fails = (surviving[:, :-1] - surviving[:, 1:]) * (unnoticed[:, :-1] + unnoticed[:, 1:]) / 2
    noticed = np.maximum(both[:, :-1] - both[:, 1:] - fails, 0.0)
    fails = both[:, :-1] - both[:, 1:] - noticed
    return Stage2Steps(both[:, 1:-1], fails[:, 1:], noticed[:, 1:], fails[:, 0], noticed[:, 0])
