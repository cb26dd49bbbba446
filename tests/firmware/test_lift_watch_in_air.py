"""A bead under hot air may fall fast, but not far; after its trip it is waited for."""

import pytest

from emberbed_fw.safety_limits import (
    LIFT_AIR_DROP_CDEG,
    LIFT_TICKS,
)
from emberbed_fw.units import NO_READING_CDEG
from tests.support.watched_lift import (
    AIR_AWAY,
    AIR_ON,
    WATCHED,
    given_up,
    lifted,
    quarters,
    state_of,
    under_air,
)


def blow(one, readings, cdeg, ticks):
    """Let channel 0 read `cdeg` under hot air; return the ticks with suspicion."""
    suspected = 0
    readings.cdeg[0] = cdeg
    for _ in range(ticks):
        one.step(readings, WATCHED, AIR_ON)
        suspected += one.lifting != 0
    return suspected


@pytest.mark.parametrize("warm_cdeg", [15500, 18000, 25000])
def test_jet_that_passes_over_a_bead_is_quiet(warm_cdeg):
    one, readings = under_air()
    for _ in range(5):
        assert blow(one, readings, warm_cdeg, 60) == 0
        assert blow(one, readings, 15000, 60) == 0


def test_drop_under_hot_air_has_a_limit_of_its_own():
    one, readings = under_air()
    assert blow(one, readings, 15000 - LIFT_AIR_DROP_CDEG + 25, 200) == 0
    one, readings = under_air()
    assert blow(one, readings, 15000 - LIFT_AIR_DROP_CDEG - 300, 20) > 0


@pytest.mark.parametrize("warmed_ticks", [0, 600])
@pytest.mark.parametrize("air_cdeg", [3000, 6000, 10000])
def test_bead_that_lifts_under_hot_air_is_seen(warmed_ticks, air_cdeg):
    one, readings = under_air()
    blow(one, readings, 18000, warmed_ticks)
    seen = overdue = 0
    for tick, cdeg in enumerate(lifted(readings.cdeg[0], air_cdeg, 400), 1):
        blow(one, readings, cdeg, 1)
        seen = seen or (one.lifting and tick)
        overdue = overdue or (one.overdue and tick)
    assert 0 < seen <= 30 and overdue == seen + LIFT_TICKS - 1


def test_hot_air_that_has_warmed_the_bead_is_not_what_the_board_had():
    one, readings = under_air()
    memory = one._slow_q6[0]
    blow(one, readings, 20000, 600)
    assert one._slow_q6[0] == memory


@pytest.mark.parametrize("degc_per_s", [0.1, 0.3, 0.45])
def test_board_that_cools_under_hot_air_by_itself_is_quiet(degc_per_s):
    """An extractor is switched on with the hot air, or the stage is cooler than the soak."""
    one, readings = under_air()
    for tick in range(2000):
        assert blow(one, readings, quarters(15000 - degc_per_s * 10 * tick), 1) == 0
    for _ in range(300):
        one.step(readings, WATCHED, AIR_AWAY)
        assert one.lifting == 0, "nor afterwards"


def wait_for(one, readings, cdeg, ticks):
    for _ in range(ticks):
        readings.cdeg[0] = cdeg
        one.await_return(readings)
    return one.lifting


def test_bead_that_is_pressed_down_is_back():
    one, readings = given_up()
    assert wait_for(one, readings, 2500, 30) == 1
    assert wait_for(one, readings, 6100, 20) == 0


def test_waiting_changes_nothing_without_a_reading_or_of_a_bead_that_lies():
    one, readings = given_up()
    before = {name: list(held) for name, held in state_of(one).items() if name.startswith("_")}
    wait_for(one, readings, NO_READING_CDEG, 5)
    for name, held in before.items():
        assert getattr(one, name) == held
    wait_for(one, readings, 2500, 5)
    for name, held in before.items():
        assert getattr(one, name)[1] == held[1]


@pytest.mark.parametrize("hand_cdeg", [3000, 3300, 3700])
def test_bead_in_a_warm_hand_is_not_back(hand_cdeg):
    # a hand has 33 degC: a textbook figure, from memory
    one, readings = given_up()
    assert wait_for(one, readings, 2500, 20) == 1
    assert wait_for(one, readings, hand_cdeg, 50) == 1
    assert wait_for(one, readings, 6000, 20) == 0, "and then on its board"


def test_board_that_has_cooled_meanwhile_has_its_bead_back():
    """A degree a second for half a minute: no plan lets the fan cool faster than 1.5."""
    one, readings = given_up()
    assert wait_for(one, readings, 2500, 300) == 1
    assert wait_for(one, readings, 6400 - 3000, 20) == 0
