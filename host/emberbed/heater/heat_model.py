"""Heat in a heater as three lumps and a sensor, for one set of numbers or thousands at once.

Emitter, board and surroundings in kelvin: radiation between each two, air that cools emitter and
board, a loss from the surroundings to the room. Heat comes from below and a sensor lies above: it
crosses the board's thickness first and the bead's tape then, two equal lags in a row. Every field
of a `Heater` may be a number or an array, one entry for each variant. The step is a two-stage
linearly implicit rule with a diagonal for the Jacobian: of second order whatever matrix it is
given, and quiet where an emitter is much faster than a step.
"""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from emberbed.heater.model_parameters import REFERENCE_C, ZERO_C_K

Numbers = np.ndarray | float
GAMMA = 1 - 0.5**0.5  # makes the rule L-stable
COOL_K = 400.0  # what a glowing emitter looks at, in the definition of its hottest temperature
CONVECTION_OVER_K = 100.0  # board over surroundings where the convective share is stated
_HALVINGS = 60


class Heater(NamedTuple):
    """Physics in SI; with `full_power_w` = 1 everything is in parts of full power."""

    full_power_w: Numbers
    emitter_j_k: Numbers
    board_j_k: Numbers
    surroundings_j_k: Numbers
    emitter_board_w_k4: Numbers
    emitter_around_w_k4: Numbers
    emitter_air_w_k: Numbers
    board_around_w_k4: Numbers
    board_air_w_k125: Numbers
    room_loss_w_k: Numbers
    sensor_lag_s: Numbers
    drive_exponent: Numbers
    room_k: Numbers


class Warmth(NamedTuple):
    """Temperatures of one moment, in kelvin."""

    emitter_k: Numbers
    board_k: Numbers
    surroundings_k: Numbers
    face_k: Numbers  # under the sensor, half of its lag behind the board
    sensor_k: Numbers

    def with_board(self, board_k: Numbers) -> "Warmth":
        """Return it with a board, and the sensor on it, at one temperature."""
        return self._replace(board_k=board_k, face_k=board_k, sensor_k=board_k)


def heater_of(values: Mapping[str, Numbers], full_power_w: Numbers = 1.0) -> Heater:
    """Return the physics of the numbers of a heater file."""
    hot_k = values["emitter_full_power_k"]
    in_air_w = full_power_w * values["emitter_air_share"]
    exchange = (full_power_w - in_air_w) / (hot_k**4 - COOL_K**4)
    emitter_air = in_air_w / (hot_k - COOL_K)
    on_board = exchange * values["emitter_share"]
    board_j_k = full_power_w * values["board_capacity_s_per_k"]
    board_loss = board_j_k / values["board_lag_s"]
    radiated = board_loss * values["board_radiated_share"]
    convected = board_loss - radiated
    room_loss = full_power_w / values["surroundings_rise_k"]
    return Heater(
        full_power_w,
        values["emitter_lag_s"] * (4 * exchange * hot_k**3 + emitter_air),
        board_j_k,
        values["surroundings_lag_s"] * room_loss,
        on_board,
        exchange - on_board,
        emitter_air,
        radiated / (4 * (REFERENCE_C + ZERO_C_K) ** 3),
        convected / (1.25 * CONVECTION_OVER_K**0.25),
        room_loss,
        values["sensor_lag_s"],
        values["drive_exponent"],
        values["room_c"] + ZERO_C_K,
    )


def at_rest(heater: Heater) -> Warmth:
    """Return everything at room temperature."""
    return Warmth(*[heater.room_k] * 5)


def in_balance(heater: Heater, board_k: Numbers) -> tuple[Warmth, Numbers]:
    """Return the steady state with this board temperature, and its heat in watts (parts of full).

    A board below the room has none: then everything stands at the board's temperature.
    """
    room_k = np.minimum(heater.room_k, board_k)
    low = room_k + np.zeros(np.shape(board_k))
    high = board_k + np.zeros(np.shape(low))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        _lost, surplus, _emitter4 = _balance(heater, board_k, middle, room_k)
        low = np.where(surplus < 0, middle, low)
        high = np.where(surplus < 0, high, middle)
    around_k = (low + high) / 2
    lost, _surplus, emitter4 = _balance(heater, board_k, around_k, room_k)
    heat = lost + _astray(heater, emitter4, around_k)
    return Warmth(emitter4**0.25, board_k, around_k, board_k, board_k), heat


def _balance(heater: Heater, board_k: Numbers, around_k: Numbers, room_k: Numbers) -> tuple:
    """Return the board's loss, what the surroundings lose beyond their gain, emitter**4."""
    over = board_k - around_k
    lost = heater.board_around_w_k4 * (board_k**4 - around_k**4)
    lost = lost + heater.board_air_w_k125 * np.abs(over) ** 0.25 * over
    emitter4 = board_k**4 + lost / heater.emitter_board_w_k4
    gained = lost + _astray(heater, emitter4, around_k)
    return lost, heater.room_loss_w_k * (around_k - room_k) - gained, emitter4


