"""What the two stages say about units that run: chances of sound, defective and failed, some hours ahead.

With the unit's past (age a, incidents, checks) the bearing is now sound with one chance, or became defective at some
age u with another: how it stands. Ahead, nobody opens it and no further water comes:

    failed by a + h, if sound now    integral over u in (a, a+h) of f1(u)/S1(a) F2(a+h-u)
    failed by a + h, if defective    1 - S2(a+h-u) / S2(a-u)

Noticing in use ends a life only in the past (the unit still runs, so nobody opened it); ahead it does not stop
the wear. The first integral is taken over p = S1(u)/S1(a), uniform between its ends, where u has a closed form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecaster.errors import WrongUsage
from forecaster.integrand import Chunk, Weighed, mixed_alone, over_nodes, overflows_allowed
from forecaster.lives import Histories
from forecaster.pieces import cut, gauss_legendre
from forecaster.priors import PARAMETERS, Prior
from forecaster.stages import TwoStageLikelihood
from forecaster.two_threads import in_two_threads

_SHAPE_1, _SCALE_1, _SHAPE_2, _SCALE_2 = range(4)
_RATIOS = slice(PARAMETERS.index("log_ratio_aftermarket"), PARAMETERS.index("log_ratio_tuned") + 1)
_LASTING = PARAMETERS.index("lasting_log_ratio")
# Nodes over stage 1's chance ahead: over the priors the error of a 50-hour chance stays below 1e-4, of a 200-hour one
# below 3e-3.
AHEAD_NODES = 12
PAST_NODES = 5
# Array elements worked on at once: few enough for the processor's cache.
AT_ONCE = 300_000
# Array elements below which a second thread costs more than it saves.
WORTH_A_THREAD = 400_000


@dataclass(frozen=True)
class Outlook:
    """Chances h engine hours ahead, (draws, units, h) each; sound is what is left of 1."""

    failed: np.ndarray
    defective: np.ndarray


class TwoStageStanding:
    """How running units stand today, draw by draw: sound, or defective for so many hours. Asked of any hours ahead.

    Working this out takes longer than looking ahead from it, so whoever asks of several horizons keeps it.
    """

    def __init__(self, units: Histories, prior: Prior, shares: dict[str, float], theta: np.ndarray) -> None:
        """`theta` (d, p): posterior draws; the others as for ``outlook``."""
        self.n_units, self.n_draws = units.n_lives, len(theta)
        self._parts: list[_Part] = []
        if units.n_lives == 0:
            return
        likelihood = TwoStageLikelihood(cut(units, prior, shares, still_running=True), PAST_NODES)
        self._chunk = likelihood.numerator_chunk()
        lives = likelihood.copies.life[: self._chunk.n]
        self._lives = lives
        self._lasting = likelihood.copies.lasting_at_end[: self._chunk.n]
        self._first_copy = np.searchsorted(lives, np.arange(self.n_units))
        self._nodes = self._chunk.nodes().v.size

        def part(some: np.ndarray) -> _Part:
            weighed, share = likelihood.standing(self._chunk, some)
            return _Part.of(weighed, share, self._chunk, some)

        self._parts = in_two_threads(part, _spans(theta, self._nodes), len(theta) * self._nodes >= WORTH_A_THREAD)

    def ahead(self, hours: np.ndarray) -> Outlook:
        """Chances of failed and defective `hours` (h,) or (n_units, h) from now, each >= 0.

        Raises WrongUsage where an hour is negative or not a number.
        """
        return Outlook(*self._looked(hours, True))

    def failing(self, hours: np.ndarray) -> np.ndarray:
        """See ``life_model.Standing``."""
        return self._looked(hours, False)[0]

    def defective(self, hours: np.ndarray) -> np.ndarray:
        """See ``life_model.Standing``."""
        return self.ahead(hours).defective

    def _looked(self, hours: np.ndarray, defective_too: bool) -> tuple[np.ndarray, np.ndarray]:
        """Chances of failed and, where they are wanted, of defective, (draws, units, h) each."""
        hours = np.asarray(hours, dtype=float)
        if not (np.isfinite(hours).all() and (hours >= 0).all()):
            raise WrongUsage("Hours ahead must be numbers of at least 0.")
        shape = (self.n_draws, self.n_units, hours.shape[-1])
        failed, defective = np.zeros(shape), np.zeros(shape if defective_too else (self.n_draws, 0, 0))
        if 0 in shape:
            return failed, defective
        by_copy = np.broadcast_to(hours, shape[1:])[self._lives]
        ends = np.cumsum([len(part.theta) for part in self._parts])

        def look(number: int) -> None:  # each part writes into its own draws: nothing is held twice
            part = self._parts[number]
            draws = slice(ends[number] - len(part.theta), ends[number])
            self._ahead_of(part, by_copy, failed[draws], defective[draws] if defective_too else None)

        elements = self.n_draws * (self._nodes + AHEAD_NODES * by_copy.size)
        in_two_threads(look, range(len(self._parts)), elements >= WORTH_A_THREAD)
        return failed, defective

    def _ahead_of(self, part: _Part, hours: np.ndarray, failed: np.ndarray, defective: np.ndarray | None) -> None:
        """The same for one part of the draws, written into `failed` and `defective`; `hours` (copies, h)."""
        for j, ahead in enumerate(hours.T):
            if not ahead.any():  # now: what is known already; nothing has failed
                if defective is not None:
                    defective[:, :, j] = self._of_units(part.defective)
                continue
            still = part.still_defective(self._chunk, ahead)
            turns, fails = part.from_sound(self._chunk, self._lasting, ahead)
            failed[:, :, j] = self._of_units(part.defective - still + part.sound * fails)
            if defective is not None:
                defective[:, :, j] = self._of_units(still + part.sound * (turns - fails))
        for chances in (failed, defective):
            if chances is not None:
                np.clip(chances, 0.0, 1.0, out=chances)

    def _of_units(self, of_copies: np.ndarray) -> np.ndarray:
        """Units' chances (d, n) from those of their copies (d, copies), each by its share already."""
        if len(self._lives) == self.n_units:
            return of_copies
        added: np.ndarray = np.add.reduceat(of_copies, self._first_copy, axis=1)
        return added


