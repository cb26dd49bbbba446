"""The interval test, against the same arithmetic in floating point, written here once more."""

import random
from dataclasses import dataclass, field

import pytest
from scipy import constants

from emberbed_fw.heat_balance import BOUNDS, FALLEN_MAX_Q6, SPENT_MAX_J, HeatBalance, Q
from emberbed_fw.safety_limits import BALANCE_TRIP_MK, WARM_AROUND_CDEG
from emberbed_fw.units import NO_READING_CDEG

HEADER = {
    "emitter_j_per_k": 120, "exchange_cm2": 100, "around_cm2": 120, "convection_mw_per_k": 400,
    "board_loss_mw_per_k": 500, "least_capacity_j_per_k": 70, "most_capacity_j_per_k": 140,
    "model_trust": 1, "start_budget_j": 1400,
}  # fmt: skip
ROOM_CDEG = 2500
TICK_S = 0.1
WARM_K = WARM_AROUND_CDEG / 100
SIGMA_CM2 = constants.Stefan_Boltzmann / 1e4


@dataclass
class Plain:
    """The same test in watts, kelvin and seconds, as its describing text says it."""

    header: dict
    emitter_k: float
    hottest_k: float
    missing_k: float = 0.0
    surplus_k: float = 0.0
    owed_k: float = field(default=0.0, init=False)
    smooth_c: float = field(default=0.0, init=False)
    last_c: float | None = None
    spent_j: float = 0.0
    must_k: float = field(default=0.0, init=False)

    def step(self, watts, board_c, room_c):
        h = self.header
        heat = self._heat(self.emitter_k, board_c)
        most = max(heat, self._heat(self.hottest_k, board_c))
        self.emitter_k = self._emitter(self.emitter_k, watts, board_c, room_c)
        self.hottest_k = max(self.emitter_k, self._emitter(self.hottest_k, watts, board_c, room_c))
        if self.last_c is None:
            self.last_c = self.smooth_c = board_c
            return
        risen = board_c - self.last_c
        self.last_c = board_c
        low_q, high_q, low_l, high_l = (eighths / 8 for eighths in BOUNDS[h["model_trust"]])
        loss = h["board_loss_mw_per_k"] / 1000
        least = heat * low_q - loss * high_l * (board_c - room_c)
        greatest = most * high_q - loss * low_l * (board_c - room_c - WARM_K)
        light, heavy = h["least_capacity_j_per_k"], h["most_capacity_j_per_k"]
        least_rise = min(least / light, least / heavy) * TICK_S
        most_rise = max(greatest / light, greatest / heavy) * TICK_S
        self.missing_k = max(0.0, self.missing_k + least_rise - risen)
        slope = (board_c - self.smooth_c) / 16
        self.smooth_c += slope
        self.owed_k -= self.owed_k / 512
        if slope <= most_rise:
            self.owed_k = max(self.owed_k, slope * 25)
        ahead = risen - most_rise
        paid = min(max(ahead, 0.0), self.owed_k)
        self.owed_k -= paid
        self.surplus_k = max(0.0, self.surplus_k + ahead - paid)
        self.must_k = max(least_rise, 0.0) + min(most_rise, 0.0)
        narrow_q, narrow_l = BOUNDS[1][0] / 8, BOUNDS[1][3] / 8
        net = heat * narrow_q - loss * narrow_l * (board_c - room_c)
        self.spent_j = max(0.0, self.spent_j + net * TICK_S)

    def _heat(self, kelvin, board_c):
        return SIGMA_CM2 * self.header["exchange_cm2"] * (kelvin**4 - (board_c + 273.15) ** 4)

    def _emitter(self, kelvin, watts, board_c, room_c):
        h = self.header
        room_k = room_c + 273.15
        astray = SIGMA_CM2 * h["around_cm2"] * (kelvin**4 - room_k**4)
        air = h["convection_mw_per_k"] / 1000 * (kelvin - room_k)
        left = watts - self._heat(kelvin, board_c) - astray - air
        return kelvin + left * TICK_S / h["emitter_j_per_k"]


def side_by_side(header):
    balance = HeatBalance()
    model = balance.model
    return balance, Plain(header, model.emitter_mk / 1000, model.most_emitter_mk / 1000)


