"""Fan, lamp and buzzer: what the device does besides heating. Decided after the heat of a tick.

The fan cools a board whose solder is solid, no faster than the plan allows. The lamp says hot. The
buzzer calls the operator, each cause with a sound of its own (an active buzzer of 2 to 3 kHz and
at least 85 dB at 10 cm is heard over a hot-air tool; common practice, no source):
  half a minute before a person is needed   three short ones
  a question, and each reminder of it       one long one
  a bead that lifts                         on and off, until it is down
  a trip                                    5 s without a break
Nothing here can switch heat on.
"""

from emberbed_fw import plan as plans
from emberbed_fw import record
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import HANDLING_CDEG
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.trip_codes import NO_TRIP
from emberbed_fw.units import NO_READING_CDEG, NONE

BUZZ_TICKS = 5
TRIP_BUZZ_TICKS = 50
AHEAD_TICKS = 300  # a person is called this long before being needed
SHORT_TICKS = 2  # three short ones: on and off in turn
AHEAD_CALL_TICKS = 10


class Signals:
    STATE = ("_fan_on", "_trip_ticks")

    def __init__(self):
        self._fan_on = 0
        self._trip_ticks = 0  # since a trip began

    def reset(self):
        self._fan_on = 0

    def outputs(self, machine):
        """Return this tick's OUT_* bits without the contactor's."""
        bits = 0
        if self._fan(machine):
            bits |= record.OUT_FAN
        if machine.zones_in_use and machine.hottest_in_use_cdeg() >= HANDLING_CDEG:
            bits |= record.OUT_LAMP
        if self._buzzes(machine):
            bits |= record.OUT_BUZZER
        return bits

    def _fan(self, machine):
        plan = machine.plan
        if machine.life.state != rs.COOL or plan is None or not machine.has_fan:
            return False
        if machine.control_cdeg() == NO_READING_CDEG:
            return False  # nothing tells how fast the board cools
        solid = machine.fan_allowed or self._solid(machine)
        if not solid or not machine.hottest_on_board_cdeg() >= HANDLING_CDEG:
            self._fan_on = 0
            return False
        fastest = plan.stage["fastest_cdeg_per_min"][plan.stages - 1]
        falling = -machine.pids[0].slope.rise_cdeg_per_min()
        if falling >= fastest:
            self._fan_on = 0
        elif falling * 4 <= fastest * 3:
            self._fan_on = 1
        return self._fan_on == 1

    def _solid(self, machine):
        """Tell whether the sensors at the chip say that the solder there is solid."""
        header = machine.plan.header
        if header["fan_starts"] != plans.FAN_WHEN_SOLID:
            return False
        if not machine.readings.all_good(machine.plan.near_solder):
            return False
        hottest = machine.readings.hottest_cdeg(machine.plan.near_solder)
        return hottest < header["fan_below_cdeg"]

    def _buzzes(self, machine):
        if machine.guard.trip != NO_TRIP:
            self._trip_ticks = min(self._trip_ticks + 1, TRIP_BUZZ_TICKS)
            return self._trip_ticks < TRIP_BUZZ_TICKS
        self._trip_ticks = 0
        if machine.stage() == NONE:
            return False
        sequencer = machine.sequencer
        if machine.guard.lift_watch.lifting:
            return sequencer.stage_elapsed % (BUZZ_TICKS * 2) < BUZZ_TICKS
        prompt = machine.prompt()
        calls = prompt != NONE
        if prompt == AIR_AWAY_PROMPT:
            calls = sequencer.left_ticks() < AHEAD_TICKS
        if not calls:
            left = sequencer.ticks_to_person()
            since = AHEAD_TICKS - left
            return 0 <= since < AHEAD_CALL_TICKS and since // SHORT_TICKS % 2 == 0
        period = max(machine.plan.stage["remind_ticks"][machine.stage()], BUZZ_TICKS * 2)
        return sequencer.stage_elapsed % period < BUZZ_TICKS
