"""Zone power: the right mean over any length, no flicker, no debt."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.units import FULL_POWER_Q15
from emberbed_fw.zone_power import ZonePower


def run(power, demands, allowed=True):
    """Return the bits that were driven for these demands."""
    bits = []
    for demand in demands:
        wanted = power.step(demand)
        on = wanted if allowed else 0
        power.driven(on)
        bits.append(on)
    return bits


def most_owed(dwell):
    """Return what may be owed at any moment: a dwell and half a tick, in q15 ticks."""
    return FULL_POWER_Q15 * max(dwell, 1) + FULL_POWER_Q15 // 2


def lengths(bits):
    """Return the lengths of equal stretches, without the unfinished first and last."""
    stretches = [1]
    for before, now in zip(bits, bits[1:], strict=False):
        if before == now:
            stretches[-1] += 1
        else:
            stretches.append(1)
    return stretches[1:-1]


@given(st.integers(0, 20), st.lists(st.integers(1, FULL_POWER_Q15), min_size=1, max_size=400))
def test_mean_power_is_exact_to_one_dwell_over_any_demands(dwell, demands):
    on = sum(run(ZonePower(dwell), demands))
    assert abs(sum(demands) - on * FULL_POWER_Q15) <= most_owed(dwell)


@settings(max_examples=40)
@given(st.integers(0, 10), st.integers(1, FULL_POWER_Q15))
@example(0, 18209)  # once lost a little of every long pause
def test_error_does_not_grow_with_length(dwell, demand):
    on = sum(run(ZonePower(dwell), [demand] * 6000))
    assert abs(demand * 6000 - on * FULL_POWER_Q15) <= most_owed(dwell)


@pytest.mark.parametrize(("demand", "on"), [(FULL_POWER_Q15, 1000), (0, 0), (16384, 500)])
def test_full_none_and_half(demand, on):
    assert sum(run(ZonePower(0), [demand] * 1000)) == on


@given(st.integers(2, 20), st.lists(st.integers(1, FULL_POWER_Q15), min_size=30, max_size=400))
def test_dwell_is_kept(dwell, demands):
    assert all(length >= dwell for length in lengths(run(ZonePower(dwell), demands)))


def test_dwell_is_no_longer_than_it_must_be():
    assert max(lengths(run(ZonePower(4), [16384] * 400))) <= 5


def test_no_demand_is_off_at_once_whatever_the_dwell():
    power = ZonePower(20)
    assert run(power, [FULL_POWER_Q15] * 3)[-1] == 1
    assert power.step(0) == 0


def test_no_demand_leaves_no_debt():
    power = ZonePower(3)
    run(power, [FULL_POWER_Q15] * 50, allowed=False)
    run(power, [0])
    assert run(power, [1] * 3) == [0, 0, 0]


@pytest.mark.parametrize("dwell", [0, 3, 20])
def test_power_withheld_for_long_is_not_paid_back(dwell):
    power = ZonePower(dwell)
    run(power, [16384] * 36000, allowed=False)
    bits = run(power, [16384] * 2000)
    # half power is due; at most the bounded rest comes on top
    assert sum(bits) <= 1000 + max(dwell, 1) + 1
    assert sum(bits[dwell * 2 + 40 :]) == pytest.approx(
        len(bits[dwell * 2 + 40 :]) / 2, abs=dwell + 1
    )


def test_power_given_unasked_is_owed_and_bounded():
    power = ZonePower(2)
    for _ in range(1000):
        power.step(0)
        power.driven(1)
    bits = run(power, [16384] * 40)
    assert 1 in bits, "the debt does not keep the zone dark for long"


def test_extremes_stay_small_integers():
    power = ZonePower(255)
    run(power, [FULL_POWER_Q15] * 2000, allowed=False)
    assert power._owed_q15 * 2 <= SMALL_INT_MAX
    assert power._bound_q15 * 2 + FULL_POWER_Q15 <= SMALL_INT_MAX


def test_first_pulse_need_not_wait_for_a_dwell():
    # a quarter of full power is due in the third tick, whatever the dwell
    assert run(ZonePower(20), [8192] * 4) == [0, 0, 1, 1]


def test_reset_starts_without_debt_and_free_to_switch():
    power = ZonePower(5)
    run(power, [30000] * 7)
    power.reset()
    assert run(power, [FULL_POWER_Q15])[0] == 1
