"""A device whose ticks are longer or shorter than it says, against the computer's clock."""

import pytest

from emberbed.bench.clock_watch import ClockWatch
from tests.support.bench import Bench

TICK_S = 0.1


class Clock:
    def __init__(self):
        self.now_s = 1000.0

    def __call__(self):
        return self.now_s


def followed(watch, clock, ticks, tick_s, first=1):
    """Return what was told while records came one by one, each `tick_s` after the one before."""
    bench = Bench()
    bench.machine.tick = first - 1
    told = []
    for _ in range(ticks):
        clock.now_s += tick_s
        bench.tick()
        told += watch.follow(bench.record)
    return told


@pytest.mark.parametrize("wrong", [0.95, 1.05, 1.5])
def test_a_wrong_clock_is_told_once_and_stops_the_heat(wrong):
    clock = Clock()
    watch = ClockWatch(clock)
    told = followed(watch, clock, 1500, TICK_S * wrong)
    assert len(told) == 1 and watch.wants_stop
    tick, kind, sentence = told[0]
    assert kind == "clock"
    assert ("% slow:" if wrong > 1 else "% fast:") in sentence
    assert 600 / max(wrong, 1) <= tick <= 800


@pytest.mark.parametrize("right", [0.99, 1.0, 1.01])
def test_crystals_are_not_doubted(right):
    clock = Clock()
    watch = ClockWatch(clock)
    assert not followed(watch, clock, 6000, TICK_S * right)
    assert not watch.wants_stop


def test_records_that_come_in_bunches_are_not_doubted():
    clock = Clock()
    watch = ClockWatch(clock)
    bench = Bench()
    for _ in range(400):
        clock.now_s += 5 * TICK_S
        for _ in range(5):
            bench.tick()
            assert not watch.follow(bench.record)


def test_a_gap_begins_anew():
    clock = Clock()
    watch = ClockWatch(clock)
    assert not followed(watch, clock, 500, TICK_S)
    clock.now_s += 300.0  # the cable was out, and the readings from then come later
    assert not followed(watch, clock, 900, TICK_S, first=3500)
