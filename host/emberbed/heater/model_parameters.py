"""The numbers that make a heater: unit, allowed range, what heaters usually have, and why.

Every heat capacity and conductance is counted in parts of the heater's full power, so that a file
whose drive is not in watts still carries all of them. `usual` and `spread` are weak prior
knowledge: a direction that the data cannot carry stays there, one that they carry is not moved.
Most are fitted as logarithms: they are factors of one another, and none may change its sign.
"""

from math import log
from typing import NamedTuple

ZERO_C_K = 273.15
SIGMA_W_M2_K4 = 5.670374419e-8  # exact from the SI's h, c, k
REFERENCE_C = 150.0  # board temperature at which its time constant is stated
FLAT = float("inf")


class Parameter(NamedTuple):
    """One number of the model; `spread` is a factor for logarithmic ones, else in `unit`."""

    name: str
    unit: str
    least: float
    most: float
    usual: float
    spread: float
    logarithmic: bool
    says: str


# Ranges and usual values are broad engineering values from memory, unless a source is named.
PARAMETERS = (
    # least: a grey face (0.9) of 8 kW/m2 in a room, half of the weakest on sale; makers' figures
    # for quartz tubes end at 871 degC, for ceramic at 700; lamp filaments reach 2500 K
    Parameter("emitter_full_power_k", "K", 640, 2600, 900, 1.5, True,
              "emitter temperature at full power for long"),
    Parameter("emitter_lag_s", "s", 0.5, 600, 20, 4, True,
              "emitter time constant at full power"),
    # makers say 61 % radiated for quartz tubes, 86 for lamps, 96 for ceramic
    Parameter("emitter_air_share", "1", 0.01, 0.7, 0.2, 2, True,
              "part of the emitter's heat that the air takes, at full power"),
    Parameter("emitter_share", "1", 0.01, 0.95, 0.3, 2.5, True,
              "part of the emitter's radiation that falls on the board"),
    Parameter("board_capacity_s_per_k", "s/K", 0.005, 10, 0.25, 5, True,
              "heat capacity of the board, in seconds of full power per kelvin"),
    Parameter("board_lag_s", "s", 10, 5000, 250, 3, True,
              "time constant of the board's own loss at 150 degC"),
    # bare board of 0.2 m: 7.8 of 14.1 W/m2K per face at 100 degC, 9.9 of 16.9 at 150
    Parameter("board_radiated_share", "1", 0.1, 0.95, 0.55, 1.5, True,
              "part of the board's loss that is radiated"),
    Parameter("surroundings_rise_k", "K", 1, 1000, 100, 3, True,
              "rise of the surroundings over the room at full power for long"),
    Parameter("surroundings_lag_s", "s", 30, 20000, 600, 4, True,
              "time constant of the surroundings"),
    Parameter("sensor_lag_s", "s", 0.1, 60, 2, 2.5, True,
              "lag of the sensor: half of it the board's thickness, half its own"),
    # a resistor that grows with heat takes less than the square of the voltage
    Parameter("drive_exponent", "1", 1, 2, 1.5, FLAT, False,
              "heat goes with the drive to this power"),
    Parameter("room_c", "degC", 0, 45, 23, 4, False,
              "room temperature"),
)  # fmt: skip
BY_NAME = {parameter.name: parameter for parameter in PARAMETERS}


def to_fit(parameter: Parameter, value: float) -> float:
    """Return a value on the scale on which it is fitted."""
    return log(value) if parameter.logarithmic else value


def fit_spread(parameter: Parameter) -> float:
    """Return the standard deviation of the prior knowledge on the fit's scale."""
    return log(parameter.spread) if parameter.logarithmic else parameter.spread
