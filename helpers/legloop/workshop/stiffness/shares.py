"""Which part is to blame: the energy of each part under a load, and what one more millimetre of it would buy.

A load W turns the platform by C W and does the work W^T C W / 2. All of it is stored in the parts: leg i carries the
wrench f_i = K_i C W, and its part k stores f_i^T C_ik f_i / 2. **The share of a part is its energy over all energy**:
so shares are never negative and add to 1, and "the first links' torsion is 61 %" means that 61 % of the platform's
give along that load comes from there. Make that part stiffer by a little, and the give falls by its share of that;
make it rigid, and the give falls by 61 % **or more**, since the load then moves over to the stiffer way. (The loads
share out so that the energy is least; the least energy is a concave function of each part's compliance.)
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from ..._check import Floats, choice, finite, instance, shown
from ...mechanism import Mechanism
from ._positive import positive
from .joint import Build, compliance, leg_stiffness, part_compliance

__all__ = ["energy", "shares", "thicker", "what_more_buys"]


def shares(
    m: Mechanism, R: ArrayLike | object, theta: ArrayLike, build: Build, *, load: ArrayLike | None = None
) -> Floats:
    """Part of the energy that sits in each part of each leg, (..., 3, 11): legs, then `PARTS`; they add to 1.

    `load` (..., 6): force in N and moment about the centre in N·m, in base coordinates; None: the mean over all
    directions of a pure moment, which is `give`'s mean. Shapes (..., 3, 3) and (..., 3) in, theta in radians.
    ValueError for a load of zero, under which nothing gives; other errors as for `stiffness`.
    """
    stored = energy(m, R, theta, build, load=load)
    return np.asarray(stored / stored.sum(axis=(-1, -2), keepdims=True))


def energy(
    m: Mechanism, R: ArrayLike | object, theta: ArrayLike, build: Build, *, load: ArrayLike | None = None
) -> Floats:
    """Energy in J that a load puts into each part of each leg, (..., 3, 11): legs, then `PARTS`.

    ``f_i^T C_ik f_i / 2`` with ``f_i = K_i C W``; load, shapes and errors (ValueError, TypeError, SingularError) as
    for `shares`. Without a load it is the mean over all directions of a moment of 1 N·m.
    """
    if load is None:  # the mean of W W^T over all unit moments is I/3: three loads, each of size 1/sqrt(3)
        loads = np.concatenate([np.zeros((3, 3)), np.eye(3) / np.sqrt(3)])
    else:
        given = finite(load, "load", 6)
        if (given == 0).all(axis=-1).any():
            raise ValueError("load is zero, under which nothing gives; name a force or a moment, or leave load out")
        loads = given[..., None]
    C = compliance(m, R, theta, build)
    parts = part_compliance(m, R, theta, build)
    wrench = leg_stiffness(parts, m, R, theta) @ (C @ loads)[..., None, :, :]  # f_i, one column a load
    stored = 0.5 * np.einsum("...lin,...lkij,...ljn->...lk", wrench, parts, wrench)
    return np.asarray(
        np.maximum(stored, 0.0)
    )  # a part that is not loaded stores nothing: rounding may have made that negative


def thicker(build: Build, link: str, size: str, more: float = 1e-3) -> Build:
    """The same build with one measure of one link larger, by `more` in m: ``thicker(build, "first", "width")``.

    `link` is "first" or "second", of all three legs; `size` is a name in `Section.sizes`; `more` one number above 0.
    ValueError for others, TypeError for no Build.
    """
    instance(build, "build", Build, "make one with Build(first, second, drive)")
    choice(link, "link", ("first", "second"))
    if not isinstance(size, str):
        raise TypeError(f"size is {shown(size)}; it must be a name in Section.sizes, such as 'width'")
    by = positive(more, "more", "m", most=0.1, hint="millimetres are written 1e-3, or 1*mm")
    old = build.first if link == "first" else build.second
    sizes = dict(old.section.sizes)
    new = replace(old, section=old.section.with_size(size, sizes.get(size, 0.0) + by))
    return replace(build, first=new) if link == "first" else replace(build, second=new)


def what_more_buys(
    m: Mechanism,
    R: ArrayLike | object,
    theta: ArrayLike,
    build: Build,
    *,
    load: ArrayLike | None = None,
    more: float = 1e-3,
) -> dict[tuple[str, str], Floats]:
    """By which part the give falls when one measure of one link grows by `more`, a millimetre unless told otherwise.

    Keys are pairs such as ("first", "width"), one for each measure of each link; values (...): 0.2 is 20 % less give
    along the load, computed anew and not extrapolated; below 0 where it would grow. Bending in the plane gains with
    the cube of the width there, bending across only in proportion to it. `more` in m; load, shapes and errors
    (ValueError, TypeError, SingularError) as for `shares`.
    """
    before = energy(m, R, theta, build, load=load).sum(axis=(-1, -2))
    gains = {}
    for link in ("first", "second"):
        for size, _ in (build.first if link == "first" else build.second).section.sizes:
            after = energy(m, R, theta, thicker(build, link, size, more), load=load).sum(axis=(-1, -2))
            gains[link, size] = 1 - after / before
    return gains
