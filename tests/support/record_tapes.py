"""Tapes of whole runs, as the player reads them: simulated ones, and some played by hand."""

from functools import cache

from emberbed.profiles.compile import compile_plan
from emberbed.profiles.reader import read_profile
from emberbed.replay.tape import write_tape
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.replay import arms
from emberbed_fw.safety_limits import ANSWER_TICKS, HARD_CEILING_CDEG
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.units import CHANNELS
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.faults import parse_fault
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import DEFAULT_SENSORS, bench_for_board
from tests.support.bench import FOLLOWS, NEVER, OPEN_WORD, Bench
from tests.support.plans import build_plan, cool, hold, ramp, wait
from tests.support.played import planned_anew, touched_run, went_on
from tests.support.trips import mended

# profile, faults, the verdict and the trip it must end with
SCENARIOS = {
    "whole run": ("weather-logger", (), rs.FINISHED, trip_codes.NO_TRIP),
    "couple breaks": ("label-printer", ("tc_open@120s",), rs.TRIPPED, trip_codes.SENSOR_OPEN),
    "host falls silent": (
        "label-printer", ("host_silent@200s",), rs.LINK_LOST, trip_codes.NO_TRIP,
    ),
    "relay sticks": (
        "weather-logger", ("ssr_stuck_on@400s",), rs.TRIPPED, trip_codes.HEAT_UNCOMMANDED,
    ),
}  # fmt: skip
BY_HAND = "by hand"


def closed_loop(profile_name, faults):
    profile = read_profile(profile_name).model
    board = profile.board
    bench = bench_for_board(board.mass_g, board.length_mm, board.width_mm, DEFAULT_SENSORS)
    names = [placed.name for placed in bench.sensors]
    names += [""] * (CHANNELS - len(names))
    plan = compile_plan(profile, names, [HARD_CEILING_CDEG] * CHANNELS)
    settings = bench_settings(bench)
    events = tuple(parse_fault(fault) for fault in faults)
    heater = SimulatedHeater(bench, 1, events)
    return settings, plan, ClosedLoop(settings, plan, heater, faults=events)


def played_by_hand():
    """Return a run through the paths that a healthy heater does not take."""
    stages = [
        hold(6000, 20), ramp(6000, 9000, 100, longest_ticks=300), ramp(9000, 7000, 100),
        wait(7000, prompt=3), hold(7000, 400), cool(),
    ]  # fmt: skip
    bench = Bench(build_plan(stages, preview0_ticks=30))
    bench.board_c = [60.0, 61.0]
    bench.to_armed().press().until(rs.RUN)
    bench.tick(300 + 2 * ANSWER_TICKS - 100)  # the ramp asks and falls back to its plateau
    bench.acknowledge(LONGER_PROMPT)
    bench.acknowledge(9)  # refused
    bench.tick(5)
    bench.board_c = [90.0, 90.0]
    bench.tick(150)
    while bench.board_c[0] > 70.0:
        bench.board_c = [bench.board_c[0] - 0.125] * 2  # slower than a bead that lifts
        bench.tick()
    bench.tick(20)
    bench.button = True  # a tap answers the prompt
    bench.tick(3)
    bench.button = False
    bench.tick(20)
    assert bench.record.stage == 4
    bench.board_c = [75.0, 75.0]  # outside the band
    bench.tick(5)
    bench.board_c = [70.0, 70.0]
    for raw, elapsed_ms in (({1: OPEN_WORD}, 100), ({}, 150), ({0: 0}, 100), ({}, 100)):
        bench.raw, bench.elapsed_ms = raw, elapsed_ms
        bench.tick(2)
    bench.contactor = NEVER
    bench.tick(8)
    bench.contactor = FOLLOWS
    bench.board_c = [20.0, -5.0]
    bench.until(rs.TRIPPED)
    bench.press()
    assert bench.tick(5) == rs.IDLE
    first = next(n for n, packed in enumerate(bench.tape) if arms(packed, len(packed)))
    return bench.settings, bench.plan, bench.tape[first:]


def with_changes():
    """Return a run through every kind of stage, hot air and open loop with changes in each."""
    bench = touched_run()
    first = next(n for n, packed in enumerate(bench.tape) if arms(packed, len(packed)))
    return bench.settings, bench.plan, bench.tape[first:], b""


def power_anew():
    """Return a run whose power was planned anew, twice."""
    bench = planned_anew()
    first = next(n for n, packed in enumerate(bench.tape) if arms(packed, len(packed)))
    return bench.settings, bench.plan, bench.tape[first:], b""


def gone_on():
    """Return a run that goes on after a trip, is changed, and ends by another one."""
    bench, counts = went_on()
    for touch, amount in ((ms.OFFSET, 120), (ms.HOLD_HERE, 0), (ms.MARK, 0), (ms.GO_ON, 0)):
        bench.touch(touch, amount)
        bench.tick(9)
    mended("SENSOR_LIFTED", bench)
    first = [n for n, packed in enumerate(bench.tape) if arms(packed, len(packed))][-1]
    return bench.settings, bench.plan, bench.tape[first:], bytes(counts)


class Tape:
    """A run's blocks, and the file they are in."""

    def __init__(self, path, settings, plan, records, trips_before=b""):
        self.settings, self.plan, self.records = settings, plan, records
        self.trips_before = trips_before
        self.path = path
        with path.open("wb") as stream:
            write_tape(stream, settings, plan, trips_before, records)

    def changed(self, path, row, packed):
        """Return the tape with another record in one row."""
        records = [*self.records[:row], packed, *self.records[row + 1 :]]
        return Tape(path, self.settings, self.plan, records, self.trips_before)


def simulated(profile_name, faults):
    settings, plan, loop = closed_loop(profile_name, faults)
    return settings, plan, list(loop.run())


PLAYED = {
    BY_HAND: played_by_hand, "with changes": with_changes, "gone on": gone_on,
    "power anew": power_anew,
}  # fmt: skip
NAMES = [*SCENARIOS, *PLAYED]


@cache
def run_of(name):
    """Return (settings, plan, records) of a run, and the trips before it where there are some."""
    return PLAYED[name]() if name in PLAYED else simulated(*SCENARIOS[name][:2])
