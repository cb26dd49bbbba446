"""An identified heater as the optimum asks for one: power in parts of full, readings in degC."""

from collections.abc import Mapping

import numpy as np

from emberbed.heater.heat_model import Warmth, heater_of, simulate
from emberbed.limit.optimum import Heater

LONGEST_STEP_S = 0.5


def heater_from_rest(values: Mapping[str, float], room_c: float, step_s: float) -> Heater:
    """Return the heater of a file's numbers, at rest in a room of this temperature."""
    physics = heater_of({**values, "room_c": room_c})

    def run(power: np.ndarray) -> np.ndarray:
        rest = Warmth(*[np.full(power.shape[1], physics.room_k)] * 4)
        return simulate(physics, rest, power, step_s, LONGEST_STEP_S)[1:]

    return run
