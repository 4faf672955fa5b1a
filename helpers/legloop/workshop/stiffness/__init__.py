"""How much the platform gives under a load, which part is to blame, and what play in the bearings adds."""

from .arc import MODES, arc_compliance, arc_modes
from .hinge import BALL_608, Bearing, Hinge
from .joint import PARTS, Build, Give, Link, compliance, give, give_map, part_compliance, stiffness
from .play import Play, worst_play
from .section import Section
from .shares import energy, shares, thicker, what_more_buys
from .spring import belt_stiffness, holding_stiffness, in_series

__all__ = [
    "BALL_608",
    "MODES",
    "PARTS",
    "Bearing",
    "Build",
    "Give",
    "Hinge",
    "Link",
    "Play",
    "Section",
    "arc_compliance",
    "arc_modes",
    "belt_stiffness",
    "compliance",
    "energy",
    "give",
    "give_map",
    "holding_stiffness",
    "in_series",
    "part_compliance",
    "shares",
    "stiffness",
    "thicker",
    "what_more_buys",
    "worst_play",
]
