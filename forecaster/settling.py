"""Answers that are turned over until they settle, sooner by what the last few turns taught.

Anderson 1965 (J. ACM 12), as Walker & Ni 2011 (SIAM J. Numer. Anal. 49) write it: each turn moves an answer by some
step; the next answer is the mix of the last few for which the steps, taken as linear, cancel best. What is slow to die
away is then seen and taken out at once. Whether an answer has settled is never judged by this, only by its own step.
"""

from __future__ import annotations

import numpy as np

REMEMBERED = 3  # turns
# Beside the steps' own size: keeps the mix bounded where two turns taught the same.
RIDGE = 1e-9
# A step that grew by this much since the turn before: the mix took it astray, and what was learned is forgotten.
ASTRAY = 2.0


class Settling:
    """Several answers at once, (u, s), each turned over on its own."""

    def __init__(self, answers: np.ndarray) -> None:
        """`answers` (u, s) to begin with."""
        self.answers = answers
        self._last: tuple[np.ndarray, np.ndarray] | None = None  # answers and their steps
        self._size = np.full(len(answers), np.inf)
        self._moves: list[tuple[np.ndarray, np.ndarray]] = []  # by how much both changed, turn after turn

    def turn(self, step: np.ndarray) -> None:
        """Move the answers on, given the step (u, s) that a turn moves each of them by."""
        answers = self.answers
        size = np.sqrt(np.einsum("us,us->u", step, step))
        if self._last is not None:
            self._moves.append((answers - self._last[0], step - self._last[1]))
            self._moves = self._moves[-REMEMBERED:]
            astray = size > ASTRAY * self._size
            for move in self._moves:
                for part in move:
                    part[astray] = 0.0
        self._last, self._size = (answers, step), size
        self.answers = answers + step
        if self._moves:
            changes = [change for _, change in self._moves]
            normal = np.array([[np.einsum("us,us->u", a, b) for b in changes] for a in changes]).transpose(2, 0, 1)
            wanted = np.array([np.einsum("us,us->u", a, step) for a in changes]).T
            ridge = RIDGE * np.trace(normal, axis1=1, axis2=2) + np.finfo(float).tiny
            mix = np.linalg.solve(normal + ridge[:, None, None] * np.eye(len(changes)), wanted[:, :, None])[:, :, 0]
            for (moved, change), share in zip(self._moves, mix.T, strict=True):
                self.answers -= share[:, None] * (moved + change)

    def keep(self, which: np.ndarray) -> None:
        """Go on with some of them only, (u,) bool."""
        self.answers, self._size = self.answers[which], self._size[which]
        if self._last is not None:
            self._last = (self._last[0][which], self._last[1][which])
        self._moves = [(moved[which], change[which]) for moved, change in self._moves]
