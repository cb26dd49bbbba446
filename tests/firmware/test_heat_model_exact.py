"""The guard's own heater in whole numbers worked out by hand, one tick or one formula at a time."""

import math

import pytest

from emberbed_fw.glow import MOST_MW
from emberbed_fw.heat_model import LEAST_LOSS_MW, ZERO_C_MK, HeatModel, coast_cdeg, ln_q8

ROOM_CDEG = 2500
ROOM_MK = ZERO_C_MK + ROOM_CDEG * 10
# 1 J/K: what is left over of 10 mW for a tick moves it by 1 mK
AIR_ONLY = {
    "emitter_j_per_k": 1, "exchange_cm2": 0, "around_cm2": 0, "convection_mw_per_k": 1000,
}  # fmt: skip
ALONE = {**AIR_ONLY, "convection_mw_per_k": 0}


def stepped(header, emitter_mk, watts=0, around_cdeg=ROOM_CDEG):
    """Return the emitter's temperature a tick later."""
    model = HeatModel()
    model.emitter_mk = emitter_mk
    model.step(header, watts, ROOM_CDEG, around_cdeg)
    return model.emitter_mk


def test_watts_warm_the_emitter():
    """100 W for 0.1 s are 10 J: 10 K of 1 J/K."""
    assert stepped(ALONE, ROOM_MK, watts=100) == ROOM_MK + 10000


def test_air_takes_its_watts_from_each_kelvin():
    """256 K above the room at 1 W/K: 256 W, in 0.1 s 25.6 J of 1 J/K."""
    assert stepped(AIR_ONLY, ROOM_MK + 256000) == ROOM_MK + 256000 - 25600


@pytest.mark.parametrize("around_cdeg", [-12800, ROOM_CDEG])
def test_an_emitter_is_never_colder_than_20_below_zero(around_cdeg):
    coldest_mk = 253150
    assert stepped(AIR_ONLY, coldest_mk + 5, around_cdeg=-12800) == coldest_mk
    assert stepped(ALONE, coldest_mk - 30, around_cdeg=around_cdeg) == coldest_mk
    assert stepped(ALONE, coldest_mk + 1, around_cdeg=around_cdeg) == coldest_mk + 1


# How far a board rises yet: lag/C (q - L - L ln(q/L)), here with 0.1 s and 1 J/K: 0.1 W gives 1.


@pytest.mark.parametrize("ratio_q6", range(64, 128))
def test_logarithm_is_rather_too_small(ratio_q6):
    """So what is said to come is rather more than comes. Against the library's."""
    error_q8 = ln_q8(ratio_q6) - 256 * math.log(ratio_q6 / 64)
    assert -2.5 <= error_q8 <= 0.8


def test_logarithm_at_one_and_a_half():
    """32/64 of the way: 1/2 + 11/32 x 1/4 doublings, 0.5859 x 177 = 103.7; the library: 103.8."""
    assert ln_q8(96) == 103
    assert ln_q8(96 * 8) == 103 + 3 * 177


def test_coasting_to_the_last_digit():
    # 2 W against 1.024 W: ratio 125/64, ln in Q8 is 171; 976 mW - 4 x 171 mW = 292 mW
    assert ln_q8(125) == 171
    assert coast_cdeg(2000, 1024, 1, 1) == 2
    assert coast_cdeg(2000, 1024, 100, 1) == 200
    # 100 W against 1.024 W: ratio 6250, ln in Q8 is 1168; 98976 mW - 4 x 1168 mW = 94304 mW
    assert ln_q8(6250) == 1168
    assert coast_cdeg(100_000, 1024, 1, 1) == 943


def test_heat_a_little_above_the_loss_does_not_coast():
    """A milliwatt too much is no tenth of a watt, whatever the lag."""
    assert coast_cdeg(LEAST_LOSS_MW + 1, LEAST_LOSS_MW, 600, 10) == 0
    assert coast_cdeg(LEAST_LOSS_MW, LEAST_LOSS_MW, 600, 10) == 0


def test_ratio_of_heat_to_loss_is_kept_within_14_doublings():
    """40 kW against a watt are 15.3 doublings; the loss's 3/256 W take 2478 of 14 of them."""
    assert ln_q8(1 << 20) == 14 * 177 == 2478
    assert coast_cdeg(MOST_MW, 1000, 1, 1) == (MOST_MW - 1000 - 3 * 2478) // 100
