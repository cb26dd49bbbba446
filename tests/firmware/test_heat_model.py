"""The guard's own heater, against closed forms, a reference solver and the library's logarithm."""

import math

import pytest
from scipy import constants
from scipy.integrate import solve_ivp

from emberbed_fw.glow import MOST_MK, exchange_mw, glow_w_m2
from emberbed_fw.heat_model import (
    LEAST_LOSS_MW,
    LN2_Q8,
    UNKNOWN_EMITTER_MK,
    ZERO_C_MK,
    HeatModel,
    coast_cdeg,
    ln_q8,
)

ROOM_CDEG = 2500
HEATER = {
    "emitter_j_per_k": 120, "exchange_cm2": 100, "around_cm2": 120, "convection_mw_per_k": 400,
}  # fmt: skip
KELVIN = 273.15


def model_at(kelvin):
    model = HeatModel()
    model.emitter_mk = model.most_emitter_mk = round(kelvin * 1000)
    return model


def emitter_slope(header, kelvin, watts, board_k, around_k):
    """Return K/s of an emitter by the same physics, in floating point."""
    sigma = constants.Stefan_Boltzmann / 1e4
    to_board = sigma * header["exchange_cm2"] * (kelvin**4 - board_k**4)
    astray = sigma * header["around_cm2"] * (kelvin**4 - around_k**4)
    air = header["convection_mw_per_k"] / 1000 * (kelvin - around_k)
    return (watts - to_board - astray - air) / header["emitter_j_per_k"]


def test_it_cools_by_radiation_alone_as_the_handbook_says():
    # Bejan, Heat Transfer Handbook, eq. 3.283: 473.15 -> 373.15 K in 298.15 K surroundings,
    # emissivity 0.9, 3200 J/m2K behind the face: 286.706 s. Here 0.1 m2; whole steps of 16 W/m2
    # are one per cent of what this cool a face radiates.
    header = {
        "emitter_j_per_k": 320, "exchange_cm2": 0, "around_cm2": 900, "convection_mw_per_k": 0,
    }  # fmt: skip
    model = model_at(473.15)
    ticks = 0
    while model.emitter_mk > 373150:
        model.step(header, 0, ROOM_CDEG, ROOM_CDEG)
        ticks += 1
    assert ticks / 10 == pytest.approx(286.706, rel=0.015)


@pytest.mark.parametrize("watts", [0, 400, 1000])
@pytest.mark.parametrize("start_k", [298.15, 900.0])
def test_it_goes_where_a_reference_solver_goes(watts, start_k):
    model = model_at(start_k)
    for _ in range(1200):
        model.step(HEATER, watts, 10000, ROOM_CDEG)
    solved = solve_ivp(
        lambda _t, kelvin: [emitter_slope(HEATER, kelvin[0], watts, 373.15, 298.15)],
        (0, 120), [start_k], rtol=1e-8,
    ).y[0][-1]  # fmt: skip
    assert model.emitter_mk / 1000 == pytest.approx(solved, abs=3.0)
    sent = constants.Stefan_Boltzmann / 100 * (solved**4 - 373.15**4)
    assert model.heat_mw / 1000 == pytest.approx(sent, rel=0.01, abs=1.5)


def test_a_board_hotter_than_its_emitter_gives_heat_back():
    model = model_at(320)
    model.step(HEATER, 0, 20000, ROOM_CDEG)
    assert model.heat_mw < 0
    before = model.emitter_mk
    for _ in range(100):
        model.step(HEATER, 0, 20000, ROOM_CDEG)
    assert model.emitter_mk > before


