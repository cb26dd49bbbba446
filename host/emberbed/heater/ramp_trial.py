"""The job that gains have: a ramp to a working temperature and a hold, on the identified heater.

The firmware's controller law in floating point, power limited to what there is, several gains at
once. The device's integers and its on and off are left out: they are exact in a rehearsal.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from emberbed.heater.default_gains import Gains
from emberbed.heater.device_gains import TICK_S
from emberbed.heater.heat_model import Heater, HeatModel, Warmth, in_balance
from emberbed.heater.model_parameters import ZERO_C_K
from emberbed_fw.pid import CATCH_UP_SHIFT, CATCH_UP_TICKS, OWED_LIMIT_Q15, OWED_SHIFT
from emberbed_fw.units import FULL_POWER_Q15

RAMP_C = 30.0
FASTEST_C_PER_S = 0.6  # the trade's slow ramp
OF_WHAT_IT_CAN = 0.5  # slower where the heater itself is slow
HOLD_S = 300.0


class Trial(NamedTuple):
    """One run for each set of gains, as columns."""

    seconds: np.ndarray
    setpoint_c: np.ndarray
    board_c: np.ndarray  # as the sensor reads it
    power: np.ndarray  # parts of full

    @property
    def overshoot_c(self) -> np.ndarray:
        return np.maximum(self.board_c.max(axis=0) - self.setpoint_c[-1], 0.0)

    @property
    def iae_c_s(self) -> np.ndarray:
        """Return the absolute error over the whole trial, summed up in degC s."""
        return np.abs(self.setpoint_c[:, None] - self.board_c).sum(axis=0) * TICK_S


def ramp_rate(heater: Heater, to_c: float) -> float:
    """Return the ramp of a trial in degC/s."""
    warmth, heat_w = in_balance(heater, np.float64(to_c + ZERO_C_K))
    on_board_w = heater.emitter_board_w_k4 * (warmth.emitter_k**4 - warmth.board_k**4)
    spare = max(float(heater.full_power_w / heat_w) - 1, 0.0)
    can_c_per_s = float(spare * on_board_w / heater.board_j_k)
    return min(FASTEST_C_PER_S, OF_WHAT_IT_CAN * can_c_per_s)


def ramp_trial(heater: Heater, gains: Sequence[Gains], to_c: float) -> Trial:
    """Ramp by RAMP_C to `to_c` from balance and hold."""
    rate = ramp_rate(heater, to_c)
    ramp_s = RAMP_C / rate
    ticks = int((ramp_s + HOLD_S) / TICK_S)
    seconds = TICK_S * np.arange(ticks)
    setpoint_c = to_c - RAMP_C + rate * np.minimum(seconds, ramp_s)
    model, power = _balanced(heater, setpoint_c[0], len(gains))
    law = _Law(gains, setpoint_c[0], power)
    ahead = [one.preview_ticks * TICK_S for one in gains]
    board_c, powers = np.empty((ticks, len(gains))), np.empty((ticks, len(gains)))
    for tick, (second, wanted_c) in enumerate(zip(seconds, setpoint_c, strict=True)):
        board_c[tick] = model.warmth.sensor_k - ZERO_C_K
        slope = np.array([rate if second + s < ramp_s else 0.0 for s in ahead])
        powers[tick] = law.step(wanted_c, slope, board_c[tick])
        model.step(powers[tick] * heater.full_power_w)
    return Trial(seconds, setpoint_c, board_c, powers)


def _balanced(heater: Heater, board_c: float, columns: int) -> tuple[HeatModel, np.ndarray]:
    warmth, heat_w = in_balance(heater, np.full(columns, board_c + ZERO_C_K))
    power = np.asarray(heat_w / heater.full_power_w)
    start = Warmth(*(np.array(kelvin, float) for kelvin in warmth))
    return HeatModel(heater, start, TICK_S), power


class _Law:
    """emberbed_fw.pid in floating point, a column for each set of gains; full power is 1."""

    def __init__(self, gains: Sequence[Gains], at_c: float, power: np.ndarray) -> None:
        self._kp, self._ki, self._kd, self._weight, shift = (
            np.array(column, float) for column in list(zip(*gains, strict=True))[:5]
        )
        self._new = 0.5 ** np.maximum(shift - 1, 0)  # of each of two filters
        self._first_c = np.full(len(gains), at_c)
        self._filtered_c = self._first_c
        self._plan_first = np.zeros(len(gains))  # the plan's slope through the same ones
        self._plan_slope = np.zeros(len(gains))
        self._integral = power + self._kp * (1 - self._weight) * at_c
        self._behind_ticks = np.zeros(len(gains))  # left in which the board catches up
        self._owed = np.zeros(len(gains))  # asked for below no power of late

    def step(self, wanted_c: float, slope: np.ndarray, board_c: np.ndarray) -> np.ndarray:
        """Return the power of this tick, 0 to 1."""
        self._first_c = self._first_c + (board_c - self._first_c) * self._new
        moved_c = (self._first_c - self._filtered_c) * self._new
        self._filtered_c = self._filtered_c + moved_c
        self._plan_first = self._plan_first + (slope - self._plan_first) * self._new
        self._plan_slope = self._plan_slope + (self._plan_first - self._plan_slope) * self._new
        asked = (
            self._kp * (self._weight * wanted_c - board_c)
            + self._integral
            + self._kd * (self._plan_slope - moved_c / TICK_S)
            - self._owed
        )
        power = np.clip(asked, 0.0, 1.0)
        owed = np.clip(-asked, 0.0, OWED_LIMIT_Q15 / FULL_POWER_Q15)
        self._owed = owed * (1 - 0.5**OWED_SHIFT)
        excess, error_c = asked - power, wanted_c - board_c
        winds_up = excess * error_c > 0
        left = np.where(error_c > 0, np.maximum(self._behind_ticks - 1, 0), 0)
        self._behind_ticks = np.where(winds_up & (error_c > 0), CATCH_UP_TICKS, left)
        catches_up = (self._behind_ticks > 0) & (self._integral >= 0)
        counted_c = np.where(catches_up, error_c / (1 << CATCH_UP_SHIFT), error_c)
        self._integral = np.where(
            winds_up, self._integral, self._integral + self._ki * counted_c * TICK_S
        )
        return power
