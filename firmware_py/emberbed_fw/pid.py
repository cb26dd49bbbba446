"""Two-degree-of-freedom PID in integers, one object per zone.

demand = Kp (b setpoint - board) + integral + Kd (plan's slope - board's slope) + feedforward, in
q15 of full power, clamped to the range of the tick and the cap. The board's slope comes from a
filtered measurement, the plan's goes through the same filter, so that both are as late. Where a
run leaves its plan or returns to it, the integral takes over what the feedforward gave, so that the
demand makes no jump. The integral stands still while what was really delivered falls short of (or
exceeds) what the error asks for, so that nothing winds up behind the guard or a saturated heater;
and it grows slowly while the board catches up after that: the way back is no lasting error. What is
asked for below no power is owed by what is asked for above it a little later: a board that coasts
is not warmed by the upper half of its reading's noise.
Ranges: gains as plan.py allows, error +-ERROR_LIMIT_CDEG.
"""

from emberbed_fw.integer_math import clamp
from emberbed_fw.units import KD_SHIFT, KI_SHIFT

ERROR_LIMIT_CDEG = 20000
SLOPE_LIMIT_Q6 = 4000  # 62 cdeg per tick
BEHIND_LIMIT_Q6 = 1000  # of a slope behind its plan: 1.5 degC a second, and Kd's largest fits
INTEGRAL_LIMIT = 900000000  # 1.6 of full power in Q14; plus one step still below 2**30
FILTER_Q = 6
CATCH_UP_TICKS = 300  # after the last one with less power than asked for, or until it is there
CATCH_UP_SHIFT = 2  # a quarter of the integral's speed
OWED_LIMIT_Q15 = 65536  # two ticks of full power: no ramp begins noticeably later by it
OWED_SHIFT = 6  # forgotten within 6 s


class SlopeFilter:
    """Slopes in cdeg per tick, Q6: a reading's, and the plan's as late as that one.

    Two first-order filters one behind the other, together 2**shift ticks late: a third of the
    noise that one alone would let through; noise cut off at no power is heat nobody asked for.
    """

    STATE = ("_first_q6", "_filtered_q6", "slope_q6", "_plan_first", "_plan_second")

    def __init__(self, shift):
        self._shift = max(shift - 1, 0)  # of each
        self.reset(0)

    def reset(self, measured_cdeg):
        self._first_q6 = measured_cdeg << FILTER_Q
        self._filtered_q6 = self._first_q6
        self.slope_q6 = 0
        self._plan_first = 0  # slopes times 2**_shift
        self._plan_second = 0

    def observe(self, measured_cdeg):
        self._first_q6 += ((measured_cdeg << FILTER_Q) - self._first_q6) >> self._shift
        step_q6 = (self._first_q6 - self._filtered_q6) >> self._shift
        self._filtered_q6 += step_q6
        self.slope_q6 = clamp(step_q6, -SLOPE_LIMIT_Q6, SLOPE_LIMIT_Q6)

    def late_q6(self, plan_slope_q6):
        """Return the plan's slope through the same filters."""
        slope_q6 = clamp(plan_slope_q6, -SLOPE_LIMIT_Q6, SLOPE_LIMIT_Q6)
        self._plan_first += slope_q6 - (self._plan_first >> self._shift)
        self._plan_second += (self._plan_first >> self._shift) - (self._plan_second >> self._shift)
        return self._plan_second >> self._shift

    def now_cdeg(self):
        """Return the reading without its noise, as if the filters were not late."""
        return (self._filtered_q6 + (self.slope_q6 << (self._shift + 1))) >> FILTER_Q

    def rise_cdeg_per_min(self):
        return self.slope_q6 * 600 >> FILTER_Q


class Pid:
    """Controller of one zone. `step` once a tick while the zone may heat, `reset` before."""

    STATE = ("integral_q14", "demand_q15", "_feedforward_q15", "_off_plan", "_behind_ticks",
             "_owed_q15")

    def __init__(self, header, zone):
        self._kp_q8 = header["kp%d_q8" % zone]
        self._ki_q14 = header["ki%d_q14" % zone]
        self._kd_q4 = header["kd%d_q4" % zone]
        self._weight_q8 = header["weight%d_q8" % zone]
        self.cap_q15 = header["cap%d_q15" % zone]
        self.slope = SlopeFilter(header["filter%d_shift" % zone])
        self._forget()

    def reset(self, measured_cdeg):
        self.slope.reset(measured_cdeg)
        self._forget()

    def _forget(self):
        self.integral_q14 = 0
        self.demand_q15 = 0
        self._feedforward_q15 = 0
        self._off_plan = 0
        self._behind_ticks = 0  # left in which the board catches up
        self._owed_q15 = 0  # asked for below no power of late

    def rest(self):
        """Ask for nothing this tick; the integral stays."""
        self.demand_q15 = 0

    def follow(self, off_plan, feedforward_q15):
        """Take note of this tick's feedforward before `step`, and whether it is the plan's."""
        if off_plan != self._off_plan:
            most_q15 = INTEGRAL_LIMIT >> KI_SHIFT
            taken_q15 = (self.integral_q14 >> KI_SHIFT) + self._feedforward_q15 - feedforward_q15
            self.integral_q14 = clamp(taken_q15, -most_q15, most_q15) << KI_SHIFT
            self._off_plan = off_plan
        self._feedforward_q15 = feedforward_q15

    def step(self, setpoint_cdeg, plan_slope_q6, measured_cdeg, feedforward_q15, delivered,
             least_q15, most_q15):
        """Take one tick; the demand stays in `least_q15`..`most_q15` and below the cap.
        `delivered` = the last tick's bits were driven as asked."""
        self.slope.observe(measured_cdeg)
        weighted = (self._weight_q8 * setpoint_cdeg >> 8) - measured_cdeg
        proportional = self._kp_q8 * clamp(weighted, -ERROR_LIMIT_CDEG, ERROR_LIMIT_CDEG) >> 8
        behind_q6 = self.slope.late_q6(plan_slope_q6) - self.slope.slope_q6
        behind_q6 = clamp(behind_q6, -BEHIND_LIMIT_Q6, BEHIND_LIMIT_Q6)
        pushing = self._kd_q4 * behind_q6 >> (KD_SHIFT + FILTER_Q)
        asked = proportional + (self.integral_q14 >> KI_SHIFT) + pushing + feedforward_q15
        asked -= self._owed_q15
        self.demand_q15 = min(clamp(asked, least_q15, most_q15), self.cap_q15)
        owed = clamp(least_q15 - asked, 0, OWED_LIMIT_Q15)
        self._owed_q15 = owed - (owed >> OWED_SHIFT)
        excess = asked - (self.demand_q15 if delivered else 0)
        error = clamp(setpoint_cdeg - measured_cdeg, -ERROR_LIMIT_CDEG, ERROR_LIMIT_CDEG)
        short = excess > 0 and error > 0
        if short or error <= 0:
            self._behind_ticks = CATCH_UP_TICKS if short else 0
        elif self._behind_ticks > 0:
            self._behind_ticks -= 1
        if not short and not (excess < 0 and error < 0):
            catches_up = self._behind_ticks > 0 and self.integral_q14 >= 0
            counted = error >> CATCH_UP_SHIFT if catches_up else error
            self.integral_q14 = clamp(
                self.integral_q14 + self._ki_q14 * counted, -INTEGRAL_LIMIT, INTEGRAL_LIMIT
            )
