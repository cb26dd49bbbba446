"""The judge on the controller itself: its memory, its room, and what clearing forgets."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import settings as fw_settings
from emberbed_fw import trip_codes as codes
from emberbed_fw.record import (
    PORT_HEAP_LOW,
    PORT_HEAT_CURRENT,
)
from emberbed_fw.safety_limits import (
    HEAP_TICKS,
)
from emberbed_fw.units import CHANNELS, NONE
from tests.support.judged_heat import CLOSED, judged

# The controller itself.


def test_without_sums_over_its_memory_nothing_heats():
    one = judged()
    one.guard.memory = None
    assert one.tick() == 0 and one.withheld == codes.WITHHELD_MACHINE


def test_memory_that_changed_withholds_and_trips_a_run():
    one = judged()
    one.tick(10)
    one.plan.limit_cdeg[0] ^= 1
    one.tick(CHANNELS)
    assert one.trip == codes.MEMORY_CHANGED and one.withheld & codes.WITHHELD_MACHINE


def test_memory_that_changed_while_nothing_heats_keeps_it_from_being_armed():
    one = judged()
    one.state = rs.LOADED
    one.tick()
    assert one.guard.may_arm()
    one.plan.limit_cdeg[0] ^= 1
    one.tick(CHANNELS)
    assert one.trip == codes.NO_TRIP and not one.guard.may_arm()
    one.guard.clear()
    assert not one.guard.memory.changed, "found again by the next round"
    one.tick(CHANNELS)
    assert one.guard.memory.changed


@pytest.mark.parametrize("heats", [False, True])
def test_low_heap(heats):
    one = judged()
    one.state = rs.RUN if heats else rs.LOADED
    one.flags = CLOSED | PORT_HEAT_CURRENT | PORT_HEAP_LOW
    one.tick()
    assert one.withheld & codes.WITHHELD_MACHINE and not one.guard.may_arm()
    one.tick(HEAP_TICKS - 2)
    assert one.trip == codes.NO_TRIP
    one.tick()
    assert one.trip == (codes.HEAP_LOW if heats else codes.NO_TRIP)


def test_heap_that_has_room_again_counts_from_nothing():
    one = judged(fw_settings.HAS_CONTACTOR_SENSE)
    for _ in range(4):
        one.flags = CLOSED | PORT_HEAP_LOW
        one.tick(HEAP_TICKS - 1)
        one.flags = CLOSED
        one.tick()
        assert one.withheld == 0
    one.flags |= PORT_HEAP_LOW
    one.tick(HEAP_TICKS - 1)
    one.guard.clear()
    one.tick(HEAP_TICKS - 1)
    assert one.trip == codes.NO_TRIP


def test_clearing_forgets_a_bead_that_lifted():
    one = judged()
    one.tick(5)
    one.readings.cdeg[0] -= 1500
    one.tick(8)
    assert one.guard.lift_watch.lifting == 1
    one.guard.clear()
    assert one.guard.lift_watch.lifting == 0
    one.tick(20)
    assert one.guard.lift_watch.lifting == 0, "the bead lies where it lies"


def test_clearing_forgets_what_the_doubts_asked_but_not_the_emitters():
    one = judged()
    one.tick(20)
    hot = one.guard.model.emitter_mk
    one.guard.doubts.asks = 1
    one.guard.clear()
    assert one.guard.doubts.prompt() == NONE and one.guard.model.emitter_mk == hot
