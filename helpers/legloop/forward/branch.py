"""Following one assembly branch: where the platform goes while the motors turn from one stand to another."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .. import closing
from .._check import Floats
from ..mechanism import Mechanism

__all__ = ["BLOCK", "follow"]

_FLOOR = 1e-5  # the branch counts as ended where 1/|N^-1| falls below: some 1e-10 rad of motor travel before its end
_MOST_STEPS = 2000  # half a turn takes 50 to 100; to come up to the end of a branch, some hundreds
_SHARE = 0.4  # of sigma, that T is meant to be: it grows a little over a step, and at 0.4 has always stayed below 1/2

BLOCK = 2048
"""Poses at a time: the arrays of one block stay in the processor's second-level cache."""


def follow(
    m: Mechanism, R: Floats, start: Floats, change: Floats, *, steps: int | None = None
) -> tuple[Floats, Floats]:
    """Orientations at motor angles start + change, on the branch of R; and which part of the way was possible.

    Columns: R (3, 3, n) closes at `start` (3, n), and the motors go straight from there. The part, (n,), is 1 where
    they arrive; it is less where the normals become coplanar before, and R is then where the platform was. It is NaN
    where a motor angle is. With `steps` it is less also where they have not arrived after so many steps.

    Each step is proven to stay on its branch before it is taken. It goes from an orientation R_0 to R_1, found by
    Newton's method: the turn by omega, while the motors turn by d theta. Let sigma be a lower bound of the smallest
    singular value of the normals N at R_0, and ``T = |d theta| + sqrt(3) |omega|``. Suppose ``T <= sigma / 2``. On
    the way ``R(t) = exp(t omega) R_0, theta(t) = theta_0 + t d theta``, t from 0 to 1,

    - N changes by no more than T (rows ``w x R v``, unit vectors), so sigma stays above half of what it was;
    - the closures miss by no more than T^2 / 8: they vanish at both ends, and their second derivative is at most
      T^2 in length;
    - so at each t, by the theorem of Newton and Kantorovich (derivative -N with Lipschitz constant sqrt(3),
      ``sqrt(3) (T^2 / 8) / (sigma / 2)^2 <= 0.22 < 1/2``), one orientation closes near R(t), and no other that
      near. Together they are one path, without a singularity, from R_0 to R_1.
    """
    R, part, caution = R.copy(), np.zeros(R.shape[2]), np.ones(R.shape[2])
    part[np.isnan(start).any(axis=0)] = np.nan
    for k in range(0, len(part), BLOCK):
        rows = slice(k, k + BLOCK)
        w, p = closing.elbows(m, start[:, rows] + change[:, rows]), closing.platform(m, R[:, :, rows])
        part[rows][(np.abs(closing.closure(m, w, p)) <= closing.ROUNDING).all(axis=0)] = 1.0  # R itself is the answer
    going = np.flatnonzero(part == 0)
    for _ in range(_MOST_STEPS if steps is None else steps):
        if not going.size:
            break
        blocks = [going[k : k + BLOCK] for k in range(0, len(going), BLOCK)]
        going = np.concatenate([_advance(m, R, part, caution, start, change, block) for block in blocks])
    return R, part


def _advance(
    m: Mechanism, R: Floats, part: Floats, caution: Floats, start: Floats, change: Floats, rows: NDArray[np.intp]
) -> NDArray[np.intp]:
    """Take one step with each of some rows, in place; the rows that have farther to go."""
    here, at, done = R[:, :, rows], start[:, rows], part[rows]
    change = change[:, rows]
    n = closing.cross(closing.elbows(m, at + done * change), closing.platform(m, here))
    pairs, volume = closing.adjugate(n)
    sigma = closing.sigma(pairs, volume)
    link = np.einsum("iln,li->ln", n, m.base_axes)
    omega = closing.newton_step(pairs, volume, link * change)  # per unit of the way
    travel = np.sqrt((change * change).sum(axis=0))
    speed = travel + np.sqrt(3 * (omega * omega).sum(axis=0))
    reach = _SHARE * caution[rows] * sigma
    far = speed * (1 - done) > reach  # not where nothing moves: a start that closes a little worse than to rounding
    aim = np.where(far, done + reach / np.where(far, speed, 1.0), 1.0)
    there, closes = closing.closed(m, closing.elbows(m, at + aim * change), here)
    angle = 1.01 * np.sqrt(((there - here) ** 2).sum(axis=(0, 1)) / 2)  # the root is 2 sin(angle / 2)
    proven = closes & (travel * (aim - done) + np.sqrt(3) * angle <= sigma / 2)
    caution[rows] = np.where(proven, 1.0, caution[rows] / 2)
    R[:, :, rows[proven]], part[rows[proven]] = there[:, :, proven], aim[proven]
    farther: NDArray[np.intp] = rows[(sigma > _FLOOR) & ~(proven & (aim == 1))]
    return farther
