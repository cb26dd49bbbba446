"""The rest of a plan on a learned board: the device's clock and controller, in floating point.

One lump of board: what the device does for uneven boards, neighbours and persons is left out, and
stages that wait for a person take no time. Seconds, degrees C, parts of full power.
"""

from dataclasses import dataclass

import numpy as np

from emberbed.heater.heat_model import Heater, HeatModel, Warmth
from emberbed.heater.model_parameters import ZERO_C_K
from emberbed.profiles.plan_bytes import Plan
from emberbed_fw import plan as layout
from emberbed_fw.safety_limits import LONGEST_COOL_TICKS
from emberbed_fw.units import FULL_POWER_Q15, KD_SHIFT, KI_SHIFT, KP_ONE_Q8, TICKS_PER_S

STEP_S = 0.5
COOL_STEP_S = 2.0
POWER_MEAN_S = 20.0  # over which the power is averaged before its largest is told
_PER_K = 100 / FULL_POWER_Q15  # of gains in q15 per cdeg
_WEIGHT_ONE_Q8 = 256


@dataclass(frozen=True)
class StageForecast:
    """One stage: what it takes, and whether it ends within its longest time."""

    number: int  # from 0
    seconds: float
    planned_s: float
    ends: bool
    reached_c: float  # by the sensor, at its end
    most_power: float  # mean over POWER_MEAN_S


@dataclass(frozen=True)
class Forecast:
    """Stages up to the first that does not end; `cooling_s` without a fan, after the last."""

    stages: list[StageForecast]
    cooling_s: float

    @property
    def heating_s(self) -> float:
        return sum(stage.seconds for stage in self.stages)

    @property
    def limiting(self) -> int | None:
        """Return the stage that does not end in its longest time, None where all do."""
        return next((stage.number for stage in self.stages if not stage.ends), None)


def forecast(
    heater: Heater, warmth: Warmth, mean_power: float, plan: Plan, stage: int, done_ticks: int
) -> Forecast:
    """Follow `plan` from `done_ticks` in `stage` on; `mean_power` has held the board so far."""
    rest = _Rest(heater, warmth, mean_power, plan)
    stages = []
    for number in range(stage, len(plan.stages) - 1):
        told = rest.run(number, done_ticks if number == stage else 0)
        stages.append(told)
        if not told.ends:
            return Forecast(stages, 0.0)
    return Forecast(stages, _cooling_s(heater, rest.model.warmth, plan))


class _Rest:
    def __init__(self, heater: Heater, warmth: Warmth, mean_power: float, plan: Plan) -> None:
        self.model = HeatModel(heater, warmth, STEP_S)
        self._full_w = float(heater.full_power_w)
        self._plan = plan
        self._law = _Law(plan.header, self.read_c(), mean_power)

    def read_c(self) -> float:
        return float(self.model.warmth.sensor_k) - ZERO_C_K

    def run(self, number: int, done_ticks: int) -> StageForecast:
        """Go through one stage, or through its longest time."""
        row = self._plan.stages[number]
        clock = _Clock(self._plan, number, self.read_c(), done_ticks / TICKS_PER_S)
        cap = min(self._plan.header["cap0_q15"], row["cap_q15"] or FULL_POWER_Q15) / FULL_POWER_Q15
        longest_s = row["longest_ticks"] / TICKS_PER_S
        seconds, powers = 0.0, []
        while not clock.done and seconds + done_ticks / TICKS_PER_S < longest_s:
            board_c = self.read_c()
            clock.tick(board_c)
            if row["kind"] == layout.POWER:
                power = min(row["power_q15"] / FULL_POWER_Q15, cap)
            else:
                ahead_s = self._law.preview_s
                power = self._law.step(clock.wanted_c, clock.slope(ahead_s), board_c, cap)
            powers.append(power)
            self.model.step(power * self._full_w)
            seconds += STEP_S
        return StageForecast(
            number, seconds, clock.planned_s, clock.done, self.read_c(), _most_mean(powers)
        )


