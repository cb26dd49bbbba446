"""What board lies on a known heater, from its first ramp: three numbers by bounded least squares.

Emitter and surroundings are the heater file's; the board's heat capacity, the scale of its loss
and the sensor's lag are fitted, the last two held by the file's own where the ramp tells little.
Intervals are of 95 %; they hold the noise with its correlation, the heater file's own doubt and
that a board is no single lump. Raises NotLearned, one sentence, where the data cannot carry it.
"""

from dataclasses import dataclass

import numpy as np

from emberbed.heater.batch_fit import OnePoint, search
from emberbed.heater.carried import NORMAL_95
from emberbed.heater.heat_model import Heater, HeatModel, Warmth, at_rest, heater_of, simulate
from emberbed.heater.heater_file import HeaterFile
from emberbed.heater.identify import FIRST_NOISE_C, Noise, fit_percent
from emberbed.heater.model_parameters import BY_NAME, ZERO_C_K
from emberbed.heater.step_data import Grid, Measured, to_grid
from emberbed.learn.mass_class import mass_class_of

STEP_S = 1.0
LEAST_S = 60.0  # of data: emitters alone take half a minute to glow
LEAST_RISE_C = 20.0  # over which the sensor's steps of 0.25 degC and the room do not matter
LEAST_HEAT_S = 10.0  # of full power
MOST_START_C = 45.0  # a bench that is warm from the board before stores unknown heat
LONGEST_GAP_S = 5.0  # in which nobody knows what was driven
CAPACITY_J_PER_K = (5.0, 5000.0)  # 5 g to 5 kg of board
LOSS_SCALE = (0.2, 5.0)
LOSS_SPREAD = 1.5  # a factor; a ramp to 90 degC says little of the loss
LAG_SPREAD = 2.0  # a factor; a bead sits under another tape each time
STARTS_J_PER_K = (50.0, 150.0, 500.0)
ROUNDS = 12
# a factor less one: the middle of a board is warmer than its mean; from rehearsals on simulated
# boards of 60 to 500 g
ONE_LUMP = 0.05
WORST_FACTOR = 1.5  # of the interval's half: beyond it the data do not carry the capacity


class NotLearned(Exception):
    """Why nothing can be said of the board; one sentence."""


@dataclass(frozen=True)
class LearnedBoard:
    """A board on its heater. `interval` is that of the capacity, `warmth` is at the data's end."""

    capacity_j_per_k: float
    interval: tuple[float, float]
    mass_class: str
    lag_s: float
    fit_percent: float
    heater: Heater
    warmth: Warmth
    mean_power: float  # parts of full, over the last seconds

    def with_capacity(self, capacity_j_per_k: float) -> Heater:
        """Return the heater under a board of another capacity."""
        return self.heater._replace(board_j_k=capacity_j_per_k)


def learn(measured: Measured, heater: HeaterFile, watts: float | None = None) -> LearnedBoard:
    """Fit the board; `watts` stand in where the file does not know the heater's."""
    _refuse_poor(measured)
    full_power_w = heater.scale.full_power_w or watts
    if full_power_w is None:
        raise NotLearned("neither the heater file nor the device says the heater's watts")
    grid = to_grid(measured, 1.0, STEP_S)
    fit = _Fit(heater_of(heater.values, full_power_w), grid)
    at, noise_c = fit.solved()
    known = fit.known(at, noise_c)
    doubt = float(np.sqrt(np.linalg.inv(known)[0, 0] + _file_doubt(heater) ** 2 + ONE_LUMP**2))
    factor = float(np.exp(NORMAL_95 * doubt))
    if factor > WORST_FACTOR or not fit.is_inside(at):
        raise NotLearned(
            "the ramp does not tell the board's heat capacity: another heater than the file's, a"
            " lifted bead or a draught would do that"
        )
    capacity = float(np.exp(at[0]))
    physics = fit.physics(at)
    return LearnedBoard(
        capacity,
        (capacity / factor, capacity * factor),
        mass_class_of(capacity),
        float(np.exp(at[2])),
        fit_percent(grid.celsius, fit.simulated(at[:, None])[:, 0]),
        physics,
        _at_the_end(physics, fit),
        float(np.mean(fit.heat[-_END_STEPS:])),
    )


_END_STEPS = 20


