"""A controller gone mad asks for full power for ever: how far the board's own truth passes a limit.

Heat stored in the emitters keeps arriving after a plain threshold has tripped: measured studies of
such plants tell of 10 to 36 K. The guard predicts the peak instead. Figures wanted: at most 3 K
above the limit for quartz and lamps, 6 K for ceramic, also where the heater is only guessed at.
"""

import pytest

from emberbed.device_description import decode_settings
from emberbed.profiles.compile import compile_plan
from emberbed.profiles.reader import read_profile
from emberbed_fw.units import FULL_POWER_Q15
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.campaign.drawing import identified
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.operator import Operator
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import (
    BenchParameters,
    BoardParameters,
    EmitterParameters,
    MainsParameters,
)

# heat capacity in J/K and convection in W/K of a 1 kW bank; from memory
EMITTERS = {"lamp": (15.0, 0.15, 3.0), "quartz": (120.0, 0.4, 3.0), "ceramic": (340.0, 0.1, 6.0)}
HEATED_TICKS = 5000


@pytest.fixture(autouse=True)
def gone_mad(monkeypatch):
    def full_power(machine, zone, _measured):
        machine.demand_q15[zone] = FULL_POWER_Q15

    monkeypatch.setattr("emberbed_fw.tick.control_zone", full_power)


def peak_over_limit_c(kind, mains_v, mass_share, known):
    """Return the hottest truth of the board over the control sensor's limit, in K."""
    profile = read_profile("label-printer").model
    board = profile.board
    capacity, convection, _allowed = EMITTERS[kind]
    emitter = EmitterParameters(heat_capacity_j_k=capacity, convection_w_k=convection)
    declared = BoardParameters(board.mass_g, board.length_mm, board.width_mm)
    heavy = BoardParameters(board.mass_g * mass_share, board.length_mm, board.width_mm)
    mains = MainsParameters(230.0, mains_v)
    bench = BenchParameters(emitter=emitter, board=heavy, mains=mains)
    nominal = BenchParameters(emitter=emitter, board=declared)
    settings = bench_settings(bench)
    device = decode_settings(settings)
    plan = compile_plan(
        profile, device.channel_names(), device.ceilings_cdeg(), socket_w=device.socket_watts,
        zone_w=device.zones[0].watts, guard_model=identified(nominal) if known else None,
    )  # fmt: skip
    loop = ClosedLoop(settings, plan, SimulatedHeater(bench, 1), Operator())
    peak_c = 0.0
    for _record in loop.run(HEATED_TICKS):
        truth = loop.heater.truth
        peak_c = max(peak_c, truth.board_centre_c, truth.board_edge_c)
    assert peak_c > 100, "the board was really heated"
    return peak_c - loop.machine.plan.limit_cdeg[0] / 100


@pytest.mark.parametrize("known", [True, False], ids=["identified", "guessed"])
@pytest.mark.parametrize("mass_share", [0.8, 1.25])
@pytest.mark.parametrize("mains_v", [230, 253])
@pytest.mark.parametrize("kind", EMITTERS)
def test_full_power_for_ever_stays_near_the_limit(kind, mains_v, mass_share, known):
    assert peak_over_limit_c(kind, mains_v, mass_share, known) <= EMITTERS[kind][2]


def test_a_guard_without_a_model_shows_what_it_is_for(monkeypatch):
    """The same with the prediction taken out: the plain threshold is passed by far more."""
    monkeypatch.setattr("emberbed_fw.doubts.Doubts._coming", lambda *_arguments: 0)
    monkeypatch.setattr("emberbed_fw.doubts.Doubts._start", lambda *_arguments: 0)
    assert peak_over_limit_c("ceramic", 253, 0.8, True) > 6.0
