"""The interval test tick by tick, in whole numbers worked out by hand from what its texts say.

The heat is given (no emitter in between): bounds of 1/2 and 2 for heat and loss of a guessed
heater, 3/4 to 11/8 and 3/4 to 3/2 of an identified one; capacities of 64 to 128 J/K, so that 1 W
for one tick moves the board by 1/640 to 1/1280 K, in 1/64 mK a hundred to fifty.
"""

import pytest

from emberbed_fw.heat_balance import HeatBalance
from emberbed_fw.heat_model import coast_cdeg
from emberbed_fw.units import NO_READING_CDEG

HEADER = {
    "board_loss_mw_per_k": 500, "least_capacity_j_per_k": 64, "most_capacity_j_per_k": 128,
    "model_trust": 1,
}  # fmt: skip
GUESSED = {**HEADER, "model_trust": 0}
COLD_CDEG = 2500
K_Q6 = 64000  # a kelvin


class Given:
    """Emitters that give this heat, whatever is driven."""

    def __init__(self, heat_mw, most_heat_mw=None):
        self.heat_mw = heat_mw
        self.most_heat_mw = heat_mw if most_heat_mw is None else most_heat_mw

    def step(self, _header, _driven_w, _board_cdeg, _cold_cdeg):
        pass

    def lag_ds(self, _header):
        return 100


def begun(board_cdeg=COLD_CDEG, heat_mw=0, most_heat_mw=None):
    balance = HeatBalance()
    balance.model = Given(heat_mw, most_heat_mw)
    balance.step(HEADER, 0, board_cdeg, COLD_CDEG, 1)
    return balance


def tick(balance, board_cdeg, header=HEADER, number=2):
    balance.step(header, 0, board_cdeg, COLD_CDEG, number)
    return balance


def doubted(header, board_cdeg=12500, heat_mw=8000, most_heat_mw=16000):
    """A tick at 100 K over the room, begun with a kelvin missing and one in surplus."""
    balance = begun(board_cdeg, heat_mw, most_heat_mw)
    balance.missing_q6 = balance.surplus_q6 = K_Q6
    return tick(balance, board_cdeg, header)


def test_bounds_of_a_guessed_heater():
    balance = doubted(GUESSED)
    # least: 8 W / 2 - 50 W x 2 = -96 W, a fall of the lightest board
    assert balance.missing_q6 == K_Q6 - 9600
    # most: 16 W x 2 - 40 W / 2 = 12 W, a rise of the lightest; and 1/256 is forgotten
    assert balance.surplus_q6 == K_Q6 - 1200 - 250
    assert balance.must_q6 == 0


def test_bounds_of_an_identified_heater():
    balance = doubted(HEADER)
    # least: 8 W x 3/4 - 50 W x 3/2 = -69 W
    assert balance.missing_q6 == K_Q6 - 6900
    # most: 16 W x 11/8 - 40 W x 3/4 = -8 W, a fall of the heaviest board; nothing is forgotten
    assert balance.surplus_q6 == K_Q6 + 400
    assert balance.must_q6 == -400


def test_a_rise_is_least_on_the_heaviest_board():
    balance = tick(begun(heat_mw=80000), COLD_CDEG)
    assert balance.must_q6 == balance.missing_q6 == 3000  # 60 W on 128 J/K
    one_mw = {**HEADER, "least_capacity_j_per_k": 1, "most_capacity_j_per_k": 64}
    assert tick(begun(heat_mw=2), COLD_CDEG, one_mw).missing_q6 == 0
    warm = begun(4500, heat_mw=1)  # as warm as the surroundings may be: 1 mW more than it loses
    warm.surplus_q6 = K_Q6
    assert tick(warm, 4500, one_mw).surplus_q6 == K_Q6 - 6  # on the lightest


def test_sums_stop_at_nothing_and_at_a_hundred_kelvin():
    balance = tick(begun(), COLD_CDEG)
    assert (balance.missing_q6, balance.surplus_q6, balance.must_q6, balance.net_j) == (0, 0, 0, 0)
    balance = begun(heat_mw=80000)
    balance.missing_q6 = 100 * K_Q6
    assert tick(balance, COLD_CDEG).missing_q6 == 100 * K_Q6
    balance = tick(begun(heat_mw=0), 22500)
    assert balance.surplus_q6 == 100 * K_Q6


def test_power_counts_up_to_16_kilowatts():
    balance = tick(begun(heat_mw=24000000), COLD_CDEG)
    assert balance.must_q6 == 800000
    assert balance.net_j == 1600
    light = {**HEADER, "most_capacity_j_per_k": 1}
    assert tick(begun(heat_mw=24000000), COLD_CDEG, light).must_q6 == 102400000
    none = {**HEADER, "least_capacity_j_per_k": 0}
    assert tick(begun(12500), 12500, none).must_q6 == -30000 * 64 // 1280


