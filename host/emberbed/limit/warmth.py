"""How warm an identified heater is now, from what was driven and read so far.

The heater's own model runs beside it; what the control sensor reads beyond the model moves board
and sensor, and slowly a power that the model lacks (a lighter board, other mains), so that the
emitters and surroundings, which no sensor reads, stay near (a Luenberger observer with a constant
disturbance). Seconds, parts of full power, degrees C; states in kelvin.
"""

from collections.abc import Mapping

from emberbed.heater.heat_model import HeatModel, Warmth
from emberbed.heater.model_parameters import ZERO_C_K
from emberbed.limit.identified_heater import IdentifiedHeater

STEP_S = 1.0
ROOM_MOST_C = 40.0  # a warmer board tells nothing of the room
FOLLOW_S = 60.0  # within about this time the model is where the sensor is
LACK_SHARE = 0.5  # of a critically damped correction: power is believed more slowly than warmth


class WarmthNow:
    """One run, from its first heat on; `lack` is the power that the model needs besides."""

    def __init__(self, values: Mapping[str, float], first_c: float) -> None:
        self.room_c = first_c if first_c < ROOM_MOST_C else values["room_c"]
        heater = IdentifiedHeater(values, self.room_c, STEP_S)
        begin = heater.at_rest().with_board(first_c + ZERO_C_K)
        self._model = HeatModel(heater.physics, begin, STEP_S)
        physics = heater.physics
        radiated = physics.emitter_board_w_k4 + physics.emitter_around_w_k4
        self._board_s_per_k = float(physics.board_j_k * radiated / physics.emitter_board_w_k4)
        self.lack = 0.0

    @property
    def warmth(self) -> Warmth:
        return self._model.warmth

    def step(self, power: float, reading_c: float) -> None:
        """Take one second: the mean power driven in it, and the reading at its end."""
        model, pace = self._model, STEP_S / FOLLOW_S
        model.step(power + self.lack)
        off_k = reading_c + ZERO_C_K - model.warmth.sensor_k
        warmth, moved_k = model.warmth, 2 * pace * off_k
        model.warmth = warmth._replace(
            board_k=warmth.board_k + moved_k,
            face_k=warmth.face_k + moved_k,
            sensor_k=warmth.sensor_k + moved_k,
        )
        self.lack += float(LACK_SHARE * pace * pace / STEP_S * self._board_s_per_k * off_k)
