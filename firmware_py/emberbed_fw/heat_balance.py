"""Holds the control sensor against the heat that was sent: too little rise, too much, none at all.

An interval test. From the guard's own heater follow the least and the most by which the board must
have risen; what is missing or in surplus adds up in kelvin and falls back to nothing while all is
well. A bead that fell faster than a board cools may come back: that is no surplus. `model_trust` 0:
numbers nobody measured, with far wider bounds, that only ask and slow down.
Also predicts how far the board rises once the heat is off. Serves hazards H01, H02, H05 and H06.
"""

from emberbed_fw import safety_limits
from emberbed_fw.heat_model import HeatModel, coast_cdeg
from emberbed_fw.integer_math import clamp, divide_round
from emberbed_fw.units import NO_READING_CDEG, TICKS_PER_S

Q = 6  # sums in 1/64 mK: a tick of a slow board is less than a millikelvin
MK_PER_CDEG = 10
EIGHTHS = 3
# least and most heat, least and most loss, in eighths of the model's, by model_trust
BOUNDS = ((4, 16, 4, 16), (6, 11, 6, 12))
SMOOTH_SHIFT = 4  # 1.6 s
FORGET_SHIFT = 8  # 26 s
LAG_TICKS = 25  # what a taped bead is late by
FALL_SLOPE_Q6 = 5 << Q  # 0.5 degC a second: a light board of 150 degC without any heat
FALLEN_MAX_Q6 = 20000 << Q
FALLEN_FORGET_SHIFT = 9  # 51 s
SPENT_MAX_J = 1000000
SUM_MAX_Q6 = 100000 << Q
MOST_SLOPE_Q6 = 30 << Q  # 3 degC a second
MOST_RISE_MW = 16000000


