"""The SymPy symbols that answers are written in: one for each argument of the steps, of the same name.

from legloop.lesson import symbols as s
w_z = sympy.sin(s.base_cone) * sympy.sin(s.proximal) * sympy.cos(s.theta) - ...
"""

from sympy import Symbol

__all__ = [
    "a",
    "angle",
    "azimuth",
    "b",
    "base_cone",
    "c",
    "distal",
    "mode",
    "pitch",
    "platform_cone",
    "proximal",
    "roll",
    "theta",
    "vx",
    "vy",
    "vz",
    "yaw",
]

angle = Symbol("angle", real=True)
roll = Symbol("roll", real=True)
pitch = Symbol("pitch", real=True)
yaw = Symbol("yaw", real=True)
base_cone = Symbol("base_cone", real=True)
platform_cone = Symbol("platform_cone", real=True)
azimuth = Symbol("azimuth", real=True)
proximal = Symbol("proximal", real=True)
distal = Symbol("distal", real=True)
theta = Symbol("theta", real=True)
vx = Symbol("vx", real=True)
vy = Symbol("vy", real=True)
vz = Symbol("vz", real=True)
a = Symbol("a", real=True)
b = Symbol("b", real=True)
c = Symbol("c", real=True)
mode = Symbol("mode", real=True)
