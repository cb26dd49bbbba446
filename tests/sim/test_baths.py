"""Ice, boiling water and freezing solder at the simulated bench, and couples that misread."""

import pytest

from emberbed_sim.control_channel import ControlChannel
from emberbed_sim.plant import baths
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters


def after(seconds, heater):
    for _tick in range(round(seconds * 10)):
        heater.step(0, 0)
    return heater.truth.beads_c


@pytest.mark.parametrize(
    ("kpa", "celsius"),
    # IAPWS-IF97 through PyPI `iapws` 1.5.5, another equation than the one here
    [(101.325, 99.974), (99.0, 99.325), (90.0, 96.687), (70.0, 89.932)],
)
def test_water_boils_where_the_tables_say(kpa, celsius):
    assert baths.boils_c(kpa) == pytest.approx(celsius, abs=0.002)


@pytest.mark.parametrize("kpa", [0.0, 1e6, float("nan")])
def test_no_water_boils_there(kpa):
    with pytest.raises(ValueError, match="does not boil"):
        baths.boils_c(kpa)


def test_a_bead_goes_into_a_bath_and_back():
    heater = SimulatedHeater(BenchParameters(), 1)
    heater.dip(0, "ice")
    heater.dip(1, "boiling", 99.0)
    assert after(60, heater) == pytest.approx((0.0, 99.325), abs=0.01)
    heater.dip(0, None)
    assert after(60, heater)[0] == pytest.approx(23.0, abs=0.1)


def test_solder_stands_while_it_freezes():
    drop = baths.bath_of("freezing", 183.0, 10.0)
    course = [drop.at_c(10.0 + second) for second in range(120)]
    assert course[0] == pytest.approx(183.0 + baths.DROP_OVER_C)
    assert sum(one == 183.0 for one in course) in (25, 26)  # DROP_FREEZES_S
    assert sorted(course, reverse=True) == course and course[-1] < 100


def test_a_couple_that_misreads_shows_it_and_the_bead_does_not_change():
    heater, sound = (SimulatedHeater(BenchParameters(), 1) for _one in range(2))
    heater.misread(1, 2.0, 1.01)
    beads_c = after(5, heater)
    assert beads_c == after(5, sound)
    assert heater.beads.shown_c()[0] == beads_c[0]
    assert heater.beads.shown_c()[1] == pytest.approx(beads_c[1] * 1.01 + 2)
    assert heater.words != sound.words


def test_the_control_channel_reaches_them():
    heater = SimulatedHeater(BenchParameters(), 1)
    lines = ["bath 0 boiling 99", "bath 1 block 150", "wrong 1 2 1.01", "bath 0 lava 3",
             "bath 9 ice", "bath 0 boiling warm", "wrong 1 nan 1", "bath 0 boiling -1"]  # fmt: skip
    control = ControlChannel(lines)
    while not control.ended:
        control.obey(heater, 0.0)
    assert after(60, heater) == pytest.approx((99.325, 150.0), abs=0.01)
    assert heater.beads.shown_c()[1] == pytest.approx(153.5, abs=0.02)


def test_what_is_no_bath():
    heater = SimulatedHeater(BenchParameters(), 1)
    with pytest.raises(ValueError, match="take ice, boiling, freezing or block"):
        heater.dip(0, "lava")
    with pytest.raises(ValueError, match="Channel 7 has no sensor"):
        heater.dip(7, "ice")
    with pytest.raises(ValueError, match="Channel 7 has no sensor"):
        heater.misread(7, 0.0, 1.0)
