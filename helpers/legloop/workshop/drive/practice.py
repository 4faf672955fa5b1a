"""What practice advises against in a belt drive that could be built all the same."""

from __future__ import annotations

from collections.abc import Iterator

from ..units import mm

__all__ = ["DriveWarning", "advice"]

MESH = 6
"""Fewer teeth in mesh on the smaller pulley are worth a note: common practice, no source."""

CLOSEST, FARTHEST = 15 * mm, 2.0
"""The usual centre distance: from half the sum of the pitch diameters plus the first, to the second times the sum.
Common practice, from memory."""

TWO, INCH = 2 * mm, 0.080 * 25.4 * mm
"""Two pitches, 2 mm and 0.080 in, that look alike in the hand. They do not mesh with one another."""

LIKE = 0.03
"""A pitch that is so near to 2 mm, as a part of it, is one of these two or a slip."""


class DriveWarning(UserWarning):
    """A drive that can be built but that practice advises against; the same sentences stay in `BeltDrive.notes`."""


def advice(
    teeth: tuple[int, int], diameters: tuple[float, float], distance: float, mesh: float, pitch: float, length: float
) -> Iterator[str]:
    """One sentence for each point: teeth and pitch diameters of motor and joint pulley, and the rest in metres."""
    if mesh < MESH:
        small = "motor" if teeth[0] <= teeth[1] else "joint"
        yield (
            f"{mesh:.2f} teeth are in mesh on the {small} pulley, practice asks for {MESH}: take more teeth there, "
            "or move the shafts apart"
        )
    low, high = sum(diameters) / 2 + CLOSEST, FARTHEST * sum(diameters)
    if not low <= distance <= high:
        why = "a tensioner hardly fits" if distance < low else "a long belt is soft"
        yield (
            f"centre_distance is {distance / mm:.4g} mm, out of the usual {low / mm:.4g} to {high / mm:.4g} mm for "
            f"these pulleys: {why}"
        )
    if pitch != TWO and abs(pitch / TWO - 1) < LIKE:
        inch = abs(pitch / INCH - 1) < 1e-4  # 2.032 mm, or 2.0320 from inches: rounding, no other belt
        told = "is the 0.080 in pitch" if inch else "is neither 2 mm nor 0.080 in (2.032 mm)"
        off = length / pitch * abs(pitch - TWO)
        yield (
            f"pitch is {pitch / mm:.6g} mm, which {told}: over this length a 2 mm belt is {off / mm:.2g} mm off and "
            "does not mesh; make sure that belt and both pulleys have the same"
        )