class _Fit:
    """Logarithms of capacity in J/K, scale of the loss and sensor lag in s, against one grid."""

    def __init__(self, heater: Heater, grid: Grid) -> None:
        self._heater = heater._replace(room_k=float(grid.celsius[0]) + ZERO_C_K)
        self._celsius = grid.celsius
        self.heat = grid.heat(np.ones(1))
        lag = BY_NAME["sensor_lag_s"]
        bounds = np.log([CAPACITY_J_PER_K, LOSS_SCALE, (lag.least, lag.most)])
        self.least, self.most = bounds[:, 0], bounds[:, 1]
        lag_s = float(heater.sensor_lag_s)
        self._usual = np.array([0.0, 0.0, np.log(lag_s)])[:, None]
        self._held = np.array([0.0, 1 / np.log(LOSS_SPREAD), 1 / np.log(LAG_SPREAD)])[:, None]

    def solved(self) -> tuple[np.ndarray, float]:
        """Return the best point, and the noise that a single row is worth there."""
        starts = np.log([[start, 1.0, np.exp(self._usual[2, 0])] for start in STARTS_J_PER_K])
        noise_c = FIRST_NOISE_C
        for _ in range(2):  # the noise is known only after a first fit
            points, _costs = search(self._weighed(noise_c), starts, self.least, self.most, ROUNDS)
            starts = points[:1]
            noise_c = self._noise(points[0]).effective_c
        return points[0], noise_c

    def known(self, at: np.ndarray, noise_c: float) -> np.ndarray:
        """Return the inverse covariance at a point."""
        slopes = OnePoint(self._weighed(noise_c), self.least, self.most).slopes(at)
        return slopes.T @ slopes

    def is_inside(self, at: np.ndarray) -> bool:
        """Tell whether the capacity is not held by the edge of what is allowed."""
        return bool(self.least[0] + 1e-3 < at[0] < self.most[0] - 1e-3)

    def physics(self, at: np.ndarray) -> Heater:
        """Return the heater under the board of a point, or of a column for each."""
        capacity, scale, lag_s = np.exp(at)
        return self._heater._replace(
            board_j_k=capacity,
            board_around_w_k4=self._heater.board_around_w_k4 * scale,
            board_air_w_k125=self._heater.board_air_w_k125 * scale,
            sensor_lag_s=lag_s,
        )

    def simulated(self, at: np.ndarray) -> np.ndarray:
        """Return the sensor in degrees C, a column per point."""
        columns = at.shape[1]
        heat = np.broadcast_to(self.heat, (len(self.heat), columns))
        warmth = Warmth(*(np.full(columns, kelvin) for kelvin in at_rest(self._heater)))
        return simulate(self.physics(at), warmth, heat, STEP_S, STEP_S)

    def _weighed(self, noise_c: float):
        def residuals(at: np.ndarray) -> np.ndarray:
            off = self.simulated(at) - self._celsius[:, None]
            return np.vstack([off / noise_c, (at - self._usual) * self._held])

        return residuals

    def _noise(self, at: np.ndarray) -> Noise:
        off = self.simulated(at[:, None])[:, 0] - self._celsius
        square = float((off**2).sum())
        together = float((off[1:] * off[:-1]).sum()) / square if square > 0 else 0.0
        return Noise((square / len(off)) ** 0.5, min(max(together, 0.0), 0.999), len(off))


def _at_the_end(physics: Heater, fit: _Fit) -> Warmth:
    model = HeatModel(physics, at_rest(physics), STEP_S)
    for heat in fit.heat[:, 0]:
        model.step(heat * physics.full_power_w)
    return Warmth(*(float(kelvin) for kelvin in model.warmth))


def _file_doubt(heater: HeaterFile) -> float:
    """Return how well the file knows what of the emitter's heat reaches a board, as a logarithm.

    A step test tells it and its board's capacity as a ratio only: both are as uncertain.
    """
    share = heater.parameters["emitter_share"]
    if not 0 < share.low <= share.high:
        raise NotLearned("the heater file does not know what of the heat reaches a board")
    return float(np.log(share.high / share.low) / 2 / NORMAL_95)


def _refuse_poor(measured: Measured) -> None:
    seconds, celsius = measured.seconds, measured.temperature_c
    if len(seconds) < 2 or seconds[-1] - seconds[0] < LEAST_S:
        raise NotLearned(f"the run is too short for it, less than {LEAST_S:.0f} s")
    if float(np.diff(seconds).max()) > LONGEST_GAP_S:
        raise NotLearned("readings are missing in the ramp, and with them what was driven")
    if celsius[0] > MOST_START_C:
        raise NotLearned(
            f"the board was at {celsius[0]:.0f} °C when the run began, and it takes a cold start"
        )
    heated_s = float((measured.drive[:-1] * np.diff(seconds)).sum())
    if heated_s < LEAST_HEAT_S or float(np.ptp(celsius)) < LEAST_RISE_C:
        raise NotLearned(
            f"nothing has excited the board: {heated_s:.0f} s of full power and a rise of"
            f" {np.ptp(celsius):.0f} °C; it takes {LEAST_HEAT_S:.0f} s and {LEAST_RISE_C:.0f} °C"
        )
