"""From measured poses and motor angles to the joint, the frames and the zeros of the machine as it stands."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ... import rotation
from ...convention import Convention
from ...convention.least_squares import State
from ...mechanism import Mechanism, deg, joint
from .findings import misfit, nothing_fits, recounted, slip_found, teeth_off
from .hypotheses import BETTER, better_counting, cleared_at_home, counted, first_fit, slipped
from .problem import CORE, Unknowns, columns_of
from .result import Calibration, Finding
from .robust import OUTLIER, Fit, plain_fit, robust_fit
from .task import SPARE, Task, checked_task, left_open, seen_by
from .unseen import Seen, Unseen, gauge, gauges, weak

__all__ = ["calibrate"]

_VAGUE = 0.1
"""Radians; frames and zeros that their own errors could move so far are not determined, and the poses are refused."""

_HELD = 2 * deg
"""What a link angle or an axis is known to before anything is measured: parts are cut better than that. A direction
that the poses know less well would be made worse by fitting it, so it stays where the drawing has it."""

_MISFIT = 2.0
"""A residual so many stated errors large is told: with nine degrees of freedom chance makes it once in 25 000."""

_LOST = 0.1
"""Radians; a scale above it, 6°, is no noise of any sensor: nothing fits."""

_SUSPECT = (3.0, 1.5)
"""Scales, in stated errors of the sensor, from which on another counting, and a slipped belt, are looked for."""

_CLOSER = 0.8
"""Transposed poses look much like those of a mirrored machine, with two legs exchanged: fitted so, the right one of
the two has about half the scale of the other."""

_MOST_OUT = 1 / 3
"""Beyond this part of the poses, "outliers" are no longer the exception, and who is right is open."""

_NOTHING = 1e-7
"""A smaller share of an unknown in a direction is rounding, and takes no part of that direction's error."""


class _Solution(NamedTuple):
    """Where the fit ended: what was kept of the poses, the residual with its freedom, and what they show how well."""

    state: State
    kept: NDArray[np.bool_]
    residual: float
    freedom: int
    seen: Seen
    unseen: tuple[Unseen, ...]


def calibrate(
    m: Mechanism,
    orientations: ArrayLike | object,
    motor_angles: ArrayLike,
    *,
    free: Sequence[str] = ("zero", "base", "platform"),
    start: Convention | None = None,
    sensor_error: float = 0.5 * deg,
    motor_error: float = 0.1 * deg,
    tooth: float | None = None,
    times: ArrayLike | None = None,
) -> Calibration:
    """The convention of a built joint, and its own errors if the poses can carry them, by robust least squares.

        minimise  sum over poses of |W (w . R v - cos a2)|^2,    W^T W = (N N^T + (e_m/e_s)^2 diag((n . u)^2))^-1

    The closure errors of the three legs are made small, not the turn to the predicted orientation: they exist and
    are smooth also where the description is still so wrong that no orientation closes. Weighted by W, which says how
    sensor and motors move them, they are to first order that turn, and a pose near a singular one counts as little
    as it should. W is held while the rest moves, and follows after: to let it be fitted would reward descriptions
    that call every pose uncertain.

    Parameters
    ----------
    m : Mechanism
        The joint as drawn.
    orientations : (n, 3, 3)
        Measured, in the frames of the sensor (theirs); or an object with ``as_matrix()``.
    motor_angles : (n, 3)
        Of the joint, not of the motor shaft; in radians as the machine counts them, in its leg order. In the order in
        which the poses were measured, if `tooth` is given or "drift" is free.
    free : names
        What may change. "zero": the zeros. "base": the sensor's base frame, its heading included. "platform": how it
        is mounted. "drift": a heading that turns steadily about the sensor's z axis; needs `times`. "proximal" and
        "distal": link angles. "base_axes" and "platform_axes": directions of axes, two angles each.
    start : Convention, optional
        Senses, leg order and zeros as believed, the zeros within 15° or so; what is not free keeps its value there.
        By default that of ``Convention()``; of a machine cleared at home ``Convention(zero=m.home_angles(mode))``.
        Frames that are free need no start. Where nothing is known about the zeros, take `fit_convention` first: it
        searches them all, but needs angles good to 0.1°, which a phone is not.
    sensor_error, motor_error : float
        Standard errors about one axis and of one motor, radians; play and backlash of half their width belong to the
        motor. Their ratio weights the closures; the size of the first says when something else must be wrong.
    tooth : float, optional
        Angle of the joint for one tooth of its belt, in radians: with it, slipped belts are looked for.
    times : (n,), optional
        Seconds, for "drift".

    Returns
    -------
    Calibration
        With `.mechanism`, `.convention`, `.residual`, `.sigma`, `.unseen`, `.outliers` and `.findings`. A wrong sense
        or leg order in `start`, or a slip in the course of the session, is put right in it and named in `findings`.

    Raises
    ------
    ValueError, TypeError
        Bad arguments; too few poses; poses that leave frames or zeros open (the message names the direction, and
        poses to add); nothing fits; or more than a third of the poses contradict the rest.

    Notes
    -----
    Sigmas are standard errors under normal noise, from the residual; with few degrees of freedom their multiples mean
    less than the normal table says. Motor errors that are the same in every pose, as backlash always approached from
    one side, go into the zeros and are no error at all.
    Source of the first-order distance: Sampson, Comput. Graph. Image Process. 18:97-108, 1982 (from memory).
    """
    errors = sensor_error, motor_error
    task, clock = checked_task(joint(m), orientations, motor_angles, free, start, errors, tooth, times)
    fit, task, findings = _discrete(task)
    return _result(task, clock, _continuous(task, fit), findings)


