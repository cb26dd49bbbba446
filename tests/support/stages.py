"""A sequencer alone on a table: stages of a plan, and a board that a test puts somewhere."""

from emberbed_fw import run_states as rs
from emberbed_fw.plan import Plan
from emberbed_fw.sequencer import Sequencer
from emberbed_fw.units import NONE
from tests.support.plans import build_plan, cool


def sequencer(*stages, at_cdeg=2500):
    """Return a sequencer standing in its first stage."""
    one = Sequencer(Plan(build_plan([*stages, cool()])))
    one.begin(at_cdeg)
    return one


def step(one, measured_cdeg, acknowledged=NONE):
    return one.step(measured_cdeg, acknowledged, rs.WAITS_NOTHING)


def run(one, measured_cdeg, ticks, acknowledged=NONE, brake=rs.WAITS_NOTHING):
    """Take up to `ticks` ticks at a fixed reading; return the tick at which a stage ended, or 0."""
    for tick in range(1, ticks + 1):
        if one.step(measured_cdeg, acknowledged, brake):
            return tick
    return 0


def follow(one, ticks, lag_cdeg=0):
    """Take ticks with a board that follows its setpoint `lag_cdeg` behind."""
    for tick in range(1, ticks + 1):
        if one.step(one.setpoint_cdeg - lag_cdeg, NONE, rs.WAITS_NOTHING):
            return tick
    return 0