@pytest.mark.parametrize(("fall_cdeg", "owed_q6"), [(80, 0), (81, 3240)])
def test_a_bead_falls_faster_than_a_board_from_half_a_kelvin_a_second(fall_cdeg, owed_q6):
    """The slope is a sixteenth of a step: 80 cdeg are 5 a tick, which a board can do."""
    assert tick(begun(9000), 9000 - fall_cdeg).owed_q6 == owed_q6


def test_what_fell_is_kept_up_to_20_kelvin_and_forgotten_within_a_minute():
    balance = begun(9000)
    balance.owed_q6 = 20 * K_Q6
    assert tick(balance, 8000).owed_q6 == 20 * K_Q6
    balance = begun(heat_mw=8000)
    balance.owed_q6 = 51200
    assert tick(balance, COLD_CDEG).owed_q6 == 51200 - 100


def test_a_rise_is_paid_from_what_fell_first():
    balance = begun()
    balance.owed_q6 = 5120
    tick(balance, COLD_CDEG + 1)  # 10 mK, of which 10 W of warm surroundings explain a part
    # less than warm surroundings may have brought: nothing is ahead, a little is forgotten
    assert (balance.surplus_q6, balance.owed_q6) == (0, 5110)
    tick(balance, COLD_CDEG + 101, number=3)
    # 1 K, less the 712 that 7.122 W may bring, less all that fell and is not forgotten
    assert (balance.surplus_q6, balance.owed_q6) == (K_Q6 - 712 - 5101, 0)


def test_a_late_bead_may_have_the_rise_of_two_and_a_half_seconds():
    """A step of 1 cdeg is 0.0625 cdeg a tick on the smoothed slope: 25 ticks of it are 15.6 mK."""
    balance = tick(begun(heat_mw=24000000), COLD_CDEG + 1)
    assert balance.owed_q6 == 4 * 10 * 25
    tick(balance, COLD_CDEG - 1, number=3)  # at rest again: nothing more, a little is forgotten
    assert balance.owed_q6 == 4 * 10 * 25 - 1


@pytest.mark.parametrize(("least_j_per_k", "owed_q6"), [(2560000, 400), (2627000, 0)])
def test_a_rise_is_explained_up_to_what_the_most_heat_brings(least_j_per_k, owed_q6):
    """The slope is 40 in 1/64 mK a tick; 16 kW bring 40 to the one board and 39 to the other. Of
    the 1000 owed to the first, 600 pay for what this tick is ahead."""
    header = {**HEADER, "least_capacity_j_per_k": least_j_per_k}
    assert tick(begun(heat_mw=24000000), COLD_CDEG + 1, header).owed_q6 == owed_q6


def test_a_board_at_rest_is_owed_nothing():
    assert tick(begun(heat_mw=24000000), COLD_CDEG).owed_q6 == 0


def test_a_rise_that_heat_does_not_explain_owes_nothing():
    assert tick(begun(), COLD_CDEG + 101).owed_q6 == 0


def test_no_bead_is_owed_more_than_the_fastest_board_makes_in_its_lag():
    balance = tick(begun(heat_mw=24000000), COLD_CDEG + 1000)
    assert balance.owed_q6 == 30 * 64 * 10 * 25


def test_heat_spent_is_counted_to_the_millijoule():
    balance = begun(heat_mw=4440)  # 3.33 W net
    for number in range(2, 1002):
        tick(balance, COLD_CDEG, number=number)
    assert balance.net_j == 333
    halves = begun(heat_mw=6667)  # 5 W net
    for _tick in range(3):
        tick(halves, COLD_CDEG)
    assert halves.net_j == 1
    full = begun(heat_mw=24000000)
    full.net_j = 999999
    assert tick(full, COLD_CDEG).net_j == 1000000


def test_the_first_reading_is_no_rise():
    balance = HeatBalance()
    balance.model = Given(0)
    tick(balance, NO_READING_CDEG)
    assert tick(balance, COLD_CDEG).surplus_q6 == 0
    silent = begun(heat_mw=8000)  # 6 W that arrive, seen or not
    assert tick(silent, NO_READING_CDEG).missing_q6 == 300


def test_coasting_is_that_of_the_middle_capacity_and_the_readings_lateness():
    balance = tick(begun(12500, heat_mw=90000), 12500, number=10)
    assert balance.coast_cdeg == coast_cdeg(90000, 50000, 100, 96)
    rising = tick(begun(12500, heat_mw=90000), 12660, number=10)  # 10 cdeg a tick
    assert rising.coast_cdeg == coast_cdeg(90000, 50800, 100, 96) + 250
    jumping = tick(begun(12500, heat_mw=90000), 14500, number=10)  # counts as 3 K a second
    assert jumping.coast_cdeg == coast_cdeg(90000, 60000, 100, 96) + 750
