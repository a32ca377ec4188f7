"""The integrand of the two-stage likelihood over some copies of lives: logarithms, weights and derivatives.

``forecaster.stages`` states the model and adds up; here are the terms of one chunk. Notation: u the age at which a
bearing became defective, v = a - u the delay until the end of its life at age a; d parameter vectors, n copies,
p pieces, m nodes a piece, k incidents. Nodes lie (m, p), pieces last: arrays are worked through along their last axis,
which should be the long one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from forecaster.pieces import (
    END_ALIVE,
    END_FAILED,
    END_SOUND,
    END_SYMPTOM,
    IMPOSSIBLE,
    LEAST_HOURS,
    Copies,
    gauss_legendre,
)
from forecaster.priors import PARAMETERS

_SHAPE_1, _SCALE_1, _SHAPE_2, _SCALE_2, _JUMP_U, _JUMP_T, _AFTER, _SALT, _TUNED, _NOTICED, _LASTING, _SENS, _SPEC = (
    range(len(PARAMETERS))
)
_RATIOS = slice(_AFTER, _TUNED + 1)


# Parameters far out, which a search or a proposal may try, overflow to infinity or NaN; both are refused by whoever
# compares the value, so they are no cause for a warning.
def overflows_allowed() -> np.errstate:
    """Context in which numpy lets values overflow in silence."""
    return np.errstate(over="ignore", invalid="ignore", divide="ignore")


class NodeRule(NamedTuple):
    """Positions from the left and from the right and log weights on (0, 1), (4, m), by a piece's place in its life."""

    left: np.ndarray
    right: np.ndarray
    log_weight: np.ndarray


def node_rule(nodes: int) -> NodeRule:
    """Gauss-Legendre, made smooth where a piece touches age 0 or the end of its life.

    A Weibull hazard of shape b goes as t^(b-1) at 0, where Gauss-Legendre alone converges slowly; substituting
    t = s^2 at such an end mends that. Row = 2 * (touches age 0) + (touches the end).
    """
    s, w = gauss_legendre(nodes)
    r = 1 - s
    left = np.stack([s, 1 - r**2, s**2, s**2 * (3 - 2 * s)])
    right = np.stack([r, r**2, 1 - s**2, r**2 * (3 - 2 * r)])
    slope = np.stack([np.ones_like(s), 2 * r, 2 * s, 6 * s * r])
    return NodeRule(left, right, np.log(w * slope))


class Nodes(NamedTuple):
    """log u, v, log v and the constant log weight at each node, (m, p) each."""

    log_u: np.ndarray
    v: np.ndarray
    log_v: np.ndarray
    log_weight: np.ndarray


@dataclass
class Terms:
    """Log terms of every copy's likelihood and what their derivatives need; all lead with d."""

    node: np.ndarray  # (d, m, p) log integrand times weight
    atom: np.ndarray  # (d, k) log mass of becoming defective at an incident, and the delay from there
    sound: np.ndarray  # (d, n) log chance of being sound throughout
    z1: np.ndarray  # (d, m, p) (u / scale_1)^shape_1
    z2: np.ndarray  # (d, m, p) (v / scale_2)^shape_2
    k_z2: np.ndarray  # (d, k)
    ratio: np.ndarray  # (d, n) exp(x'gamma)
    raised: np.ndarray  # (d, p) exp(delta * share untreated so far)
    z1_low: np.ndarray  # (d, p)
    so_far: np.ndarray  # (d, p) Weibull hazard up to the piece's start, ratio aside
    to_end: np.ndarray  # (d, p) the same up to its end
    log_q: np.ndarray  # (d, k) log chance of passing an incident sound
    jump_u: np.ndarray  # (d, k) derivative of the jump -log q by the log jump if untreated
    jump_t: np.ndarray


class Weighed(NamedTuple):
    """Log likelihood of each copy (d, n), and the posterior share of each node, atom and the sound state in it."""

    value: np.ndarray
    node: np.ndarray
    atom: np.ndarray
    sound: np.ndarray


