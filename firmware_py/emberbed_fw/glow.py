"""Thermal radiation in integers: sigma T^4 from a table, and how fast a hot emitter loses it.

Temperatures in millikelvin, radiation in W/m2 (whole ones are enough beside 2000 W/m2 of a warm
emitter), powers in mW. The table is made once at import from the SI's exact constant; a tick only
interpolates. Range LEAST_MK..MOST_MK, clamped at both ends.
"""

from array import array

from emberbed_fw.integer_math import clamp

STEP_MK = 10000
LEAST_MK = 250000
MOST_MK = 2690000  # filaments of lamps reach 2500 K; makers' figures, from memory
SIGMA_E17 = 5670374419  # W/m2 K4 times 10**17; exact from the SI's h, c, k
MOST_MW = 40000000  # beyond what all zones of a device can take: keeps a tick's integers small

_ROWS = (MOST_MK - LEAST_MK) // STEP_MK + 2
_GLOW = array("i", [
    SIGMA_E17 * (250 + 10 * row) ** 4 // 10**17 for row in range(_ROWS)
])  # fmt: skip


def glow_w_m2(mk):
    """Return sigma T^4 in W/m2 for a temperature in millikelvin."""
    above = clamp(mk, LEAST_MK, MOST_MK) - LEAST_MK
    row = above // STEP_MK
    low = _GLOW[row]
    return low + (_GLOW[row + 1] - low) * (above % STEP_MK) // STEP_MK


def exchange_mw(area_cm2, hot_w_m2, cold_w_m2):
    """Return the net radiation through `area_cm2` (at most 4000) in mW, at most MOST_MW."""
    # 1 cm2 times 1 W/m2 is 0.1 mW; the divisions keep products below 2**30
    return min(area_cm2 * ((hot_w_m2 - cold_w_m2) >> 4) // 5, MOST_MW // 8) * 8
