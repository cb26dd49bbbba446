"""Data of heaters that are known, made by an integrator that is not ours.

The equations are written down once more here, from their meaning, and solved by scipy's solve_ivp;
nothing of emberbed.heater's model is used but the names of its numbers.
"""

import numpy as np
from scipy.integrate import solve_ivp

from emberbed.heater.step_data import DRIVE, WATTS, Measured

ZERO_C_K = 273.15
LABEL_PRINTER = {  # a label printer's board over quartz emitters of 1 kW
    "emitter_full_power_k": 960.0,
    "emitter_lag_s": 26.0,
    "emitter_air_share": 0.27,
    "emitter_share": 0.36,
    "board_capacity_s_per_k": 0.29,
    "board_lag_s": 300.0,
    "board_radiated_share": 0.6,
    "surroundings_rise_k": 75.0,
    "surroundings_lag_s": 420.0,
    "sensor_lag_s": 3.0,
    "room_c": 21.0,
}
FULL_POWER_W = 1000.0


def physics(values, full_power_w):
    """Return SI numbers from those of a heater file, as model_parameters.py states each."""
    hot_k, cool_k = values["emitter_full_power_k"], 400.0
    air_w_k = full_power_w * values["emitter_air_share"] / (hot_k - cool_k)
    radiates = full_power_w * (1 - values["emitter_air_share"]) / (hot_k**4 - cool_k**4)
    board_j_k = full_power_w * values["board_capacity_s_per_k"]
    loss_w_k = board_j_k / values["board_lag_s"]
    return {
        "emitter_j_k": values["emitter_lag_s"] * (4 * radiates * hot_k**3 + air_w_k),
        "emitter_air_w_k": air_w_k,
        "on_board": radiates * values["emitter_share"],
        "astray": radiates * (1 - values["emitter_share"]),
        "board_j_k": board_j_k,
        "board_radiates": loss_w_k * values["board_radiated_share"] / (4 * 423.15**3),
        "board_air": loss_w_k * (1 - values["board_radiated_share"]) / (1.25 * 100**0.25),
        "room_w_k": full_power_w / values["surroundings_rise_k"],
        "around_j_k": full_power_w / values["surroundings_rise_k"] * values["surroundings_lag_s"],
        "lag_s": values["sensor_lag_s"],
        "room_k": values["room_c"] + ZERO_C_K,
    }


def slopes(state, heat_w, p):
    emitter, board, around, face, sensor = state
    falls = p["on_board"] * (emitter**4 - board**4)
    strays = p["astray"] * (emitter**4 - around**4) + p["emitter_air_w_k"] * (emitter - around)
    leaves = p["board_radiates"] * (board**4 - around**4)
    leaves += p["board_air"] * abs(board - around) ** 0.25 * (board - around)
    return [
        (heat_w - falls - strays) / p["emitter_j_k"],
        (falls - leaves) / p["board_j_k"],
        (strays + leaves - p["room_w_k"] * (around - p["room_k"])) / p["around_j_k"],
        (board - face) / (p["lag_s"] / 2),
        (face - sensor) / (p["lag_s"] / 2),
    ]


def solved(values, full_power_w, steps, every_s, exponent=1.0, held_s=0.0, held_drive=0.0):
    """Return (seconds, drive, sensor in degC); `steps` are (until second, part of full drive).

    `held_s` seconds at `held_drive` come before the first row.
    """
    p = physics(values, full_power_w)
    state = np.full(5, p["room_k"])
    if held_s:
        state = _advance(state, held_drive, full_power_w, exponent, p, [0.0, held_s])[:, -1]
    began_s, seconds, drives, kelvin = 0.0, [], [], []
    for until_s, drive in steps:
        rows_s = np.arange(began_s, until_s, every_s)
        found = _advance(state, drive, full_power_w, exponent, p, [*rows_s, until_s])
        seconds += list(rows_s)
        drives += [drive] * len(rows_s)
        kelvin += list(found[4, :-1])
        state, began_s = found[:, -1], until_s
    return np.array(seconds), np.array(drives), np.array(kelvin) - ZERO_C_K


def _advance(state, drive, full_power_w, exponent, p, at_s):
    heat_w = full_power_w * drive**exponent
    found = solve_ivp(
        lambda _s, now: slopes(now, heat_w, p), (at_s[0], at_s[-1]), state,
        method="LSODA", t_eval=at_s, rtol=1e-9, atol=1e-9,
    )  # fmt: skip
    assert found.success
    return found.y


def measured(seconds, drive, celsius, kind=WATTS):
    rows = len(seconds)
    return Measured(
        "made.csv", "0" * 64, kind, "drive", "temperature_c", seconds, drive, celsius,
        np.arange(2, rows + 2), np.zeros(rows),
    )  # fmt: skip


def made(kind, seed, noise_c=0.1):
    """Return (measured, true values, full drive) of a step test.

    "watts": from a cold start, power in watts. "volts": warm at first, a drive whose heat goes
    with its power of 1.6.
    """
    noise = np.random.default_rng(seed)
    if kind == "watts":
        steps = ((60, 0.0), (330, 0.75), (702, 0.35), (1200, 0.0))
        seconds, drive, celsius = solved(LABEL_PRINTER, FULL_POWER_W, steps, 3.0)
        noisy = celsius + noise.normal(0, noise_c, len(celsius))
        return measured(seconds, drive * FULL_POWER_W, noisy), LABEL_PRINTER, FULL_POWER_W
    steps = ((240, 1.0), (560, 0.45), (760, 0.8), (1000, 0.3))
    seconds, drive, celsius = solved(LABEL_PRINTER, 1.0, steps, 4.0, 1.6, 6000.0, 0.5)
    noisy = celsius + noise.normal(0, noise_c, len(celsius))
    return (
        measured(seconds, 12 * drive, noisy, DRIVE),
        LABEL_PRINTER | {"drive_exponent": 1.6},
        12.0,
    )
