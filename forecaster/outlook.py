"""What the two stages say about units that run: chances of sound, defective and failed, some hours ahead.

With the unit's past (age a, incidents, checks) the bearing is now sound with one chance, or became defective at some
age u with another. Ahead, nobody opens it and no further water comes:

    failed by a + h, if sound now    integral over u in (a, a+h) of f1(u)/S1(a) F2(a+h-u)
    failed by a + h, if defective    1 - S2(a+h-u) / S2(a-u)

Noticing in use ends a life only in the past (the unit still runs, so nobody opened it); ahead it does not stop
the wear. The first integral is taken over p = S1(u)/S1(a), uniform between its ends, where u has a closed form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.errors import WrongUsage
from forecaster.integrand import Chunk
from forecaster.lives import Histories
from forecaster.pieces import Copies, cut, gauss_legendre
from forecaster.priors import PARAMETERS, Prior
from forecaster.stages import TwoStageLikelihood

_SHAPE_1, _SCALE_1, _SHAPE_2, _SCALE_2 = range(4)
_RATIOS = slice(PARAMETERS.index("log_ratio_aftermarket"), PARAMETERS.index("log_ratio_tuned") + 1)
_LASTING = PARAMETERS.index("lasting_log_ratio")
# Nodes over stage 1's chance ahead: over the priors the error of a 50-hour chance stays below 1e-4, of a 200-hour one
# below 3e-3.
AHEAD_NODES = 12
PAST_NODES = 5
# Array elements worked on at once.
AT_ONCE = 2_000_000


@dataclass(frozen=True)
class Outlook:
    """Chances h engine hours ahead, (draws, units, h) each; sound is what is left of 1."""

    failed: np.ndarray
    defective: np.ndarray


def outlook(units: Histories, prior: Prior, shares: dict[str, float], theta: np.ndarray, hours: np.ndarray) -> Outlook:
    """Chances of each running life for posterior draws `theta` (d, p), `hours` (h,) or (n_units, h) ahead, >= 0.

    Raises WrongUsage where an hour is negative or not a number.
    """
    hours = np.asarray(hours, dtype=float)
    if not (np.isfinite(hours).all() and (hours >= 0).all()):
        raise WrongUsage("Hours ahead must be numbers of at least 0.")
    n = units.n_lives
    by_unit = np.broadcast_to(hours, (n, hours.shape[-1]))
    if n == 0:
        empty = np.zeros((len(theta), 0, hours.shape[-1]))
        return Outlook(empty, empty)
    likelihood = TwoStageLikelihood(cut(units, prior, shares, still_running=True), PAST_NODES)
    copies = likelihood.copies
    share = likelihood.copy_shares(theta)
    numerators = int((copies.life >= 0).sum())
    failed = np.zeros((len(theta), n, hours.shape[-1]))
    defective = np.zeros_like(failed)
    span = max(1, AT_ONCE // max(1, numerators * hours.shape[-1] * (AHEAD_NODES + 8)))
    for i in range(0, len(theta), span):
        some = theta[i : i + span]
        copy_failed, copy_defective = _of_copies(likelihood, some, by_unit)
        part = share[i : i + span, :, None]
        for target, source in ((failed, copy_failed), (defective, copy_defective)):
            if numerators == n:
                target[i : i + span] = part * source
            else:
                first = np.searchsorted(copies.life[:numerators], np.arange(n))
                target[i : i + span] = np.add.reduceat(part * source, first, axis=1)
    return Outlook(np.clip(failed, 0.0, 1.0), np.clip(defective, 0.0, 1.0))


def _of_copies(likelihood: TwoStageLikelihood, theta: np.ndarray, by_unit: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Chances of failed and of defective for each copy that belongs to a life, (d, copies, h)."""
    copies = likelihood.copies
    numerators = int((copies.life >= 0).sum())
    chunk = likelihood.numerator_chunk()
    weighed = chunk.weigh(chunk.terms(theta), theta)
    hours = by_unit[copies.life[:numerators]]  # (copies, h)
    shape_2, scale_2 = np.exp(theta[:, _SHAPE_2]), np.exp(theta[:, _SCALE_2])

    still_defective = np.zeros((len(theta), numerators, hours.shape[1]))
    at = chunk.nodes()
    _add_survivors(still_defective, chunk.copy, weighed.node, at.v, hours, shape_2, scale_2)
    if chunk.k:
        _add_survivors(
            still_defective, chunk.k_copy, weighed.atom[:, :, None], chunk.k_delay[:, None], hours, shape_2, scale_2
        )
    defective_now = np.add.reduceat(weighed.node.sum(axis=2), chunk.first_piece, axis=1)
    if chunk.k:
        defective_now[:, chunk.k_run_copy] += np.add.reduceat(weighed.atom, chunk.k_runs, axis=1)
    turns, fails = _from_sound(chunk, copies, theta, hours)
    failed = (defective_now[:, :, None] - still_defective) + weighed.sound[:, :, None] * fails
    defective = still_defective + weighed.sound[:, :, None] * (turns - fails)
    return failed, defective


def _add_survivors(
    total: np.ndarray,
    copy: np.ndarray,
    share: np.ndarray,
    delay: np.ndarray,
    hours: np.ndarray,
    shape: np.ndarray,
    scale: np.ndarray,
) -> None:
    """Add to `total` (d, copies, h) the chance of having been defective for `delay` (p, m) and not failing in h."""
    starts = np.flatnonzero(np.diff(copy, prepend=-1))
    now = (delay / scale[:, None, None]) ** shape[:, None, None]
    for j in range(hours.shape[1]):
        later = ((delay + hours[copy, j][:, None]) / scale[:, None, None]) ** shape[:, None, None]
        surviving = (share * np.exp(now - later)).sum(axis=2)
        total[:, copy[starts], j] += np.add.reduceat(surviving, starts, axis=1)


def _from_sound(chunk: Chunk, copies: Copies, theta: np.ndarray, hours: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Chances that a bearing sound now becomes defective, and fails, within h hours, (d, copies, h) each."""
    n = chunk.n
    shape_1, log_scale_1 = np.exp(theta[:, _SHAPE_1])[:, None, None], theta[:, _SCALE_1][:, None, None]
    shape_2, scale_2 = np.exp(theta[:, _SHAPE_2])[:, None, None], np.exp(theta[:, _SCALE_2])[:, None, None]
    rate = np.exp(theta[:, _RATIOS] @ chunk.x.T + theta[:, _LASTING, None] * copies.lasting_at_end[:n])[:, :, None]
    age = chunk.age[None, :, None]
    now = np.exp(shape_1 * (np.log(age) - log_scale_1))
    later = np.exp(shape_1 * (np.log(age + hours[None]) - log_scale_1))
    turns = -np.expm1(-rate * (later - now))
    fails = np.zeros_like(turns)
    places, weights = gauss_legendre(AHEAD_NODES)
    for place, weight in zip(places, weights, strict=True):
        # place is a part of the chance to turn within h: u solves S1(u)/S1(a) = 1 - place * turns.
        at = np.exp(log_scale_1 + np.log(now - np.log1p(-place * turns) / rate) / shape_1)
        delay = np.clip(age + hours[None] - at, 0.0, None)
        fails += weight * -np.expm1(-((delay / scale_2) ** shape_2))
    return turns, turns * fails
