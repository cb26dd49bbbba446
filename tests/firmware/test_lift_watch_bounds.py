"""The lift watch one step to either side of each of its bounds."""

import pytest

from emberbed_fw.lift_watch import (
    COOLING_Q6,
    FILTER_Q,
    LiftWatch,
)
from emberbed_fw.safety_limits import (
    LIFT_AIR_DROP_CDEG,
    LIFT_BACK_CDEG,
    LIFT_DROP_CDEG,
    LIFT_TICKS,
)
from tests.support.watched_lift import (
    AIR_AWAY,
    AIR_ON,
    WATCHED,
    Fed,
)

# Each bound, one step to either side of it.


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize(("risen_cdeg", "back"), [(LIFT_BACK_CDEG, 0), (LIFT_BACK_CDEG + 1, 1)])
@pytest.mark.parametrize("level", [0, 1])
def test_a_bead_is_back_above_the_bound_and_at_its_level(channel, risen_cdeg, back, level):
    one = LiftWatch()
    one.lifting = 1 << channel
    fast_q6 = (5000 + risen_cdeg) << FILTER_Q
    one._slow_q6[channel] = 5000 << FILTER_Q
    one._level_q6[channel] = fast_q6 + level
    one._await_channel(channel, fast_q6)
    came = back and not level
    assert one.lifting == (0 if came else 1 << channel)
    assert one._slow_q6[channel] == (fast_q6 if came else 5000 << FILTER_Q)


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize(("fallen_cdeg", "off"), [(LIFT_DROP_CDEG, 0), (LIFT_DROP_CDEG + 1, 1)])
def test_a_bead_is_off_again_below_the_bound(channel, fallen_cdeg, off):
    one = LiftWatch()
    one._slow_q6[channel] = (8000 << FILTER_Q) + COOLING_Q6
    fast_q6 = (8000 - fallen_cdeg) << FILTER_Q
    one._await_channel(channel, fast_q6)
    assert one.lifting == off << channel
    assert one._slow_q6[channel] == (fast_q6 if off else 8000 << FILTER_Q)


@pytest.mark.parametrize(("ticks", "air", "bound_cdeg", "ticks_after"), [
    (0, AIR_AWAY, LIFT_DROP_CDEG, (0, 1)), (0, AIR_ON, LIFT_AIR_DROP_CDEG, (0, 1)),
    (5, AIR_AWAY, LIFT_BACK_CDEG, (4, 6)), (5, AIR_ON, LIFT_BACK_CDEG, (4, 6)),
])  # fmt: skip
@pytest.mark.parametrize("over", [0, 1])
def test_a_bead_is_suspected_above_its_bound(ticks, air, bound_cdeg, ticks_after, over):
    one = LiftWatch()
    cdeg_q6 = (8000 - bound_cdeg - over) << FILTER_Q
    one._slow_q6[0], one._fast_q6[0], one._lifted_ticks[0] = 8000 << FILTER_Q, cdeg_q6, ticks
    one._step_channel(0, cdeg_q6, air)
    assert one._lifted_ticks[0] == ticks_after[over]
    if ticks_after[over]:  # what the board had is remembered, and what it can have at least
        assert one._slow_q6[0] == 8000 << FILTER_Q
        assert one._level_q6[0] == (8000 - LIFT_DROP_CDEG) << FILTER_Q


def test_filters_that_meet_go_on_with_the_reading():
    one = LiftWatch()
    one._slow_q6[0], one._fast_q6[0] = 8000 << FILTER_Q, 8100 << FILTER_Q
    one._step_channel(0, 7700 << FILTER_Q, AIR_AWAY)
    assert one._fast_q6[0] == 8000 << FILTER_Q
    assert one._slow_q6[0] == (8000 << FILTER_Q) - (300 << FILTER_Q) // 32


def test_first_reading_is_what_both_filters_begin_with():
    one = LiftWatch()
    one.step(Fed(9000), WATCHED, AIR_AWAY)
    assert one._fast_q6[0] == one._slow_q6[0] == 9000 << FILTER_Q


@pytest.mark.parametrize(
    ("ticks", "ahead_q6", "ticks_after"),
    [(5, 4266, 6), (5, 4267, 5), (1, 4266, 2), (1, 4267, 1), (0, 4267, 1),
     (LIFT_TICKS, 4266, LIFT_TICKS), (LIFT_TICKS - 1, 4266, LIFT_TICKS)],
)  # fmt: skip
def test_a_bead_on_its_way_back_is_given_the_time(ticks, ahead_q6, ticks_after):
    """It is half a degree ahead of the filter, which has taken a quarter of the way: 3200 / 64."""
    one = LiftWatch()
    cdeg_q6 = 5000 << FILTER_Q
    one._slow_q6[0], one._fast_q6[0], one._lifted_ticks[0] = (
        8000 << FILTER_Q, cdeg_q6 - ahead_q6, ticks,
    )  # fmt: skip
    one._step_channel(0, cdeg_q6, AIR_AWAY)
    assert one._lifted_ticks[0] == ticks_after
    assert one.overdue == (1 if ticks_after == LIFT_TICKS else 0)
