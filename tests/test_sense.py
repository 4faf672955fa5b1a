"""The picture of motor, belt and pulley: its sense, its words, and that its arrows turn the way it says."""

import re
from itertools import product

import numpy as np
import pytest

from legloop import Convention
from legloop.lesson.sense import draw_sense, sense_of

CASES = list(product((False, True), repeat=3))


def turns(picture, role):
    """+1 for a counter-clockwise arrow of that role, -1 for a clockwise one, from the arrow's own points.

    Pixels count downwards, so counter-clockwise over the top runs from right to left.
    """
    found = []
    for start, end in re.findall(
        rf'll-s ll-{role}" stroke-width="2.2" d="M([\d.]+) [\d.]+A.*? ([\d.]+) [\d.]+"', picture.svg
    ):
        found.append(1 if float(end) < float(start) else -1)
    return found


@pytest.mark.parametrize(("clockwise", "away", "crossed"), CASES)
def test_arrows_words_and_number_agree(clockwise, away, crossed):
    options = {"clockwise": clockwise, "away": away, "crossed": crossed}
    picture, sense = draw_sense(**options), sense_of(**options)
    assert sense == np.prod([-1 if turned else 1 for turned in (clockwise, away, crossed)])
    assert turns(picture, "ink") == [1]  # plus theta: counter-clockwise, u towards the eye
    assert turns(picture, "leg2") == [sense]
    assert turns(picture, "leg1") == [sense * (-1 if crossed else 1)]  # an open belt keeps what one sees
    assert f"sense {'+1' if sense > 0 else '−1'}" in picture.alt
    assert "crossed" in picture.alt
    assert ("not crossed" in picture.alt) != crossed
    assert (">back<" in picture.svg) == away


def test_the_sense_is_the_one_of_a_convention():
    machine = Convention(sense=[sense_of(), sense_of(away=True), sense_of(away=True, crossed=True)])
    np.testing.assert_array_equal(np.sign(machine.angles_to_theirs([0.1, 0.1, 0.1])), (1, -1, 1))
