"""The guard's own heater and balance at every corner that a plan may hold: no number allocates.

The corners are plan_check's maxima, the layout's widths, and what a converter can say.
"""

from itertools import product

import pytest

from emberbed_fw import plan_check
from emberbed_fw.glow import LEAST_MK, MOST_MK, MOST_MW, exchange_mw, glow_w_m2
from emberbed_fw.heat_balance import MOST_RISE_MW, SUM_MAX_Q6, HeatBalance, Q
from emberbed_fw.heat_model import coast_cdeg
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.safety_limits import LEAST_VALID_CDEG, MOST_VALID_CDEG
from emberbed_fw.settings import MAX_WATTS
from emberbed_fw.stuck_watch import MOST_Q6, StuckWatch
from emberbed_fw.units import CHANNELS, NO_READING_CDEG, ZONES
from tests.support.small_ints import SmallInt, watched

COLD_CDEG = (-12800, 12794)  # MAX31855K datasheet, table 5: 12 bits of 1/16 degC
U16 = 65535
CORNERS = [
    {
        "emitter_j_per_k": emitter, "exchange_cm2": exchange, "around_cm2": around,
        "convection_mw_per_k": air, "board_loss_mw_per_k": loss, "model_trust": trust,
        "least_capacity_j_per_k": least, "most_capacity_j_per_k": most,
        "start_budget_j": SMALL_INT_MAX,
    }
    for emitter, exchange, around, air, loss, trust, (least, most) in product(
        (1, plan_check.MAX_EMITTER_J), (1, plan_check.MAX_EXCHANGE_CM2),
        (0, plan_check.MAX_EXCHANGE_CM2), (0, plan_check.MAX_CONVECTION_MW),
        (1, plan_check.MAX_BOARD_LOSS_MW), (0, 1), ((1, 1), (1, U16), (U16, U16)),
    )
]  # fmt: skip
READINGS = (LEAST_VALID_CDEG, MOST_VALID_CDEG, NO_READING_CDEG)


def test_a_number_too_large_is_seen():
    with pytest.raises(OverflowError):
        SmallInt(1 << 20) << 10
    with pytest.raises(OverflowError):
        100 * SmallInt(20000000)
    with pytest.raises(OverflowError):
        -SmallInt(SMALL_INT_MAX) - 1
    assert SmallInt(SMALL_INT_MAX) // 2 + 1 == 1 << 29


@pytest.mark.parametrize("watts", [0, MAX_WATTS * ZONES])
@pytest.mark.parametrize("emitter_mk", [LEAST_MK, MOST_MK])
def test_balance_and_model_stay_small_at_every_corner(watts, emitter_mk):
    for corner in CORNERS:
        header = watched(corner)
        for (first, then), cold_cdeg in product(product(READINGS, repeat=2), COLD_CDEG):
            balance = HeatBalance()
            balance.model.emitter_mk = balance.model.most_emitter_mk = SmallInt(emitter_mk)
            balance.missing_q6 = balance.surplus_q6 = SmallInt(SUM_MAX_Q6)
            for tick, cdeg in enumerate((first, then), start=9):
                balance.step(header, SmallInt(watts), SmallInt(cdeg), SmallInt(cold_cdeg), tick)


def test_coasting_stays_small_wherever_the_emitters_may_be():
    """Lag and heat cannot both be at their largest: what radiates much, cools soon."""
    for corner in CORNERS:
        header = watched(corner)
        for kelvin in range(LEAST_MK // 1000, MOST_MK // 1000, 61):
            balance = HeatBalance()
            balance.model.emitter_mk = SmallInt(kelvin * 1000)
            balance.step(header, SmallInt(0), SmallInt(2500), SmallInt(2500), 9)
            balance.step(header, SmallInt(0), SmallInt(2500), SmallInt(2500), 10)
            assert balance.coast_cdeg >= 0


def test_largest_sums_of_a_standing_reading_stay_small():
    class Still:
        cdeg = [SmallInt(MOST_VALID_CDEG)] * CHANNELS

    watch = StuckWatch()
    fastest_q6 = SmallInt((MOST_RISE_MW << Q) // 10)  # of the lightest board
    for _ in range(3):
        watch.step(Still, [True] * CHANNELS, fastest_q6)
    assert abs(max(watch._must_q6)) <= MOST_Q6


def test_most_radiation_and_the_longest_coasting_stay_small():
    assert exchange_mw(SmallInt(4000), SmallInt(glow_w_m2(MOST_MK)), SmallInt(0)) == MOST_MW
    assert coast_cdeg(SmallInt(40000000), SmallInt(1), SmallInt(25), SmallInt(1)) > 0
