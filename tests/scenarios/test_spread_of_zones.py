"""How even two zones heat a board, with the shipped firmware in the loop, beside one zone.

The same bench, board, noise and profile three times: all emitters as one zone; each zone by its own
sensor with the same gains; and with the shares that the step test on this bench has found. Judged
by the whole upper face (warmest less coldest cell), which no sensor sees.
"""

from dataclasses import replace
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest

from emberbed.bench.prepare import prepare
from emberbed.device_description import decode_settings
from emberbed.heater.coupling import fit_coupling
from emberbed.profiles.reader import parse_profile
from emberbed.profiles.zones import Coupling
from emberbed.records import decode_record
from emberbed_fw import run_states as rs
from emberbed_fw.settings import SETTINGS_BYTES
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop, Operator
from emberbed_sim.plant.grid_from_bench import grid_bench
from emberbed_sim.plant.grid_parameters import STEEL_J_KG_K, GridBench, MountedPart
from emberbed_sim.plant.grid_thermal import GridThermal
from emberbed_sim.plant.heater import SimulatedHeater
from tests.host.heater.zone_steps import bench, steps_on_bench

PROFILE = """name = "Two plateaus"
alloy = "SAC305"
laminate = "FR-4 Tg 170"
board = { mass_g = MASS, length_mm = 180, width_mm = 120 }
[sensors]
top_near_chip = "control"
edge = EDGE
[[stages]]
kind = "ramp"
to_c = 87
rate_c_per_s = 0.4
[[stages]]
kind = "hold"
for_s = 60
[[stages]]
kind = "ramp"
to_c = 135
rate_c_per_s = 0.4
[[stages]]
kind = "hold"
for_s = 120
[[stages]]
kind = "cool"
below_c = 50
fastest_c_per_s = 2
"""
HOLDS = (1, 3)  # stages
AS_ONE, BY_THEMSELVES, EVENED = "as one zone", "each by itself", "with their shares"


class Spread(NamedTuple):
    """Mean and largest spread of the board in K, and how far the sensors are apart on average."""

    ramp_c: float
    ramp_most_c: float
    hold_c: float
    hold_most_c: float
    sensors_c: float
    sensors_most_c: float
    hold_sensors_c: float
    minutes: float


@cache
def spread(mass_g: float, way: str, socket_w: int | None = None, block_g: float = 0.0) -> Spread:
    """Run the profile once; every tick is held against the socket. block_g: of a block of steel
    over the rim, which the step test has not seen."""
    parameters = bench(mass_g)
    settings = _on_socket(bench_settings(parameters), socket_w)
    description = decode_settings(settings)
    edge = '{ role = "edge", zone = 1 }' if way == BY_THEMSELVES else '"edge"'
    text = PROFILE.replace("EDGE", edge).replace("MASS", f"{mass_g:g}")
    coupling = _coupling(mass_g) if way == EVENED else None
    plan = prepare(
        parse_profile(text.encode(), "two plateaus"), description, coupling=coupling
    ).plan
    heat = GridThermal(_with_block(grid_bench(parameters), block_g))
    loop = ClosedLoop(settings, plan, SimulatedHeater(parameters, 1, (), heat), Operator())
    rows, ticks = [], 0
    for raw in loop.run():
        record = decode_record(raw)
        taken_w = sum(
            z.watts for n, z in enumerate(description.zones) if record.driven_zones >> n & 1
        )
        assert taken_w <= description.socket_watts
        if record.state in rs.STAGED_STATES:
            ticks += 1
            if ticks % 10 == 0:
                top_c = heat.plant.map_c()[0]
                ends_c = [heat.place_c(placed) for placed in parameters.sensors]
                rows.append((record.stage in HOLDS, np.ptp(top_c), abs(ends_c[0] - ends_c[1])))
    assert loop.machine.life.state == rs.FINISHED
    table = np.array(rows, float)
    ramps, holds = (table[table[:, 0] == held, 1] for held in (0, 1))
    apart = table[:, 2]
    return Spread(
        ramps.mean(), ramps.max(), holds.mean(), holds.max(), apart.mean(), apart.max(),
        apart[table[:, 0] == 1].mean(), ticks / 600,
    )  # fmt: skip


def _with_block(bare: GridBench, block_g: float) -> GridBench:
    if not block_g:
        return bare
    block = MountedPart("block", 50, 40, block_g, 400.0, 60.0, -35.0, STEEL_J_KG_K, 0.3)
    return replace(bare, board=replace(bare.board, parts=(*bare.board.parts, block)))


@cache
def _coupling(mass_g: float) -> Coupling:
    return fit_coupling(steps_on_bench(mass_g)).coupling


def _on_socket(settings: bytes, socket_w: int | None) -> bytes:
    """Return the device description with another socket."""
    import struct
    from zlib import crc32

    assert len(settings) == SETTINGS_BYTES
    if socket_w is None:
        return settings
    changed = bytearray(settings[:-4])
    struct.pack_into("<H", changed, 2, socket_w)
    return bytes(changed) + struct.pack("<I", crc32(changed))


@pytest.mark.parametrize("mass_g", [90.0, 240.0])
def test_shares_from_the_step_test_make_the_board_more_even(mass_g, capsys):
    found = {way: spread(mass_g, way) for way in (AS_ONE, BY_THEMSELVES, EVENED)}
    with capsys.disabled():
        print(f"\n{mass_g:g} g: spread of the board in K, mean (most)")
        for way, one in found.items():
            print(
                f"  {way:18s} ramp {one.ramp_c:5.2f} ({one.ramp_most_c:5.2f})  hold"
                f" {one.hold_c:5.2f} ({one.hold_most_c:5.2f})  sensors {one.sensors_c:4.2f}"
                f"  {one.minutes:4.1f} min"
            )
    one, alone, even = found.values()
    assert even.ramp_c < 0.7 * one.ramp_c and even.hold_c < 0.5 * one.hold_c
    assert even.ramp_c < alone.ramp_c and even.hold_c < alone.hold_c
    assert even.sensors_c < 0.6 * alone.sensors_c
    assert even.minutes < 1.03 * one.minutes


def test_a_zone_that_falls_behind_slows_the_ramp():
    """60 g of steel under the bead of the rim, which the step test has not seen: beyond the ramp's
    default of 10 K between sensors it goes on at a quarter of its rate, and the hold evens out."""
    heavy, plain = spread(240.0, EVENED, block_g=60.0), spread(240.0, EVENED)
    assert plain.sensors_most_c < 10 < heavy.sensors_most_c < 16
    assert heavy.minutes > 1.15 * plain.minutes
    assert heavy.hold_sensors_c < spread(240.0, AS_ONE, block_g=60.0).hold_sensors_c / 2


def test_on_a_small_socket_zones_take_turns_and_the_board_stays_even():
    """800 W bear the rim's 700 W or the middle's 300 W: `spread` holds every tick against them."""
    small, whole = spread(240.0, EVENED, 800), spread(240.0, EVENED)
    assert small.hold_c < 1.2 * whole.hold_c
    assert small.ramp_c < spread(240.0, AS_ONE).ramp_c
