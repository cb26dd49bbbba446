"""Records and runs for tests, packed straight from the firmware's record layout.

The run is a drawn curve, not a simulation: ramp 0.8 C/s to 90, hold, wait, cool. Channel 0 follows
the setpoint exactly, channel 1 lies 4 C below it.
"""

from emberbed.store.runs import RunFacts
from emberbed_fw import record as layout
from emberbed_fw import run_states
from emberbed_fw.units import NO_READING_CDEG, NONE
from tests.support.plans import bench_settings, build_plan, cool, hold, pack_row, ramp, wait

START_CDEG = 2500
HOLD_CDEG = 9000
RAMP_TICKS = 812  # 65 C at 0.8 C/s
HOLD_TICKS = 600
WAIT_TICKS = 200
COOL_TICKS = 900
SETTINGS = bench_settings()
PLAN = build_plan(
    [
        ramp(START_CDEG, HOLD_CDEG, RAMP_TICKS),
        hold(HOLD_CDEG, HOLD_TICKS),
        wait(HOLD_CDEG),
        cool(),
    ]
)
PROFILE = """name = "Weather logger, loose sensor socket"
alloy = "SAC305"
laminate = "FR-4 Tg 150"
board = { mass_g = 45, length_mm = 90, width_mm = 60 }
[sensors]
top_near_chip = "control"
edge = "edge"
[[stages]]
kind = "ramp"
to_c = 90
rate_c_per_s = 0.8
[[stages]]
kind = "hold"
for_s = 60
[[stages]]
kind = "wait"
prompt = "Apply flux along two sides of the chip"
longest_s = 300
[[stages]]
kind = "cool"
below_c = 50
fastest_c_per_s = 2.0
"""


def facts(**changes):
    values = dict(
        profile_name="Weather logger, loose sensor socket",
        profile_toml=PROFILE,
        plan=PLAN,
        settings=SETTINGS,
        session=77,
        device="virtual",
        engine="test engine",
        firmware_version="0.1.0",
        firmware_digest="5eed" * 16,
        host_version="0.1.0",
        simulated=True,
        speed="max",
        seed=3,
    )
    return RunFacts(**{**values, **changes})


def tick_record(tick, commands=b"", **fields):
    """Return record bytes; channels without a value have no reading."""
    values = dict(tick=tick, elapsed_ms=100, words=bytes(32), stage=NONE, prompt=NONE)
    values |= {f"channel{channel}_cdeg": NO_READING_CDEG for channel in range(8)}
    return pack_row(layout.FIELDS, {**values, **fields}) + commands


def drawn_cdeg(tick):
    """Return (stage, setpoint) of the drawn run at `tick` ticks after its first heating tick."""
    if tick < RAMP_TICKS:
        return 0, START_CDEG + (HOLD_CDEG - START_CDEG) * tick // RAMP_TICKS
    if tick < RAMP_TICKS + HOLD_TICKS + WAIT_TICKS:
        return (1 if tick < RAMP_TICKS + HOLD_TICKS else 2), HOLD_CDEG
    cooled = tick - RAMP_TICKS - HOLD_TICKS - WAIT_TICKS
    return 3, HOLD_CDEG - 5 * cooled  # 0.5 C/s


def drawn_record(tick, **fields):
    stage, setpoint_cdeg = drawn_cdeg(tick)
    states = (run_states.RUN, run_states.RUN, run_states.WAIT, run_states.COOL)
    heats = stage < 3
    values = dict(
        state=states[stage],
        stage=stage,
        setpoint_cdeg=setpoint_cdeg if heats else NO_READING_CDEG,
        demand0_q15=12000 if heats else 0,
        driven_zones=int(heats and tick % 3 == 0),
        outputs=layout.OUT_CONTACTOR if heats else layout.OUT_FAN,
        energy_j=min(tick, RAMP_TICKS + HOLD_TICKS + WAIT_TICKS) * 37,
        channel0_cdeg=setpoint_cdeg,
        channel1_cdeg=setpoint_cdeg - 400,
    )
    return tick_record(tick, **{**values, **fields})


DRAWN_TICKS = RAMP_TICKS + HOLD_TICKS + WAIT_TICKS + COOL_TICKS


def drawn_run():
    """Return the record bytes of the whole drawn run."""
    return [drawn_record(tick) for tick in range(DRAWN_TICKS)]


def store_run(store, records, end=("finished", 0), **changes):
    """Store `records` in blocks of ten as one run; returns its number."""
    run_id = store.begin_run(facts(**changes))
    for first in range(0, len(records), 10):
        store.append(run_id, records[first : first + 10])
    if end:
        store.end_run(run_id, *end, limits_exceeded=0)
    return run_id
