"""A lift watch fed with readings, still, lifted or given up."""

from emberbed_fw.lift_watch import (
    LiftWatch,
)
from emberbed_fw.units import CHANNELS, NO_READING_CDEG

WATCHED = [True, True] + [False] * (CHANNELS - 2)
AIR_AWAY, AIR_ON = False, True
STEP_CDEG = 25  # a MAX31855K counts quarters of a degree; datasheet, table 4


class Fed:
    def __init__(self, cdeg):
        self.cdeg = [cdeg, cdeg] + [NO_READING_CDEG] * (CHANNELS - 2)


def quarters(cdeg):
    return round(cdeg / STEP_CDEG) * STEP_CDEG


# Acts.


def lifted(start_cdeg, air_cdeg, ticks, time_constant_ticks=15):
    """Return what a bead says that has left the board: it goes to the air's temperature."""
    readings = []
    cdeg = start_cdeg
    for _ in range(ticks):
        cdeg += (air_cdeg - cdeg) / time_constant_ticks
        readings.append(quarters(cdeg))
    return readings


def state_of(one):
    return {name: getattr(one, name) for name in one.STATE}


# Under hot air: a bead may fall fast, but not far below what its board had before.


def under_air(cdeg=15000, ticks=100):
    """Return a watch with this steady bead, and its readings, as hot air begins."""
    one = LiftWatch()
    readings = Fed(cdeg)
    for _ in range(ticks):
        one.step(readings, WATCHED, AIR_AWAY)
    return one, readings


# After the trip.


def given_up(board_cdeg=6400):
    """Return a watch whose bead has been off for ten seconds, and its readings."""
    one, readings = under_air(board_cdeg)
    readings.cdeg[0] = 2500
    while not one.overdue:
        one.step(readings, WATCHED, AIR_AWAY)
    return one, readings
