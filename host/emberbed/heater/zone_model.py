"""A heater with several zones as few lumps: an emitter each, a spot of board under each sensor.

`simulate` takes the part of each row in which each zone was on and gives every sensor (degrees C),
for many sets of numbers at once. Emitters send out with T^4, so that cold ones are late; spots lose
heat to the surroundings and pass it to one another; the surroundings warm slowly. Numbers are
logarithms: rise (K/s at full power, sensor by sensor, zone by zone), loss (1/s) of each sensor,
then EMITTERS_AND_AROUND. What heats by radiation from far below touches several sensors at once:
that is the coupling.
"""

from typing import NamedTuple

import numpy as np

from emberbed.heater.model_parameters import REFERENCE_C, ZERO_C_K

# name, usual value, least, most, spread as a factor; broad engineering values, from memory
EMITTERS_AND_AROUND = (
    ("conduction_per_s", 0.01, 1e-4, 1.0, 7.0),
    ("emitter_lag_s", 20.0, 0.5, 600.0, 4.0),
    ("emitter_full_power_k", 900.0, 640.0, 2600.0, 1.35),
    ("surroundings_rise_k", 100.0, 1.0, 600.0, 3.0),
    ("surroundings_lag_s", 600.0, 60.0, 6000.0, 4.0),
)
RISE = (0.5, 1e-4, 20.0, 20.0)  # usual (of all zones together), least, most, spread; K/s
LOSS = (0.004, 1e-4, 0.1, 3.0)  # 1/s
RADIATED_SHARE = 0.55  # of a board's loss at 150 degC, as model_parameters has it
LONGEST_STEP_S = 2.0


class Numbers(NamedTuple):
    """Of several heaters, the last axis: rise [sensor, zone], loss [sensor], and the rest."""

    rise: np.ndarray
    loss: np.ndarray
    rest: np.ndarray


def table(sensors: int, zones: int) -> np.ndarray:
    """Return the rows (usual, least, most, spread) of all numbers, in their order."""
    usual, *others = RISE
    rows = [(usual / zones, *others)] * (sensors * zones) + [LOSS] * sensors
    return np.array([*rows, *(row[1:] for row in EMITTERS_AND_AROUND)])


def opened(logs: np.ndarray, sensors: int, zones: int) -> Numbers:
    """Take the logarithms [number, heater] apart."""
    numbers = np.exp(logs)
    first = sensors * zones
    rise = numbers[:first].reshape(sensors, zones, -1)
    return Numbers(rise, numbers[first : first + sensors], numbers[first + sensors :])


def loss_k_s(loss_per_s: np.ndarray, at_k: np.ndarray, around_k: np.ndarray) -> np.ndarray:
    """Return how fast a spot cools: radiation and air, `loss_per_s` per K near REFERENCE_C."""
    radiated = (at_k**4 - around_k**4) / (4 * (REFERENCE_C + ZERO_C_K) ** 3)
    return loss_per_s * (RADIATED_SHARE * radiated + (1 - RADIATED_SHARE) * (at_k - around_k))


def simulate(
    numbers: Numbers, seconds: np.ndarray, driven: np.ndarray, start_c: np.ndarray
) -> np.ndarray:
    """Return [row, sensor, heater] in degrees C, from a start at rest."""
    sensors, zones, heaters = numbers.rise.shape
    conduction, lag_s, full_k, around_rise_k, around_lag_s = numbers.rest
    spot_k = np.repeat(start_c[:, None] + ZERO_C_K, heaters, axis=1)
    room_k = float(start_c.mean()) + ZERO_C_K
    emitter_k = np.full((zones, heaters), room_k)
    around_k = np.full(heaters, room_k)
    full_k4 = full_k**4 - room_k**4
    quick = full_k / (4 * lag_s)
    shown = np.empty((len(seconds), sensors, heaters))
    shown[0] = spot_k
    for row, step_s in enumerate(np.diff(seconds)):
        parts = max(1, int(np.ceil(step_s / LONGEST_STEP_S)))
        part_s = step_s / parts
        for _part in range(parts):
            sent = (emitter_k**4 - room_k**4) / full_k4
            taken = np.einsum("nzh,nzh->nh", numbers.rise,
                              (emitter_k[None] ** 4 - spot_k[:, None] ** 4) / full_k4)  # fmt: skip
            even = sensors * conduction * (spot_k.mean(axis=0) - spot_k)
            lost = loss_k_s(numbers.loss, spot_k, around_k)
            stiff = 1 + part_s * quick * 4 * emitter_k**3 / full_k4  # a lamp is quicker than a step
            emitter_k = np.maximum(
                emitter_k + part_s * quick * (driven[row][:, None] - sent) / stiff, room_k
            )
            spot_k = spot_k + part_s * (taken - lost + even)
            leaves = around_rise_k * sent.mean(axis=0) - (around_k - room_k)
            around_k = around_k + part_s * leaves / around_lag_s
        shown[row + 1] = spot_k
    return shown - ZERO_C_K
