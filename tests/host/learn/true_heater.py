"""A heater file of the simulated bench: its own coefficients, written as an identification would.

The lumped plant's parameters put into the words of model_parameters.py; the full-power temperature
is solved from the emitter's balance by scipy.
"""

from scipy.optimize import brentq

from emberbed.heater.heater_file import parse_heater
from emberbed_sim.plant.couplings import lumps_of
from emberbed_sim.plant.parameters import DEFAULT_SENSORS, bench_for_board
from tests.host.heater.heater_texts import HEAD, heater_text

MASSES_G = (120, 240, 400)
IDENTIFIED_G = 240  # the board that lay on the heater in its step test


def bench_with(mass_g):
    return bench_for_board(mass_g, 180, 120, DEFAULT_SENSORS)


def true_numbers():
    bench = bench_with(IDENTIFIED_G)
    lumps = lumps_of(bench)
    flows, watts = lumps.flows, bench.emitter.watts
    emitter_j_k, *board_j_k, around_j_k, chip_j_k = lumps.capacities_j_k
    board_j_k = sum(board_j_k) + chip_j_k
    on_board = flows.emitter_centre_w_k4 + flows.emitter_edge_w_k4
    exchange = on_board + flows.emitter_around_w_k4
    air = flows.emitter_air_w_k
    hot_k = brentq(lambda k: exchange * (k**4 - 400**4) + air * (k - 400) - watts, 500, 2000)
    radiated = 4 * 423.15**3 * sum(flows[3:6])
    loss = radiated + 1.25 * 100**0.25 * sum(flows[7:10])
    return {
        "emitter_full_power_k": hot_k,
        "emitter_lag_s": emitter_j_k / (4 * exchange * hot_k**3 + air),
        "emitter_air_share": air * (hot_k - 400) / watts,
        "emitter_share": on_board / exchange,
        "board_capacity_s_per_k": board_j_k / watts,
        "board_lag_s": board_j_k / loss,
        "board_radiated_share": radiated / loss,
        "surroundings_rise_k": watts / flows.room_loss_w_k,
        "surroundings_lag_s": around_j_k / flows.room_loss_w_k,
        "sensor_lag_s": bench.sensors[0].lag_s,
        "room_c": bench.surroundings.room_c,
    }


def true_text(unseen=95.0):
    fitted = "percent_fitted = 99.5\n"
    scored = "" if unseen is None else f"percent_unseen = {unseen}\n"
    return heater_text(HEAD.replace(fitted, fitted + scored), **true_numbers())


def true_heater(**quality):
    return parse_heater(true_text(**quality), "heater.toml")