def board_course(dice):
    """Return (watts, cdeg) for two minutes: a board that does something, heat that is driven."""
    rise = dice.choice([-0.3, 0.0, 0.4, 1.2])
    board_c = dice.uniform(20.0, 150.0)
    watts = dice.choice([0, 300, 1000])
    for tick in range(1200):
        if tick % 200 == 0:
            watts = dice.choice([0, 300, 1000])
        board_c = max(board_c + rise * TICK_S, 15.0)
        yield watts, round(board_c * 100) + dice.choice([-25, 0, 0, 25])


@pytest.mark.parametrize("trust", [0, 1])
@pytest.mark.parametrize("seed", range(12))
def test_sums_are_those_of_plain_arithmetic(seed, trust):
    header = {**HEADER, "model_trust": trust}
    balance, plain = side_by_side(header)
    for tick, (watts, cdeg) in enumerate(board_course(random.Random(seed))):
        balance.step(header, watts, cdeg, ROOM_CDEG, tick)
        plain.step(watts, cdeg / 100, ROOM_CDEG / 100)
        # a sum of a thousand ticks, each rounded to 1/64 mK, on heat known to 1 per cent or 1 W
        for q6, kelvin in ((balance.missing_q6, plain.missing_k),
                           (balance.surplus_q6, plain.surplus_k)):  # fmt: skip
            assert (q6 >> Q) / 1000 == pytest.approx(kelvin, rel=0.02, abs=1.0)
        assert balance.must_q6 / 64000 == pytest.approx(plain.must_k, rel=0.03, abs=0.002)
    assert balance.net_j == pytest.approx(plain.spent_j, rel=0.03, abs=60)
    assert balance.model.emitter_mk / 1000 == pytest.approx(plain.emitter_k, abs=3.0)


def test_a_healthy_board_misses_nothing_and_has_no_surplus():
    """A board that gets just the model's heat, in the middle of its class."""
    balance = HeatBalance()
    balance.model.most_emitter_mk = balance.model.emitter_mk
    board_c, capacity = 25.0, 100.0
    for tick in range(1500):
        balance.step(HEADER, 1000 if tick < 900 else 0, round(board_c * 100), ROOM_CDEG, tick)
        lost = 0.5 * (board_c - 25.0)
        board_c += (balance.model.heat_mw / 1000 - lost) / capacity * TICK_S
        assert balance.missing_q6 >> Q < BALANCE_TRIP_MK / 4
        assert balance.surplus_q6 >> Q < BALANCE_TRIP_MK / 4
    assert board_c > 100.0


def test_it_begins_with_nothing_seen_and_nothing_summed():
    fresh = HeatBalance()
    nothing = dict.fromkeys(fresh.STATE, 0)
    nothing.update(_last_cdeg=NO_READING_CDEG, _lowest_cdeg=NO_READING_CDEG)
    assert {name: getattr(fresh, name) for name in fresh.STATE} == nothing


def settled(**changes):
    balance = HeatBalance()
    balance.model.emitter_mk = balance.model.most_emitter_mk = 800000
    return balance, {**HEADER, **changes}