def outlook(units: Histories, prior: Prior, shares: dict[str, float], theta: np.ndarray, hours: np.ndarray) -> Outlook:
    """Chances of each running life for posterior draws `theta` (d, p), `hours` (h,) or (n_units, h) ahead, >= 0.

    `shares`: covariate taken where not recorded. Raises WrongUsage where an hour is negative or not a number.
    """
    return TwoStageStanding(units, prior, shares, theta).ahead(hours)


@dataclass(frozen=True)
class _Part:
    """How copies stand under some of the draws `theta` (d, p); all by each copy's share in its life.

    `log_node` (d, m, p), `log_atom` (d, k): log chance of having become defective there, over that of having lasted
    until now since, so that only the way ahead is left to work out. `defective`, `sound` (d, copies).
    """

    theta: np.ndarray
    log_node: np.ndarray
    log_atom: np.ndarray
    defective: np.ndarray
    sound: np.ndarray

    @classmethod
    def of(cls, weighed: Weighed, share: np.ndarray, chunk: Chunk, theta: np.ndarray) -> _Part:
        """`share` (d, copies): of each copy in its life."""
        node = weighed.node
        node *= share[:, None, chunk.copy]
        atom = weighed.atom * share[:, chunk.k_copy]
        defective = _by_copy(chunk, over_nodes(node), atom)
        with overflows_allowed():  # what cannot be has the logarithm -inf
            log_node = np.log(node, out=node)
            log_atom = np.log(atom) + stage_2_hazard(theta, np.log(chunk.k_delay)[None])[:, 0]
        log_node += stage_2_hazard(theta, chunk.nodes().log_v)
        return cls(theta, log_node, log_atom, defective, weighed.sound * share)

    def still_defective(self, chunk: Chunk, ahead: np.ndarray) -> np.ndarray:
        """Chance of being defective now and not failing within `ahead` (copies,) hours, (d, copies)."""
        by_node = stage_2_hazard(self.theta, np.log(chunk.nodes().v + ahead[chunk.copy]))
        np.exp(np.subtract(self.log_node, by_node, out=by_node), out=by_node)
        by_atom = np.exp(
            self.log_atom - stage_2_hazard(self.theta, np.log(chunk.k_delay + ahead[chunk.k_copy])[None])[:, 0]
        )
        return _by_copy(chunk, over_nodes(by_node), by_atom)

    def from_sound(self, chunk: Chunk, lasting: np.ndarray, ahead: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Chances that a bearing sound now becomes defective, and fails, within `ahead` hours, (d, copies) each."""
        shape_1, shape_2 = np.exp(self.theta[:, _SHAPE_1, None]), np.exp(self.theta[:, _SHAPE_2, None])
        scale_1, scale_2 = np.exp(self.theta[:, _SCALE_1, None]), np.exp(self.theta[:, _SCALE_2, None])
        rate = np.exp(mixed_alone(self.theta[:, _RATIOS], chunk.x) + self.theta[:, _LASTING, None] * lasting)
        by_then = chunk.age + ahead
        now = (chunk.age / scale_1) ** shape_1
        turns = -np.expm1(-rate * ((by_then / scale_1) ** shape_1 - now))
        fails = np.zeros_like(turns)
        for place, weight in zip(*gauss_legendre(AHEAD_NODES), strict=True):
            # place is a part of the chance to turn within h: u solves S1(u)/S1(a) = 1 - place * turns.
            at = scale_1 * (now - np.log1p(-place * turns) / rate) ** (1 / shape_1)
            delay = np.maximum(by_then - at, 0.0)
            fails -= weight * np.expm1(-((delay / scale_2) ** shape_2))
        return turns, turns * fails


def stage_2_hazard(theta: np.ndarray, log_hours: np.ndarray) -> np.ndarray:
    """Cumulative hazard of stage 2 after the hours of these logarithms (m, q), by draw, (d, m, q).

    A power, written so that the logarithm, which is the same for all draws, is taken once.
    """
    shape, log_scale = np.exp(theta[:, _SHAPE_2, None, None]), theta[:, _SCALE_2, None, None]
    hazard: np.ndarray = shape * log_hours
    hazard -= shape * log_scale
    np.exp(hazard, out=hazard)
    return hazard


def _by_copy(chunk: Chunk, by_piece: np.ndarray, by_atom: np.ndarray) -> np.ndarray:
    """What pieces (d, p) and atoms (d, k) add up to for each copy, (d, copies)."""
    total: np.ndarray = np.add.reduceat(by_piece, chunk.first_piece, axis=1)
    if chunk.k:
        total[:, chunk.k_run_copy] += np.add.reduceat(by_atom, chunk.k_runs, axis=1)
    return total


def _spans(theta: np.ndarray, elements: int) -> list[np.ndarray]:
    """The draws (d, p) in parts, of which each needs about `AT_ONCE` array elements, `elements` a draw."""
    span = max(1, AT_ONCE // max(1, elements))
    return [theta[i : i + span] for i in range(0, len(theta), span)]
