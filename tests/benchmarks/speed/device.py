"""The device: its controller's tick in MicroPython, and how soon a fault takes the heat away."""

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

import emberbed_fw
from emberbed.device_description import decode_settings
from emberbed.profiles.compile import compile_plan
from emberbed.profiles.reader import parse_profile
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICK_MS
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.campaign.monitor import reading_c
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters
from tests.benchmarks.speed.figures import Figure, shown_s
from tests.support.profiles import hold_profile
from tests.support.record_tapes import Tape, run_of

SCRIPT = Path(__file__).parents[2] / "interpreters" / "tick_speed.py"
FIRMWARE = Path(emberbed_fw.__file__).parents[1]
SAID = re.compile(r"integers (\S+) (\S+) floats (\S+) (\S+) textbook (\S+) (\S+) whole (\S+)")
STARTS = 8
CONVERSION_MS, HALF_CYCLE_MS = 100, 10  # MAX31855 at most; a switch at 50 Hz
HOT_K = 300.0
MOST_TICKS = 6000


def tick_us() -> list[float]:
    """Return integers (us, heap bytes), floats, textbook, whole tick us; best of some starts."""
    command = [sys.executable, "-m", "micropython_unix", "-X", "heapsize=4M", str(SCRIPT)]
    environment = {**os.environ, "MICROPYPATH": str(FIRMWARE)}
    with tempfile.TemporaryDirectory() as folder:
        tape = Tape(Path(folder) / "run.tape", *run_of("whole run"))
        said = [
            subprocess.run(
                [*command, str(tape.path)], env=environment, capture_output=True, text=True,
                check=True,
            ).stdout
            for _start in range(STARTS)
        ]  # fmt: skip
    rows = [[float(one) for one in SAID.match(text).groups()] for text in said]  # type: ignore[union-attr]
    return [min(column) for column in zip(*rows, strict=True)]


def tick() -> list[Figure]:
    integers, taken, floats, float_bytes, textbook, textbook_bytes, whole = tick_us()
    assert taken == 0, "the controller's tick takes heap"
    what = "the controller's tick in integers, MicroPython, 0 bytes of heap"
    ours = shown_s(integers * 1e-6)
    return [
        Figure("tick/floats", what, ours, f"the same design in floats, {float_bytes:.0f} bytes",
               shown_s(floats * 1e-6), floats / integers),
        Figure("tick/textbook", what, ours, f"a textbook PID in floats, {textbook_bytes:.0f} bytes",
               shown_s(textbook * 1e-6), textbook / integers),
        Figure("tick/whole", "the whole tick with every watch of the guard, record packed",
               shown_s(whole * 1e-6), "the tick's 100 ms", shown_s(TICK_MS * 1e-3),
               TICK_MS * 1e3 / whole),
    ]  # fmt: skip


def ticks_to_off() -> tuple[int, int]:
    """Return in how many ticks a couple that reads 300 K more takes the heat away, on the simulated
    device: from the conversion that is the first to see it, and from its word on the bus."""
    profile = parse_profile(hold_profile(for_s=60, to_c=90).encode(), "hold.toml").model
    bench = BenchParameters()
    settings = bench_settings(bench)
    description = decode_settings(settings)
    plan = compile_plan(profile, description.channel_names(), description.ceilings_cdeg())
    loop = ClosedLoop(settings, plan, SimulatedHeater(bench, 1))
    run = loop.run(MOST_TICKS)
    while not (loop.machine.life.state == rs.RUN and loop.machine.driven_zones):
        next(run)
    for channel in range(len(bench.sensors)):
        loop.heater.misread(channel, HOT_K, 1.0)
    converted = read = 0
    while not loop.machine.guard.trip:
        read += (reading_c(loop.heater.words, 0) or 0) > HOT_K
        converted += 1
        next(run)
    assert not loop.machine.driven_zones
    return converted, read


class Chain(NamedTuple):
    """From a fault at the board to no current, in ms: what each link of the chain may take."""

    converter: float
    waits: float  # a word that is there waits for the tick
    debounce: float
    tick: float
    switch: float

    @property
    def all_ms(self) -> float:
        return sum(self)


def chains(tick_ms: float, ticks: int) -> list[tuple[str, Chain]]:
    """Return the chain as shipped, with the converter read as soon as it is done, and its floor.

    The tick's own time is `tick_ms`; `ticks` that a word must be seen in.
    """
    debounce = (ticks - 1) * TICK_MS
    return [
        ("as shipped: converter on its own, read each tick",
         Chain(CONVERSION_MS, TICK_MS, debounce, tick_ms, HALF_CYCLE_MS)),
        ("read as soon as it is done, a tick with it",
         Chain(CONVERSION_MS, 0, debounce, tick_ms, HALF_CYCLE_MS)),
        ("the same, one such word believed", Chain(CONVERSION_MS, 0, 0, tick_ms, HALF_CYCLE_MS)),
    ]  # fmt: skip
