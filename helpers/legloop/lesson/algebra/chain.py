"""Chains of named turns, and how they are written out with sines and cosines.

    w = Rz(azimuth) @ Ry(pi - base_cone) @ Rz(pi) @ Rz(theta) @ Ry(proximal) @ e_z

is the chain of the elbow axis. `written_out` multiplies it and gives its three components as sums of products.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import Any, Literal, NamedTuple, TypeAlias

import numpy as np

from ..._check import Floats
from .formula import Call, Evaluation, Factor, Formula, Sum, Term, var

__all__ = ["Chain", "Flaw", "Given", "Link", "Turn", "in_numbers", "run_transposed", "show_links", "written_out"]

Poly: TypeAlias = dict[tuple[Factor, ...], float]
Matrix: TypeAlias = list[list[Poly]]


class Flaw(NamedTuple):
    """One entry of a turn's matrix that somebody got wrong: its sign, or sine for cosine."""

    row: int
    column: int
    kind: Literal["sign", "sin-cos"]


class Turn(NamedTuple):
    """A turn about a coordinate axis by ``sign * argument + quarters * 90°``, perhaps with a flaw in its matrix."""

    axis: str
    argument: str | None
    sign: int = 1
    quarters: int = 0
    flaw: Flaw | None = None

    @property
    def transposed(self) -> Turn:
        """The turn back."""
        return self._replace(sign=-self.sign, quarters=-self.quarters % 4)

    @property
    def with_sine_for_cosine(self) -> Turn:
        """The turn by 90° less the angle: its matrix has every sine for a cosine, and the other way round."""
        return self._replace(sign=-self.sign, quarters=(1 - self.quarters) % 4)

    def matrix(self) -> Matrix:
        """Its nine entries; each is a number times at most one sine or cosine."""
        cosine, sine = self._circular("cos"), self._circular("sin")
        after, last = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[self.axis]
        rows: Matrix = [[{(): 1.0} if i == k else {} for k in range(3)] for i in range(3)]
        rows[after][after] = rows[last][last] = cosine
        rows[last][after], rows[after][last] = sine, _negative(sine)
        if self.flaw:
            i, k, kind = self.flaw
            other = self.with_sine_for_cosine._replace(flaw=None).matrix()
            rows[i][k] = _negative(rows[i][k]) if kind == "sign" else other[i][k]
        return rows

    @property
    def wavering(self) -> tuple[tuple[int, int], ...]:
        """The places of its matrix that depend on the angle."""
        plane = [i for i in range(3) if i != "xyz".index(self.axis)]
        return tuple((i, k) for i in plane for k in plane)

    def _circular(self, wanted: str) -> Poly:
        """The cosine or sine of the whole angle: cos(x + q 90°) runs through cos, -sin, -cos, sin of x."""
        quarters = self.quarters - (wanted == "sin")
        function, size = (("cos", 1), ("sin", -1), ("cos", -1), ("sin", 1))[quarters % 4]
        if self.argument is None:
            return {(): float(size)} if function == "cos" else {}
        factor = Call(function, (var(self.argument),))
        return {(factor,): float(size if function == "cos" else size * self.sign)}

    def __str__(self) -> str:
        full = {0: "", 1: "pi/2", 2: "pi", 3: "-pi/2"}[self.quarters % 4]
        if self.argument is None:
            angle = full or "0"
        elif self.sign > 0:
            angle = {"": self.argument, "pi": f"{self.argument} - pi"}.get(full, f"{full} + {self.argument}")
        else:
            angle = f"{full} - {self.argument}" if full else f"-{self.argument}"
        return f"R{self.axis}({angle})"


def _negative(poly: Poly) -> Poly:
    return {factors: -value for factors, value in poly.items()}


class Given(NamedTuple):
    """A fixed rotation that somebody hands in: nine numbers with a name."""

    name: str
    entries: tuple[float, ...]
    turned: bool = False

    @property
    def transposed(self) -> Given:
        """The turn back."""
        return self._replace(turned=not self.turned)

    @property
    def is_identity(self) -> bool:
        """Whether it turns nothing."""
        return self.entries == (1, 0, 0, 0, 1, 0, 0, 0, 1)

    def matrix(self) -> Matrix:
        """Its nine entries: 0, 1, -1 as numbers, any other as a named argument."""
        return [[self._entry(k, i) if self.turned else self._entry(i, k) for k in range(3)] for i in range(3)]

    def arguments(self) -> dict[str, float]:
        """The values of the named entries."""
        return {f"{self.name}[{i // 3}, {i % 3}]": value for i, value in enumerate(self.entries)}

    def _entry(self, i: int, k: int) -> Poly:
        value = self.entries[3 * i + k]
        if value in (0.0, 1.0, -1.0):
            return {(): value} if value else {}
        return {(f"{self.name}[{i}, {k}]",): 1.0}

    def __str__(self) -> str:
        return f"{self.name}.T" if self.turned else self.name