def _astray(heater: Heater, emitter4: Numbers, around_k: Numbers) -> Numbers:
    """Return what goes from the emitter to the surroundings."""
    radiated = heater.emitter_around_w_k4 * (emitter4 - around_k**4)
    return radiated + heater.emitter_air_w_k * (emitter4**0.25 - around_k)


class HeatModel:
    """The heater in time; `warmth` is now, `step` moves it on."""

    def __init__(self, heater: Heater, warmth: Warmth, step_s: float) -> None:
        self.warmth = warmth
        self._h = step_s
        self._heater = heater
        self._per_emitter = 1 / heater.emitter_j_k
        self._per_board = 1 / heater.board_j_k
        self._per_around = 1 / heater.surroundings_j_k
        self._from_emitter = heater.emitter_board_w_k4 + heater.emitter_around_w_k4
        self._from_board = heater.emitter_board_w_k4 + heater.board_around_w_k4
        self._from_around = heater.emitter_around_w_k4 + heater.board_around_w_k4
        self._half_lag_s = heater.sensor_lag_s / 2
        self._half_lags = step_s / self._half_lag_s
        self._keeps = np.exp(-self._half_lags)

    def step(self, heat_w: Numbers) -> None:
        """Advance by one step with this mean heat of the emitter."""
        h = self._h
        emitter, board, around, face, sensor = self.warmth
        rates, air = self._rates(emitter, board, around, heat_w)
        # a cold emitter under full power is as stiff as the hot one that it is about to be
        glowing4 = heat_w / self._from_emitter + _fourth(around)
        hottest = np.maximum(emitter, np.sqrt(np.sqrt(np.abs(glowing4))))
        damped = self._damping(hottest, board, around, air)
        first = [damp * rate for damp, rate in zip(damped, rates, strict=True)]
        rates, _air = self._rates(
            emitter + h * first[0], board + h * first[1], around + h * first[2], heat_w
        )
        emitter, after, around = (
            was + h * (1.5 * one + 0.5 * damp * (rate - 2 * one))
            for was, one, damp, rate in zip(
                (emitter, board, around), first, damped, rates, strict=True
            )
        )
        # exact for a board in a straight line: how far both are off where they would follow it
        behind = (after - board) / h * self._half_lag_s
        face_off, sensor_off = face - board + behind, sensor - board + 2 * behind
        face = after - behind + face_off * self._keeps
        sensor = after - 2 * behind + (sensor_off + face_off * self._half_lags) * self._keeps
        self.warmth = Warmth(emitter, after, around, face, sensor)

    def _rates(self, emitter: Numbers, board: Numbers, around: Numbers, heat_w: Numbers) -> tuple:
        """Return the three slopes in K/s, and the board's convection in W/K."""
        heater = self._heater
        emitter4, board4, around4 = _fourth(emitter), _fourth(board), _fourth(around)
        over = board - around
        air = heater.board_air_w_k125 * np.sqrt(np.sqrt(np.abs(over)))
        on_board = heater.emitter_board_w_k4 * (emitter4 - board4)
        astray = heater.emitter_around_w_k4 * (emitter4 - around4)
        astray = astray + heater.emitter_air_w_k * (emitter - around)
        lost = heater.board_around_w_k4 * (board4 - around4) + air * over
        to_room = heater.room_loss_w_k * (around - heater.room_k)
        rates = (
            self._per_emitter * (heat_w - on_board - astray),
            self._per_board * (on_board - lost),
            self._per_around * (astray + lost - to_room),
        )
        return rates, air

    def _damping(self, emitter: Numbers, board: Numbers, around: Numbers, air: Numbers) -> tuple:
        """Return 1 / (1 - gamma h J), J the Jacobian's diagonal with the emitter at its hottest."""
        by_h = GAMMA * self._h
        air = 1.25 * air
        emitter_air = self._heater.emitter_air_w_k
        room = air + emitter_air + self._heater.room_loss_w_k
        glow = 4 * self._from_emitter * _cubed(emitter) + emitter_air
        return (
            1 / (1 + by_h * self._per_emitter * glow),
            1 / (1 + by_h * self._per_board * (4 * self._from_board * _cubed(board) + air)),
            1 / (1 + by_h * self._per_around * (4 * self._from_around * _cubed(around) + room)),
        )


def simulate(
    heater: Heater, warmth: Warmth, heat: np.ndarray, step_s: float, longest_s: float
) -> np.ndarray:
    """Return the sensor in degrees C at the start and after each step, a column per variant.

    `heat[step, variant]` in parts of full power; steps are cut so that none exceeds `longest_s`.
    """
    pieces = max(1, int(np.ceil(step_s / longest_s - 1e-9)))
    model = HeatModel(heater, warmth, step_s / pieces)
    read_k = np.empty((len(heat) + 1, heat.shape[1]))
    read_k[0] = warmth.sensor_k
    for number, heat_w in enumerate(heat * heater.full_power_w):
        for _ in range(pieces):
            model.step(heat_w)
        read_k[number + 1] = model.warmth.sensor_k
    return read_k - ZERO_C_K


def _cubed(kelvin: Numbers) -> Numbers:
    return kelvin * kelvin * kelvin


def _fourth(kelvin: Numbers) -> Numbers:
    squared = kelvin * kelvin
    return squared * squared
