"""The C header on other processors than this one: an 8-bit AVR, two Cortex-M, and x87, which computes in long double.

The self-test of the header holds the answers of this package; here it runs where those answers can go wrong: in other
libraries for `math.h`, in software arithmetic, and in registers that are wider than a variable.
"""

import platform
import subprocess

import numpy as np
import pytest

from boards import AVR, M3, M4F
from c_header import DRIVE, HIDE, compiled, random_convention, text_of
from common import FULL
from legloop import Convention, deg, inverse_kinematics, rotation
from legloop.lesson.cases import random_joints
from legloop.workshop.firmware import Status

TURNED = Convention(zero=(3.0, -3.0, 3.0), leg_order=(0, 2, 1), sense=(1, -1, -1))
MACHINES = {
    "plain": (HIDE, {}),
    "turned": (HIDE, {"drive": DRIVE, "motor_limits": (-3.1, 3.1), "convention": TURNED}),
    "unlike legs": (random_joints(1, seed=3)[0], {"mode": (1, -1, 1), "convention": random_convention(4)}),
}
BOARDS = {"AVR": AVR, "M3": M3, "M4F": M4F}
CASES = [(board, machine, scalar) for board in BOARDS for machine in MACHINES for scalar in ("float", "double")]
CASES = [case for case in CASES if case[0] != "AVR" or case[2] == "float"]  # its double is a float: see below


@pytest.mark.parametrize(("board", "machine", "scalar"), CASES)
def test_the_self_test_passes_on_a_microcontroller(board, machine, scalar, tmp_path):
    m, options = MACHINES[machine]
    text = text_of(tmp_path, m, scalar=scalar, **options)
    for level in ("-Os", "-O0", "-O3") if FULL else ("-Os",):
        assert BOARDS[board].self_test(tmp_path, text, level) == 0


@pytest.mark.parametrize("board", BOARDS)
def test_there_too_it_fails_where_something_is_wrong(board, tmp_path):
    """So that the 0 above is an answer of the header, and not one of the emulator."""
    text = text_of(tmp_path).replace("root = elbow *", "root = -elbow *")
    assert BOARDS[board].self_test(tmp_path, text) == 1


def test_a_header_in_double_is_refused_where_a_double_is_a_float(tmp_path):
    with pytest.raises(AssertionError, match="legloop_scalar_is_long_enough"):
        AVR.self_test(tmp_path, text_of(tmp_path, scalar="double"))


# --- registers wider than a variable ------------------------------------------------------------------------


def wide(cc, tmp_path, *flags):
    """The flags, if this compiler can link with them; else the test is left out and says so."""
    if platform.machine() not in ("x86_64", "AMD64", "i686"):
        pytest.skip(f"this processor is a {platform.machine()}: it has no x87 arithmetic")
    (tmp_path / "try.c").write_text("#include <math.h>\nint main(void) { return 0; }\n")
    done = subprocess.run([cc, *flags, "try.c", "-o", "try", "-lm"], cwd=tmp_path, capture_output=True, check=False)
    if done.returncode:
        pytest.skip(f"this compiler does not link with {' '.join(flags)}: x87 arithmetic was not tried")
    return list(flags)


@pytest.mark.parametrize("flags", [("-mfpmath=387",), ("-m32", "-mfpmath=387")], ids=["x87", "32 bits"])
@pytest.mark.parametrize("scalar", ["float", "double"])
def test_x87_arithmetic_changes_nothing(cc, tmp_path, scalar, flags):
    flags = wide(cc, tmp_path, *flags)
    m, options = MACHINES["turned"]
    text = text_of(tmp_path, m, scalar=scalar, **options)
    for level in ("-O0", "-O2", "-O3"):
        for kind in ("standard", "fast"):  # what may stay in the registers: nothing that is assigned, or anything
            built = compiled(
                cc, tmp_path / f"{level}{kind}", text, scalar, [*flags, level, f"-fexcess-precision={kind}"]
            )
            assert built.self_test() == 0, (level, kind)


def test_in_x87_arithmetic_the_ends_of_arguments_are_still_within(cc, tmp_path):
    """A literal that is kept in long double lies below the same number in a variable: `<=` then fails at equality."""
    flags = wide(cc, tmp_path, "-mfpmath=387")
    program = compiled(cc, tmp_path / "x87", text_of(tmp_path), "float", [*flags, "-O2"])
    pi, tenth = np.float32(np.pi), np.float32(0.1)
    home = HIDE.home_angles()
    assert program.track([np.eye(3)], [home], pi)[0] == Status.SOLVED
    assert program("u", [[0, 0, 0, 1.09]], [[tenth]])[0] == Status.SOLVED
    R = rotation.from_rotation_vector(np.random.default_rng(3).normal(size=(3000, 3)) * 20 * deg)
    code, theta, _ = program.solve(R)
    exact = inverse_kinematics(HIDE, R.astype(np.float32).astype(float), unreachable="nan")
    solved = code == Status.SOLVED
    assert solved.mean() > 0.9
    np.testing.assert_allclose(
        theta[solved], exact[solved], rtol=0, atol=1e-4
    )  # D is above 8e-4: 32 eps over its root
