"""The C header compiled beside a driver that runs poses through it: what the tests of the header share."""

import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from legloop import Convention
from legloop.lesson.cases import bird_hide, random_orientations
from legloop.workshop.drive import BeltDrive
from legloop.workshop.firmware import write_header
from legloop.workshop.units import mm

HIDE = bird_hide()
DRIVE = BeltDrive(20, 60, pitch=2 * mm, centre_distance=75 * mm)
DTYPE = {"float": np.float32, "double": np.float64}
UNTOUCHED = 77.0

WARNINGS = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-Wconversion", "-Wdouble-promotion"]
MORE_WARNINGS = ["shadow", "cast-qual", "strict-prototypes", "missing-prototypes", "undef", "float-equal"]
MORE_WARNINGS += ["switch-enum", "unused-macros", "redundant-decls", "declaration-after-statement", "vla"]
"""What careful projects add: no build should have to make an exception for this header."""
SANITIZERS = ["-fsanitize=address,undefined", "-fsanitize=float-cast-overflow", "-fno-sanitize-recover=all"]

DRIVER = """
#include "joint.h"
#include "joint.h"
#include <stdio.h>

/* Records of scalars in, records of doubles out: a code, then the outputs, which hold 77 before each call. */
static size_t take(legloop_scalar *values, size_t count)
{
    return fread(values, sizeof *values, count, stdin) == count;
}

static void give(int code, const legloop_scalar *values, int count)
{
    double out[10];
    int i;

    out[0] = (double)code;
    for (i = 0; i < count; ++i) {
        out[i + 1] = (double)values[i];
    }
    fwrite(out, sizeof *out, (size_t)count + 1, stdout);
}

int main(int argc, char **argv)
{
    legloop_scalar in[14], out[9];
    const char task = argc > 1 ? argv[1][0] : 'c';
    int i;

    for (;;) {
        for (i = 0; i < 9; ++i) {
            out[i] = (legloop_scalar)77;
        }
        if (task == 's' && take(in, 9)) {
            give(legloop_solve(in, out, out + 3), out, 4);
        } else if (task == 't' && take(in, 14)) { /* r, the last angles, the last volume, jump */
            give(legloop_track(in, in + 9, in[12], in[13], out, out + 3), out, 4);
        } else if (task == 'a' && take(in, 14)) { /* as the loop of a program would: both are written over */
            const int code = legloop_track(in, in + 9, in[12], in[13], in + 9, in + 12);
            give(code, in + 9, 4);
        } else if (task == 'q' && take(in, 4)) {
            give(legloop_from_quaternion(in, out), out, 9);
        } else if (task == 'u' && take(in, 5)) {
            give(legloop_normalise(in, in[4], out), out, 4);
        } else if (task == 'v' && take(in, 5)) { /* in place */
            const int code = legloop_normalise(in, in[4], in);
            give(code, in, 4);
#ifdef STEPS
        } else if (task == 'n' && take(in, 3)) {
            long steps[3] = {77, 77, 77};
            double told[4];
            told[0] = (double)legloop_steps(in, steps);
            for (i = 0; i < 3; ++i) {
                told[i + 1] = (double)steps[i];
            }
            fwrite(told, sizeof *told, 4, stdout);
#endif
        } else {
            break;
        }
    }
    return task == 'c' ? legloop_self_test() : 0;
}
"""


@dataclass
class Program:
    """A compiled header with its driver."""

    file: Path
    scalar: str
    text: str

    def __call__(self, task, *columns):
        """Codes (n,) and outputs (n, k); `columns` are (n, ...) each, one record in a row."""
        with np.errstate(invalid="ignore", over="ignore"):  # NaN of every kind may come in
            rows = np.concatenate([np.reshape(c, (len(c), -1)) for c in columns], axis=1).astype(DTYPE[self.scalar])
        done = subprocess.run([self.file, task], input=rows.tobytes(), capture_output=True, check=False)
        assert (done.returncode, done.stderr) == (0, b""), done.stderr.decode()
        out = np.frombuffer(done.stdout).reshape(len(rows), -1)
        return out[:, 0].astype(int), out[:, 1:]

    def solve(self, R):
        """Codes, angles and V of `legloop_solve`."""
        code, out = self("s", R)
        return code, out[:, :3], out[:, 3]

    def track(self, R, last, jump, *, volume=None, task="t"):
        """Codes, angles and V of `legloop_track`. Unless given, the last V is that of R, or 1 if it has none."""
        if volume is None:
            code, _, volume = self.solve(R)
            volume = np.where(code == 0, volume, 1.0)
        code, out = self(task, R, last, np.reshape(volume, (-1, 1)), np.reshape(jump, (-1, 1)))
        return code, out[:, :3], out[:, 3]

    def self_test(self):
        return subprocess.run([self.file], capture_output=True, check=False).returncode


def compiled(cc, folder, text, scalar, extra=SANITIZERS):
    folder.mkdir(exist_ok=True)
    (folder / "joint.h").write_text(text)
    (folder / "main.c").write_text(DRIVER)
    steps = ["-DSTEPS"] if "legloop_steps" in text else []
    command = [cc, *WARNINGS, "-pedantic", *steps, *extra, folder / "main.c", "-o", folder / "run", "-lm"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return Program(folder / "run", scalar, text)


def random_convention(seed):
    rng = np.random.default_rng(seed)
    base, platform = random_orientations(2, seed)
    return Convention(base, platform, rng.permutation(3), rng.choice([-1, 1], 3), rng.uniform(-6, 6, 3))


def rounded(R, scalar="float"):
    return np.asarray(R).astype(DTYPE[scalar]).astype(float)


def text_of(folder, m=HIDE, **options):
    write_header(folder / "joint.h", m, overwrite=True, **options)
    return (folder / "joint.h").read_bytes().decode("ascii")


def volumes(m, R, theta):
    """V by cross products from the axes of the joint, (n,): what `singularity` and the C are held to."""
    s, c = np.sin(m.proximal), np.cos(m.proximal)
    w = np.stack([s * np.cos(theta), s * np.sin(theta), np.broadcast_to(c, np.shape(theta))], axis=-1)
    w = np.einsum("lij,...lj->...li", m.base_frames, w)
    n = np.cross(w, np.einsum("...ij,lj->...li", R, m.platform_axes)) / np.sin(m.distal)[:, None]
    return np.linalg.det(n)
