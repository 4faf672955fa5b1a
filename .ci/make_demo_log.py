"""Make the invented log of the lessons: the camera head of a bird hide follows a marsh harrier.

    python .ci/make_demo_log.py [FILE]

writes FILE, by default notebooks/data/marsh_harrier.csv; the same bytes on every run. The path is a sum of
smooth steps and sines, so there is no random number in it. Base frame of the joint: x up, y to the right,
z out of the window. The bird crosses the window from left to right, circles twice, dives into the reeds
below the hide, where the joint cannot follow it for about a second, and lands on a post.

Two rows are damaged on purpose, as a radio link damages them: one field is empty, one number is garbled.
Before anything is written, `check` reads the text back and proves what the lessons say about it. It has its
own closed form of the leg equation, so that it does not lean on the package that reads the log.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

RATE = 20  # samples per second
COUNT = 600
EMPTY_ROW, GARBLED_ROW = 141, 487  # counted from 0; both where the bird is well within reach
TARGET = Path(__file__).resolve().parents[1] / "notebooks" / "data" / "marsh_harrier.csv"
HEADER = (
    "# Invented data: camera head of a bird hide following a marsh harrier, 20 samples per second\n"
    "# Orientation of the platform in the base frame: x up, y to the right, z out of the window\n"
    "time_s,qw,qx,qy,qz\n"
)


def step(t: Floats, start: float, end: float) -> Floats:
    """0 before `start`, 1 after `end`, and between them the quintic whose rate and acceleration end at 0."""
    u = np.clip((t - start) / (end - start), 0.0, 1.0)
    return u**3 * (10 - 15 * u + 6 * u**2)


def bird(t: Floats) -> tuple[Floats, Floats, Floats]:
    """Where the lens points at time t, in degrees: to the right, up; and how far the camera rolls."""
    circling = step(t, 7.0, 9.0) - step(t, 15.5, 17.0)
    turn = 2 * np.pi * (t - 8.0) / 4.0
    landed = step(t, 23.5, 25.5)
    right = -21 + 34 * step(t, 0.0, 8.5) - 9 * step(t, 15.0, 20.0) - 13 * step(t, 19.0, 24.5)
    right += circling * 9 * np.sin(turn)
    up = 4 + 2.0 * np.sin(1.1 * t) * (1 - landed) + circling * 6 * (1 - np.cos(turn))
    up += -55.5 * step(t, 17.5, 20.3) + 41.5 * step(t, 20.3, 23.3)
    sway = 2.5 * np.sin(0.9 * t + 0.4) + 1.2 * np.sin(2.3 * t)
    # The reed post sways a little under the bird that has landed.
    roll = sway * (1 - landed) + 0.8 * np.sin(1.7 * t) * landed
    return right, up, roll


def quaternions(t: Floats) -> Floats:
    """(n, 4) unit quaternions w, x, y, z of Rx(-right) Ry(up) Rz(roll): pan, then tilt, then roll."""
    right, up, roll = (np.radians(angle) / 2 for angle in bird(t))
    a, x = np.cos(right), -np.sin(right)
    b, y = np.cos(up), np.sin(up)
    c, z = np.cos(roll), np.sin(roll)
    return np.stack(
        [
            a * b * c - x * y * z,
            x * b * c + a * y * z,
            a * y * c - x * b * z,
            a * b * z + x * y * c,
        ],
        axis=-1,
    )


def log_text() -> str:
    """The whole file as text."""
    t = np.arange(COUNT) / RATE
    rows = [
        [f"{time:.2f}", *(f"{value:.6f}" for value in q)]
        for time, q in zip(t.tolist(), quaternions(t).tolist(), strict=True)
    ]
    rows[EMPTY_ROW][3] = ""
    rows[GARBLED_ROW][2] = rows[GARBLED_ROW][2][:5] + "?" + rows[GARBLED_ROW][2][6:]
    return HEADER + "".join(",".join(row) + "\n" for row in rows)


def platform_axis(q: Floats, azimuth: float) -> Floats:
    """(n, 3): the platform joint of the leg at `azimuth`, platform cone 50°, turned by the quaternions q."""
    cone = np.radians(50)
    v = np.array([np.sin(cone) * np.cos(azimuth), np.sin(cone) * np.sin(azimuth), np.cos(cone)])
    w, p = q[:, :1], q[:, 1:]
    turned: Floats = v + 2 * np.cross(p, np.cross(p, v) + w * v)
    return turned


def leg(q: Floats, azimuth: float) -> tuple[Floats, Floats]:
    """Motor angle in working mode +1 and reach margin of one leg, in degrees; NaN where it cannot close.

    In the leg's frame Rv = (p, q, r); with alpha_1 = 60° and alpha_2 = 75°, a = sin(alpha_1) p,
    b = sin(alpha_1) q, c = cos(alpha_1) r - cos(alpha_2): theta = atan2(b, a) - arccos(-c / hypot(a, b)).
    """
    proximal, distal, cone = np.radians([60, 75, 45])
    ca, sa = np.cos(azimuth), np.sin(azimuth)
    u = np.array([np.sin(cone) * ca, np.sin(cone) * sa, -np.cos(cone)])
    x = np.array([np.cos(cone) * ca, np.cos(cone) * sa, np.sin(cone)])
    v = platform_axis(q, azimuth)
    across = np.arctan2(np.linalg.norm(np.cross(u, v), axis=1), v @ u)
    margin = np.minimum(across - abs(proximal - distal), proximal + distal - across)
    a, b = np.sin(proximal) * (v @ x), np.sin(proximal) * (v @ np.cross(u, x))
    c = np.cos(proximal) * (v @ u) - np.cos(distal)
    ratio = np.where(margin >= 0, -c / np.hypot(a, b), np.nan)
    return np.degrees(np.arctan2(b, a) - np.arccos(np.clip(ratio, -1, 1))), np.degrees(margin)


def check(text: str) -> str:
    """Prove what the lessons say about the file; return it as a sentence."""
    assert len(text.encode()) < 60_000
    assert text.endswith("\n")
    assert "\r" not in text
    rows = [line.split(",") for line in text[len(HEADER) :].splitlines()]
    assert len(rows) == COUNT
    damaged = [k for k, row in enumerate(rows) if "" in row or "?" in "".join(row)]
    assert damaged == [EMPTY_ROW, GARBLED_ROW]

    table = np.array([row for k, row in enumerate(rows) if k not in damaged], dtype=np.float64)
    t, q = table[:, 0], table[:, 1:]
    # Rounding four components by at most 5e-7 changes the length by at most 1e-6.
    assert np.abs(np.linalg.norm(q, axis=1) - 1).max() <= 1e-6
    assert np.allclose(np.diff(t)[np.diff(t) < 0.09], 1 / RATE, rtol=0, atol=1e-9)
    # No jump, and a plausible pan head: no faster than 60°/s.
    rate = np.degrees(2 * np.arccos(np.clip((q[1:] * q[:-1]).sum(1), -1, 1))) / np.diff(t)
    assert rate.max() < 60
    # 1 - 2 (x² + y²) is the entry zz of the rotation matrix, the cosine of the tilt.
    tilt = np.degrees(np.arccos(1 - 2 * (q[:, 1] ** 2 + q[:, 2] ** 2)))
    assert (tilt < 25).mean() > 0.8

    legs = [leg(q, np.radians(azimuth)) for azimuth in (0, 120, 240)]
    theta, margin = (np.stack(part, axis=-1) for part in zip(*legs, strict=True))
    lost = np.flatnonzero(margin.min(axis=1) < 0)
    assert 10 <= len(lost) <= 25
    assert lost[-1] - lost[0] == len(lost) - 1, "one stretch, in one piece"
    assert (margin[:, 1:] > 10).all(), "only leg 1 runs out"
    assert margin.min() < -1.5, "clearly out of reach, not by rounding"
    # A leg that stretches turns fast, like the square root of what is left; no step is a turn or a flip.
    moved = np.abs(np.diff(theta, axis=0))
    assert np.nanmax(moved) < 15
    assert np.isnan(theta).any(axis=1).sum() == len(lost)
    return (
        f"{COUNT} rows, {len(damaged)} of them damaged; tilt below 25° in {(tilt < 25).mean():.0%} of them, "
        f"at most {tilt.max():.1f}°; leg 1 out of reach for {len(lost)} samples from {t[lost[0]]:.2f} s to "
        f"{t[lost[-1]]:.2f} s, by at most {-margin.min():.2f}°; largest step of a motor {np.nanmax(moved):.1f}°; "
        f"camera at most {rate.max():.0f}°/s"
    )


def main(arguments: list[str]) -> None:
    """Write the file that the command line names."""
    target = Path(arguments[0]) if arguments else TARGET
    text = log_text()
    told = check(text)
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(text.encode())
    print(f"{target.name}: {told}")


if __name__ == "__main__":
    main(sys.argv[1:])
