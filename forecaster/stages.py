"""The two-stage likelihood: a bearing goes sound -> defective -> failed, and every teardown tells something.

The delay-time model of inspection maintenance (Christer & Waller 1984, J. Opl Res. Soc. 35; Baker & Christer 1994,
Eur. J. Opl Res. 73). With u the age at which it became defective, a the age at the end, f1, S1 of stage 1 and f2, S2
of the delay, and noticing at rate rho while defective, one life contributes

    failed at a             integral over u of f1(u) f2(a-u) exp(-rho (a-u))
    opened: rusted, rough   G(a) = integral over u of f1(u) S2(a-u) exp(-rho (a-u))
    opened on a symptom     rho G(a)
    opened: sound           S1(a)
    not failed              S1(a) + G(a)

Stage 1: H1(a) = exp(x'gamma) integral of the Weibull hazard (raised by exp(delta) after an untreated incident)
+ sum of the jumps of the incidents up to a; an incident is also an atom of f1. A spin check on the way weighs u by
its sensitivity or specificity. A life that joined the record at age e is divided by S1(e) + G(e).

Sums over u are done on the logarithm (``forecaster.integrand``), gradients by hand, checked against differences in
the tests.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from forecaster.integrand import Chunk, Weighed, node_rule, overflows_allowed
from forecaster.pieces import NODES, Copies
from forecaster.priors import PARAMETERS
from forecaster.two_threads import in_two_threads

# Nodes worked on at once: few enough for the processor's cache.
CHUNK_NODES = 24_000
# Node positions are kept between evaluations up to this many nodes (four arrays of 8 bytes each).
KEPT_NODES = 3_000_000


class TwoStageLikelihood:
    """Log likelihood of lives laid out as `Copies`, for many parameter vectors at once, and its gradient for one.

    Parameters are vectors in the order of ``priors.PARAMETERS``, (p,) or (d, p).
    """

    def __init__(self, copies: Copies, nodes: int = NODES) -> None:
        """`nodes`: Gauss-Legendre nodes a piece."""
        self.copies = copies
        self.nodes = nodes
        self._numerators = copies.life >= 0
        self._lives = copies.life[self._numerators]
        self._entry = copies.entry[self._numerators]
        keep = len(copies.low) * nodes <= KEPT_NODES
        rule = node_rule(nodes)
        self._chunks = [Chunk(copies, start, stop, rule, keep) for start, stop in _chunk_bounds(copies, nodes)]

    @property
    def n_nodes(self) -> int:
        """Integrand evaluations that one parameter vector costs."""
        return len(self.copies.low) * self.nodes

    def numerator_chunk(self) -> Chunk:
        """The copies that belong to lives, entry copies aside, as one chunk, each on its own to the last bit."""
        return Chunk(self.copies, 0, len(self._lives), node_rule(self.nodes), keep_nodes=True, each_alone=True)

    def by_copy(self, theta: np.ndarray) -> np.ndarray:
        """Log likelihood of each copy, its weight aside, (d, n) for `theta` (d, p)."""
        theta = np.atleast_2d(theta)
        return np.concatenate([_batched(chunk, theta) for chunk in self._chunks], axis=1)

    def by_life(self, theta: np.ndarray) -> np.ndarray:
        """Log likelihood of each life, (d, n_lives) for `theta` (d, p)."""
        return self._gather(self.by_copy(theta))[0]

    def standing(self, chunk: Chunk, theta: np.ndarray) -> tuple[Weighed, np.ndarray]:
        """How the copies of the lives stand, as ``numerator_chunk`` lays them out, and their shares, (d, copies)."""
        with overflows_allowed():
            weighed = chunk.weigh(chunk.terms(theta), theta)
            if len(self._lives) == self.copies.n_lives:
                return weighed, np.ones((len(theta), self.copies.n_lives))
            value = weighed.value
            if self.copies.n > chunk.n:
                entries = Chunk(self.copies, chunk.n, self.copies.n, node_rule(self.nodes), False, each_alone=True)
                value = np.concatenate([value, entries.values(theta)], axis=1)
            return weighed, self._gather(value)[1]

    def total(self, theta: np.ndarray) -> np.ndarray:
        """Log likelihood of all lives together, (d,)."""
        with overflows_allowed():
            totals: np.ndarray = self.by_life(theta).sum(axis=1)
        return totals

    def gradient(self, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Log likelihood of each life (n_lives,) and its gradient (n_lives, p) at one `theta` (p,)."""
        parts = in_two_threads(lambda chunk: chunk.gradient(theta), self._chunks, worth_it=len(self._chunks) > 4)
        value = np.concatenate([p[0] for p in parts])
        slope = np.concatenate([p[1] for p in parts])
        life_value, share = self._gather(value[None, :])
        own = slope[self._numerators] - np.where((self._entry >= 0)[:, None], slope[self._entry], 0.0)
        if len(self._lives) == self.copies.n_lives:  # one copy a life
            return life_value[0], own
        first = np.searchsorted(self._lives, np.arange(self.copies.n_lives))
        return life_value[0], np.add.reduceat(share[0][:, None] * own, first, axis=0)

    def _gather(self, value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Lives' log likelihoods (d, n_lives) from their copies' (d, n), and each copy's share within its life."""
        own = value[:, self._numerators] + self.copies.log_weight[self._numerators]
        own = own - np.where(self._entry >= 0, value[:, self._entry], 0.0)
        if len(self._lives) == self.copies.n_lives:
            return own, np.ones_like(own)
        first = np.searchsorted(self._lives, np.arange(self.copies.n_lives))
        highest = np.maximum.reduceat(own, first, axis=1)
        part = np.exp(own - highest[:, self._lives])
        whole = np.add.reduceat(part, first, axis=1)
        return highest + np.log(whole), part / whole[:, self._lives]


def _batched(chunk: Chunk, theta: np.ndarray) -> np.ndarray:
    """A chunk's values for many parameter vectors, as many at once as fit the cache."""
    nodes = max(len(chunk.low) * chunk.rule.left.shape[1], 1)
    at_once = max(4 * CHUNK_NODES // nodes, 1)
    return np.concatenate([chunk.values(theta[i : i + at_once]) for i in range(0, len(theta), at_once)])


def _chunk_bounds(copies: Copies, nodes: int) -> Iterator[tuple[int, int]]:
    """Copies [start, stop) of about CHUNK_NODES nodes each."""
    pieces_so_far = np.append(copies.first_piece, len(copies.low))
    start = 0
    while start < copies.n:
        goal = pieces_so_far[start] + max(CHUNK_NODES // nodes, 1)
        stop = int(np.searchsorted(pieces_so_far, goal, side="right")) - 1
        stop = min(max(stop, start + 1), copies.n)
        yield start, stop
        start = stop


__all__ = ["PARAMETERS", "TwoStageLikelihood"]