@pytest.mark.parametrize(("watts", "gap_k"), [(0, 100), (800, 5)])
def test_after_a_start_emitters_may_be_hotter_than_known_and_a_while_later_not(watts, gap_k):
    model = HeatModel()
    assert model.emitter_mk == ZERO_C_MK + 23000
    assert model.most_emitter_mk == UNKNOWN_EMITTER_MK == (600 + 273) * 1000 + 150
    gaps = []
    for _ in range(30):
        for _ in range(100):
            model.step(HEATER, watts, ROOM_CDEG, ROOM_CDEG)
        gaps.append(model.most_emitter_mk - model.emitter_mk)
        assert model.most_heat_mw >= model.heat_mw
    assert gaps == sorted(gaps, reverse=True) and gaps[0] > 100000
    assert gaps[-1] < gap_k * 1000


def test_after_a_rest_no_emitter_is_hotter_than_the_known_one():
    model = HeatModel()
    known = model.emitter_mk
    model.settle()
    assert model.most_emitter_mk == model.emitter_mk == known


def test_it_begins_without_heat_and_with_the_usual_constants():
    model = HeatModel()
    assert (model.heat_mw, model.most_heat_mw) == (0, 0)
    assert ZERO_C_MK == KELVIN * 1000 and round(math.log(2) * 256) == LN2_Q8
    assert LEAST_LOSS_MW == 1000  # a watt


def test_the_hottest_is_never_below_the_known_one():
    model = HeatModel()
    model.most_emitter_mk = model.emitter_mk - 5000
    model.step(HEATER, 1000, ROOM_CDEG, ROOM_CDEG)
    assert model.most_emitter_mk == model.emitter_mk and model.most_heat_mw == model.heat_mw


def test_it_stays_inside_its_table():
    header = {**HEATER, "emitter_j_per_k": 1, "exchange_cm2": 1, "around_cm2": 0,
              "convection_mw_per_k": 0}  # fmt: skip
    model = model_at(2600)
    for _ in range(20):
        model.step(header, 14400, ROOM_CDEG, ROOM_CDEG)
    assert model.emitter_mk == MOST_MK
    model = model_at(260)
    for _ in range(2000):
        model.step(header, 0, -1000, -12800)
    assert model.emitter_mk >= ZERO_C_MK - 20000


@pytest.mark.parametrize("kelvin", [500, 700, 900, 1100])
def test_time_constant_is_heat_over_the_slope_of_all_losses(kelvin):
    area_m2 = (HEATER["exchange_cm2"] + HEATER["around_cm2"]) / 1e4
    per_k = 4 * constants.Stefan_Boltzmann * area_m2 * kelvin**3 + 0.4
    lag_s = HEATER["emitter_j_per_k"] / per_k
    assert model_at(kelvin).lag_ds(HEATER) / 10 == pytest.approx(lag_s, rel=0.01)


def test_emitter_that_loses_nothing_has_a_lag_all_the_same():
    header = {**HEATER, "exchange_cm2": 0, "around_cm2": 0, "convection_mw_per_k": 0}
    assert model_at(300).lag_ds(header) == 120 * 10000


# How far a board rises yet.


@pytest.mark.parametrize("ratio_q6", [64, 65, 90, 127, 128, 129, 700, 5000, 1 << 16, 1 << 20])
def test_logarithm_is_the_library_s(ratio_q6):
    doublings = math.log2(ratio_q6 / 64)
    assert abs(ln_q8(ratio_q6) / 256 - math.log(ratio_q6 / 64)) <= 0.012 + 0.002 * doublings


@pytest.mark.parametrize("heat_w", [5, 60, 300, 1200])
@pytest.mark.parametrize("loss_w", [1, 4, 20, 90])
@pytest.mark.parametrize(("lag_s", "capacity"), [(6, 30), (25, 100), (60, 400)])
def test_coasting_is_what_a_reference_solver_finds(heat_w, loss_w, lag_s, capacity):
    """Heat that dies away exponentially, a steady loss: the highest point of the board."""
    given = coast_cdeg(heat_w * 1000, loss_w * 1000, lag_s * 10, capacity) / 100
    if heat_w <= loss_w:
        assert given == 0
        return

    def falls(_t, _rise):
        return heat_w * math.exp(-_t / lag_s) - loss_w

    falls.terminal, falls.direction = True, -1
    solved = solve_ivp(
        lambda t, _rise: [(heat_w * math.exp(-t / lag_s) - loss_w) / capacity],
        (0, 20 * lag_s), [0.0], events=falls, rtol=1e-8, atol=1e-9,
    ).y[0][-1]  # fmt: skip
    assert given == pytest.approx(solved, rel=0.05, abs=0.05 + 0.3 * lag_s / capacity)


