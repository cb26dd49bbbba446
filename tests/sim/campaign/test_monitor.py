"""The monitor sees each thing that may never be, whatever the firmware says."""

import pytest

from emberbed_fw import trip_codes
from emberbed_sim.campaign.monitor import Allowed, Monitor, reading_c
from emberbed_sim.campaign.phases import snapshots
from emberbed_sim.campaign.setups import Setup, draw
from emberbed_sim.faults import FaultEvent
from emberbed_sim.plant.converter import convert

SETUP = Setup()
SEED = 0
CONTACTOR = 1


def watched(phase, *faults, allowed=None):
    loop = snapshots(SETUP, SEED)[phase].fork(faults)
    plan = draw(SETUP, SEED).plan
    return loop, Monitor(loop, plan, faults, allowed or Allowed(), phase)


def heat(loop, monitor, seconds):
    """Drive the heater past the firmware, as broken firmware would."""
    for _tick in range(round(seconds * 10)):
        loop.heater.step(1, CONTACTOR)
        monitor.step()


def test_a_healthy_stretch_breaks_nothing():
    loop, monitor = watched("soak")
    for _tick in range(100):
        loop.step()
        monitor.step()
    assert monitor.broken == {}
    assert monitor.energy_j > 0


def test_heat_without_a_press():
    loop, monitor = watched("arming")
    heat(loop, monitor, 0.5)
    assert "unpressed" in monitor.broken


def test_heat_that_nobody_answers_for():
    loop, monitor = watched("soak")
    gone = FaultEvent("host_silent", loop.heater.elapsed_s, None)
    loop, monitor = watched("soak", gone)
    heat(loop, monitor, 2.2)
    assert "nobody" not in monitor.broken
    heat(loop, monitor, 0.3)
    assert "nobody" in monitor.broken


def test_heat_on_a_reading_that_lies():
    now_s = snapshots(SETUP, SEED)["soak"].heater.elapsed_s
    lifted = FaultEvent("tc_shorted", now_s, None)
    loop, monitor = watched("soak", lifted, allowed=Allowed(lie_s=2.0))
    heat(loop, monitor, 1.8)
    assert "lying" not in monitor.broken
    heat(loop, monitor, 1.0)
    assert "lying" in monitor.broken


def test_a_board_above_its_limit():
    loop, monitor = watched("soak")
    heat(loop, monitor, 90)
    assert "too_hot" in monitor.broken
    assert monitor.over_limit_k > 3.0


@pytest.mark.parametrize("rule", ["after_trip", "contactor"])
def test_heat_and_a_closed_contactor_after_a_trip(rule):
    loop, monitor = watched("soak")
    loop.machine.guard.set_trip(trip_codes.SENSOR_OPEN)
    heat(loop, monitor, 1.0)
    assert rule in monitor.broken


def test_heat_after_a_stop_and_after_a_reset():
    loop, monitor = watched("soak")
    monitor.note_end()
    heat(loop, monitor, 1.0)
    assert "after_end" in monitor.broken
    loop, monitor = watched("soak")
    loop.resets += 1
    heat(loop, monitor, 1.0)
    assert {"after_reset", "unpressed"} <= monitor.broken.keys()


def test_what_a_cell_excuses_is_not_broken():
    loop, monitor = watched("soak", allowed=Allowed(excused=("too_hot", "lying")))
    heat(loop, monitor, 90)
    assert "too_hot" not in monitor.broken


# MAX31855 datasheet, table 2 and table 4: the word of a temperature, in steps of 0.25 degC
@pytest.mark.parametrize(
    ("hot_half", "celsius"), [(0x6400, 1600.0), (0x0640, 100.0), (0x0190, 25.0), (0xFFFC, -0.25)]
)
def test_the_monitor_reads_words_as_the_datasheet_says(hot_half, celsius):
    words = (hot_half << 16 | 0x1900).to_bytes(4, "big")
    assert reading_c(words, 0) == celsius


def test_a_word_with_a_fault_or_of_a_dead_bus_is_no_reading():
    for word in (0x00011901, 0, 0xFFFFFFFF):
        assert reading_c(word.to_bytes(4, "big"), 0) is None
    assert reading_c(convert(150.0, 25.0).to_bytes(4, "big"), 0) == pytest.approx(150, abs=2)