def _discrete(task: Task) -> tuple[Fit, Task, list[Finding]]:
    """The robust fit of frames and zeros, with the counting and the slip that explain the poses, and the findings."""
    findings: list[Finding] = []
    raw, zero = counted(task.data, task.start)
    found = first_fit(task.m, task.data._replace(theta=raw[None]), zero[None], task.setting)
    scale = float(found[0].scale[0]) if found else np.inf
    fit = found[0] if found else None
    if scale > _SUSPECT[0] * task.sensor:
        better = better_counting(task.m, task.data, task.start, task.setting, scale)
        limit = BETTER * scale if better is None else _CLOSER * float(better[1].scale[0])
        back = task.data._replace(R=np.swapaxes(task.data.R, 1, 2), theta=raw[None])
        transposed = first_fit(task.m, back, zero[None], task.setting)
        if transposed is not None and transposed[0].scale[0] < limit:
            raise ValueError(
                "the transposed orientations fit better than those given, which seem to map base to platform: "
                "transpose each of them"
            )
        if better is not None:
            findings += recounted(task.start, better[0])
            task, fit = task._replace(start=better[0]), better[1]
            raw, _ = counted(task.data, task.start)
    if fit is None:
        raise _lost(task, np.inf)
    given, task = task, task._replace(data=task.data._replace(theta=raw[None]))
    bad = bool((fit.length > OUTLIER * fit.scale[:, None]).any()) or fit.scale[0] > _SUSPECT[1] * task.sensor
    if task.tooth is not None and "zero" in task.free and bad:
        slip = slipped(task.data, fit, task.setting, task.tooth)
        if slip is not None:
            findings.append(slip_found(slip[0], task.tooth))
            task, fit = task._replace(data=slip[1]), slip[2]
    if fit.scale[0] > _LOST:
        raise _lost(given, float(fit.scale[0]))
    return fit, task, findings


def _lost(task: Task, scale: float) -> ValueError:
    """The error for poses that nothing explains, with the zeros at home if these do."""
    home = cleared_at_home(task.m, task.data, task.start, task.setting) if "zero" in task.free else None
    return nothing_fits(scale, home if home is not None and home[1] < min(_LOST, BETTER * scale) else None)


