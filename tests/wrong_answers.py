"""Wrong answers to the exercises of the lessons, as learners give them: what to exchange in the folded solution.

Lesson, function: pairs (text, instead of it); with a third entry where the answer is reviewed: the slip to be named.
"""

WRONG: dict[str, dict[str, list[tuple[str, ...]]]] = {
    "00": {
        "signs_for_tilt": [("leg - 1", "1 - leg"), ("[+1, +1, -1]", "[-1, +1, -1]")],
        "largest_yaw": [(" - 1", ""), (".all(axis=1)", ".any(axis=1)")],
        "lens_direction": [("scalar_first=True", "scalar_first=False"), ("[:, 2]", "[2]")],
    },
    "01": {
        "arc": [("- distance**2", "+ distance**2"), ("(2 * r1 * r2)", "(r1 * r2)")],
        "miss": [(" / np.linalg.norm(direction)", ""), ("np.cross(away, direction)", "np.dot(away, direction)")],
        "outward_axis": [
            (" * np.sign(unit @ np.subtract(point, centre))", ""),
            ("np.subtract(point, centre)", "point"),
            ("/ np.linalg.norm(direction)", "/ 1"),
        ],
    },
    "10": {
        "turn_about_x": [
            ("[0, c, -s], [0, s, c]", "[0, c, s], [0, -s, c]", "transpose"),
            ("[0, c, -s], [0, s, c]", "[0, s, -c], [0, c, s]", "sin-cos"),
            ("[0, c, -s], [0, s, c]", "[0, c, -s], [0, -s, c]", "sign"),
            ("np.cos(angle), np.sin(angle)", "np.cos(np.radians(angle)), np.sin(np.radians(angle))", "degrees"),
        ],
        "pan_then_tilt": [
            ("rotation.rz(pan) @ rotation.ry(tilt)", "rotation.ry(tilt) @ rotation.rz(pan)"),
            ("rotation.ry(tilt)", "rotation.rx(tilt)"),
        ],
        "sensor_z_in_base": [("C[2]", "C[:, 2]"), ("C[2]", "-C[2]")],
        "orientation": [
            (
                "rotation.rz(yaw) @ rotation.ry(pitch) @ rotation.rx(roll)",
                "rotation.rx(roll) @ rotation.ry(pitch) @ rotation.rz(yaw)",
                "order",
            ),
            ("rotation.ry(pitch)", "rotation.ry(-pitch)", "sign"),
            ("rotation.rx(roll)", "rotation.rx(roll).T", "transpose"),
            ("rotation.rx(roll)", "rotation.rx(np.radians(roll))", "degrees"),
        ],
    },
    "11": {
        "roll_pitch_yaw": [
            ("-R[2, 0]", "R[2, 0]"),
            ("np.arctan2(R[1, 0], R[0, 0])", "np.arctan(R[1, 0] / R[0, 0])"),
            ("R[2, 1], R[2, 2])\n", "R[1, 2], R[2, 2])\n"),
        ],
        "angle_of": [
            ("np.arctan2(double_sine, np.trace(R) - 1)", "np.arccos((np.trace(R) - 1) / 2)"),
            ("np.arctan2(double_sine, np.trace(R) - 1)", "np.arcsin(double_sine / 2)"),
        ],
        "lens_from_sensor": [("w, x, y, z = sent", "x, y, z, w = sent"), ("+ w * y", "- w * y")],
        "level_torsion": [("psi + azimuth", "psi"), ("-np.sin(azimuth)", "np.sin(azimuth)")],
    },
    "12": {
        "base_axis": [
            ("[0, 0, -1]", "[0, 0, 1]", "sign"),
            ("rotation.rz(azimuth)", "rotation.rz(azimuth).T", "transpose"),
            (
                "rotation.rz(azimuth) @ rotation.ry(-base_cone)",
                "rotation.ry(-base_cone) @ rotation.rz(azimuth)",
                "order",
            ),
            (
                "rotation.rz(azimuth) @ rotation.ry(-base_cone) @ [0, 0, -1]",
                "[np.cos(base_cone) * np.cos(azimuth), np.cos(base_cone) * np.sin(azimuth), -np.sin(base_cone)]",
                "sin-cos",
            ),
            (
                "rotation.rz(azimuth) @ rotation.ry(-base_cone) @ [0, 0, -1]",
                "[np.tan(base_cone) * np.cos(azimuth), np.tan(base_cone) * np.sin(azimuth), -1]",
                "length",
            ),
        ],
        "elbow_axis": [
            (" @ rotation.rz(np.pi)", "", "missing-factor"),
            ("rotation.rz(theta)", "rotation.rz(-theta)", "sign"),
            ("np.pi - base_cone", "base_cone", "cone-supplement"),
            ("rotation.ry(proximal)", "rotation.ry(proximal).T", "transpose"),
        ],
        "platform_axis": [
            ("@ rotation.rx(roll) @ v", "@ v", "missing-factor"),
            (
                "rotation.rz(yaw) @ rotation.ry(pitch) @ rotation.rx(roll)",
                "(rotation.rz(yaw) @ rotation.ry(pitch) @ rotation.rx(roll)).T",
                "transpose",
            ),
            ("rotation.ry(platform_cone)", "rotation.ry(np.pi - platform_cone)", "cone-supplement"),
            ("rotation.rz(azimuth)", "rotation.rz(-azimuth)", "legs-reversed"),
        ],
        "frame_from_measurement": [("np.cross(u, x)", "np.cross(x, u)"), ("- (w_zero @ u) * u", "- u")],
    },
    "13": {
        "leg_equation": [
            ("- np.cos(distal)", "+ np.cos(distal)", "sign"),
            ("np.cos(proximal) * Z - np.cos(distal)", "np.cos(distal) * Z - np.cos(proximal)", "links-swapped"),
            ("np.sin(azimuth) * vx - np.cos(azimuth) * vy", "np.cos(azimuth) * vy - np.sin(azimuth) * vx", "sign"),
            ("b = np.sin(proximal) * sideways", "b = sideways", "missing-factor"),
            ("Z = np.sin(base_cone) * outwards - np.cos(base_cone) * vz", "Z = np.cos(base_cone) * outwards", ""),
        ],
        "span_limits": [("min(total, 2 * np.pi - total)", "total"), ("abs(proximal - distal)", "proximal - distal")],
        "with_zero_at": [
            ("a * np.cos(zero) + b * np.sin(zero)", "a * np.cos(zero) - b * np.sin(zero)"),
            (
                "a * np.cos(zero) + b * np.sin(zero), b * np.cos(zero) - a * np.sin(zero)",
                "a * np.cos(zero) - b * np.sin(zero), b * np.cos(zero) + a * np.sin(zero)",
            ),
        ],
    },
    "14": {
        "half_angle": [
            ("c - a, 2 * b, c + a", "c - a, b, c + a", "half-angle"),
            ("c - a, 2 * b, c + a", "c + a, 2 * b, c - a", "order"),
            ("c - a, 2 * b, c + a", "c - a, -2 * b, c + a", "sign"),
        ],
        "motor_angle": [
            ("root = mode * np.sqrt(D)", "root = -mode * np.sqrt(D)", "other-elbow"),
            (
                "np.arctan2(-b * c - a * root, -a * c + b * root)",
                "np.arctan((-b * c - a * root) / (-a * c + b * root))",
                "quadrant",
            ),
            (
                "np.arctan2(-b * c - a * root, -a * c + b * root)",
                "np.arctan2(-a * c + b * root, -b * c - a * root)",
                "",
            ),
            ("-b * c - a * root", "b * c - a * root", "sign"),
            (
                "np.arctan2(-b * c - a * root, -a * c + b * root)",
                "2 * np.arctan(-b + root / (c - a))",
                "brackets",
            ),
        ],
        "mode_of": [("b * np.cos(theta)", "b * np.sin(theta)"), ("- a * np.sin(theta)", "+ a * np.sin(theta)")],
        "nearest_turn": [("(near - theta)", "(theta - near)"), ("np.round(", "np.floor(")],
        "motor_angle_full": [
            ("np.pi - base_cone", "base_cone", "cone-supplement"),
            (
                'turn("z", yaw) @ turn("y", pitch) @ turn("x", roll)',
                'turn("x", roll) @ turn("y", pitch) @ turn("z", yaw)',
                "order",
            ),
            ("root = mode", "root = -mode", "other-elbow"),
            ("- np.cos(distal)", "+ np.cos(distal)", "sign"),
        ],
    },
    "17": {
        "sense": [("% 2", "% 3"), ("-1 if", "1 if"), (" + crossed", "")],
        "reading": [("- tripped", "+ tripped"), ("sense * ", ""), (")[leg]", ")[0]")],
        "sense_and_elbow": [("-np.sign(yawed)", "np.sign(yawed)"), ("-sense * ", "-")],
    },
    "15": {
        "orientation_home": [
            ("base.T @ R_theirs @ platform", "base @ R_theirs @ platform.T"),
            ("base.T @ R_theirs @ platform", "base.T @ R_theirs @ base"),
            ("@ platform", ""),
        ],
        "told_to_driver": [
            ("theta[leg_order[k]] - zero[k]", "theta[leg_order[k]] - zero[leg_order[k]]"),
            ("sense[k] * (theta[leg_order[k]] - zero[k])", "sense[k] * theta[leg_order[k]] - zero[k]"),
            ("theta[leg_order[k]]", "theta[list(leg_order).index(k)]"),
        ],
        "elbow_in_sheet": [
            ("rotation.rx(np.pi) @ w", "w", "frame"),
            ("-theta + home_angle", "theta + home_angle", "sign"),
            ("-theta + home_angle", "-theta", "zero-offset"),
            ("-theta + home_angle", "-(theta + home_angle)", "sign"),
        ],
        "one_tick": [
            (
                "rotation.rx(aside * dt) @ R @ rotation.ry(up * dt)",
                "R @ rotation.rx(aside * dt) @ rotation.ry(up * dt)",
            ),
            (
                "rotation.rx(aside * dt) @ R @ rotation.ry(up * dt)",
                "rotation.ry(up * dt) @ R @ rotation.rx(aside * dt)",
            ),
        ],
    },
    "16": {
        "elbow_axis": [
            ("z = -np.cos(base_cone)", "z = np.cos(base_cone)", "sign"),
            ("+ np.sin(azimuth) * side", "- np.sin(azimuth) * side", "sign"),
            ("np.cos(base_cone) * np.sin(proximal) * np.cos(theta)\n    side", "np.sin(proximal)\n    side", ""),
        ],
        "motor_angle": [
            ("np.arctan2(a, b)", "np.arctan2(b, a)"),
            ("np.arctan2(-c, root)", "np.arctan2(c, root)", "sign"),
            ("root = mode", "root = -mode", "other-elbow"),
        ],
        "leg_equation": [
            ("out + np.sin(base_cone) * vz", "out - np.sin(base_cone) * vz", "sign"),
            ("- np.cos(distal)", "- np.cos(proximal)", "links-swapped"),
        ],
        "elbow_axis_of_paper": [
            ("-up", "up"),
            ("np.cos(azimuth) * side - np.sin(azimuth) * out, -up", "np.sin(azimuth) * out, up"),
        ],
    },
    "20": {
        "leg_quadric": [
            ("np.outer(w, v) + np.outer(v, w)", "2 * np.outer(w, v)"),
            ("np.cross(v, w)", "np.cross(w, v)"),
            ("cosine * np.eye(4)", "cosine"),
            ("Q[3, 3] = np.dot(w, v)", "Q[3, 3] = -np.dot(w, v)"),
        ],
        "how_many": [
            ("counts.sum()", "len(counts)"),
            ("counts.sum()", "counts.max()"),
        ],
        "last_pose": [
            ("near=here", "near=start"),
            (
                "    for line in log:\n        here = ",
                "    here = assembly_modes(hide, log[-1])[0]\n    for line in log[:0]:\n        here = ",
            ),
        ],
        "behind_the_gap": [
            (", mode=working_mode(hide, near, before)", ""),
            ("working_mode(hide, near, before)", "(1, 1, 1)"),
            ("working_mode(hide, near, before)", "working_mode(hide, near, after)"),
            ("working_mode(hide, near, before)", "-working_mode(hide, near, before)"),
        ],
        "turned_together": [
            ("rotation.rz(-delta) @ R", "rotation.rz(delta) @ R"),
            ("rotation.rz(-delta) @ R", "R @ rotation.rz(-delta)"),
            ("rotation.rz(-delta) @ R", "rotation.rz(-delta)"),
        ],
    },
    "21": {
        "motor_rate": [
            ("np.cross(w, p)", "np.cross(u, w)"),
            ("n @ omega / (n @ u)", "n @ omega / (n @ w + 1)"),
            ("n @ omega / (n @ u)", "-n @ omega / (n @ u)"),
        ],
        "hold": [
            ("-J.T @ load", "J.T @ load"),
            ("-J.T @ load", "-J @ load"),
            ("R @ offset", "offset"),
            ("mass * up", "mass * np.array([0, 0, 1])"),
        ],
        "limited": [
            ("rates * limit / fastest", "np.clip(rates, -limit, limit)"),
            ("abs(rates).max()", "rates.max()"),
        ],
        "singular_type": [
            ("flat_leg + 2 * flat_box", "2 * flat_leg + flat_box"),
            ("abs(along_u).min()", "abs(along_u).max()"),
        ],
    },
    "22": {
        "least_D": [("max(psi - rho, 0)", "psi - rho"), (" - np.cos(alpha_1) * np.cos(alpha_2)", "")],
        "end_of_links": [
            ("min(longest - psi, psi - abs(alpha_1 - alpha_2))", "longest - psi"),
            ("min(alpha_1 + alpha_2, 2 * np.pi - alpha_1 - alpha_2)", "alpha_1 + alpha_2"),
        ],
        "judge": [("- slope * rho", "+ slope * rho"), ("return -1", "return 0")],
    },
    "30": {
        "belt_length": [
            ("(np.pi / 2 - lean) * d + (np.pi / 2 + lean) * D", "(np.pi / 2 + lean) * d + (np.pi / 2 - lean) * D"),
            ("2 * distance * np.cos(lean)", "2 * distance"),
            ("np.arcsin((D - d) / (2 * distance))", "np.arcsin((D - d) / distance)"),
            ("(D - d)", "abs(D - d)"),
        ],
        "motor_steps": [("round(", "int("), ("theta * ratio", "theta / ratio"), ("2 * np.pi", "360")],
        "torque_there": [
            ("speed * ratio, *", "speed / ratio, *"),
            (", right=0", ""),
            ("motor * ratio * efficiency", "motor * ratio"),
            ("motor * ratio * efficiency", "motor / ratio * efficiency"),
        ],
        "joint_pulley": [
            ("math.ceil(least * motor_teeth)", "round(least * motor_teeth)"),
            ("np.pi + 2 * lean", "np.pi - 2 * lean"),
            ("np.pi + 2 * lean - 2 * 10 * mm / D", "np.pi + 2 * lean"),
        ],
    },
    "31": {
        "tip_deflection": [("3 * np.pi / 4 - 2", "np.pi / 4"), ("(E * I_out)", "(E * J)"), ("r**3", "r**2")],
        "drive_stiffness": [
            ("ratio**2", "ratio"),
            ("1 / (1 / belt + 1 / motor)", "belt + motor"),
            ("2 * strain_force", "strain_force"),
        ],
        "modulus": [("width * height**3", "height * width**3"), ("(3 * I * sag)", "(48 * I * sag)")],
        "gain": [("times**3", "times**2"), ("share_across * (1 - 1 / times)", "share_across * (1 - 1 / times**3)")],
    },
    "32": {
        "poses_needed": [("np.ceil", "np.floor"), (" / 3", ""), ("unknowns + spare", "unknowns - spare")],
        "turn_of_pose": [
            ("np.linalg.solve(N, e)", "np.linalg.solve(N.T, e)"),
            ("np.linalg.solve(N, e)", "N @ e"),
            ("np.linalg.norm(np.linalg.solve(N, e))", "np.abs(np.linalg.solve(N, e)).max()"),
        ],
        "one_zero": [("(len(k) - 1)", "len(k)"), ("(k @ e) / (k @ k)", "(e / k).mean()"), (" / (k @ k))])", ")])")],
        "teeth_slipped": [
            ("round(", "int("),
            ("2 * np.pi", "360"),
            (">= tooth / 2", ">= tooth"),
            ("return round(shift", "return round(abs(shift)"),
        ],
    },
    "34": {
        "counted": [
            ("mode * sense", "mode"),
            ("sense * (b * cosine - a * sine)", "b * cosine - a * sine"),
            ("a * cosine + b * sine", "a * cosine - b * sine"),
            ("np.cos(zero), np.sin(zero)", "np.cos(sense * zero), np.sin(sense * zero)"),
        ],
        "gate": [
            ("(abs(R @ R.T - np.eye(3)) <= 1e-5).all()", "not (abs(R @ R.T - np.eye(3)) > 1e-5).any()"),
            (" and np.linalg.det(R) > 0", ""),
            ("(abs(R @ R.T - np.eye(3)) <= 1e-5).all() and np.linalg.det(R) > 0", "abs(np.linalg.det(R) - 1) < 1e-5"),
            (".all() else 3", ".any() else 3"),
        ],
        "nearest_D": [("** 2", ""), ("2.0**-23", "2.0**-52"), (" - np.pi", "")],
        "to_motors": [
            ("<= jump).all()", "<= jump).any()"),
            ("abs(theta - last)", "(theta - last)"),
            ("(abs(theta - last) <= jump).all()", "not (abs(theta - last) > jump).any()"),
            ("code == 0 and ", ""),
        ],
    },
    "33": {
        "slerp_weights": [
            ("first = (1 - tau) * np.sinc((1 - tau) * omega / np.pi) / whole", "first = 1 - tau"),
            ("return first, second", "return second, first"),
            ("omega / np.pi)\n", "omega)\n"),
        ],
        "room_after_stop": [
            ("velocity * abs(velocity)", "velocity**2"),
            ("(2 * acceleration)", "acceleration"),
            ("min(rest - low, high - rest)", "high - rest"),
        ],
        "peak_acceleration": [
            ("tick**2", "tick"),
            ("np.concatenate([theta[:1], theta, theta[-1:]])", "theta"),
            ("np.abs(np.diff(padded, 2, axis=0)).max", "np.diff(padded, 2, axis=0).max"),
        ],
    },
}
