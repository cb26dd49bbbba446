"""Ways to trip a run, by the trip's name, and what mends them again."""

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.plan import ROLE_PAIR
from emberbed_fw.record import PORT_HEAP_LOW
from emberbed_fw.safety_limits import (
    AIR_HOT_TICKS,
    ANSWER_TICKS,
    BEHIND_TICKS,
    COLD_TICKS,
    JUMP_TICKS,
    LEASE_TICKS,
    LIFT_TICKS,
    PAIR_TICKS,
    STUCK_TICKS,
)
from emberbed_fw.settings import HAS_CONTACTOR_SENSE
from emberbed_fw.touches import READ_TICKS
from emberbed_fw.units import CHANNELS, TICK_MS
from tests.support.bench import ALWAYS, FOLLOWS, NEVER, OPEN_WORD, Bench, word
from tests.support.plans import bench_settings, build_plan, cool, hold, hot_air, ramp, wait

# MAX31855K datasheet, page 10: fault bits with the summary bit set
GROUND_WORD, SUPPLY_WORD = 0x00011902, 0x00011904
LOW_C = 60.0
RAMP, HOLD, WAIT, AIR = 1, 2, 3, 4  # stages of the plan below
WAIT_PROMPT, NOZZLE_PROMPT = 3, 4
SOON = 400
COOL_EMITTER_MK = 340000


def long_plan(hold_ticks=300, **header):
    """Return a plan whose first hold is at 60 degC, and whose second lasts 30 s at 64 degC."""
    stages = [
        hold(6000, 20), ramp(6000, 6400, 40, longest_ticks=SOON),
        hold(6400, hold_ticks, longest_ticks=hold_ticks + SOON - 300),
        wait(6400, prompt=WAIT_PROMPT, longest_ticks=SOON),
        hot_air(6400, prompt=NOZZLE_PROMPT, answer_ticks=SOON, longest_ticks=SOON), cool(),
    ]  # fmt: skip
    return build_plan(stages, **header)


def running(stage=HOLD, attendance=ms.ATTEND_HOST, settings=None, **plan):
    """Return a warm bench in this stage of the long plan."""
    bench = Bench(long_plan(**plan), settings)
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
    bench.sum_anew()
    bench.tick(SOON + 1200 + 1)


def _no_rise(bench):
    bench.board_c = [64.0, 95.0]  # the edge is far ahead: does the control bead touch?
    bench.tick(BEHIND_TICKS + ANSWER_TICKS + 2)


def _emitter_at(kelvin, ticks, live_c=0.0):
    """Let the guard know of hot emitters whose heat this bench's board does not get."""

    def trip(bench):
        bench.machine.guard.model.emitter_mk = kelvin * 1000
        for tick in range(ticks):
            bench.board_c = [64.0 + live_c * (tick // 20 % 2)] * 2
            bench.tick()

    return trip


def _jumps(bench):
    for tick in range(JUMP_TICKS + 1):
        bench.board_c[1] = 64.0 + 25.0 * (tick % 2)
        bench.tick()


def _warmed_by_nothing(bench):
    bench.machine.guard.model.most_emitter_mk = bench.machine.guard.model.emitter_mk
    for _ in range(120):
        bench.board_c = [board_c + 0.1 for board_c in bench.board_c]
        bench.tick()


def _changed_memory(bench):
    bench.machine.plan.limit_cdeg[1] ^= 1 << 10
    bench.tick(CHANNELS)  # one of them a tick


def _step_missed(bench):
    bench.machine.flow //= 8
    bench.tick()


def mend(bench):
    """Undo whatever spoilt the bench."""
    bench.raw = {}
    bench.more_flags = 0
    model = bench.machine.guard.model
    model.emitter_mk = min(model.emitter_mk, COOL_EMITTER_MK)
    bench.fresh_channels = 0xFF
    bench.bus_error = False
    bench.renews = True
    bench.elapsed_ms = TICK_MS
    bench.contactor = bench.current = FOLLOWS
    bench.board_c = [64.0, 64.0]


def _set(ticks=30, **changes):
    def trip(bench):
        for name, value in changes.items():
            setattr(bench, name, value)
        bench.tick(ticks)

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
    bench.tick(AIR_HOT_TICKS)


def _error(bench):
    bench.machine.fail(bench.machine.tick)


def _run_too_long(bench):
    bench.machine.plan.header["longest_run_ticks"] = bench.machine.life.run_ticks + 1
    bench.sum_anew()
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
    "NO_RISE": _no_rise,
    "HEAT_NOT_ARRIVING": _emitter_at(900, 120, live_c=0.25),
    "READING_STUCK": _emitter_at(620, STUCK_TICKS + 20),
    "READING_JUMPS": _jumps,
    "SENSORS_DISAGREE": _set(board_c=[64.0, 86.0], ticks=PAIR_TICKS),
    "COLD_JUNCTION": _set(raw=dict.fromkeys((0, 1), word(64.0, 70.0)), ticks=COLD_TICKS),
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
    "PREDICTED_PEAK": _emitter_at(1200, 30),
    "HEAT_SURPLUS": _warmed_by_nothing,
    "HEAP_LOW": _set(more_flags=PORT_HEAP_LOW),
    "MEMORY_CHANGED": _changed_memory,
    "PROGRAM_FLOW": _step_missed,
}  # fmt: skip
# What some of them need besides the long plan: an identified heater, wide limits, a pair.
MODEL = dict(
    emitter_j_per_k=120, exchange_cm2=100, around_cm2=100, convection_mw_per_k=400,
    board_loss_mw_per_k=500, least_capacity_j_per_k=70, most_capacity_j_per_k=140, model_trust=1,
    start_budget_j=1400,
)  # fmt: skip
NO_CURRENT_SENSE = bench_settings(HAS_CONTACTOR_SENSE)
NEEDS = {
    "NO_RISE": dict(limit1_cdeg=12000),
    "HEAT_NOT_ARRIVING": dict(
        MODEL, limit0_cdeg=25000, limit1_cdeg=25000, settings=NO_CURRENT_SENSE
    ),
    "READING_STUCK": dict(MODEL, limit0_cdeg=25000, limit1_cdeg=25000),
    "READING_JUMPS": dict(limit1_cdeg=12000),
    "SENSORS_DISAGREE": dict(role1=ROLE_PAIR, partner1=0, limit1_cdeg=12000),
    "PREDICTED_PEAK": MODEL,
    "HEAT_SURPLUS": dict(MODEL, settings=NO_CURRENT_SENSE),
}
CODES = {name: code for code, name, _reaction in trip_codes.TRIPS}


def tripped_by(name, bench=None):
    """Return a bench whose run has just tripped; the cause lasts."""
    bench = bench or running(**NEEDS.get(name, {}))
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
