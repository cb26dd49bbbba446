"""Moments of a run, on the firmware itself fed by hand: what a person could do there is tried out.

Each function returns a bench that stands at its moment; `followed` is the host's view of its tape.
"""

from emberbed.bench.progress import Progress
from emberbed.bench.story import Story
from emberbed.profiles.plan_bytes import decode_plan
from emberbed.records import decode_record
from emberbed_fw import messages
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from tests.support.bench import Bench
from tests.support.plans import bench_settings, build_plan, cool, hold, hot_air, ramp, wait

FLUX, NOZZLE = 0, 1
PROMPTS = ["Apply flux along two sides of the chip", "Bring the hot air over the chip"]
NAMES = {0: "top_near_chip", 1: "edge"}
HOLD_TICKS = 400
SETTINGS = bench_settings(hold_cdeg=0)


def work_plan(**header):
    """Up to 60 degC, hold, flux, up to 80 degC, hold, hot air, cool."""
    stages = [
        ramp(2500, 6000, 100, band_cdeg=200),
        hold(6000, HOLD_TICKS, band_cdeg=200),
        wait(6000, prompt=FLUX, marks=messages.MARK_FLUX_ON),
        ramp(6000, 8000, 100, longest_ticks=600),
        hold(8000, 50, band_cdeg=200),
        hot_air(8000, prompt=NOZZLE),
        cool(),
    ]
    return build_plan(stages, **header)


def armed():
    bench = Bench(work_plan(), SETTINGS)
    bench.to_armed()
    return bench


def first_ramp():
    bench = Bench(work_plan(), SETTINGS)
    bench.to_run().tick(5)
    return bench


def first_hold():
    bench = first_ramp()
    bench.board_c = [60.0, 58.0]
    bench.until_stage(1)
    bench.tick(5)
    return bench


def flux_wait():
    bench = first_hold()
    bench.until(rs.WAIT)
    bench.tick(2)
    return bench


def second_ramp():
    bench = flux_wait()
    bench.acknowledge(FLUX)
    bench.until(rs.RUN, 5)
    bench.tick(3)
    return bench


def held():
    bench = second_ramp()
    assert bench.touch(messages.HOLD_HERE) == messages.DONE
    bench.tick(3)
    return bench


def stuck():
    """The second ramp is over its longest time, and the device asks."""
    bench = second_ramp()
    bench.tick(620)
    assert bench.record.waits_for == rs.WAITS_ANSWER
    return bench


def air_asked():
    bench = second_ramp()
    bench.board_c = [80.0, 78.0]
    bench.until(rs.WAIT)
    bench.tick(2)
    return bench


def air_on():
    bench = air_asked()
    bench.acknowledge(NOZZLE)
    bench.until(rs.RUN, 5)
    bench.tick(3)
    return bench


def cooling():
    bench = air_on()
    bench.acknowledge(AIR_AWAY_PROMPT)
    bench.until(rs.COOL, 5)
    bench.tick(3)
    return bench


def cooling_waits_for_fan():
    bench = Bench(work_plan(fan_starts=layout.FAN_ON_PRESS), SETTINGS)
    bench.to_run().tick(5)
    assert bench.touch(messages.COOL_DOWN) == messages.DONE
    bench.tick(3)
    return bench


MOMENTS = (
    armed, first_ramp, first_hold, flux_wait, second_ramp, held, stuck, air_asked, air_on, cooling,
    cooling_waits_for_fan,
)  # fmt: skip


def followed(bench) -> Progress:
    """Return what the host makes of the bench's records."""
    return story_of(bench).progress


def story_of(bench) -> Story:
    story = Story(decode_plan(bench.plan), PROMPTS, NAMES)
    for raw in bench.tape:
        story.follow(decode_record(raw), raw)
    return story
