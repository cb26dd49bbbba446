"""Radiation in integers, against the SI's constant in a reference library."""

import pytest
from scipy import constants

from emberbed_fw.glow import (
    _GLOW,
    LEAST_MK,
    MOST_MK,
    MOST_MW,
    SIGMA_E17,
    STEP_MK,
    exchange_mw,
    glow_w_m2,
)


def black_body_w_m2(kelvin):
    return constants.Stefan_Boltzmann * kelvin**4


def test_constant_is_the_one_of_the_si():
    # CODATA 2018, as scipy gives it; exact since 2019, printed with ten digits
    assert round(constants.Stefan_Boltzmann * 1e17) == SIGMA_E17


@pytest.mark.parametrize("milli", range(LEAST_MK, MOST_MK, 33333))
def test_table_follows_the_fourth_power(milli):
    # between two rows 10 K apart a straight line lies above the curve by at most 6 T^2 h^2 / 8
    kelvin = milli / 1000
    above = constants.Stefan_Boltzmann * 12 * kelvin**2 * 100 / 8 * 1.1 + 2
    assert -2 <= glow_w_m2(milli) - black_body_w_m2(kelvin) <= above


def test_table_ends_one_row_beyond_the_hottest():
    assert len(_GLOW) == (MOST_MK - LEAST_MK) // STEP_MK + 2


def test_it_rises_with_every_step_and_stands_still_beyond_both_ends():
    seen = [glow_w_m2(milli) for milli in range(LEAST_MK, MOST_MK + 1, 10000)]
    assert seen == sorted(set(seen))
    assert glow_w_m2(0) == glow_w_m2(LEAST_MK) == seen[0]
    assert glow_w_m2(5000000) == glow_w_m2(MOST_MK) == seen[-1]


@pytest.mark.parametrize("area_cm2", [1, 37, 500, 2000])
@pytest.mark.parametrize(("hot_k", "cold_k"), [(900, 300), (1100, 500), (300, 900), (400, 400)])
def test_exchange_is_area_times_the_difference(area_cm2, hot_k, cold_k):
    watts = area_cm2 / 1e4 * (black_body_w_m2(hot_k) - black_body_w_m2(cold_k))
    given = exchange_mw(area_cm2, glow_w_m2(hot_k * 1000), glow_w_m2(cold_k * 1000)) / 1000
    rounding = area_cm2 / 1e4 * 20 + 0.01  # sixteen W/m2 are the steps of the difference
    assert given == pytest.approx(watts, abs=rounding)


def test_exchange_ends_where_no_device_could_go():
    assert exchange_mw(2000, glow_w_m2(MOST_MK), 0) == MOST_MW
    assert exchange_mw(2000, 0, glow_w_m2(400000)) < 0
