"""Whole runs with a person's changes in them, for replay, snapshots and other interpreters."""

from emberbed_fw import messages as ms
from emberbed_fw import plan as layout
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from tests.support.bench import Bench
from tests.support.plans import build_plan, cool, hold, ramp, wait
from tests.support.power_sets import parts_of
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


def planned_anew():
    """Return a bench in the last ramp of a run whose power was planned anew in each of two waits,
    in three parts, with time enough in the ramps for the power to tell."""
    many = [(5 * n, 6000 + 80 * n) for n in range(26)]
    stages = [
        ramp(2500, 6000, 100, band_cdeg=200), hold(6000, 50, band_cdeg=200),
        wait(6000, prompt=1), dict(kind=layout.RAMP, target_cdeg=8000, band_cdeg=200, knots=many),
        wait(8000, prompt=2), ramp(8000, 9000, 100), cool(),
    ]  # fmt: skip
    bench = Bench(build_plan(stages)).to_run()
    bench.board_c = [60.0, 60.0]
    begun = [0] * 5 + [9000 - 10 * n for n in range(26)]
    for prompt, later, board_c in ((1, [700, 600, 500], 80.0), (2, [700, 9000, 50], 90.0)):
        for _ in range(400):
            bench.tick()
            if bench.machine.prompt() == prompt:
                break
        for payload in parts_of(bench.plan, begun + later):
            bench.send(ms.FEEDFORWARD, payload)
            bench.tick()
            assert bench.refusals[-1] == ms.DONE
        bench.tick(20)
        bench.acknowledge(prompt)
        bench.tick(30)
        bench.board_c = [board_c, board_c]
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
