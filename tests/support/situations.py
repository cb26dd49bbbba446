"""Benches in every situation that a person's change can meet, by name.

`bench_in(name)` gives one that no test has touched; the same name twice gives two benches with the
same memory, so that a test can hold one that was touched against one that was not.
"""

import copy
from functools import cache

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import settings as fw_settings
from emberbed_fw.plan import FAN_NEVER
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from tests.support.bench import OPEN_WORD, Bench
from tests.support.plans import bench_settings, build_plan, cool, hold, hot_air, power, ramp, wait

FIRST_RAMP, FIRST_HOLD, SECOND_RAMP, SECOND_HOLD, WAITING, AIR, OPEN_LOOP, COOLING = range(8)
WAIT_PROMPT, NOZZLE_PROMPT = 7, 8
LOW_C, HIGH_C = 60.0, 80.0
STAGES = [
    ramp(2500, 6000, 100), hold(6000, 50), ramp(6000, 8000, 100), hold(8000, 50),
    wait(8000, prompt=WAIT_PROMPT, marks=ms.MARK_FLUX_ON), hot_air(8000, prompt=NOZZLE_PROMPT),
    power(3000, 100, 8500), cool(),
]  # fmt: skip


def every_kind():
    """Return a plan with a stage of every kind, from 25 to 85 degC."""
    return build_plan(STAGES)


def at_stage(stage, settings=None, stages=STAGES, **header):
    """Return a bench just inside a stage, the board where the plan wants it."""
    bench = Bench(build_plan(stages, **header), settings)
    if stage == FIRST_RAMP:
        bench.to_run().tick(5)
        return bench
    bench.board_c = [LOW_C, LOW_C]
    bench.to_run()
    _until(bench, FIRST_HOLD)
    for following in range(SECOND_RAMP, stage + 1):
        if following == SECOND_HOLD:
            bench.board_c = [HIGH_C, HIGH_C]
        if following == AIR:
            bench.acknowledge(WAIT_PROMPT)
        if following == OPEN_LOOP:
            bench.acknowledge(NOZZLE_PROMPT)
            bench.tick(2)
            bench.acknowledge(AIR_AWAY_PROMPT)
        _until(bench, following)
        bench.tick()  # a question is asked from the tick after
    bench.tick(3)
    return bench


def _until(bench, stage, most=400):
    for _ in range(most):
        if bench.record.stage == stage:
            return
        bench.tick()
    raise AssertionError(f"stage {stage} not reached, still in {bench.record.stage}")


def holding_here(stage):
    bench = at_stage(stage)
    assert bench.touch(ms.HOLD_HERE) == ms.DONE
    bench.tick(3)
    return bench


def held_while_waiting():
    bench = at_stage(WAITING)
    assert bench.touch(ms.LAST_PLATEAU) == ms.DONE
    bench.tick(3)
    return bench


def under_hot_air():
    bench = at_stage(AIR)
    bench.acknowledge(NOZZLE_PROMPT)
    bench.tick(3)
    assert bench.record.waits_for == rs.WAITS_AIR_AWAY
    return bench


def without_a_reading(bench):
    bench.raw = {0: OPEN_WORD}
    bench.tick()
    return bench


def cooling(**more):
    bench = at_stage(SECOND_HOLD, **more)
    bench.stop()
    bench.tick(3)
    return bench


def cooling_after_a_trip():
    """Return a bench that asks whether to go on."""
    bench = at_stage(SECOND_HOLD)
    bench.raw = {0: OPEN_WORD}
    bench.tick(3)
    bench.raw = {}
    bench.tick(15)
    return bench


def ended():
    bench = cooling()
    bench.board_c = [25.0, 25.0]
    bench.until(rs.STOPPED)
    return bench


def tripped():
    bench = at_stage(FIRST_RAMP)
    bench.raw = {0: OPEN_WORD}
    bench.tick(3)
    bench.raw = {}
    bench.until(rs.TRIPPED)
    return bench


def started():
    bench = Bench(every_kind())
    bench.tick()
    return bench


def loaded():
    bench = Bench(every_kind())
    bench.load()
    bench.tick()
    return bench


def cooling_without_a_plan():
    bench = started()
    bench.board_c = [60.0, 60.0]
    bench.stop()
    bench.tick(2)
    assert bench.state == rs.COOL
    return bench


NO_FAN = bench_settings(fw_settings.HAS_CONTACTOR_SENSE | fw_settings.HAS_HEAT_SENSE)
SITUATIONS = {
    "idle": started,
    "loaded": loaded,
    "cold proof": lambda: Bench(every_kind()).to_armed(),
    "hot proof": lambda: Bench(every_kind()).to_armed().press(),
    "first ramp": lambda: at_stage(FIRST_RAMP),
    "first hold": lambda: at_stage(FIRST_HOLD),
    "second ramp": lambda: at_stage(SECOND_RAMP),
    "second hold": lambda: at_stage(SECOND_HOLD),
    "waiting": lambda: at_stage(WAITING),
    "asking for the nozzle": lambda: at_stage(AIR),
    "under hot air": under_hot_air,
    "open loop": lambda: at_stage(OPEN_LOOP),
    "holding here in a ramp": lambda: holding_here(SECOND_RAMP),
    "holding here in a hold": lambda: holding_here(SECOND_HOLD),
    "held while waiting": held_while_waiting,
    "ramp without a reading": lambda: without_a_reading(at_stage(SECOND_RAMP)),
    "holding here without a reading": lambda: without_a_reading(holding_here(SECOND_RAMP)),
    "cooling": cooling,
    "cooling without a fan": lambda: cooling(settings=NO_FAN),
    "cooling with a fan that must not run": lambda: cooling(fan_starts=FAN_NEVER),
    "cooling without a plan": cooling_without_a_plan,
    "cooling after a trip": cooling_after_a_trip,
    "ended": ended,
    "tripped": tripped,
}


@cache
def _built(name):
    return SITUATIONS[name]()


def bench_in(name):
    return copy.deepcopy(_built(name))