def _continuous(task: Task, fit: Fit) -> _Solution:
    """Everything that is free, from frames and zeros that are near; the poses must show these."""
    state = fit.state
    seen, slopes = seen_by(task, task.data, state, task.sensor, task.setting.groups)
    if seen.sigma[-1] > _VAGUE:
        raise ValueError(f"these poses leave open: {left_open(task, task.data, state, seen, slopes)}")
    groups, ratio = task.free, task.setting.ratio
    if groups != task.setting.groups:
        seen, slopes = seen_by(task, task.data, state, task.sensor, groups)
    good = seen.sigma <= (_HELD if set(groups) - set(CORE) else np.inf)
    fitted = seen.directions[:, good]
    if 3 * len(task.data.time) - fitted.shape[1] < SPARE:
        raise ValueError(
            f"{len(task.data.time)} poses are too few to fit {fitted.shape[1]} directions; measure at least "
            f"{-(-(fitted.shape[1] + SPARE) // 3)}, or free fewer groups"
        )
    robust = robust_fit(task.data, state, groups, fitted, ratio)
    state, kept, residual = plain_fit(task.data, robust.state, groups, fitted, ratio, float(robust.scale[0]))
    if (~kept).mean() > _MOST_OUT:
        odd = ", ".join(map(str, np.flatnonzero(~kept)))
        raise ValueError(
            f"{(~kept).sum()} of {len(kept)} poses contradict the rest: {odd}; too many to call them outliers. "
            "Look for a belt that slipped (give tooth=), a sensor that moved, angles in the wrong order"
        )
    if residual > _LOST:
        raise nothing_fits(residual)
    final, _ = seen_by(task, task.data.take(kept), state, residual, groups)
    unseen = gauges(gauge(task.m, groups), groups) + weak(seen.directions[:, ~good], groups, seen.sigma[~good])
    return _Solution(state, kept, residual, 3 * int(kept.sum()) - fitted.shape[1], final, unseen)


def _result(task: Task, clock: tuple[float, float], solution: _Solution, findings: list[Finding]) -> Calibration:
    s, order = Unknowns(*(part[0] for part in solution.state)), list(task.start.leg_order)
    (middle, length), seen = clock, solution.seen
    load = np.where(np.abs(seen.directions) > _NOTHING, seen.directions, 0.0)
    with np.errstate(invalid="ignore"):
        variance = np.where(load == 0, 0.0, (load * seen.sigma) ** 2).sum(axis=1)
    sigma = {name: np.sqrt(variance[at]) for name, at in columns_of(task.free).items()}
    for name in ("base_axes", "platform_axes"):
        if name in sigma:
            sigma[name] = sigma[name].reshape(3, 2)
    if "zero" in sigma:
        sigma["zero"] = sigma["zero"][order]
    if "drift" in sigma:
        sigma["drift"] = sigma["drift"][0] / length
    drift = float(s.drift) / length
    zero = s.zero[order]
    zero = zero - 2 * np.pi * np.rint((zero - task.start.zero) / (2 * np.pi))
    zero = np.where(np.abs(zero) > 2 * np.pi, zero - np.copysign(2 * np.pi, zero), zero)  # as a Convention has it
    built = task.m
    if set(task.free) - set(CORE):
        v = s.v / np.linalg.norm(s.v, axis=1, keepdims=True)
        built = Mechanism(s.frames, v, s.proximal, s.distal)
    convention = Convention(
        rotation.rz(-drift * middle, turns=True) @ s.base, s.platform, task.start.leg_order, task.start.sense, zero
    )
    if task.tooth is not None and task.believed and "zero" in sigma:
        findings = findings + teeth_off(task.start, zero, sigma["zero"], task.tooth, findings)
    if solution.residual > _MISFIT * task.sensor:
        findings = [*findings, misfit(solution.residual, task.sensor)]
    return Calibration(
        built,
        convention,
        drift,
        solution.residual,
        solution.freedom,
        sigma,
        solution.unseen,
        tuple(int(k) for k in np.flatnonzero(~solution.kept)),
        tuple(findings),
    )
