"""A closed loop of a short profile, and when it ramps."""

from emberbed.records import decode_record
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.closed_loop import ClosedLoop, Operator
from emberbed_sim.plant.heater import SimulatedHeater
from tests.support.profiles import hold_profile
from tests.support.tapes import loop_of, plan_of, small_bench

PROFILE = hold_profile(for_s=20, to_c=55)
RAMPING_S = 60  # a time in the middle of the ramp
AT = RAMPING_S * TICKS_PER_S


def records_of(loop: ClosedLoop, most: int = 300000):
    return [decode_record(raw) for raw in loop.run(most)]


def ended(*faults: str, operator: Operator | None = None):
    """Return (loop, records) of a whole run with these faults."""
    loop = loop_of(PROFILE, *faults, operator=operator)
    return loop, records_of(loop)


def warm_loop(plant: str = "lumped") -> ClosedLoop:
    loop = loop_of(PROFILE)
    if plant != "lumped":
        loop = ClosedLoop(
            loop._settings, plan_of(PROFILE)[0], SimulatedHeater(small_bench(), 1, (), plant)
        )
    for _raw in loop.run(AT):
        pass
    return loop
