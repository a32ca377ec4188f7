"""Turned over until settled: the same answer as by patience, in fewer turns, and never led astray for good."""

from __future__ import annotations

import numpy as np

from forecaster.settling import Settling


def turns(matrix: np.ndarray, begin: np.ndarray, target: np.ndarray, most: int = 500) -> tuple[int, np.ndarray]:
    """How many turns of x -> x + matrix (target - x) it takes until no number moves by 1e-8, for each of `target`."""
    settling = Settling(begin)
    for turn in range(most):
        step = (target - settling.answers) @ matrix.T
        if np.abs(step).max() < 1e-8:
            return turn, settling.answers
        settling.turn(step)
    return most, settling.answers


def test_what_dies_away_slowly_is_taken_out_at_once() -> None:
    """Three rates, the slowest 2 % a turn: patience would take more than 800 turns."""
    target = np.array([[3.0, -1.0, 7.0]])
    taken, found = turns(np.diag([0.02, 0.5, 0.9]), np.zeros((1, 3)), target)
    assert taken < 12
    np.testing.assert_allclose(found, target, atol=1e-6)


def test_a_swing_that_patience_would_not_end_is_ended() -> None:
    """Overshooting by as much as was missing, for ever."""
    taken, found = turns(np.diag([2.0, 0.5]), np.zeros((1, 2)), np.array([[4.0, 1.0]]))
    assert taken < 12
    np.testing.assert_allclose(found, [[4.0, 1.0]], atol=1e-6)


def test_each_answer_is_turned_over_on_its_own() -> None:
    matrix, targets = np.diag([0.1, 0.7, 0.4]), np.array([[1.0, 2.0, 3.0], [-5.0, 0.0, 1e4]])
    together = Settling(np.zeros((2, 3)))
    alone = [Settling(np.zeros((1, 3))) for _ in targets]
    for _ in range(5):
        together.turn((targets - together.answers) @ matrix.T)
        for one, target in zip(alone, targets, strict=True):
            one.turn((target[None] - one.answers) @ matrix.T)
    np.testing.assert_allclose(together.answers, np.concatenate([one.answers for one in alone]), rtol=1e-9)


def test_some_may_be_kept_and_go_on_as_they_were() -> None:
    matrix, targets = np.diag([0.1, 0.7]), np.array([[1.0, 2.0], [8.0, 3.0]])
    both, one = Settling(np.zeros((2, 2))), Settling(np.zeros((1, 2)))
    for turn in range(6):
        if turn == 3:
            both.keep(np.array([False, True]))
        both.turn((targets[-len(both.answers) :] - both.answers) @ matrix.T)
        one.turn((targets[1:] - one.answers) @ matrix.T)
    np.testing.assert_allclose(both.answers, one.answers, rtol=1e-9)


def test_where_nothing_is_left_to_move_it_stands_still() -> None:
    settling = Settling(np.ones((1, 4)))
    for _ in range(4):
        settling.turn(np.zeros((1, 4)))
    np.testing.assert_array_equal(settling.answers, np.ones((1, 4)))
