"""Random numbers of a bench: those of Python's own generator, and a copy that goes on alike."""

from copy import deepcopy
from random import Random

import pytest

from emberbed_sim.plant.draws import Draws


@pytest.mark.parametrize("seed", [0, 7, "hits 7"])
def test_the_numbers_are_those_of_pythons_generator(seed):
    own, reference = Draws(seed), Random(seed)
    for _ in range(5):
        assert own.random() == reference.random()
        assert own.gauss(0.0, 1.0) == reference.gauss(0.0, 1.0)


def test_a_copy_goes_on_alike_and_apart():
    one = Draws(3)
    one.gauss(0.0, 1.0)  # leaves half of a pair behind
    other = deepcopy(one)
    numbers = [one.gauss(0.0, 1.0) for _ in range(7)]
    assert [other.gauss(0.0, 1.0) for _ in range(7)] == numbers
