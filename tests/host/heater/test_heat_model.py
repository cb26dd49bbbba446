"""The model against an integrator that is not ours, and against itself in finer steps."""

import numpy as np
import pytest

from emberbed.heater.heat_model import (
    Warmth,
    at_rest,
    heater_of,
    in_balance,
    simulate,
)
from tests.host.heater.made_heater import (
    FULL_POWER_W,
    LABEL_PRINTER,
    ZERO_C_K,
    physics,
    slopes,
    solved,
)

STEPS = ((30, 0.0), (330, 0.75), (600, 0.3), (900, 0.0))
HEATER = heater_of({"drive_exponent": 1.0, **LABEL_PRINTER}, FULL_POWER_W)


def simulated(longest_s, heater=HEATER, columns=1):
    seconds, drive, celsius = solved(LABEL_PRINTER, FULL_POWER_W, STEPS, 2.0)
    heat = np.repeat(drive[:-1, None], columns, axis=1)
    start = Warmth(*(np.full(columns, kelvin) for kelvin in at_rest(HEATER)))
    return simulate(heater, start, heat, 2.0, longest_s), celsius


def test_against_solve_ivp():
    # scipy's LSODA at 1e-9 on equations written down a second time
    found, celsius = simulated(0.5)
    assert celsius.max() > 100
    assert np.abs(found[:, 0] - celsius).max() < 0.002


def test_of_second_order():
    errors = []
    for longest_s in (2.0, 1.0, 0.5):
        found, celsius = simulated(longest_s)
        errors.append(np.sqrt(((found[:, 0] - celsius) ** 2).mean()))
    assert errors[0] / errors[1] == pytest.approx(4, rel=0.25)
    assert errors[1] / errors[2] == pytest.approx(4, rel=0.25)


def test_columns_do_not_know_each_other():
    # a sum over columns would show; the second column's board is twice as heavy
    double = HEATER._replace(board_j_k=np.array([1.0, 2.0]) * HEATER.board_j_k)
    pair, _celsius = simulated(0.5, double, 2)
    alone, _celsius = simulated(0.5)
    assert pair[:, 0] == pytest.approx(alone[:, 0], abs=1e-12)
    assert pair[:, 1].max() < alone.max() - 10


def test_an_emitter_much_faster_than_the_step_stays_quiet():
    values = LABEL_PRINTER | {"emitter_lag_s": 0.05, "drive_exponent": 1.0}
    start = Warmth(*(np.full(1, kelvin) for kelvin in at_rest(HEATER)))
    found = simulate(heater_of(values, FULL_POWER_W), start, np.full((100, 1), 0.4), 2.0, 2.0)
    assert (np.diff(found[:, 0]) >= 0).all()


@pytest.mark.parametrize("board_c", [40.0, 90.0, 150.0])
def test_balance_stands_still(board_c):
    warmth, heat_w = in_balance(HEATER, np.float64(board_c + ZERO_C_K))
    assert warmth.board_k - ZERO_C_K == pytest.approx(board_c)
    state = [float(kelvin) for kelvin in warmth]
    assert slopes(state, float(heat_w), physics(LABEL_PRINTER, FULL_POWER_W)) == pytest.approx(
        [0] * 5, abs=1e-9
    )


def test_a_board_below_the_room_has_no_balance_but_room():
    warmth, heat_w = in_balance(HEATER, np.float64(280.0))
    assert [float(kelvin) for kelvin in warmth] == pytest.approx([280.0] * 5)
    assert heat_w == pytest.approx(0, abs=1e-9)


def test_numbers_mean_what_they_say():
    # by hand from the definitions in model_parameters.py
    full = 1.0
    heater = heater_of({"drive_exponent": 1.0, **LABEL_PRINTER}, full)
    hot_k, cool_k = LABEL_PRINTER["emitter_full_power_k"], 400.0
    radiated = (heater.emitter_board_w_k4 + heater.emitter_around_w_k4) * (hot_k**4 - cool_k**4)
    air = heater.emitter_air_w_k * (hot_k - cool_k)
    assert radiated + air == pytest.approx(full)
    assert air == pytest.approx(LABEL_PRINTER["emitter_air_share"])
    around, board = 323.15, 423.15  # surroundings 100 K below a board of 150 degC
    slope = 4 * heater.board_around_w_k4 * board**3
    slope += 1.25 * heater.board_air_w_k125 * (board - around) ** 0.25
    assert heater.board_j_k / slope == pytest.approx(LABEL_PRINTER["board_lag_s"])
    assert full / heater.room_loss_w_k == pytest.approx(LABEL_PRINTER["surroundings_rise_k"])
