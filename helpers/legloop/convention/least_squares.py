"""Least squares from many starts at once, in NumPy alone."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from .._check import Floats

__all__ = ["CLOSE", "FAR", "Problem", "State", "distinct", "minimise"]

State = tuple[Floats, ...]
"""The unknowns of b starts: arrays whose first axis counts the starts. Some may be rotations or unit vectors."""


FAR, CLOSE = 1e-2, 1e-4
"""Dampings to begin with, far from an answer and close to one, where slopes are of order 1."""


class Problem(Protocol):
    """What `minimise` asks of a problem with m equations and p directions to move in."""

    def errors(self, state: State) -> Floats:
        """By how much each equation fails, (b, m)."""

    def slopes(self, state: State) -> Floats:
        """How the errors change along each direction, (b, p, m)."""

    def move(self, state: State, step: Floats) -> State:
        """The state after a step, (b, p), along the directions."""


def minimise(problem: Problem, state: State, rounds: int, damping: float) -> tuple[State, Floats]:
    """Lower the sum of squared errors of every start, for so many rounds; the states and those sums, (b,).

    A step solves ``(S S^T + damping I) step = -S errors`` with the slopes S. The damping, at first FAR or CLOSE,
    falls after a step that helps and grows after one that does not, which is undone; it also carries the directions
    that the equations leave free. Source: Levenberg, Quart. Appl. Math. 2:164-168, 1944 (from memory).
    """
    error = problem.errors(state)
    cost = np.einsum("bi,bi->b", error, error)
    dampings = np.full(len(error), damping)
    for _ in range(rounds):
        slopes = problem.slopes(state)
        square = slopes @ np.swapaxes(slopes, 1, 2) + dampings[:, None, None] * np.eye(slopes.shape[1])
        step = np.asarray(-np.linalg.solve(square, slopes @ error[..., None])[..., 0], dtype=np.float64)
        moved = problem.move(state, step)
        moved_error = problem.errors(moved)
        moved_cost = np.einsum("bi,bi->b", moved_error, moved_error)
        better = moved_cost <= cost
        state = tuple(
            np.where(better.reshape(-1, *(1,) * (new.ndim - 1)), new, old)
            for new, old in zip(moved, state, strict=True)
        )
        error, cost = np.where(better[:, None], moved_error, error), np.where(better, moved_cost, cost)
        dampings = np.clip(np.where(better, dampings / 5, dampings * 4), 1e-12, 1e6)
        if np.abs(step).max(initial=0.0) < 1e-13:  # nothing moves any more, beyond rounding
            break
    return state, cost


def distinct(rows: Floats, apart: float) -> list[int]:
    """Indices of the rows that are not, in every entry, within `apart` of an earlier one."""
    chosen: list[int] = []
    left = np.arange(len(rows))
    while len(left):
        chosen.append(int(left[0]))
        left = left[np.abs(rows[left] - rows[left[0]]).max(axis=1) > apart]
    return chosen
