"""The coupling matrix: found again from made data, held against a solver and the literature."""

import numpy as np
import pytest

from emberbed.heater.coupling import (
    CouplingMistake,
    even_shares,
    fit_coupling,
    relative_gains,
    sharpness,
)
from emberbed.profiles.zones import Coupling
from emberbed_sim.plant.grid_thermal import GridThermal
from emberbed_sim.plant.heater import plant_of
from tests.host.heater.zone_steps import bench, made_steps, steps_on_bench

MADE = np.array([[1.2, 0.6], [0.5, 1.1]])


def shares_of(rise) -> tuple[float, ...]:
    rows = tuple(tuple(row) for row in rise)
    names = tuple(f"s{number}" for number in range(len(rows)))
    found = even_shares(Coupling(names, rows), names)
    assert found is not None
    return found


def test_a_made_matrix_is_found_again():
    """Data of the same equations by scipy's RK45; what is told apart least is each number alone."""
    found = fit_coupling(made_steps(MADE))
    assert np.array(found.coupling.rise_k_per_s) == pytest.approx(MADE, rel=0.06)
    assert shares_of(found.coupling.rise_k_per_s) == pytest.approx(shares_of(MADE), rel=0.02)
    assert found.rms_c < 0.1


def test_three_zones_and_a_sensor_more():
    rise = np.array([[1.2, 0.4, 0.3], [0.3, 0.5, 1.0], [0.4, 1.1, 0.3], [0.5, 0.5, 0.5]])
    found = fit_coupling(made_steps(rise)).coupling
    assert found.sensors == ("sensor0", "sensor2", "sensor1", "sensor3")  # each zone's own first
    assert np.array(found.rise_k_per_s) == pytest.approx(rise[[0, 2, 1, 3]], rel=0.1, abs=0.03)


def test_relative_gains_of_a_textbook_column():
    """Wood and Berry 1973, a distillation column; its relative gain is given as 2.0 (2.01) in
    textbooks of process control; matrix and value from memory. Rows and columns add up to 1
    (Bristol 1966)."""
    gains = relative_gains(np.array([[12.8, -18.9], [6.6, -19.4]]))
    assert gains[0, 0] == pytest.approx(2.01, abs=0.005)
    assert gains.sum(axis=0) == pytest.approx([1, 1])
    assert gains.sum(axis=1) == pytest.approx([1, 1])


def test_zones_that_do_not_touch_have_a_gain_of_one():
    assert sharpness([[2.0, 0.0], [0.0, 0.1]]) == 1
    assert sharpness([[1.0, 1.0], [1.0, 1.0]]) == float("inf")


def test_even_shares_warm_every_sensor_alike():
    for rise in (MADE, np.array([[1.0, 0.3, 0.1], [0.3, 1.1, 0.2], [0.2, 0.2, 0.8]])):
        warmed = rise @ np.array(shares_of(rise))
        assert warmed == pytest.approx(np.full(len(rise), rise[0].sum()), rel=1e-3)


@pytest.mark.parametrize(
    "rise",
    [
        [[1.0, 0.9], [0.9, 0.85]],  # sharp
        [[1.0, 1.0], [1.0, 1.0]],  # singular
        [[0.1, 1.0], [1.0, 0.2]],  # crossed: the first zone would get less than nothing like it
        [[1.0, 0.02], [0.1, 0.03]],  # the second would need thirty times its power
    ],
)
def test_shares_without_sense_are_none(rise):
    names = ("a", "b")
    rows = tuple(tuple(row) for row in rise)
    found = even_shares(Coupling(names, rows), names)
    assert found is None or all(0.2 <= one <= 2.5 for one in found)
    if rise[0][0] != 0.1:
        assert found is None


def low_frequency_gains(mass_g: float, per_s: float) -> np.ndarray:
    """Return sensor by zone of the plant itself, linearised at 100 degC: C (s - A)^-1 B, numpy."""
    parameters = bench(mass_g)
    heat = plant_of(parameters, "two-zones")
    assert isinstance(heat, GridThermal)
    plant = heat.plant
    plant.set_board_c(100.0)
    plant.set_around_c(300.0, 50.0, 30.0)
    still, nodes, off = plant.state[0].copy(), plant.layout.nodes, np.zeros(plant.zones)

    def rates(state: np.ndarray, zone_w: np.ndarray) -> np.ndarray:
        return plant.rates(state, zone_w)[:nodes]

    a = np.empty((nodes, nodes))
    for node in range(nodes):
        moved = np.zeros_like(still)
        moved[node] = 1e-3
        a[:, node] = (rates(still + moved, off) - rates(still - moved, off)) / 2e-3
    full_w = np.diag(plant.rated_w)
    b = np.column_stack([rates(still, row) - rates(still, off) for row in full_w])
    response = np.linalg.solve(per_s * np.eye(nodes) - a, b)
    gains = []
    for placed in parameters.sensors:
        before_c = heat.place_c(placed)
        row = []
        for zone in range(plant.zones):
            plant.state[0, :nodes] = still[:nodes] + response[:, zone]
            row.append(heat.place_c(placed) - before_c)
            plant.state[0, :nodes] = still[:nodes]
        gains.append(row)
    return np.array(gains)


@pytest.mark.parametrize(("mass_g", "within"), [(90.0, 0.2), (240.0, 0.08)])
def test_the_step_test_finds_the_shares_of_the_plant_itself(mass_g, within):
    """Against the plant's own equations, linearised and solved by numpy at a time scale of 20 s,
    before losses tell: the powers that warm both sensors alike have this proportion. A light board
    swings further in the test than a few lumps follow."""
    found = fit_coupling(steps_on_bench(mass_g)).coupling
    assert found.sensors == ("top_near_chip", "edge")
    shares = shares_of(found.rise_k_per_s)
    true_shares = np.linalg.solve(low_frequency_gains(mass_g, 1 / 20), np.ones(2))
    assert shares[1] / shares[0] == pytest.approx(true_shares[1] / true_shares[0], rel=within)


def refused(steps) -> str:
    with pytest.raises(CouplingMistake) as refusal:
        fit_coupling(steps)
    return str(refusal.value)


def test_a_zone_that_was_never_on_alone():
    said = refused(made_steps(MADE, alone=False))
    assert said.startswith("zone 0 was never on by itself") and "again" in said


def test_a_zone_that_warms_nothing():
    said = refused(made_steps(np.array([[1.2, 0.0], [0.6, 0.0]])))
    assert said.startswith("zone 1 warms none of sensor0, sensor1: ") and "SSR" in said


def test_zones_that_cannot_be_told_apart_are_named():
    alike = np.array([[1.0, 0.3, 0.62], [0.3, 1.0, 0.2], [0.5, 0.5, 0.31]])
    said = refused(made_steps(alike, noise_c=0.0))
    assert said.startswith("zones 0 and 2 cannot be told apart") and "move one" in said


def test_fewer_sensors_than_zones():
    steps = made_steps(MADE)
    one = type(steps)(steps.seconds, steps.driven, steps.celsius[:, :1], steps.sensors[:1])
    assert "2 zones and 1 sensor on the board" in refused(one)