class HeatBalance:
    STATE = (
        "missing_q6", "surplus_q6", "owed_q6", "must_q6", "coast_cdeg", "risen_cdeg", "net_j",
        "_net_mj", "_last_cdeg", "_lowest_cdeg", "_smooth_q6", "_slope_q6", "_begun",
    )

    def __init__(self):
        self.model = HeatModel()
        self.forget()

    def forget(self):
        """Begin the sums anew, from the next reading; the emitters stay as hot as they are."""
        self._begun = 0
        self._last_cdeg = NO_READING_CDEG
        self.coast_cdeg = 0
        self._smooth_q6 = 0
        self._slope_q6 = 0
        self.must_q6 = 0  # by how much the board must have moved in this tick, at least
        self.surplus_q6 = 0
        self.owed_q6 = 0  # what the bead may have yet: taken by tweezers or a draught, or late
        self.excuse()

    def excuse(self):
        """A person says that the sensor touches: no rise is missing so far."""
        self.missing_q6 = 0
        self._lowest_cdeg = NO_READING_CDEG
        self.risen_cdeg = 0
        self._net_mj = 0
        self.net_j = 0  # that must have warmed the board since

    def step(self, header, driven_w, board_cdeg, cold_cdeg, tick):
        """Take one tick. `board_cdeg` may be no reading: then the heat adds up until one comes."""
        seen = board_cdeg != NO_READING_CDEG
        level = board_cdeg if seen else max(self._last_cdeg, cold_cdeg)
        self.model.step(header, driven_w, level, cold_cdeg)
        risen_q6 = self._see(board_cdeg) if seen else 0
        if self._begun:
            self._add_up(header, level, cold_cdeg, risen_q6)
        self._begun = 1
        if tick % TICKS_PER_S == 0:
            self._predict(header, level, cold_cdeg)

    def _see(self, board_cdeg):
        """Take a reading; return its rise over the one before in 1/64 mK."""
        if self._last_cdeg == NO_READING_CDEG:
            self._last_cdeg = board_cdeg
            self._smooth_q6 = board_cdeg << Q
        risen_q6 = (board_cdeg - self._last_cdeg) * MK_PER_CDEG << Q
        self._last_cdeg = board_cdeg
        self._slope_q6 = ((board_cdeg << Q) - self._smooth_q6) >> SMOOTH_SHIFT
        self._smooth_q6 += self._slope_q6
        if self._lowest_cdeg == NO_READING_CDEG:
            self._lowest_cdeg = board_cdeg
        self._lowest_cdeg = min(self._lowest_cdeg, board_cdeg)
        self.risen_cdeg = max(self.risen_cdeg, board_cdeg - self._lowest_cdeg)
        return risen_q6

    def _add_up(self, header, board_cdeg, cold_cdeg, risen_q6):
        trusted = 1 if header["model_trust"] else 0
        least_heat, most_heat, least_loss, most_loss = BOUNDS[trusted]
        loss = header["board_loss_mw_per_k"]
        over_cold = divide_round(loss * (board_cdeg - cold_cdeg), 100)
        # the surroundings may be warmer than the cold junction tells, by what a day of boards does
        warmest_cdeg = cold_cdeg + safety_limits.WARM_AROUND_CDEG
        over_warm = divide_round(loss * (board_cdeg - warmest_cdeg), 100)
        heat, most = self.model.heat_mw, self.model.most_heat_mw
        least_mw = (heat * least_heat >> EIGHTHS) - (over_cold * most_loss >> EIGHTHS)
        most_mw = (most * most_heat >> EIGHTHS) - (over_warm * least_loss >> EIGHTHS)
        low_c, high_c = header["least_capacity_j_per_k"], header["most_capacity_j_per_k"]
        # a rise is least on the heaviest board, a fall on the lightest
        least_q6 = _rise_q6(least_mw, high_c if least_mw > 0 else low_c)
        most_q6 = _rise_q6(most_mw, low_c if most_mw > 0 else high_c)
        self.missing_q6 = clamp(self.missing_q6 + least_q6 - risen_q6, 0, SUM_MAX_Q6)
        surplus_q6 = self.surplus_q6 + self._unpaid(risen_q6, most_q6)
        if not trusted:  # what a wrong guess makes of every tick must not add up for ever
            surplus_q6 -= self.surplus_q6 >> FORGET_SHIFT
        self.surplus_q6 = clamp(surplus_q6, 0, SUM_MAX_Q6)
        self.must_q6 = max(least_q6, 0) + min(most_q6, 0)
        self._spend((heat * BOUNDS[1][0] >> EIGHTHS) - (over_cold * BOUNDS[1][3] >> EIGHTHS))

    def _unpaid(self, risen_q6, most_q6):
        """Return what of a rise ahead of the model is neither a bead that comes back from a fall
        nor one that is late: what heat explained a moment ago still reaches it."""
        if self._slope_q6 < -FALL_SLOPE_Q6:
            self.owed_q6 = min(self.owed_q6 - self._slope_q6 * MK_PER_CDEG, FALLEN_MAX_Q6)
        else:
            self.owed_q6 -= self.owed_q6 >> FALLEN_FORGET_SHIFT
        slope_q6 = clamp(self._slope_q6, 0, MOST_SLOPE_Q6) * MK_PER_CDEG
        if slope_q6 <= most_q6:  # not the tick's own rise: that is half noise
            self.owed_q6 = max(self.owed_q6, slope_q6 * LAG_TICKS)
        ahead_q6 = risen_q6 - most_q6
        paid_q6 = clamp(ahead_q6, 0, self.owed_q6)
        self.owed_q6 -= paid_q6
        return ahead_q6 - paid_q6

    def _spend(self, net_mw):
        """Count the heat that warms the board by the narrower bounds: none in a steady hold."""
        millijoules = self._net_mj + clamp(net_mw, -MOST_RISE_MW, MOST_RISE_MW) // TICKS_PER_S
        self.net_j = clamp(self.net_j + millijoules // 1000, 0, SPENT_MAX_J)
        self._net_mj = millijoules % 1000

    def _predict(self, header, board_cdeg, cold_cdeg):
        capacity = (header["least_capacity_j_per_k"] + header["most_capacity_j_per_k"]) >> 1
        loss_mw = divide_round(header["board_loss_mw_per_k"] * (board_cdeg - cold_cdeg), 100)
        lag_ds = self.model.lag_ds(header)
        self.coast_cdeg = coast_cdeg(self.model.heat_mw, loss_mw, lag_ds, capacity)
        self.coast_cdeg += clamp(self._slope_q6, 0, MOST_SLOPE_Q6) * LAG_TICKS >> Q


def _rise_q6(power_mw, capacity_j_per_k):
    """Return the rise of one tick in 1/64 mK."""
    power_mw = clamp(power_mw, -MOST_RISE_MW, MOST_RISE_MW)
    return divide_round(power_mw << Q, TICKS_PER_S * max(capacity_j_per_k, 1))
