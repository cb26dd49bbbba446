"""Hot air that nobody has announced comes and goes: the bead is not taken for one that lifted.

With a current sense the guard knows that such heat is not the heater's. The trip that this must not
be, SENSOR_LIFTED, is proved to act by test_sensor_checks.py.
"""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_sim.campaign.setups import KNOWN, Setup, draw, new_loop
from emberbed_sim.faults import FaultEvent
from emberbed_sim.operator import Operator

WARM_CDEG = 9000
WATCHED_TICKS = 900


@pytest.mark.parametrize(
    ("seed", "air_s", "air_c"), [(1, 12.0, 400), (6, 47.0, 450), (7, 54.0, 500), (3, 26.0, 500)]
)
def test_air_taken_away_lifts_no_bead(seed, air_s, air_c):
    person = Operator(answers_after_s=5.0, air_for_s=20.0)
    loop = new_loop(draw(Setup("one", "with", KNOWN), seed), seed, person)
    machine = loop.machine
    blown = None
    warned = 0
    for tick, _record in enumerate(loop.run(12000)):
        warm = machine.readings.cdeg[0] > WARM_CDEG
        if blown is None and warm and machine.life.state in (rs.RUN, rs.WAIT):
            blown = tick
            onset_s = loop.heater.elapsed_s + 1.0
            loop.heater.add_faults((FaultEvent("hot_air", onset_s, air_s, air_c),))
        warned |= machine.guard.warnings & trip_codes.WARN_SURPLUS
        assert machine.guard.trip == trip_codes.NO_TRIP
        if blown is not None and tick > blown + WATCHED_TICKS:
            break
    assert warned, "the air was not even seen"