def test_without_a_reading_the_heat_adds_up_until_one_comes():
    balance, header = settled()
    balance.step(header, 1000, 2500, ROOM_CDEG, 1)
    for tick in range(2, 62):
        balance.step(header, 1000, NO_READING_CDEG, ROOM_CDEG, tick)
    lost_sight = balance.missing_q6
    assert lost_sight > 1000 << Q
    balance.step(header, 1000, 2500 + (lost_sight >> Q) // 10 + 300, ROOM_CDEG, 62)
    assert balance.missing_q6 == 0, "the rise since the last reading counts in one"
    assert balance.risen_cdeg >= 300


def test_before_the_first_reading_the_board_is_taken_for_as_cold_as_the_room():
    balance, header = settled()
    balance.step(header, 0, NO_READING_CDEG, ROOM_CDEG, 1)
    unseen = balance.model.heat_mw
    other, _ = settled()
    other.step(header, 0, ROOM_CDEG, ROOM_CDEG, 1)
    assert unseen == other.model.heat_mw


def test_first_tick_says_nothing():
    balance, header = settled()
    balance.step(header, 1000, 2500, ROOM_CDEG, 1)
    assert (balance.missing_q6, balance.surplus_q6, balance.net_j) == (0, 0, 0)


def test_rise_is_counted_from_the_lowest_reading():
    balance, header = settled()
    for tick, cdeg in enumerate((3000, 2800, 2900, 2850)):
        balance.step(header, 0, cdeg, ROOM_CDEG, tick)
    assert balance.risen_cdeg == 100
    balance.excuse()
    balance.step(header, 0, 2900, ROOM_CDEG, 5)
    assert balance.risen_cdeg == 0


def test_excusing_takes_back_what_was_missing_and_spent_but_no_surplus():
    balance, header = settled()
    for tick in range(200):
        balance.step(header, 1000, 2500, ROOM_CDEG, tick)
    assert balance.missing_q6 > 0 and balance.net_j > 0
    balance.surplus_q6 = 77
    balance.excuse()
    assert (balance.missing_q6, balance.net_j, balance.surplus_q6) == (0, 0, 77)


def test_forgetting_keeps_the_emitters_as_hot_as_they_are():
    balance, header = settled()
    for tick in range(50):
        balance.step(header, 1000, 2500, ROOM_CDEG, tick)
    hot = balance.model.emitter_mk
    balance.surplus_q6 = 5
    balance.forget()
    assert balance.model.emitter_mk == hot
    assert (balance.missing_q6, balance.surplus_q6, balance.must_q6, balance.coast_cdeg) == (0,) * 4
    balance.step(header, 1000, 9000, ROOM_CDEG, 51)
    assert balance.surplus_q6 == 0 and balance.risen_cdeg == 0


def test_heat_spent_is_counted_in_whole_joules_without_losing_any():
    balance, header = settled(board_loss_mw_per_k=1)
    plain = 0.0
    for tick in range(300):
        balance.step(header, 0, 2500, ROOM_CDEG, tick)
        plain += balance.model.heat_mw * BOUNDS[1][0] / 8 * TICK_S / 1000 if tick else 0
    assert balance.net_j == pytest.approx(plain, rel=1e-3, abs=1.0)
    balance.net_j = SPENT_MAX_J
    balance.step(header, 1000, 2500, ROOM_CDEG, 300)
    assert balance.net_j == SPENT_MAX_J


def test_coasting_is_told_once_a_second_and_counts_what_the_bead_is_late_by():
    balance, header = settled()
    balance.step(header, 0, 2500, ROOM_CDEG, 1)
    assert balance.coast_cdeg == 0
    balance.step(header, 0, 2500, ROOM_CDEG, 10)
    standing = balance.coast_cdeg
    assert standing > 0
    rising, _ = settled()
    for tick in range(-60, 11):  # one kelvin a second
        rising.model.emitter_mk = rising.model.most_emitter_mk = 800000
        rising.step(header, 0, 2500 + 10 * (tick + 60), ROOM_CDEG, tick)
    behind = 2500 + 700
    still, _ = settled()
    for tick in range(9, 11):
        still.model.emitter_mk = still.model.most_emitter_mk = 800000
        still.step(header, 0, behind, ROOM_CDEG, tick)
    # 2.5 s of a rise of 1 K/s; the filter of 1.6 s has nearly settled
    assert rising.coast_cdeg - still.coast_cdeg == pytest.approx(250, abs=30)


def touched(fall_k, lag_s=2.0, touch_s=4.0, after_s=0.0):
    """Play a bead on a board of 40 degC, cooled by tweezers for a while; return the most surplus.
    `after_s`: how long the tweezers then stay, before the bead warms again."""
    balance = HeatBalance()
    balance.model.most_emitter_mk = balance.model.emitter_mk
    bead_c, most_mk = 40.0, 0
    for tick in range(round((30 + touch_s + after_s) * 10) + 200):
        cooled = 10.0 <= tick * TICK_S < 10.0 + touch_s + after_s
        bead_c += ((40.0 - fall_k if cooled else 40.0) - bead_c) * TICK_S / lag_s
        balance.step(HEADER, 0, round(bead_c * 100), ROOM_CDEG, tick)
        most_mk = max(most_mk, balance.surplus_q6 >> Q)
    return most_mk, balance


def test_a_bead_that_tweezers_let_go_is_no_surplus():
    surplus_mk, _ = touched(12.0)
    assert surplus_mk < BALANCE_TRIP_MK / 2


def test_a_bead_that_rises_without_having_fallen_is_a_surplus():
    surplus_mk, _ = touched(-12.0)
    assert surplus_mk > BALANCE_TRIP_MK


def test_a_fall_is_forgotten_after_some_minutes_and_counts_only_so_far():
    long_ago_mk, _ = touched(12.0, after_s=300.0)
    assert long_ago_mk > BALANCE_TRIP_MK
    deep_mk, balance = touched(60.0)
    assert deep_mk > BALANCE_TRIP_MK
    assert balance.owed_q6 <= FALLEN_MAX_Q6
