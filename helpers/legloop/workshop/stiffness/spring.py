"""The drive of one joint as a spring about the motor axis, in N·m/rad at the joint.

The motor's magnetic field, the belt and whatever else lies between them are springs in a row: the softest decides.
All is linear, for small angles and a powered motor; the parts of the drive that are not named are rigid.
"""

from __future__ import annotations

from ..._check import LONGEST
from ._positive import positive

__all__ = ["belt_stiffness", "holding_stiffness", "in_series"]


def belt_stiffness(strain_force: float, span: float, pulley_radius: float) -> float:
    """Stiffness of a toothed belt seen from a pulley, in N·m/rad: ``2 strain_force pulley_radius^2 / span``.

    Both free spans act, one pulled, the other let go: the belt must be under pretension, or the slack one does not
    count and the result is half. The belt on the pulleys and its teeth are rigid here, so this is an upper limit.

    Parameters
    ----------
    strain_force : float
        Force per unit of strain of the belt at its width, E A, in N: from its maker, or hang a weight on a belt and
        measure: weight × length / stretch.
    span : float
        Length of one free span, in m: ``sqrt(C^2 - (R - r)^2)`` of centre distance and pitch radii.
    pulley_radius : float
        Pitch radius of the joint's pulley, in m.

    Raises
    ------
    ValueError, TypeError
        An argument that is not one number above 0, or a length in millimetres.
    """
    force = positive(strain_force, "strain_force", "N")
    length = positive(span, "span", "m", most=LONGEST, hint="millimetres are written 57e-3, or 57*mm")
    radius = positive(pulley_radius, "pulley_radius", "m", most=1.0, hint="millimetres are written 19e-3, or 19*mm")
    return 2 * force * radius**2 / length


def holding_stiffness(torque: float, ratio: float, *, steps_per_turn: int = 200) -> float:
    """Stiffness of a stepping motor that holds, seen from the joint: ``torque (steps_per_turn / 4) ratio^2``.

    The motor's torque is a sine of the lag, of one period in four full steps and of the holding torque's height; this
    is its slope at zero lag, in N·m/rad; it is softer under load, and beyond the holding torque the motor loses
    steps. Source: Acarnley, Stepping Motors, 4th ed., 2002 (from memory).

    Parameters
    ----------
    torque : float
        Holding torque at the current that is set, in N·m, at the motor's shaft.
    ratio : float
        Turns of the motor in one turn of the joint.
    steps_per_turn : int
        Full steps of the motor in one turn: 200 where a step is 1.8°.

    Raises
    ------
    ValueError, TypeError
        An argument that is not one number above 0, a torque in N·mm, fewer than four steps.
    """
    hold = positive(torque, "torque", "N·m", most=1000.0, hint="newton millimetres are written 400e-3")
    gear = positive(ratio, "ratio", "", most=1e4, hint="give turns of the motor in one turn of the joint, such as 3")
    steps = positive(steps_per_turn, "steps_per_turn", "", least=4, hint="give full steps in one turn, such as 200")
    return hold * steps / 4 * gear**2


def in_series(*stiffness: float) -> float:
    """Stiffness of springs in a row, ``1 / (1/k_1 + 1/k_2 + ...)``, all seen from the same shaft, in N·m/rad.

    Each is one number above 0; ValueError for another, or for none at all, TypeError for what is no number.
    """
    if not stiffness:
        raise ValueError("in_series needs at least one stiffness; give those of belt and motor")
    return 1 / sum(1 / positive(k, f"stiffness {i}", "N·m/rad") for i, k in enumerate(stiffness))
