"""The guard's own heater: what the emitters have stored, and what must reach the board from it.

Driven by what was really driven, never by what a controller wanted. Two emitters run side by side:
the one known, and the hottest that could be (after a reset nobody knows what the last board left
behind); a few minutes later both are the same. Temperatures in mK, powers in mW, the plan gives the
heater's numbers. Neither arming nor a trip forgets them: emitters stay hot.
"""

from emberbed_fw.glow import MOST_MK, exchange_mw, glow_w_m2
from emberbed_fw.integer_math import clamp, divide_round
from emberbed_fw.units import TICKS_PER_S

ZERO_C_MK = 273150
UNKNOWN_EMITTER_MK = 873150  # the hottest that a bench may have been left with: 600 degC
MOST_MW = 60000000
LEAST_LOSS_MW = 1000  # a logarithm needs a loss
LN2_Q8 = 177  # ln 2
LN_ONE_Q6 = 64


class HeatModel:
    STATE = ("emitter_mk", "most_emitter_mk", "heat_mw", "most_heat_mw")

    def __init__(self):
        self.emitter_mk = ZERO_C_MK + 23000
        self.most_emitter_mk = UNKNOWN_EMITTER_MK
        self.heat_mw = 0  # from the known emitter onto the board, now
        self.most_heat_mw = 0  # the same from the hottest that could be

    def step(self, header, driven_w, board_cdeg, around_cdeg):
        """Take one tick: the watts driven in it, the board as it reads, the air around."""
        around_mk = ZERO_C_MK + around_cdeg * 10
        board_w_m2 = glow_w_m2(ZERO_C_MK + board_cdeg * 10)
        around_w_m2 = glow_w_m2(around_mk)
        self.heat_mw = exchange_mw(
            header["exchange_cm2"], glow_w_m2(self.emitter_mk), board_w_m2)
        self.emitter_mk = _stepped(
            header, self.emitter_mk, driven_w, self.heat_mw, around_mk, around_w_m2)
        if self.most_emitter_mk > self.emitter_mk:
            self.most_heat_mw = exchange_mw(
                header["exchange_cm2"], glow_w_m2(self.most_emitter_mk), board_w_m2)
            self.most_emitter_mk = max(self.emitter_mk, _stepped(
                header, self.most_emitter_mk, driven_w, self.most_heat_mw, around_mk, around_w_m2))
        else:
            self.most_emitter_mk = self.emitter_mk
            self.most_heat_mw = self.heat_mw

    def settle(self):
        """The bench has certainly rested: no emitter is hotter than the known one."""
        self.most_emitter_mk = self.emitter_mk

    def lag_ds(self, header):
        """Return the emitter's time constant at its temperature of now, in tenths of a second."""
        area_cm2 = header["exchange_cm2"] + header["around_cm2"]
        radiated_mw = exchange_mw(area_cm2, glow_w_m2(self.emitter_mk), 0)
        lost_mw_per_k = 4 * radiated_mw // (self.emitter_mk // 1000) + header["convection_mw_per_k"]
        return header["emitter_j_per_k"] * 10000 // max(lost_mw_per_k, 1)


def _stepped(header, emitter_mk, driven_w, heat_mw, around_mk, around_w_m2):
    """Return the emitter one tick later."""
    astray_mw = exchange_mw(header["around_cm2"], glow_w_m2(emitter_mk), around_w_m2)
    air_mw = header["convection_mw_per_k"] * ((emitter_mk - around_mk) >> 8) // 125 * 32
    left_mw = clamp(driven_w * 1000 - heat_mw - astray_mw - air_mw, -MOST_MW, MOST_MW)
    moved = emitter_mk + divide_round(left_mw, TICKS_PER_S * header["emitter_j_per_k"])
    return clamp(moved, ZERO_C_MK - 20000, MOST_MK)


def coast_cdeg(heat_mw, loss_mw, lag_ds, capacity_j_per_k):
    """Return by how much a board still rises after the heat is switched off.

    The heat onto it dies away with the emitter's time constant, and the board rises until it is
    down to what the board loses: lag/C * (q - L - L ln(q/L)).
    """
    loss_mw = max(loss_mw, LEAST_LOSS_MW)
    if heat_mw <= loss_mw:
        return 0
    ratio_q6 = min(heat_mw * 4 // (loss_mw >> 4), 1 << 20)
    surplus_dw = (heat_mw - loss_mw - (loss_mw >> 8) * ln_q8(ratio_q6)) // 100
    return lag_ds * max(surplus_dw, 0) // capacity_j_per_k


def ln_q8(ratio_q6):
    """Return the natural logarithm of a ratio of at least 1, within 0.01 (Q8 from Q6)."""
    doublings = 0
    while ratio_q6 >= 2 * LN_ONE_Q6:
        ratio_q6 >>= 1
        doublings += 1
    part = ratio_q6 - LN_ONE_Q6  # of 64, to the next doubling: log2(1+f) is near f + 0.34 f (1-f)
    bent_q12 = part * LN_ONE_Q6 + (part * (LN_ONE_Q6 - part) * 11 >> 5)
    return doublings * LN2_Q8 + (bent_q12 * LN2_Q8 >> 12)
