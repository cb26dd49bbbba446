"""A day at the bench: ten boards, five minutes apart, on one device and one heater that stays warm.

No false trip and at most 2 degC of overshoot in any stage without hot air, with the shipped profile
and heater. The bench is simulated; the profile, the plan and the firmware are the shipped ones.
"""

import pytest

from emberbed import rehearse
from emberbed.bench.prepare import load_profile, prepare
from emberbed.device_description import decode_settings
from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.trip_codes import NO_TRIP
from emberbed_fw.units import NONE
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.faults import parse_fault
from emberbed_sim.plant.heater import SimulatedHeater

BOARDS = 10
APART_S = 300
MOST_OVERSHOOT_CDEG = 200
CONTROLLED = (layout.RAMP, layout.HOLD, layout.WAIT)  # hot air may lift the board above its target


class Day:
    """The shipped profile on the default bench; `board` runs one more board."""

    def __init__(self, profile, *faults):
        profile_file = load_profile(profile)
        bench = rehearse.bench_of(profile_file)
        self._settings = bench_settings(bench)
        self._plan = prepare(profile_file, decode_settings(self._settings)).plan
        self.plan = decode_plan(self._plan)
        self.heater = SimulatedHeater(bench, 1, [parse_fault(fault) for fault in faults])
        self._loop = None

    def board(self):
        """Return the records of the next board's run."""
        if self._loop is None:
            self._loop = ClosedLoop(self._settings, self._plan, self.heater)
        else:
            self._loop = self._loop.next_board(self._plan, APART_S)
        return [decode_record(raw) for raw in self._loop.run()]

    def overshoot_cdeg(self, records):
        control = self.plan.header["control0"]
        return max(
            record.channel_cdeg(control) - record.asked_cdeg()
            for record in records
            if record.stage != NONE
            and self.plan.stages[record.stage]["kind"] in CONTROLLED
            and record.asked_cdeg() is not None
        )


@pytest.mark.parametrize("profile", ["label-printer", "weather-logger"])
def test_ten_boards_a_day(profile):
    day = Day(profile)
    for number in range(BOARDS):
        records = day.board()
        assert records[-1].state == rs.FINISHED, f"board {number + 1}"
        assert records[-1].trip == NO_TRIP
        assert day.overshoot_cdeg(records) <= MOST_OVERSHOOT_CDEG, f"board {number + 1}"


def test_cold_board_on_hot_emitters_arms_without_waiting():
    cold, hot = Day("label-printer"), Day("label-printer", "hot_bench@0s#250")
    emitter_c = hot.heater.truth.emitter_c
    pressed = []
    for day in (cold, hot):
        records = day.board()
        assert records[-1].state == rs.FINISHED
        assert day.overshoot_cdeg(records) <= MOST_OVERSHOOT_CDEG
        pressed.append(next(r.tick for r in records if r.state in rs.HEATING_STATES))
    assert emitter_c > 200
    assert pressed[0] == pressed[1]  # a hot bench costs no tick of arming
