"""A heater near one working temperature as a process: power in parts of full, K of reading out.

The heater stands in balance there; small changes obey the Jacobian of the heat flows. Three lumps
that exchange heat and the two halves of the sensor's lag are lags in a row, and the surroundings
add one lead.
"""

import numpy as np

from emberbed.heater.heat_model import Heater, in_balance
from emberbed.heater.model_parameters import ZERO_C_K
from emberbed.heater.process import Process
from emberbed_fw.units import TICKS_PER_S

READING_DELAY_S = 1 / TICKS_PER_S  # a converter answers with the tick before


def steady_power(heater: Heater, board_c: float) -> float:
    """Return the power (part of full) that holds this temperature for good."""
    _warmth, heat_w = in_balance(heater, np.float64(board_c + ZERO_C_K))
    return float(heat_w / heater.full_power_w)


def process_at(heater: Heater, board_c: float) -> Process:
    """Return the heater near this board temperature."""
    states = _jacobian(heater, board_c)
    pushed = np.array([heater.full_power_w / heater.emitter_j_k, 0, 0, 0, 0])
    # Radiation goes with the cube of each side's own temperature and air does not, so that two lags
    # may form a pair that swings by a hair (damping 0.999): it counts as two equal lags, whose
    # product, and so the answer to quick changes, stays exact.
    lags_s = np.sort(1 / np.abs(np.linalg.eigvals(states)))[::-1]
    gain = float(-np.linalg.solve(states, pushed)[4])
    return Process(
        gain, tuple(float(lag) for lag in lags_s), READING_DELAY_S, (_lead_s(states, pushed),)
    )


def _jacobian(heater: Heater, board_c: float) -> np.ndarray:
    """Return d(slopes)/d(temperatures) of emitter, board, surroundings, face and sensor."""
    warmth, _heat = in_balance(heater, np.float64(board_c + ZERO_C_K))
    emitter, board, around = (float(one) for one in warmth[:3])
    over_w_k = 1.25 * heater.board_air_w_k125 * abs(board - around) ** 0.25
    flows = np.zeros((5, 5))
    for one, other, radiation, air in (
        (0, 1, heater.emitter_board_w_k4, 0.0),
        (0, 2, heater.emitter_around_w_k4, heater.emitter_air_w_k),
        (1, 2, heater.board_around_w_k4, over_w_k),
    ):
        kelvin = np.array([(emitter, board, around)[place] for place in (one, other)])
        conductance = 4 * radiation * kelvin**3 + air
        flows[one, [one, other]] += conductance * (-1, 1)
        flows[other, [one, other]] += conductance * (1, -1)
    flows[2, 2] -= heater.room_loss_w_k
    capacities = (heater.emitter_j_k, heater.board_j_k, heater.surroundings_j_k, 1.0, 1.0)
    states = flows / np.array([float(one) for one in capacities])[:, None]
    states[3, [1, 3]] = states[4, [3, 4]] = np.array([1, -1]) / float(heater.sensor_lag_s / 2)
    return states


def _lead_s(states: np.ndarray, pushed: np.ndarray) -> float:
    """Return the lead: from power to reading are four orders of five, so one zero is left.

    c (s + z) / det(s - A) = CA3B / s^4 + CA4B / s^5 + ..., and the determinant starts with
    s^5 - trace s^4: compare both.
    """
    third = states @ states @ states @ pushed
    return 1 / (float((states @ third)[4]) / float(third[4]) - float(np.trace(states)))
