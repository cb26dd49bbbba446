"""An identified heater as the optimum asks for one: power in parts of full, readings in degC."""

from collections.abc import Mapping

import numpy as np

from emberbed.heater.heat_model import Heater as Physics
from emberbed.heater.heat_model import HeatModel, Warmth, at_rest, heater_of, simulate
from emberbed.limit.optimum import Heater

LONGEST_STEP_S = 0.5


class IdentifiedHeater:
    """The heater of a file's numbers in a room of this temperature, from any warmth on."""

    def __init__(self, values: Mapping[str, float], room_c: float, step_s: float) -> None:
        self.physics: Physics = heater_of({**values, "room_c": room_c})
        self._step_s = step_s

    def at_rest(self) -> Warmth:
        return at_rest(self.physics)

    def beginning(self, warmth: Warmth) -> Heater:
        """Return its readings after each step of a course of power that begins here."""

        def run(power: np.ndarray) -> np.ndarray:
            begin = Warmth(*[np.full(power.shape[1], kelvin) for kelvin in warmth])
            return simulate(self.physics, begin, power, self._step_s, LONGEST_STEP_S)[1:]

        return run

    def after(self, warmth: Warmth, power: np.ndarray) -> Warmth:
        """Return how warm it is after these steps."""
        pieces = max(1, int(np.ceil(self._step_s / LONGEST_STEP_S)))
        model = HeatModel(self.physics, warmth, self._step_s / pieces)
        for heat in np.repeat(power, pieces):
            model.step(float(heat) * self.physics.full_power_w)
        return model.warmth