@pytest.mark.parametrize("kelvin", [600, 800, 1000, 1150])
def test_prediction_holds_for_emitters_that_radiate(kelvin):
    """The whole physics, fourth power and all: where the board's highest point lies."""
    capacity, loss_w_per_k, board_k = 100, 0.5, 423.15
    model = model_at(kelvin)
    model.step(HEATER, 0, 15000, ROOM_CDEG)
    loss_mw = round(loss_w_per_k * 125 * 1000)
    given = coast_cdeg(model.heat_mw, loss_mw, model.lag_ds(HEATER), capacity) / 100
    sigma = constants.Stefan_Boltzmann / 1e4 * HEATER["exchange_cm2"]

    def slopes(_t, state):
        heat = sigma * (state[0] ** 4 - state[1] ** 4)
        lost = loss_w_per_k * (state[1] - 298.15)
        return [emitter_slope(HEATER, state[0], 0, state[1], 298.15), (heat - lost) / capacity]

    highest = solve_ivp(slopes, (0, 300), [kelvin, board_k], rtol=1e-8, max_step=0.5).y[1].max()
    # the fourth power dies away sooner than an exponential: never short by more than a tenth
    rise_c = highest - board_k
    assert 0.9 * rise_c - 1.0 <= given <= 1.4 * rise_c + 1.0


def test_nothing_coasts_without_more_heat_than_is_lost():
    assert coast_cdeg(-5000, 0, 300, 100) == 0
    assert coast_cdeg(LEAST_LOSS_MW, 0, 300, 100) == 0
    assert coast_cdeg(20000, 20000, 300, 100) == 0
    assert coast_cdeg(2000, -7000, 300, 100) == coast_cdeg(2000, LEAST_LOSS_MW, 300, 100)


def test_the_board_sends_back_what_its_own_temperature_radiates():
    model = model_at(900.0)
    model.step(HEATER, 0, 20000, ROOM_CDEG)
    board_w_m2 = glow_w_m2(273150 + 200000)
    assert model.heat_mw == exchange_mw(HEATER["exchange_cm2"], glow_w_m2(900000), board_w_m2)


def test_once_both_emitters_are_the_same_they_stay_so():
    ahead = model_at(600.0)
    ahead.step(HEATER, 1000, ROOM_CDEG, ROOM_CDEG)
    model = model_at(600.0)
    model.most_emitter_mk = ahead.emitter_mk  # where the known one comes to in this tick
    model.step(HEATER, 1000, ROOM_CDEG, ROOM_CDEG)
    assert model.most_emitter_mk == model.emitter_mk
    assert model.most_heat_mw == model.heat_mw


@pytest.mark.parametrize("emitter_mk", [900000, 899999, 750000])
def test_the_time_constant_is_capacity_over_what_a_kelvin_loses(emitter_mk):
    """Linearised radiation: 4 sigma A T^3, which is four times what is radiated, over T."""
    while glow_w_m2(emitter_mk) % 16:  # where rounding begins anew
        emitter_mk += 1
    radiated_mw = glow_w_m2(emitter_mk) // 16 * 220 // 5 * 8
    lost_mw_per_k = 4 * radiated_mw // (emitter_mk // 1000) + 400
    model = model_at(emitter_mk / 1000)
    assert model.lag_ds(HEATER) == 120 * 10000 // lost_mw_per_k
