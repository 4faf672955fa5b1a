"""A unit sphere seen from far away: orthographic projection, circle arcs split at the horizon, labels that give way.

Points are vectors in base coordinates; the sphere has radius 1 round the origin. A `Scene` collects what is
drawn, in layers from back to front, and `body` joins them to SVG. Circles project to ellipses, and a Bezier
curve projects to the Bezier curve of its projected control points, so that arcs stay short texts and smooth.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import acos, atan2, ceil, cos, hypot, pi, sin, tan

import numpy as np

from .._check import Floats, angles, finite, one
from .arcs import Arc, circle
from .picture import number, numbers_in

__all__ = ["VIEW", "Scene", "view_matrix", "viewed"]

Pixel = tuple[float, float]

VIEW = (28 * pi / 180, 24 * pi / 180)
"""Azimuth and elevation of the viewer, in radians: no two legs of the usual joint hide one another from here."""

_SEGMENT = pi / 6  # one Bezier piece spans at most 30°: it leaves the circle by 3e-7 of the radius
_SAMPLE = pi / 30  # how densely arcs keep labels away


def view_matrix(azimuth: float, elevation: float) -> Floats:
    """Rows: right, up and towards the viewer, who stands at that azimuth and elevation, far away."""
    ca, sa, ce, se = cos(azimuth), sin(azimuth), cos(elevation), sin(elevation)
    return np.array([[-sa, ca, 0.0], [-se * ca, -se * sa, ce], [ce * ca, ce * sa, se]])


def viewed(view: object) -> tuple[float, float]:
    """Azimuth and elevation of a view, in radians, checked; ValueError, TypeError for anything else."""
    azimuth, elevation = finite(angles(view, "view", (2,), -2 * pi, 2 * pi, "[-2 pi, 2 pi]"), "view").tolist()
    angles(elevation, "view[1]", (), -pi / 2, pi / 2, "[-pi/2, pi/2]")
    return azimuth, elevation


@dataclass
class _Label:
    x: float
    y: float
    away: Pixel
    parts: tuple[str, str]
    style: str
    small: bool


@dataclass
class Scene:
    """What is drawn so far: texts by layer with their depth, and what labels must keep off."""

    size: float
    view: tuple[float, float]
    margin: float = 48.0
    items: list[tuple[int, float, int, str]] = field(default_factory=list)
    labels: list[_Label] = field(default_factory=list)
    obstacles: list[tuple[float, float, float]] = field(default_factory=list)

    BALL = 0
    BACK = 1
    INSIDE = 2
    FRONT = 3
    MARKS = 4

    def __post_init__(self) -> None:
        if not 200 <= one(self.size, "size") <= 10_000:
            raise ValueError(
                f"size is {self.size:g}; it is in pixels, up to 10000, and below 200 the labels cover the picture"
            )
        viewed(self.view)
        self.scale = self.size / 2 - self.margin
        self.turn = view_matrix(*self.view)
        self.screen = self.turn * np.array([[self.scale], [-self.scale], [1.0]])
        self.middle = self.size / 2

    def pixel(self, p: Floats) -> tuple[float, float, float]:
        """Where a point lands, in pixels from the upper left corner, and its depth, larger when nearer."""
        x, y, depth = (self.screen @ p).tolist()
        return x + self.middle, y + self.middle, depth

    def add(self, layer: int, depth: float, text: str) -> None:
        """Put a piece of SVG into a layer; inside it, what is nearer is drawn later."""
        self.items.append((layer, depth, len(self.items), text))

    def pieces(self, arc: Arc) -> Iterator[tuple[bool, float, float]]:
        """The parts of an arc in front of the horizon and behind it: (front, from, to)."""
        centre, first, second = (float(self.turn[2] @ v) for v in (arc.centre, arc.first, arc.second))
        reach, peak = hypot(first, second), atan2(second, first)
        cuts = [0.0, arc.angle]
        if reach > 1e-9 and abs(centre) < reach:
            half = acos(-centre / reach)
            turns = ((peak + side * half) % (2 * pi) for side in (1, -1))
            cuts[1:1] = sorted(t for t in turns if 1e-9 < t < arc.angle - 1e-9)
        for start, stop in pairwise(cuts):
            t = (start + stop) / 2
            yield centre + first * cos(t) + second * sin(t) >= -1e-9, start, stop

    def path(self, arc: Arc, start: float, stop: float, *, weight: float = 1.0) -> str:
        """The path data of part of an arc, which keeps labels away with some `weight`."""
        centre, first, second = (self.screen @ v for v in (arc.centre, arc.first, arc.second))
        (cx, cy), (ax, ay), (bx, by) = ((v[0].item(), v[1].item()) for v in (centre, first, second))
        cx, cy = cx + self.middle, cy + self.middle
        count = max(1, ceil((stop - start) / _SEGMENT))
        step = (stop - start) / count
        k = 4 / 3 * tan(step / 4)
        values = [cx + ax * cos(start) + bx * sin(start), cy + ay * cos(start) + by * sin(start)]
        for i in range(count):
            c, s = cos(start + i * step), sin(start + i * step)
            values += [cx + ax * c + bx * s + k * (bx * c - ax * s), cy + ay * c + by * s + k * (by * c - ay * s)]
            c, s = cos(start + (i + 1) * step), sin(start + (i + 1) * step)
            x, y = cx + ax * c + bx * s, cy + ay * c + by * s
            values += [x - k * (bx * c - ax * s), y - k * (by * c - ay * s), x, y]
        if weight:
            samples = max(2, ceil((stop - start) / _SAMPLE))
            for i in range(samples + 1):
                t = start + (stop - start) * i / samples
                self.obstacles.append((cx + ax * cos(t) + bx * sin(t), cy + ay * cos(t) + by * sin(t), weight))
        return numbers_in("M%.2f %.2f" + "C%.2f %.2f %.2f %.2f %.2f %.2f" * count, *values)

    def ball(self) -> None:
        """The sphere's disc and rim, and its equator in the base's xy plane."""
        radius, middle = number(self.scale), number(self.middle)
        at = f'cx="{middle}" cy="{middle}" rx="{radius}" ry="{radius}"'
        self.add(Scene.BALL, 0.0, f'<ellipse class="ll-ball" {at}/>')
        self.add(Scene.BALL, 1.0, f'<ellipse class="ll-s ll-quiet" stroke-width="1.2" {at}/>')
        self.thin(circle(np.array([0.0, 0.0, 1.0]), pi / 2), "quiet", 1.0, weight=0.0)

    def thin(self, arc: Arc, role: str, width: float, dash: str = "", *, weight: float = 1.0, data: str = "") -> None:
        """A thin line on the sphere; behind the horizon it is dimmed, and dashed unless it is so already."""
        for front, start, stop in self.pieces(arc):
            shade = role if front else role.replace("leg", "back")
            gaps = dash or ("" if front else "3 4")
            stroke = f' stroke-dasharray="{gaps}"' if gaps else ""
            path = self.path(arc, start, stop, weight=weight)
            layer = Scene.FRONT if front else Scene.BACK
            stroke += f'{data} d="{path}"'
            self.add(layer, -9.0, f'<path class="ll-s ll-{shade}" stroke-width="{width:g}"{stroke}/>')

    def line(self, layer: int, p: Floats, q: Floats, role: str, width: float, more: str = "") -> None:
        """A straight line in space."""
        (x1, y1, d1), (x2, y2, d2) = self.pixel(p), self.pixel(q)
        path = numbers_in("M%.2f %.2fL%.2f %.2f", x1, y1, x2, y2)
        stroke = f'<path class="ll-s ll-{role}" stroke-width="{width:g}"{more} d="{path}"/>'
        self.add(layer, (d1 + d2) / 2, stroke)
        nx, ny = (y1 - y2, x2 - x1)  # labels keep off the flanks of a thick line as well
        side = width / 2 / max(hypot(nx, ny), 1e-9) if width > 10 else 0.0
        for t in (0.125, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875, 1.0):
            for flank in (-side, side) if side else (0.0,):
                self.obstacles.append((x1 + t * (x2 - x1) + flank * nx, y1 + t * (y2 - y1) + flank * ny, width / 3))

    def triad(
        self, frame: Floats, length: float, prime: str, roles: Sequence[str], width: float, sub: str = ""
    ) -> None:
        """The three axes of a frame as labelled arrows from the centre."""
        for axis, name, role in zip(frame.T, "xyz", roles, strict=True):
            tip = axis * length
            self.line(Scene.INSIDE, np.zeros(3), tip * (1 - 0.04 / length), role, width)
            self.arrow_head(Scene.INSIDE, tip, axis, role, width, f' data-axis="{name}{prime}{sub}"')
            self.label(tip, name + prime, sub, style=f"ll-{role}", small=True, away=axis)

    def arrow_head(self, layer: int, tip: Floats, along: Floats, role: str, width: float, data: str = "") -> None:
        """A flat arrow head on the screen; it shrinks as the arrow turns towards the viewer."""
        x, y, depth = self.pixel(tip)
        dx, dy = (self.screen[:2] @ along).tolist()
        length = hypot(dx, dy)
        if length < 1e-6:
            return
        ex, ey = dx / length, dy / length
        long, half = min(5 + 2 * width, 0.12 * length), 2 + width
        bx, by = x - long * ex, y - long * ey
        corners = (x, y, bx - half * ey, by + half * ex, bx + half * ey, by - half * ex)
        path = numbers_in("M%.2f %.2fL%.2f %.2fL%.2f %.2fZ", *corners)
        self.add(layer, depth, f'<path class="ll-f ll-{role}" d="{path}"{data}/>')

    def label(
        self,
        p: Floats,
        main: str,
        sub: str = "",
        *,
        style: str = "ll-ink",
        small: bool = False,
        away: Floats | None = None,
    ) -> None:
        """Ask for a text beside a point, preferably on the side `away` (a vector; default: from the centre)."""
        x, y, _ = self.pixel(p)
        dx, dy = (x - self.middle, y - self.middle) if away is None else (self.screen[:2] @ away).tolist()
        length = hypot(dx, dy)
        aim = (dx / length, dy / length) if length > 1e-6 else (0.0, -1.0)
        self.labels.append(_Label(x, y, aim, (main, sub), style, small))

    def body(self) -> str:
        """Everything as SVG, from back to front, the labels on top."""
        ordered = sorted(self.items, key=lambda item: item[:3])
        return "".join(text for *_, text in ordered) + "".join(self._placed())

    def _placed(self) -> Iterator[str]:
        """Each label where it hides least: free ground first, then near its wish, then near its point."""
        sizes = np.array([_half_size(label) for label in self.labels]).reshape(-1, 2)
        points = np.array([(label.x, label.y) for label in self.labels]).reshape(-1, 2)
        away = np.array([label.away for label in self.labels]).reshape(-1, 2)
        # A box beside the point clears it by the distance sideways, one at a corner by the distance diagonally.
        middles = points[:, None] + _OFFSET + sizes[:, None] * _CORNER
        low, high = middles - sizes[:, None], middles + sizes[:, None]
        outside = ((low < 3) | (high > self.size - 3)).any(axis=2)
        costs = 2.0 * self._covered(low, high) + 1000.0 * outside + _REACH - 1.2 * away @ _DIRECTION.T
        costs = np.round(costs, 6)  # so that a tie falls the same way everywhere
        taken = np.zeros((0, 4))
        for i, label in enumerate(self.labels):
            shared = np.minimum(high[i][:, None], taken[:, 2:]) - np.maximum(low[i][:, None], taken[:, :2])
            np.maximum(shared, 0.0, out=shared)
            best = int(np.argmin(costs[i] + 0.2 * (shared[:, :, 0] * shared[:, :, 1]).sum(axis=1)))
            taken = np.concatenate([taken, [[*low[i, best], *high[i, best]]]])
            yield _text(label, *middles[i, best].tolist())

    def _covered(self, low: Floats, high: Floats) -> Floats:
        """The weight of the obstacles that each box covers, counted in cells of 4 pixels from running sums."""
        cells = int(self.size / 4) + 1
        xs, ys, weights = np.array(self.obstacles).reshape(-1, 3).T
        spots = np.clip(np.stack([xs, ys]) / 4, 0, cells - 1).astype(int)
        table = np.zeros((cells + 1, cells + 1))
        np.add.at(table, (spots[0] + 1, spots[1] + 1), weights)
        table = table.cumsum(axis=0).cumsum(axis=1)
        (x1, y1), (x2, y2) = (
            np.moveaxis(np.clip(np.rint(corner / 4), 0, cells).astype(int), -1, 0) for corner in (low, high)
        )
        return np.asarray(table[x2, y2] - table[x1, y2] - table[x2, y1] + table[x1, y1])


def _half_size(label: _Label) -> Pixel:
    size = 13 if label.small else 15
    main, sub = label.parts
    return size * 0.29 * len(main) + 11 * 0.3 * len(sub) + 2, size / 2 + 1


def _text(label: _Label, x: float, y: float) -> str:
    main, sub = label.parts
    below = f'<tspan class="ll-sub" dy="4">{sub}</tspan>' if sub else ""
    classes = f"ll-t {label.style}" + (" ll-m" if label.small else "") + (" ll-i" if sub else "")
    at = numbers_in('x="%.2f" y="%.2f"', x, y + (4.5 if label.small else 5.2))
    return f'<text class="{classes}" {at}>{main}{below}</text>'


def _candidates() -> tuple[Floats, Floats, Floats, Floats]:
    """Where a label's box may stand, seen from its point: sixteen directions, near, farther, far (in pixels)."""
    angles = np.tile(np.arange(16) * (pi / 8), 3)
    distance = np.repeat([9.0, 16.0, 26.0], 16)
    direction = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return direction, direction * distance[:, None], np.clip(2 * direction, -1, 1), 0.06 * distance


_DIRECTION, _OFFSET, _CORNER, _REACH = _candidates()
