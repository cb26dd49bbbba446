"""Benches in the situations that the checks are proved in, and what must be true afterwards."""

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.converters import hot_cdeg
from emberbed_fw.settings import CONVERTER_MAX31855K
from tests.support.bench import Bench, short_plan, word

GOOD = word(25.0)


def heating(plan=None):
    """Return a bench in RUN whose zone is driven in every tick: cold board, rising setpoint."""
    bench = Bench(plan or short_plan()).to_run()
    bench.tick(30)
    assert bench.heats and bench.contactor_driven and bench.trip == trip_codes.NO_TRIP
    return bench


def coasting():
    """Return a bench in RUN that asks for no power: a board above its setpoint."""
    bench = heating()
    bench.board_c = [70.0, 70.0]
    bench.tick(5)
    assert bench.state == rs.RUN and not bench.heats
    return bench


def reading_of(hot_c):
    """Return what the firmware reads for a couple at this temperature, in cdeg."""
    bench = Bench()
    bench.board_c = [hot_c, hot_c]
    bench.tick()
    return bench.record.channel0_cdeg


def words_near(limit_cdeg):
    """Return (reading in cdeg, word) of the converter's steps around a limit, rising."""
    low = GOOD & 0xFFFF
    quarters = range(limit_cdeg // 25 - 60, limit_cdeg // 25 + 60)
    highs = [number << 2 & 0xFFFF for number in quarters]
    return [(hot_cdeg(CONVERTER_MAX31855K, 0, high, low), high << 16 | low) for high in highs]


def word_above(limit_cdeg):
    return min(pair for pair in words_near(limit_cdeg) if pair[0] > limit_cdeg)[1]


def word_below(limit_cdeg):
    return max(pair for pair in words_near(limit_cdeg) if pair[0] < limit_cdeg)[1]


def until_tripped(bench, most):
    """Run until a trip; return the ticks it took."""
    for taken in range(1, most + 1):
        bench.tick()
        if bench.trip != trip_codes.NO_TRIP:
            return taken
    raise AssertionError(f"no trip in {most} ticks")


def assert_dark(bench):
    assert not bench.heats and not bench.contactor_driven


def assert_tripped(bench, code):
    assert bench.trip == code
    assert bench.state in (rs.COOL, rs.TRIPPED) and bench.record.verdict == rs.TRIPPED
    assert_dark(bench)


def assert_never_heats_again(bench, code, ticks=300):
    """The cause is gone; neither time nor a host brings the heat back, only a press when cool."""
    for _ in range(ticks):
        bench.tick()
        assert_tripped(bench, code)
    bench.board_c = [25.0, 25.0]
    bench.until(rs.TRIPPED)
    bench.load()
    bench.arm()
    bench.tick(50)
    assert_tripped(bench, code)
    bench.press()
    assert bench.state == rs.IDLE and bench.trip == trip_codes.NO_TRIP
    assert_dark(bench)
