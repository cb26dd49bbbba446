"""The line through a plan's knots: which knot, which setpoint, slope, feedforward and tick.

Pure functions of a plan, a slice of its knots (`knot` .. `last`, indexes) and ticks within the
stage. Temperatures in cdeg, slopes in cdeg per tick Q6; plan_check keeps every product small.
"""

from emberbed_fw.integer_math import clamp, divide_round, interpolate


def knot_at(plan, knot, last, tick):
    """Return the newest knot at or before `tick`, looking on from `knot`."""
    ticks = plan.knot["tick"]
    while knot < last and ticks[knot + 1] <= tick:
        knot += 1
    return knot


def setpoint_cdeg(plan, knot, last, tick):
    """Return the setpoint at `tick`, between `knot` and the one after it."""
    ticks = plan.knot["tick"]
    setpoints = plan.knot["setpoint_cdeg"]
    if knot == last:
        return setpoints[last]
    return interpolate(tick, ticks[knot], setpoints[knot], ticks[knot + 1], setpoints[knot + 1])


def feedforward_q15(plan, zone, knot, last, tick):
    """Return the feedforward of a zone at `tick`, between `knot` and the one after it."""
    ticks = plan.knot["tick"]
    powers = plan.feedforward_q15[zone]
    if knot == last:
        return powers[last]
    return interpolate(tick, ticks[knot], powers[knot], ticks[knot + 1], powers[knot + 1])


def slope_q6(plan, knot, last, tick):
    """Return the slope at `tick`; 0 on a plateau and past the last knot."""
    ticks = plan.knot["tick"]
    setpoints = plan.knot["setpoint_cdeg"]
    knot = knot_at(plan, knot, last, tick)
    if knot == last:
        return 0
    span = ticks[knot + 1] - ticks[knot]
    return divide_round((setpoints[knot + 1] - setpoints[knot]) * 64, span)


def tick_of(plan, first, last, measured_cdeg):
    """Return the first tick at which the line passes `measured_cdeg`: a warm board starts its ramp
    where it is. 0 before the line's beginning, its last tick beyond its end."""
    ticks = plan.knot["tick"]
    setpoints = plan.knot["setpoint_cdeg"]
    for knot in range(first, last):
        start = setpoints[knot]
        rise = setpoints[knot + 1] - start
        into = measured_cdeg - start
        if rise < 0:
            rise = -rise
            into = -into
        if 0 < into <= rise:
            span = ticks[knot + 1] - ticks[knot]
            return ticks[knot] + clamp(divide_round(into * span, rise), 0, span)
    up = setpoints[last] >= setpoints[first]
    beyond = measured_cdeg > setpoints[last] if up else measured_cdeg < setpoints[last]
    return ticks[last] if beyond else 0
