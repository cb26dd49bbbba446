"""Proofs of the check of the fan: it turns untold, or does not turn, and it is told (C37)."""

import pytest

from emberbed_fw import settings as fw_settings
from emberbed_fw import trip_codes
from emberbed_fw.record import OUT_FAN, PORT_FAN_TURNS
from emberbed_fw.safety_limits import (
    FAN_TICKS,
)
from tests.safety.hazard_table import ticks_allowed
from tests.support.bench import Bench, short_plan
from tests.support.plans import bench_settings

# C37: a fan that does not do what it is told.

TACH = bench_settings(
    fw_settings.HAS_CONTACTOR_SENSE | fw_settings.HAS_HEAT_SENSE | fw_settings.HAS_FAN
    | fw_settings.HAS_FAN_TACH
)  # fmt: skip


def with_fan(turns, settings=TACH):
    """Return a heating bench whose fan should stand still."""
    bench = Bench(short_plan(), settings).to_run()
    assert not bench.machine.outputs & OUT_FAN
    bench.more_flags = PORT_FAN_TURNS if turns else 0
    return bench


def warns(bench):
    return bench.record.warnings & trip_codes.WARN_FAN != 0


@pytest.mark.check("C37", proves="acts")
@pytest.mark.check("C37", proves="in_time")
def test_fan_that_turns_untold_is_told_in_time():
    bench = with_fan(turns=True)
    bench.tick(ticks_allowed("C37"))
    assert warns(bench) and bench.trip == trip_codes.NO_TRIP and bench.heats


@pytest.mark.check("C37", proves="acts")
def test_fan_that_does_not_turn_is_told():
    bench = with_fan(turns=False)
    bench.board_c = [60.0, 60.0]
    bench.stop()
    bench.tick(2)
    assert bench.machine.outputs & OUT_FAN
    bench.tick(FAN_TICKS)
    assert warns(bench)


@pytest.mark.check("C37", proves="quiet")
def test_fan_that_starts_slowly_is_quiet():
    bench = with_fan(turns=True)
    bench.tick(FAN_TICKS - 1)
    assert not warns(bench)
    bench.more_flags = 0
    bench.tick(200)
    assert not warns(bench)
    without = with_fan(turns=True, settings=bench_settings())
    without.tick(200)
    assert not warns(without), "nobody has a tach there"


@pytest.mark.check("C37", proves="stays")
def test_warning_stays_while_the_fan_is_wrong():
    bench = with_fan(turns=True)
    bench.tick(FAN_TICKS)
    for _ in range(100):
        bench.tick()
        assert warns(bench)
