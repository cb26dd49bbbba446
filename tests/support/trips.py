"""Ways to trip a run, by the trip's name, and what mends them again."""

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.safety_limits import LEASE_TICKS, LIFT_TICKS
from emberbed_fw.touches import READ_TICKS
from emberbed_fw.units import TICK_MS
from tests.support.bench import ALWAYS, FOLLOWS, NEVER, OPEN_WORD, Bench, word
from tests.support.plans import build_plan, cool, hold, hot_air, ramp, wait

# MAX31855K datasheet, page 10: fault bits with the summary bit set
GROUND_WORD, SUPPLY_WORD = 0x00011902, 0x00011904
LOW_C = 60.0
RAMP, HOLD, WAIT, AIR = 1, 2, 3, 4  # stages of the plan below
WAIT_PROMPT, NOZZLE_PROMPT = 3, 4
SOON = 400


def long_plan(hold_ticks=300, **header):
    """Return a plan whose first hold is at 60 degC, and whose second lasts 30 s at 64 degC."""
    stages = [
        hold(6000, 20), ramp(6000, 6400, 40, longest_ticks=SOON),
        hold(6400, hold_ticks, longest_ticks=hold_ticks + SOON - 300),
        wait(6400, prompt=WAIT_PROMPT, longest_ticks=SOON),
        hot_air(6400, prompt=NOZZLE_PROMPT, answer_ticks=SOON, longest_ticks=SOON), cool(),
    ]  # fmt: skip
    return build_plan(stages, **header)


def running(stage=HOLD, attendance=ms.ATTEND_HOST, **plan):
    """Return a warm bench in this stage of the long plan."""
    bench = Bench(long_plan(**plan))
    bench.board_c = [LOW_C, LOW_C]
    bench.to_armed(attendance).press().until(rs.RUN)
    bench.until_stage(RAMP)
    if stage > RAMP:
        bench.board_c = [64.0, 64.0]
        bench.until_stage(HOLD)
    if stage > HOLD:
        bench.until_stage(WAIT)
        bench.tick(2)
    if stage == AIR:
        _answer(bench, attendance)
    bench.tick(5)
    assert bench.record.stage == stage
    return bench


def _answer(bench, attendance):
    """Answer the plan's question; where the button answers for the heat, by a tap."""
    if attendance == ms.ATTEND_PANEL:
        bench.tick(READ_TICKS)
        bench.button = True
        bench.tick(2)
        bench.button = False
    else:
        bench.acknowledge(WAIT_PROMPT)
    bench.tick(2)


def _sensor(raw):
    def trip(bench):
        bench.raw = {1: raw}
        bench.tick(3)

    return trip


def _stale(bench):
    bench.fresh_channels = 0b01
    bench.tick(3)


def _lifted(bench):
    bench.board_c = [30.0, bench.board_c[1]]
    bench.tick(LIFT_TICKS + 10)


def _link_lost(bench):
    bench.renews = False
    bench.tick(LEASE_TICKS)


def _prompt(bench):
    while bench.record.stage < WAIT:
        bench.tick()
    bench.tick(SOON + 1)


def _stage(bench):
    bench.board_c = [62.0, 62.0]  # never in its band
    bench.machine.plan.stage["band_cdeg"][HOLD] = 10
    bench.tick(SOON + 1200 + 1)


def mend(bench):
    """Undo whatever spoilt the bench."""
    bench.raw = {}
    bench.fresh_channels = 0xFF
    bench.bus_error = False
    bench.renews = True
    bench.elapsed_ms = TICK_MS
    bench.contactor = bench.current = FOLLOWS
    bench.board_c = [64.0, 64.0]


def _set(**changes):
    def trip(bench):
        for name, value in changes.items():
            setattr(bench, name, value)
        bench.tick(30)

    return trip


def _too_hot(bench):
    bench.board_c = [100.0, 64.0]
    bench.tick(3)


def _too_hot_from_above(bench):
    bench.touch(ms.NEXT_STAGE)
    while bench.record.stage < AIR:
        bench.touch(ms.NEXT_STAGE)
    bench.tick()
    bench.acknowledge(NOZZLE_PROMPT)
    bench.tick()
    _too_hot(bench)


def _error(bench):
    bench.machine.fail(bench.machine.tick)


def _run_too_long(bench):
    bench.machine.plan.header["longest_run_ticks"] = bench.machine.life.run_ticks + 1
    bench.tick(2)


# A person can mend these: each begins in the hold of the long plan.
MENDABLE = {
    "SENSOR_OPEN": _sensor(OPEN_WORD),
    "SENSOR_SHORT_GROUND": _sensor(GROUND_WORD),
    "SENSOR_SHORT_SUPPLY": _sensor(SUPPLY_WORD),
    "SENSOR_BUS_DEAD": _sensor(0),
    "SENSOR_STALE": _stale,
    "SENSOR_RANGE": _sensor(word(-60.0)),
    "SENSOR_LIFTED": _lifted,
    "PC_LINK_LOST": _link_lost,
    "PROMPT_OVERDUE": _prompt,
    "STAGE_OVERDUE": _stage,
}
# These clear only when cool.
LATCHED = {
    "OVER_TEMPERATURE": _too_hot,
    "TOO_HOT_FROM_ABOVE": _too_hot_from_above,
    "TICK_OVERRUN": _set(elapsed_ms=400),
    "HEAT_UNCOMMANDED": _set(board_c=[80.0, 80.0], current=ALWAYS),
    "HEAT_MISSING": _set(board_c=[58.5, 58.5], current=NEVER),
    "CONTACTOR_STUCK_OPEN": _set(contactor=NEVER),
    "CONTACTOR_STUCK_CLOSED": lambda bench: (
        bench.stop(), vars(bench).update(contactor=ALWAYS), bench.tick(10),
    ),
    "RUN_TOO_LONG": _run_too_long,
    "FIRMWARE_ERROR": _error,
}  # fmt: skip
CODES = {name: code for code, name, _reaction in trip_codes.TRIPS}


def tripped_by(name, bench=None):
    """Return a bench whose run has just tripped; the cause lasts."""
    bench = bench or running()
    {**MENDABLE, **LATCHED}[name](bench)
    assert bench.state == rs.COOL, name
    assert bench.machine.life.cause(bench.machine) == CODES[name], name
    return bench


def mended(name="SENSOR_OPEN", bench=None):
    """Return a bench that has tripped, is mended and asks whether to go on."""
    bench = tripped_by(name, bench)
    mend(bench)
    bench.tick(15)
    assert bench.record.prompt == GO_ON_PROMPT
    return bench


def go_on(bench, stage, done_ticks=0):
    """Say that it is mended, arm, press: ends in the stage's first tick, or its question's."""
    bench.acknowledge(GO_ON_PROMPT)
    bench.tick()
    assert bench.record.touch == ms.ANSWER and bench.record.prompt == GO_ON_PROMPT
    assert bench.machine.sequencer.left_stage == stage, "the device goes on where it was"
    bench.arm(stage=stage, done_ticks=min(done_ticks, bench.machine.sequencer.left_tick))
    bench.tick(15)
    assert bench.state == rs.COLD_PROOF
    bench.press()
    assert bench.state == rs.HOT_PROOF
    for _ in range(30):
        if bench.state in rs.STAGED_STATES:
            return bench
        bench.tick()
    raise AssertionError(f"still in {rs.STATE_NAMES[bench.state]} with trip {bench.trip}")
