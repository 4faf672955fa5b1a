"""Links and whole joints as space frames of straight members, solved by a general frame library (PyNite)."""

import numpy as np
from Pynite import FEModel3D

LOADS = ("FX", "FY", "FZ", "MX", "MY", "MZ")
RIGID = 1e6  # times the sections of the links: what is called rigid gives about a millionth of what they give


class Frame:
    """Nodes and members by number; the six unit loads stand at one node each time."""

    def __init__(self, section):
        self.model, self.section, self.count = FEModel3D(), section, 0
        self.model.add_material("stuff", section.E, section.G, 0.3, 0.0)  # E and G are used as they are, nu is not
        s = section
        self.model.add_section("link", s.A, s.I_out, s.I_in, s.J)  # local y along the radius, local z across
        self.model.add_section("rigid", *(RIGID * x for x in (s.A, s.I_out, s.I_out, s.J)))

    def node(self, point):
        self.count += 1
        self.model.add_node(f"n{self.count}", *point)
        return f"n{self.count}"

    def member(self, start, end, kind, radial=None, hinge=False):
        """A straight member, its local y turned to `radial`; with `hinge` its start does not pass torsion on."""
        name = f"{start}-{end}"
        self.model.add_member(name, start, end, "stuff", kind)
        member = self.model.members[name]
        if radial is not None:
            _, y, z = member.T()[:3, :3]
            member.rotation = np.degrees(np.arctan2(radial @ z, radial @ y))
        if hinge:
            self.model.def_releases(name, Rxi=True)

    def arc(self, start, root, tip, radius, angle, pieces):
        """Straight members along the great circle from axis `root` to axis `tip`; the name of the last node."""
        side = (tip - np.cos(angle) * root) / np.sin(angle)
        for k in range(1, pieces + 1):
            middle, here = (k - 0.5) * angle / pieces, k * angle / pieces
            end = self.node(radius * (np.cos(here) * root + np.sin(here) * side))
            self.member(start, end, "link", np.cos(middle) * root + np.sin(middle) * side)
            start = end
        return start

    def compliance(self, node):
        """Twist of a node by six unit loads at it, 6 x 6, in the axes of the model."""
        for load in LOADS:
            self.model.add_node_load(node, load, 1.0, case=load)
            self.model.add_load_combo(load, {load: 1.0})
        self.model.analyze_linear(check_stability=False)
        at = self.model.nodes[node]
        moved = (at.DX, at.DY, at.DZ, at.RX, at.RY, at.RZ)
        return np.array([[component[load] for load in LOADS] for component in moved])


def link_compliance(radius, angle, section, pieces):
    """As `arc_compliance` without shear, by straight members."""
    frame = Frame(section)
    root, tip = np.array([np.cos(angle), -np.sin(angle), 0]), np.array([1.0, 0, 0])
    start = frame.node(radius * root)
    frame.model.def_support(start, *[True] * 6)
    return frame.compliance(frame.arc(start, root, tip, radius, angle, pieces))


def joint_compliance(m, R, theta, build, pieces):
    """As `compliance`, by straight members; both links of one section, and elbows with pins of some length."""
    frame = Frame(build.first.section)
    centre = frame.node(np.zeros(3))
    inner, outer, stub = build.second.radius, build.first.radius, 0.05
    s = build.first.section
    torsion = build.drive * stub / s.G  # a shaft of this J and the stub's length is the drive's spring
    frame.model.add_section("shaft", RIGID * s.A, RIGID * s.I_out, RIGID * s.I_out, torsion)
    axes = zip(m.base_axes, m.elbow_axes(theta), m.platform_axes_at(R), m.proximal, m.distal, strict=True)
    for u, w, p, first, second in axes:
        motor, hub = frame.node((outer + stub) * u), frame.node(outer * u)
        frame.model.def_support(motor, *[True] * 6)
        frame.member(motor, hub, "shaft")
        elbow, pin = frame.arc(hub, u, w, outer, first, pieces), frame.node(inner * w)
        frame.member(elbow, pin, "rigid", hinge=True)
        last = frame.arc(pin, w, p, inner, second, pieces)
        frame.member(last, centre, "rigid", hinge=True)
    return frame.compliance(centre)
