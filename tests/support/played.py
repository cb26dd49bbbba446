"""Whole runs with a person's changes in them, for replay, snapshots and other interpreters."""

from emberbed_fw import messages as ms
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from tests.support.situations import NOZZLE_PROMPT, WAIT_PROMPT, bench_in
from tests.support.trips import HOLD, go_on, mended


def touched_run():
    """Return a bench that went through every stage with changes in each."""
    bench = bench_in("first ramp")
    for change in ((ms.HOLD_HERE, 0), (ms.OFFSET, 150), (ms.GO_ON, 0), (ms.MARK, 0)):
        bench.touch(*change)
        bench.tick(7)
    bench.board_c = [60.0, 60.0]
    bench.until_stage(1)
    bench.touch(ms.EXTEND, 30)
    bench.until_stage(2)
    bench.tick(20)
    bench.touch(ms.LAST_PLATEAU)
    bench.tick(20)
    bench.touch(ms.NEXT_STAGE, 0, ms.BY_PAGE)
    bench.board_c = [80.0, 80.0]
    bench.tick(30)
    bench.touch(ms.OFFSET, -100)
    bench.until_stage(4)
    bench.tick(5)
    bench.acknowledge(WAIT_PROMPT, ms.BY_SCRIPT)
    bench.until_stage(5)
    bench.tick(3)
    bench.acknowledge(NOZZLE_PROMPT)
    bench.tick(50)
    bench.button = True  # a tap marks the next event
    bench.tick(3)
    bench.button = False
    bench.tick(20)
    bench.acknowledge(AIR_AWAY_PROMPT)
    bench.tick(30)
    bench.touch(ms.COOL_DOWN)
    bench.tick(10)
    bench.touch(ms.FAN_NOW)
    bench.tick(20)
    return bench


def went_on(times=1):
    """Return a bench in the run that goes on, and the trips that its arming was answered with."""
    bench = mended()
    counts = None
    for time in range(times):
        if time > 0:
            mended("SENSOR_OPEN", bench)
        bench.tick(5)
        counts = list(bench.machine.life.trip_counts)
        go_on(bench, HOLD, 100)
        bench.tick(80)
    return bench, counts