class Chunk:
    """Copies [start, stop) with their pieces and incidents, indexed from the chunk's own start."""

    def __init__(
        self, copies: Copies, start: int, stop: int, rule: NodeRule, keep_nodes: bool, each_alone: bool = False
    ) -> None:
        """`keep_nodes`: whether node positions stay in memory between evaluations.

        `each_alone`: sums begin anew with each copy, so that none depends on the others in the chunk to the last bit.
        """
        first_piece = np.append(copies.first_piece, len(copies.low))
        first_incident = np.append(copies.first_incident, len(copies.incident_age))
        p0, p1 = int(first_piece[start]), int(first_piece[stop])
        k0, k1 = int(first_incident[start]), int(first_incident[stop])
        self.rule, self.keep_nodes, self.each_alone = rule, keep_nodes, each_alone
        self._nodes: Nodes | None = None
        # Copies.
        self.n = stop - start
        self.age, self.x = copies.age[start:stop], copies.x[start:stop]
        self.sound_spun = copies.sound_spun[start:stop]
        self.sound_log = np.where(copies.sound_ruled_out[start:stop], IMPOSSIBLE, 0.0)
        end = copies.end[start:stop]
        self.may_be_sound = (end == END_ALIVE) | (end == END_SOUND)
        self.only_sound = end == END_SOUND
        self.on_symptom = end == END_SYMPTOM
        # Pieces.
        self.first_piece = first_piece[start:stop] - p0
        self.last_piece = first_piece[start + 1 : stop + 1] - p0 - 1
        self.copy = copies.piece_copy[p0:p1] - start
        self.low, self.high = copies.low[p0:p1], copies.high[p0:p1]
        self.lasting, self.spun = copies.lasting[p0:p1], copies.spun[p0:p1]
        self.piece_log = np.where(copies.ruled_out[p0:p1], IMPOSSIBLE, 0.0)
        self.failed = (end == END_FAILED)[self.copy]
        self.log_high = np.log(self.high)
        self.starts_at_0 = self.low <= 0
        self.log_low = np.log(np.where(self.starts_at_0, 1.0, self.low))
        # Incidents.
        self.k = k1 - k0
        self.k_copy = copies.incident_copy[k0:k1] - start
        self.k_untreated, self.k_scale = copies.untreated[k0:k1], copies.jump_scale[k0:k1]
        self.k_spun = copies.incident_spun[k0:k1]
        self.k_log = np.where(copies.incident_ruled_out[k0:k1], IMPOSSIBLE, 0.0)
        self.k_piece = np.where(copies.piece_ending[k0:k1] >= 0, copies.piece_ending[k0:k1] - p0, -1)
        self.k_delay = np.maximum(self.age[self.k_copy] - copies.incident_age[k0:k1], LEAST_HOURS)
        self.k_failed = (end == END_FAILED)[self.k_copy]
        self.k_runs = np.flatnonzero(np.diff(self.k_copy, prepend=-1))  # where each copy's incidents begin
        self.k_run_copy = self.k_copy[self.k_runs]
        # Running totals over incidents have a leading 0; a jump counts between these two places in them.
        begin = first_incident[start:stop] - k0
        self.jumps_from_copy, self.jumps_to_copy = begin, first_incident[start + 1 : stop + 1] - k0
        self.jumps_from_piece = begin[self.copy]
        self.jumps_to_piece = self.jumps_from_piece + copies.incidents_before[p0:p1]
        self.jumps_from_k, self.jumps_to_k = begin[self.k_copy], np.arange(self.k)
        if each_alone:
            self._later_pieces, self._later_incidents = _by_place(self.copy), _by_place(self.k_copy)

    def nodes(self) -> Nodes:
        """Node positions and constant weights."""
        if self._nodes is not None:
            return self._nodes
        place = 2 * self.starts_at_0 + (self.high >= self.age[self.copy])
        left, right, log_weight = (np.ascontiguousarray(one[place].T) for one in self.rule)
        length = self.high - self.low
        u = self.low + length * left
        v = (self.age[self.copy] - self.high) + length * right
        constant = log_weight + np.log(length) + self.piece_log
        nodes = Nodes(np.log(u), v, np.log(v), constant)
        if self.keep_nodes:
            self._nodes = nodes
        return nodes

    def values(self, theta: np.ndarray) -> np.ndarray:
        """Log likelihood of each copy, (d, n), for `theta` (d, p)."""
        with overflows_allowed():
            return self.weigh(self.terms(theta), theta).value

    def running(self, step: np.ndarray) -> np.ndarray:
        """Running total of a piece's quantity within each copy, up to the piece's start, (d, p)."""
        if self.each_alone:
            return _summed_before(step, self._later_pieces)
        total: np.ndarray = np.cumsum(step, axis=1) - step
        inside: np.ndarray = total - total[:, self.first_piece][:, self.copy]
        return inside

    def jumps(self, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Per incident, (d, k): log chance q of passing it sound; derivatives of the jump -log q by both log jumps.

        q is a mixture: with the share w it counted as untreated, q = (1-w) exp(-treated) + w exp(-untreated).
        """
        untreated = np.exp(theta[:, _JUMP_U])[:, None] * self.k_scale
        treated = np.exp(theta[:, _JUMP_T])[:, None] * self.k_scale
        w = self.k_untreated
        with np.errstate(divide="ignore"):
            log_w, log_rest = np.log(w), np.log1p(-w)
        log_q = np.logaddexp(log_rest - treated, log_w - untreated)
        by_untreated = np.exp(log_w - untreated - log_q) * untreated
        by_treated = np.exp(log_rest - treated - log_q) * treated
        return log_q, by_untreated, by_treated

    def _jumped(self, jump: np.ndarray) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
        """What incidents' jumps (d, k) come to from one place in their running totals to another."""
        if self.each_alone:
            of_copy = np.concatenate([np.zeros((len(jump), 1)), _summed_before(jump, self._later_incidents) + jump], 1)
            return lambda begin, end: of_copy[:, np.where(end > begin, end, 0)]  # all begin with their copy's first
        total = with_leading_zero(jump)
        return lambda begin, end: total[:, end] - total[:, begin]

    def _mixed(self, weights: np.ndarray, parts: np.ndarray) -> np.ndarray:
        """Weights (d, q) times parts (n, q), summed over q, (d, n)."""
        mixed: np.ndarray = mixed_alone(weights, parts) if self.each_alone else weights @ parts.T
        return mixed

    def terms(self, theta: np.ndarray) -> Terms:
        """All log terms for `theta` (d, p)."""
        node_at = self.nodes()
        shape_1, shape_2 = np.exp(theta[:, _SHAPE_1, None]), np.exp(theta[:, _SHAPE_2, None])
        log_scale_1, log_scale_2 = theta[:, _SCALE_1, None], theta[:, _SCALE_2, None]
        rate = np.exp(theta[:, _NOTICED, None])
        ratio = np.exp(self._mixed(theta[:, _RATIOS], self.x))
        here = ratio[:, self.copy]
        z1_low = np.where(self.starts_at_0, 0.0, np.exp(shape_1 * (self.log_low - log_scale_1)))
        step = np.exp(shape_1 * (self.log_high - log_scale_1)) - z1_low
        raised = np.exp(theta[:, _LASTING, None] * self.lasting)
        so_far = self.running(raised * step)
        to_end = so_far + raised * step
        log_q, jump_u, jump_t = self.jumps(theta)
        jumped = self._jumped(-log_q)
        spun = _log_spun(theta)

        # Stage 1's density, hazard times survival; what is constant over a piece is gathered first.
        constant = (
            theta[:, _SHAPE_1, None]
            - shape_1 * log_scale_1
            + np.log(here * raised)
            - here * (so_far - raised * z1_low)
            - jumped(self.jumps_from_piece, self.jumps_to_piece)
            + self._mixed(spun, self.spun)
        )
        z1 = np.exp(shape_1[:, :, None] * (node_at.log_u - log_scale_1[:, :, None]))
        z2 = np.exp(shape_2[:, :, None] * (node_at.log_v - log_scale_2[:, :, None]))
        node = (constant[:, None, :] + node_at.log_weight) + (shape_1[:, :, None] - 1) * node_at.log_u
        node -= (here * raised)[:, None, :] * z1
        node -= z2
        node -= rate[:, :, None] * node_at.v
        if self.failed.any():
            density = (theta[:, _SHAPE_2, None] - shape_2 * log_scale_2)[:, :, None]
            node[:, :, self.failed] += density + (shape_2[:, :, None] - 1) * node_at.log_v[:, self.failed]

        sound = (
            self.sound_log
            - ratio * to_end[:, self.last_piece]
            - jumped(self.jumps_from_copy, self.jumps_to_copy)
            + self._mixed(spun[:, 2:], self.sound_spun)
        )
        log_delay = np.log(self.k_delay)
        k_z2 = np.exp(shape_2 * (log_delay - log_scale_2))
        density = theta[:, _SHAPE_2, None] + (shape_2 - 1) * log_delay - shape_2 * log_scale_2
        atom = (
            self.k_log
            + np.log(np.maximum(-np.expm1(log_q), np.finfo(float).tiny))
            - ratio[:, self.k_copy] * np.where(self.k_piece >= 0, to_end[:, self.k_piece], 0.0)
            - jumped(self.jumps_from_k, self.jumps_to_k)
            + self._mixed(spun, self.k_spun)
            - k_z2
            - rate * self.k_delay
            + np.where(self.k_failed, density, 0.0)
        )
        return Terms(node, atom, sound, z1, z2, k_z2, ratio, raised, z1_low, so_far, to_end, log_q, jump_u, jump_t)

    def weigh(self, terms: Terms, theta: np.ndarray) -> Weighed:
        """Add each copy's terms up; overwrites ``terms.node``."""
        node, atom, sound = terms.node, terms.atom, terms.sound
        highest = np.maximum.reduceat(node.max(axis=1), self.first_piece, axis=1)
        if self.k:
            peak = np.maximum.reduceat(atom, self.k_runs, axis=1)
            highest[:, self.k_run_copy] = np.maximum(highest[:, self.k_run_copy], peak)
        highest = np.where(self.may_be_sound, np.maximum(highest, sound), highest)
        highest = np.where(self.only_sound, sound, highest)
        node -= highest[:, None, self.copy]
        if self.only_sound.any():  # opened and sound: it never became defective
            node[:, :, self.only_sound[self.copy]] = -np.inf
        np.exp(node, out=node)
        atom = np.exp(np.where(self.only_sound[self.k_copy], -np.inf, atom - highest[:, self.k_copy]))
        sound = np.where(self.may_be_sound, np.exp(np.minimum(sound - highest, 0.0)), 0.0)
        total = np.add.reduceat(over_nodes(node), self.first_piece, axis=1) + sound
        if self.k:
            total[:, self.k_run_copy] += np.add.reduceat(atom, self.k_runs, axis=1)
        value = highest + np.log(total) + np.where(self.on_symptom, theta[:, _NOTICED, None], 0.0)
        node /= total[:, None, self.copy]
        return Weighed(value, node, atom / total[:, self.k_copy], sound / total)

    def gradient(self, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Log likelihood of each copy (n,) and its gradient (n, p) at one `theta` (p,).

        The log of a sum has the weighted mean of its terms' derivatives, the weights being their shares.
        """
        with overflows_allowed():
            return self._gradient(theta[None, :])

    def _gradient(self, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        terms = self.terms(theta)
        share = self.weigh(terms, theta)
        slope = np.zeros((self.n, len(PARAMETERS)))
        by_piece = self._node_slopes(theta, terms, share.node[0])
        slope += np.add.reduceat(by_piece, self.first_piece, axis=0)
        if self.k:
            by_atom = self._atom_slopes(theta, terms, share.atom[0])
            slope[self.k_run_copy] += np.add.reduceat(by_atom, self.k_runs, axis=0)
        slope += self._sound_slopes(theta, terms, share.sound[0])
        slope[:, _NOTICED] += self.on_symptom
        return share.value[0], slope

    def _hazard_slopes(self, theta: np.ndarray, terms: Terms) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Derivatives of the Weibull hazard so far: steps by log shape and by delta, and z1_low by log shape, (p,)."""
        shape, log_scale = np.exp(theta[0, _SHAPE_1]), theta[0, _SCALE_1]
        raised, z1_low = terms.raised[0], terms.z1_low[0]
        z1_high = z1_low + (terms.to_end[0] - terms.so_far[0]) / raised
        low_by_shape = shape * z1_low * (self.log_low - log_scale)
        high_by_shape = shape * z1_high * (self.log_high - log_scale)
        return raised * (high_by_shape - low_by_shape), self.lasting * raised * (z1_high - z1_low), low_by_shape

    def _node_slopes(self, theta: np.ndarray, terms: Terms, share: np.ndarray) -> np.ndarray:
        """Weighted derivatives of the log integrand, summed over each piece's nodes, (p, parameters)."""
        at = self.nodes()
        shape_1, shape_2 = np.exp(theta[0, _SHAPE_1]), np.exp(theta[0, _SHAPE_2])
        ratio, raised, z1_low = terms.ratio[0][self.copy], terms.raised[0], terms.z1_low[0]
        step_shape, step_lasting, low_by_shape = self._hazard_slopes(theta, terms)
        mass = share.sum(axis=0)
        mass_log_u = (share * at.log_u).sum(axis=0) - mass * theta[0, _SCALE_1]
        share_z1 = share * terms.z1[0]
        mass_z1 = share_z1.sum(axis=0)
        mass_z1_log_u = (share_z1 * at.log_u).sum(axis=0) - mass_z1 * theta[0, _SCALE_1]
        share_z2 = share * terms.z2[0]
        mass_z2 = share_z2.sum(axis=0)
        mass_z2_log_v = (share_z2 * at.log_v).sum(axis=0) - mass_z2 * theta[0, _SCALE_2]
        mass_log_v = (share * at.log_v).sum(axis=0) - mass * theta[0, _SCALE_2]
        hazard = ratio * (mass * terms.so_far[0] + raised * (mass_z1 - mass * z1_low))
        slope = np.empty((len(mass), len(PARAMETERS)))
        slope[:, _SHAPE_1] = mass + shape_1 * mass_log_u
        slope[:, _SHAPE_1] -= ratio * (
            mass * self.running(step_shape[None])[0] + raised * (shape_1 * mass_z1_log_u) - raised * mass * low_by_shape
        )
        slope[:, _SCALE_1] = shape_1 * (hazard - mass)
        slope[:, _RATIOS] = self.x[self.copy] * (mass - hazard)[:, None]
        slope[:, _LASTING] = mass * self.lasting - ratio * (
            mass * self.running(step_lasting[None])[0] + self.lasting * raised * (mass_z1 - mass * z1_low)
        )
        slope[:, _SHAPE_2] = -shape_2 * mass_z2_log_v + self.failed * (mass + shape_2 * mass_log_v)
        slope[:, _SCALE_2] = shape_2 * (mass_z2 - self.failed * mass)
        slope[:, _NOTICED] = -np.exp(theta[0, _NOTICED]) * (share * at.v).sum(axis=0)
        for column, jump in ((_JUMP_U, terms.jump_u), (_JUMP_T, terms.jump_t)):
            total = with_leading_zero(jump)[0]
            slope[:, column] = -mass * (total[self.jumps_to_piece] - total[self.jumps_from_piece])
        slope[:, [_SENS, _SPEC]] = mass[:, None] * (self.spun @ _spun_slopes(theta[0]))
        return slope

    def _atom_slopes(self, theta: np.ndarray, terms: Terms, share: np.ndarray) -> np.ndarray:
        """Weighted derivatives of the atoms' logs, (k, parameters)."""
        shape_1, shape_2 = np.exp(theta[0, _SHAPE_1]), np.exp(theta[0, _SHAPE_2])
        step_shape, step_lasting, _ = self._hazard_slopes(theta, terms)
        ratio = terms.ratio[0][self.k_copy]
        after_0 = self.k_piece >= 0

        def up_to_incident(step: np.ndarray) -> np.ndarray:
            return np.where(after_0, (self.running(step[None])[0] + step)[self.k_piece], 0.0)

        hazard = ratio * np.where(after_0, terms.to_end[0][self.k_piece], 0.0)
        log_delay = np.log(self.k_delay) - theta[0, _SCALE_2]
        slope = np.zeros((self.k, len(PARAMETERS)))
        slope[:, _SHAPE_1] = -ratio * up_to_incident(step_shape)
        slope[:, _SCALE_1] = shape_1 * hazard
        slope[:, _RATIOS] = -self.x[self.k_copy] * hazard[:, None]
        slope[:, _LASTING] = -ratio * up_to_incident(step_lasting)
        slope[:, _SHAPE_2] = -shape_2 * terms.k_z2[0] * log_delay + self.k_failed * (1 + shape_2 * log_delay)
        slope[:, _SCALE_2] = shape_2 * (terms.k_z2[0] - self.k_failed)
        slope[:, _NOTICED] = -np.exp(theta[0, _NOTICED]) * self.k_delay
        odds = 1 / np.maximum(np.expm1(-terms.log_q[0]), np.finfo(float).tiny)  # of passing sound, to not
        for column, jump in ((_JUMP_U, terms.jump_u), (_JUMP_T, terms.jump_t)):
            total = with_leading_zero(jump)[0]
            slope[:, column] = jump[0] * odds - (total[self.jumps_to_k] - total[self.jumps_from_k])
        slope[:, [_SENS, _SPEC]] = self.k_spun @ _spun_slopes(theta[0])
        return share[:, None] * slope

    def _sound_slopes(self, theta: np.ndarray, terms: Terms, share: np.ndarray) -> np.ndarray:
        """Weighted derivatives of the log chance of being sound throughout, (n, parameters)."""
        step_shape, step_lasting, _ = self._hazard_slopes(theta, terms)
        ratio = terms.ratio[0]

        def whole(step: np.ndarray) -> np.ndarray:
            summed: np.ndarray = np.add.reduceat(step, self.first_piece)
            return summed

        hazard = ratio * terms.to_end[0][self.last_piece]
        slope = np.zeros((self.n, len(PARAMETERS)))
        slope[:, _SHAPE_1] = -ratio * whole(step_shape)
        slope[:, _SCALE_1] = np.exp(theta[0, _SHAPE_1]) * hazard
        slope[:, _RATIOS] = -self.x * hazard[:, None]
        slope[:, _LASTING] = -ratio * whole(step_lasting)
        for column, jump in ((_JUMP_U, terms.jump_u), (_JUMP_T, terms.jump_t)):
            total = with_leading_zero(jump)[0]
            slope[:, column] = -(total[self.jumps_to_copy] - total[self.jumps_from_copy])
        slope[:, [_SENS, _SPEC]] = self.sound_spun @ _spun_slopes(theta[0])[2:]
        return share[:, None] * slope


def _by_place(owner: np.ndarray) -> list[np.ndarray]:
    """Of pieces or incidents that lie by their copy, `owner` (n,): those that are second in it, third, and so on."""
    first = np.flatnonzero(np.diff(owner, prepend=-1))
    place = np.arange(len(owner)) - np.repeat(first, np.diff(np.append(first, len(owner))))
    by_place = np.argsort(place, kind="stable")
    return np.split(by_place, np.cumsum(np.bincount(place)))[1:-1] if len(owner) else []


def _summed_before(step: np.ndarray, later: Sequence[np.ndarray]) -> np.ndarray:
    """Running total (d, n) of what comes before in the same copy; `later` as ``_by_place`` has it."""
    total = np.zeros_like(step)
    for which in later:
        total[:, which] = total[:, which - 1] + step[:, which - 1]
    return total


def mixed_alone(weights: np.ndarray, parts: np.ndarray) -> np.ndarray:
    """Weights (d, q) times parts (n, q) summed over q, (d, n): a product of matrices of which no row knows the others.

    One that is taken by blocks may differ in a row's last bit by where in a block it lies.
    """
    mixed: np.ndarray = weights[:, :1] * parts[:, 0]
    for one in range(1, weights.shape[1]):
        mixed += weights[:, one, None] * parts[:, one]
    return mixed


def over_nodes(by_node: np.ndarray) -> np.ndarray:
    """Sums over the nodes of pieces, (d, p) from (d, m, p): one after another, of however few pieces."""
    total: np.ndarray = by_node[:, 0].copy()
    for node in range(1, by_node.shape[1]):
        total += by_node[:, node]
    return total


def with_leading_zero(step: np.ndarray) -> np.ndarray:
    """Running total with a leading 0, (d, k + 1)."""
    return np.concatenate([np.zeros((len(step), 1)), np.cumsum(step, axis=1)], axis=1)


def log_sigmoid(logit: np.ndarray) -> np.ndarray:
    """Log of the chance whose log odds are `logit`."""
    answer: np.ndarray = -np.logaddexp(0.0, -logit)
    return answer


def _log_spun(theta: np.ndarray) -> np.ndarray:
    """Log chance of [rattle, quiet] while defective and [rattle, quiet] while sound, (d, 4)."""
    sens, spec = theta[:, _SENS], theta[:, _SPEC]
    return np.stack([log_sigmoid(sens), log_sigmoid(-sens), log_sigmoid(-spec), log_sigmoid(spec)], axis=1)


def _spun_slopes(theta: np.ndarray) -> np.ndarray:
    """Derivatives of the four log chances by the log odds of sensitivity and specificity, (4, 2)."""
    sens, spec = np.exp(log_sigmoid(theta[[_SENS, _SPEC]]))
    return np.array([[1 - sens, 0.0], [-sens, 0.0], [0.0, -spec], [0.0, 1 - spec]])
