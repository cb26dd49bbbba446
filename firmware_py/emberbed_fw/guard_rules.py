"""The guard's questions, each a pure function of this tick's facts; none knows the controller.

Comparisons fail safe: a value that cannot be compared as fine counts as not fine.
"""

from emberbed_fw import safety_limits
from emberbed_fw.run_states import HEATING_STATES
from emberbed_fw.trip_codes import NO_TRIP
from emberbed_fw.units import CHANNELS, NO_READING_CDEG, NONE, ZONES


def sensor_fault(readings, in_use):
    """Return the first fault among the configured channels, NO_TRIP when all are good."""
    for channel in range(CHANNELS):
        if in_use[channel] and readings.fault[channel] != NO_TRIP:
            return readings.fault[channel]
    return NO_TRIP


def too_hot(readings, plan, ceiling_cdeg, limit_cdeg):
    """Return the first fitted channel above its ceiling, or a configured one above `limit_cdeg`;
    NONE when all are below. No setting lifts the code's ceiling from the board."""
    for channel in range(CHANNELS):
        if readings.cdeg[channel] == NO_READING_CDEG:
            continue
        limit = ceiling_cdeg[channel]
        if plan.in_use[channel]:
            limit = min(limit, limit_cdeg[channel])
        if plan.on_board[channel]:
            limit = min(limit, safety_limits.HARD_CEILING_CDEG)
        if not readings.cdeg[channel] <= limit:
            return channel
    return NONE


def state_heats(state):
    return state in HEATING_STATES


def tick_late(elapsed_ms):
    return not elapsed_ms <= safety_limits.LATE_TICK_MS


def tick_overrun(elapsed_ms):
    return not elapsed_ms <= safety_limits.OVERRUN_TICK_MS


def driven_w(watts, driven_zones, flows):
    """Return the watts of a tick that drove these zones. flows: what the current sense says, NONE
    without one; it knows better than the command."""
    total = 0
    for zone in range(ZONES):
        if driven_zones >> zone & 1:
            total += watts[zone]
    if flows == NONE:
        return total
    return (total or sum(watts)) if flows else 0
