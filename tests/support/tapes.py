"""Whole runs of firmware and simulated heater in process: tapes of records for tests to read."""

from functools import cache

from emberbed.device_description import decode_settings
from emberbed.profiles.compile import compile_plan, prompts
from emberbed.profiles.reader import parse_profile
from emberbed.rehearse import Rehearsal, rehearse_by_name
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop, Operator
from emberbed_sim.faults import parse_fault
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import DEFAULT_SENSORS, BenchParameters, bench_for_board


def small_bench() -> BenchParameters:
    return bench_for_board(60, 100, 70, DEFAULT_SENSORS)


def plan_of(profile_text: str) -> tuple[bytes, list[str]]:
    """Return (plan, prompts) of a profile's text on the small bench."""
    profile = parse_profile(profile_text.encode(), "test.toml").model
    description = decode_settings(bench_settings(small_bench()))
    plan = compile_plan(profile, description.channel_names(), description.ceilings_cdeg())
    return plan, prompts(profile)


def loop_of(
    profile_text: str, *faults: str, seed: int = 1, operator: Operator | None = None
) -> ClosedLoop:
    """Return a closed loop of the small bench that is ready to run the profile."""
    bench = small_bench()
    broken = [parse_fault(fault) for fault in faults]
    heater = SimulatedHeater(bench, seed, broken)
    plan, _prompts = plan_of(profile_text)
    return ClosedLoop(bench_settings(bench), plan, heater, operator, tuple(broken))


@cache
def rehearsed(name: str = "label-printer", *faults: str) -> Rehearsal:
    """Return a rehearsal of a shipped profile; made once for all tests."""
    return rehearse_by_name(name, 1, faults)