Link: TypeAlias = Turn | Given


class Chain(NamedTuple):
    """A product of turns, and what is made of it.

    "matrix": its nine entries, row by row. "vector": where it takes e_z. "closure": that vector w, which has theta
    in it, gives the coefficients of cos(theta), sin(theta) and 1 in ``w . (vx, vy, vz) - cos(distal)``.

    An `end` is the vector that is turned in place of e_z: the right part of the product, multiplied out.
    """

    links: tuple[Link, ...]
    use: Literal["matrix", "vector", "closure"]
    end: Formula | None = None


def run_transposed(links: Iterable[Link]) -> tuple[Link, ...]:
    """The links of the transposed product."""
    return tuple(link.transposed for link in reversed(tuple(links)))


def show_links(links: Iterable[Link]) -> str:
    """A product as one writes it in Python."""
    return " @ ".join(map(str, links)) or "I"


def in_numbers(chain: Chain, evaluation: Evaluation) -> list[Any]:
    """What `written_out` would give, in numbers, without multiplying out: many times as fast."""
    if chain.use == "matrix":
        return list(_product(chain.links, None, evaluation).reshape(9, *evaluation.shape))
    if chain.use == "closure":  # what w . v is at three angles gives its coefficients
        evaluation = evaluation.at_three_angles()
    w = _product(chain.links, _axis(2) if chain.end is None else chain.end, evaluation)
    if chain.use == "vector":
        return list(w)
    given = evaluation.given
    at_0, at_90, at_180 = w[0] * given["vx"] + w[1] * given["vy"] + w[2] * given["vz"]
    middle = (at_0 + at_180) / 2
    return [(at_0 - at_180) / 2, at_90 - middle, middle - np.cos(given["distal"])]


def _product(links: tuple[Link, ...], end: Formula | None, evaluation: Evaluation) -> Floats:
    """A product of turns, or where it takes a vector; products that differ on the left share what is on the right."""
    key = links, end
    product = evaluation.products.get(key)
    if product is None:
        if len(links) == 0:
            product = evaluation.array(_axis(0) + _axis(1) + _axis(2) if end is None else end)
        elif len(links) == 1 and end is None:
            product = evaluation.array(_entries(links[0])).reshape(3, 3, *evaluation.shape)
        else:
            turn, rest = _product(links[:1], None, evaluation), _product(links[1:], end, evaluation)
            product = np.einsum("ij...,jk...->ik..." if end is None else "ij...,j...->i...", turn, rest)
        evaluation.products[key] = product
    return product


@lru_cache(maxsize=1024)
def _entries(link: Link) -> Formula:
    return tuple(_as_sum(entry) for row in link.matrix() for entry in row)


@lru_cache(maxsize=1024)
def written_out(chain: Chain) -> Formula:
    """The product, multiplied out with sines and cosines."""
    if chain.use == "matrix":
        columns = [_multiplied(chain.links, _axis(k)) for k in range(3)]
        return tuple(_as_sum(columns[k][i]) for i in range(3) for k in range(3))
    components = _multiplied(chain.links, _axis(2) if chain.end is None else chain.end)
    return _closure(components) if chain.use == "closure" else tuple(map(_as_sum, components))


@lru_cache(maxsize=3)
def _axis(number: int) -> Formula:
    """A coordinate axis."""
    return tuple(Sum([Term(1.0, ())] if i == number else []) for i in range(3))


def _multiplied(links: tuple[Link, ...], end: Formula) -> list[Poly]:
    """Where a product of turns takes a vector."""
    vector = [{term.factors: term.coefficient for term in component} for component in end]
    for link in reversed(links):
        vector = [_dot(row, vector) for row in link.matrix()]
    return vector


def _dot(row: list[Poly], vector: list[Poly]) -> Poly:
    total: Poly = {}
    for entry, component in zip(row, vector, strict=True):
        for left, m in entry.items():
            for right, n in component.items():
                total[left + right] = total.get(left + right, 0.0) + m * n
    return {factors: value for factors, value in total.items() if value}


def _as_sum(poly: Poly) -> Sum:
    return Sum(Term(coefficient, factors) for factors, coefficient in poly.items())


def _closure(w: list[Poly]) -> Formula:
    """Collect ``w . v - cos(distal)`` by cos(theta), sin(theta) and what is free of theta."""
    cosine, sine = Call("cos", (var("theta"),)), Call("sin", (var("theta"),))
    a: list[Term] = []
    b: list[Term] = []
    c: list[Term] = []
    for component, name in zip(w, ("vx", "vy", "vz"), strict=True):
        for factors, coefficient in component.items():
            rest = tuple(factor for factor in factors if factor not in (cosine, sine))
            part = a if cosine in factors else b if sine in factors else c
            part.append(Term(coefficient, (*rest, name)))
    return Sum(a), Sum(b), Sum([*c, Term(-1.0, (Call("cos", (var("distal"),)),))])
