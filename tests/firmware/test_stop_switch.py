"""The latching stop breaks the contactor's coil by itself; where it is sensed, the run ends."""

from emberbed_fw import record, trip_codes
from emberbed_fw import run_states as rs
from tests.support.bench import Bench


def stopped(bench):
    """Press the stop: the coil is broken, whatever the device wants."""
    bench.more_flags = record.PORT_STOPPED
    return bench


def test_pressed_while_heating_it_ends_the_run_without_a_trip():
    bench = Bench()
    bench.to_run()
    stopped(bench).tick()
    assert (bench.state, bench.record.verdict) == (rs.COOL, rs.STOPPED)
    assert bench.record.driven_zones == 0
    bench.tick(50)
    assert bench.record.trip == trip_codes.NO_TRIP


def test_pressed_while_arming_no_press_counts():
    bench = stopped(Bench())
    bench.load()
    bench.arm()
    bench.tick(20)
    bench.press()
    assert (bench.state, bench.record.waits_for) == (rs.COLD_PROOF, rs.WAITS_STOP_RELEASE)
    bench.more_flags = 0
    bench.tick(20)
    bench.press()
    assert bench.state == rs.HOT_PROOF


def test_the_guard_gives_no_heat_while_it_is_pressed():
    bench = Bench()
    bench.to_run()
    stopped(bench).tick()
    assert bench.record.withheld & trip_codes.WITHHELD_SWITCH
