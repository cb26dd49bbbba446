"""No jump upwards: where the plan's setpoint steps up, the one that is used climbs to it.

`give` once a tick with what is wanted and what the board has. A step up, or `begin` after a
person's change, starts a climb from where the board or the setpoint was; when it has caught up the
lead is free again. Temperatures in cdeg, slopes in cdeg per tick Q6.
"""

FREE_CDEG = 1000000  # no lead: the setpoint follows the plan
CDEG_PER_TICK = 4  # 0.4 degC a second ...
AHEAD_CDEG = 500  # ... and never further ahead of the board than this


class Lead:
    STATE = ("_lead_cdeg",)

    def __init__(self):
        self.free()

    def free(self):
        self._lead_cdeg = FREE_CDEG

    def begin(self, start_cdeg):
        self._lead_cdeg = start_cdeg

    def climbs(self):
        return self._lead_cdeg < FREE_CDEG

    def give(self, wanted_cdeg, measured_cdeg, before_cdeg, plan_slope_q6):
        """Return the setpoint of this tick; `before_cdeg` was the one of the last, whose plan rises
        by `plan_slope_q6`."""
        if not self.climbs():
            gentle = before_cdeg + CDEG_PER_TICK + (max(plan_slope_q6, 0) >> 6)
            if wanted_cdeg <= gentle or wanted_cdeg <= measured_cdeg:
                return wanted_cdeg
            self.begin(max(before_cdeg, measured_cdeg))
        if self._lead_cdeg - measured_cdeg < AHEAD_CDEG:
            self._lead_cdeg += CDEG_PER_TICK + (max(plan_slope_q6, 0) >> 6)
        if self._lead_cdeg >= wanted_cdeg:
            self.free()
            return wanted_cdeg
        return self._lead_cdeg

    def slope_q6(self, wanted_cdeg, ahead_ticks, plan_slope_q6):
        """Return the climb's slope `ahead_ticks` from now in cdeg per tick, Q6, where the plan's is
        `plan_slope_q6`."""
        left_cdeg = wanted_cdeg - self._lead_cdeg
        catches_up_q6 = CDEG_PER_TICK * 64 if left_cdeg > CDEG_PER_TICK * ahead_ticks else 0
        return catches_up_q6 + max(plan_slope_q6, 0)