class _Clock:
    """A stage's own clock, as the sequencer keeps it."""

    def __init__(self, plan: Plan, number: int, board_c: float, done_s: float) -> None:
        row = plan.stages[number]
        knots = plan.knots_of(number)
        self._kind = row["kind"]
        self._at_s = np.array([knot["tick"] for knot in knots]) / TICKS_PER_S
        self._level_c = np.array([knot["setpoint_cdeg"] for knot in knots]) / 100
        self._target_c = row["target_cdeg"] / 100
        self._band_c = row["band_cdeg"] / 100
        self._behind_c = row["hold_back_cdeg"] / 100
        self.planned_s = float(self._at_s[-1]) if len(knots) else 0.0
        self._now_s = done_s
        if self._kind == layout.RAMP and not done_s:
            self._now_s = self._where(board_c)
        # whoever is asked answers at once
        self.done = self._kind in (layout.WAIT, layout.HOT_AIR)

    @property
    def wanted_c(self) -> float:
        if self._kind != layout.RAMP:
            return self._target_c
        return float(np.interp(self._now_s, self._at_s, self._level_c))

    def slope(self, ahead_s: float) -> float:
        """Return the plan's slope in K/s that far ahead."""
        if self._kind != layout.RAMP or self._now_s + ahead_s >= self.planned_s:
            return 0.0
        return float((self._level_c[-1] - self._level_c[0]) / self.planned_s)

    def tick(self, board_c: float) -> None:
        """Go on by one step where the board lets it."""
        if self._kind == layout.RAMP:
            self._ramp(board_c)
        elif self._kind == layout.HOLD:
            if abs(board_c - self._target_c) <= self._band_c:
                self._now_s += STEP_S
            self.done = self._now_s >= self.planned_s
        else:
            self._now_s += STEP_S
            self.done = self._now_s >= self.planned_s or board_c >= self._target_c

    def _ramp(self, board_c: float) -> None:
        sign = 1 if self._level_c[-1] >= self._level_c[0] else -1
        if sign * (self.wanted_c - board_c) <= self._behind_c:
            self._now_s = min(self._now_s + STEP_S, self.planned_s)
        near = sign * (self._target_c - board_c) <= self._band_c
        self.done = self._now_s >= self.planned_s and near

    def _where(self, board_c: float) -> float:
        """Return when the plan is where the board is."""
        up = self._level_c[-1] >= self._level_c[0]
        levels, times = (
            (self._level_c, self._at_s) if up else (self._level_c[::-1], self._at_s[::-1])
        )
        return float(np.interp(board_c, levels, times))


class _Law:
    """The controller of zone 0 as the plan has it."""

    def __init__(self, header: dict[str, int], board_c: float, mean_power: float) -> None:
        self._kp = header["kp0_q8"] / KP_ONE_Q8 * _PER_K
        self._ki = header["ki0_q14"] / (1 << KI_SHIFT) * _PER_K * TICKS_PER_S
        self._kd = header["kd0_q4"] / (1 << KD_SHIFT) * _PER_K / TICKS_PER_S
        self._weight = header["weight0_q8"] / _WEIGHT_ONE_Q8
        filter_s = (1 << header["filter0_shift"]) / TICKS_PER_S
        self._new = 1 - float(np.exp(-STEP_S / filter_s))
        self.preview_s = header["preview0_ticks"] / TICKS_PER_S
        self._filtered_c = board_c
        self._integral = mean_power + self._kp * (1 - self._weight) * board_c

    def step(self, wanted_c: float, slope: float, board_c: float, cap: float) -> float:
        """Return the power of this step."""
        moved_c = (board_c - self._filtered_c) * self._new
        self._filtered_c += moved_c
        proportional = self._kp * (self._weight * wanted_c - board_c)
        pushing = self._kd * (slope - moved_c / STEP_S)
        asked = proportional + self._integral + pushing
        power = min(max(asked, 0.0), cap)
        error_c = wanted_c - board_c
        if (asked - power) * error_c <= 0:
            self._integral += self._ki * error_c * STEP_S
        return power


def _most_mean(powers: list[float]) -> float:
    if not powers:
        return 0.0
    width = min(len(powers), round(POWER_MEAN_S / STEP_S))
    return float(np.convolve(powers, np.full(width, 1 / width), "valid").max())


def _cooling_s(heater: Heater, warmth: Warmth, plan: Plan) -> float:
    """Return how long the board cools by itself until it may be handled."""
    model = HeatModel(heater, warmth, COOL_STEP_S)
    seconds, until_k = 0.0, plan.header["handling_cdeg"] / 100 + ZERO_C_K
    while model.warmth.sensor_k > until_k and seconds < LONGEST_COOL_TICKS / TICKS_PER_S:
        model.step(0.0)
        seconds += COOL_STEP_S
    return seconds
