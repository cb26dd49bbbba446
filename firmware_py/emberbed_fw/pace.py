"""What slows the plan's clock besides the board's lag: neighbours, unevenness, a lifting bead.

Takes readings, plan and the running stage; gives one WAITS_* code, WAITS_NOTHING for a free clock.
A neighbour near its own limit stops the clock before anything trips; a hold may need further
sensors in its band; a ramp slows and a hold waits while the board is uneven.
"""

from emberbed_fw import plan as plans
from emberbed_fw.run_states import (
    WAITS_BAND,
    WAITS_EXPLANATION,
    WAITS_NEIGHBOUR,
    WAITS_NOTHING,
    WAITS_SENSOR_DOWN,
    WAITS_SPREAD,
)
from emberbed_fw.units import CHANNELS, NO_READING_CDEG, TICKS_PER_MIN

AHEAD_TICKS = 400  # what the emitters have stored arrives for so long at the rise of now


def brake(plan, sequencer, readings, lifting, rise_cdeg_per_min=0, doubted=0):
    """Return why the clock should slow or stand. `lifting`: the guard sees a bead lift;
    `rise_cdeg_per_min`: how fast the board rises now; `doubted`: the guard cannot explain what the
    board does."""
    if lifting:
        return WAITS_SENSOR_DOWN
    if doubted:
        return WAITS_EXPLANATION
    coming_cdeg = max(rise_cdeg_per_min, 0) * AHEAD_TICKS // TICKS_PER_MIN
    if neighbour_near_limit(plan, readings, coming_cdeg):
        return WAITS_NEIGHBOUR
    stage = sequencer.stage
    if sequencer.kind() == plans.HOLD and not needed_in_band(plan, sequencer, readings):
        return WAITS_BAND
    most = plan.stage["spread_cdeg"][stage]
    if most > 0 and spread_cdeg(plan, readings) > most:
        return WAITS_SPREAD
    return WAITS_NOTHING


def neighbour_near_limit(plan, readings, coming_cdeg):
    """Tell whether a neighbour is where it pauses the ramp, or would pass its limit by what is
    still coming."""
    for channel in range(CHANNELS):
        if plan.pause_cdeg[channel] == 0:
            continue
        most = min(plan.pause_cdeg[channel], plan.limit_cdeg[channel] - coming_cdeg)
        if not readings.cdeg[channel] < most:
            return True
    return False


def needed_in_band(plan, sequencer, readings):
    """Tell whether every further sensor that this hold needs is inside its band."""
    needed = plan.stage["needed_channels"][sequencer.stage]
    band = plan.stage["band_cdeg"][sequencer.stage]
    level = sequencer.level_cdeg()
    for channel in range(CHANNELS):
        if needed >> channel & 1 and abs(readings.cdeg[channel] - level) > band:
            return False
    return True


def spread_cdeg(plan, readings):
    """Return hottest minus coldest good reading of those that tell the board's evenness."""
    hottest = NO_READING_CDEG
    coldest = -NO_READING_CDEG
    for channel in range(CHANNELS):
        cdeg = readings.cdeg[channel]
        if plan.tells_spread[channel] and cdeg != NO_READING_CDEG:
            hottest = max(hottest, cdeg)
            coldest = min(coldest, cdeg)
    return max(hottest - coldest, 0)
