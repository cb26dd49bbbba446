"""One tick, one direction: the only file that knows the order.

commands -> readings -> button -> life and sequencer -> controller -> zone power -> guard -> drive.
Takes `machine.inputs` (filled by the device port) and the queued commands; gives `driven_zones` and
`outputs`. `sample_to_drive` allocates no heap and reads no clock. The recorder and the link come
after the outputs are set.
"""

from emberbed_fw import record
from emberbed_fw import run_states as rs
from emberbed_fw.button import Button
from emberbed_fw.commands import CommandQueue, apply_commands
from emberbed_fw.guard import Guard
from emberbed_fw.life import Life
from emberbed_fw.pid import Pid
from emberbed_fw.readings import Readings
from emberbed_fw.safety_limits import HANDLING_CDEG
from emberbed_fw.sequencer import Sequencer
from emberbed_fw.settings import HAS_FAN, HAS_HEAT_SENSE
from emberbed_fw.trip_codes import FIRMWARE_ERROR, NO_TRIP
from emberbed_fw.units import CHANNELS, NO_READING_CDEG, NONE, TICKS_PER_S, WORD_BYTES, ZONES
from emberbed_fw.zone_power import ZonePower

BUZZ_TICKS = 5
TRIP_BUZZ_TICKS = 50


class Inputs:
    """What the device port saw for this tick."""

    def __init__(self):
        self.elapsed_ms = 0
        self.port_flags = 0
        self.fresh_channels = 0
        self.words = bytearray(CHANNELS * WORD_BYTES)


class Machine:
    """The whole deterministic firmware. Same inputs and commands, same record bytes."""

    STATE = ("tick", "energy_j", "_watt_ticks", "driven_zones", "_wanted_zones", "outputs",
             "demand_q15", "acknowledged", "_fan_on", "_trip_ticks",
             "zones_in_use")

    def __init__(self, settings):
        self.settings = settings
        self.inputs = Inputs()
        self.commands = CommandQueue()
        self.readings = Readings(settings)
        self.button = Button()
        self.guard = Guard(settings)
        self.life = Life()
        self.powers = [ZonePower(settings.dwell_ticks[zone]) for zone in range(ZONES)]
        self.sees_heat = settings.has_input(HAS_HEAT_SENSE)
        self.plan = None
        self.received_plan = None  # checked and opened by the link, taken by its command
        self.sequencer = None
        self.pids = None
        self._received_sequencer = None
        self._received_pids = None
        self.zones_in_use = 0
        self.tick = 0
        self.energy_j = 0
        self._watt_ticks = 0
        self.driven_zones = 0
        self._wanted_zones = 0
        self.outputs = 0
        self.demand_q15 = [0] * ZONES
        self.acknowledged = NONE
        self._fan_on = 0
        self._trip_ticks = 0  # since a trip began
        self.life.happen(rs.BOOTED)

    def prepare(self, plan):
        """Open a checked plan for the command that stores it. Allocates: between ticks only."""
        self.received_plan = plan
        self._received_sequencer = Sequencer(plan)
        self._received_pids = [Pid(plan.header, zone) for zone in range(ZONES)]

    def take_received_plan(self):
        """Make the prepared plan the one that arming will run."""
        self.plan = self.received_plan
        self.zones_in_use = 0
        self.sequencer = self._received_sequencer
        self.pids = self._received_pids
        self.received_plan = None

    def reset_for_run(self):
        """Arm: everything that remembers starts from constants, settings and plan."""
        self.sequencer.reset()
        self.guard.clear()
        self.guard.renew_lease()
        self.button.forget()
        self.energy_j = 0
        self._watt_ticks = 0
        self._fan_on = 0
        self.zones_in_use = 0
        for zone in range(ZONES):
            self.powers[zone].reset()
            self.pids[zone].reset(0)
            self.demand_q15[zone] = 0
            if self.plan.control[zone] != NONE:
                self.zones_in_use |= 1 << zone
        self.life.arm()

    def begin_stages(self):
        """Start the first stage from where the board is now."""
        for zone in range(ZONES):
            if self.zones_in_use >> zone & 1:
                self.pids[zone].reset(self.readings.cdeg[self.plan.control[zone]])
        self.sequencer.begin(self.control_cdeg())
        self.life.enter_stage(self)

    def sample_to_drive(self):
        """Take one tick from inputs to outputs."""
        self.tick += 1
        self.acknowledged = NONE
        self.guard.age_lease()
        apply_commands(self)
        inputs = self.inputs
        self.readings.update(
            inputs.words, inputs.fresh_channels, inputs.port_flags & record.PORT_BUS_ERROR
        )
        self.button.update(inputs.port_flags & record.PORT_BUTTON)
        if self.button.tapped:
            self.acknowledged = self.prompt()
        self.life.step(self)
        self._control()
        driven = self.guard.judge(
            self.life.state, self.readings, self.plan, inputs.port_flags, inputs.elapsed_ms,
            self._wanted_zones,
        )
        self.life.after_guard(self)
        if self.life.state == rs.COOL and self.sequencer is not None:
            self.sequencer.cool()
        self._drive(driven if self.guard.trip == NO_TRIP else 0)

    def fail(self, tick):
        """An exception came out of tick number `tick`: that is a fault like any other."""
        self.tick = tick
        self.guard.set_trip(FIRMWARE_ERROR)
        self.life.after_guard(self)
        self._drive(0)

    def _control(self):
        """Demands and wanted bits of every zone."""
        heats = self.life.state in rs.STAGED_STATES
        wanted = self.life.pulse_zones(self)
        for zone in range(ZONES):
            if not self.zones_in_use >> zone & 1:
                continue
            measured = self.readings.cdeg[self.plan.control[zone]]
            if heats and measured != NO_READING_CDEG:
                self._control_zone(zone, measured)
                wanted |= self.powers[zone].step(self.demand_q15[zone]) << zone
            else:
                self._rest_zone(zone, measured)
        self._wanted_zones = wanted

    def _control_zone(self, zone, measured):
        # the controller's view of what was delivered: the last tick's bits, as asked or not
        delivered = self.guard.withheld == 0
        feedforward = self.sequencer.feedforward_q15(zone)
        pid = self.pids[zone]
        slope_q6 = self.sequencer.slope_q6(self.plan.preview_ticks[zone])
        pid.step(self.sequencer.setpoint_cdeg, slope_q6, measured, feedforward, delivered)
        self.demand_q15[zone] = pid.demand_q15

    def _rest_zone(self, zone, measured):
        self.demand_q15[zone] = 0
        if measured != NO_READING_CDEG:
            self.pids[zone].slope.observe(measured)

    def _drive(self, driven):
        """Set the outputs of this tick and count what they cost."""
        self.driven_zones = driven
        for zone in range(ZONES):
            on = driven >> zone & 1
            self.powers[zone].driven(on)
            if on:
                self._watt_ticks += self.settings.watts[zone]
        self.energy_j += self._watt_ticks // TICKS_PER_S
        self._watt_ticks %= TICKS_PER_S
        outputs = 0
        if self.life.contactor_wanted() and self.guard.trip == NO_TRIP:
            outputs |= record.OUT_CONTACTOR
        if self._fan():
            outputs |= record.OUT_FAN
        if self.zones_in_use and self.hottest_in_use_cdeg() >= HANDLING_CDEG:
            outputs |= record.OUT_LAMP
        if self._buzzes():
            outputs |= record.OUT_BUZZER
        self.outputs = outputs
        self.guard.note_outputs(driven, outputs)

    def _fan(self):
        """Cool the board with air once the solder is hard, no faster than the plan allows."""
        if self.life.state != rs.COOL or self.plan is None or self.pids is None:
            return False
        hottest = self.hottest_in_use_cdeg()
        if not self.settings.has_input(HAS_FAN):
            return False
        if not HANDLING_CDEG <= hottest < self.plan.header["fan_below_cdeg"]:
            self._fan_on = 0
            return False
        fastest = self.plan.stage["fastest_cdeg_per_min"][self.plan.stages - 1]
        falling = -self.pids[0].slope.rise_cdeg_per_min()
        if falling >= fastest:
            self._fan_on = 0
        elif falling * 4 <= fastest * 3:
            self._fan_on = 1
        return self._fan_on == 1

    def _buzzes(self):
        """Call the operator: at each reminder of a prompt, and when a trip has just happened."""
        if self.guard.trip != NO_TRIP:
            self._trip_ticks = min(self._trip_ticks + 1, TRIP_BUZZ_TICKS)
            return self._trip_ticks < TRIP_BUZZ_TICKS
        self._trip_ticks = 0
        if self.prompt() == NONE or self.stage() == NONE:
            return False
        period = max(self.plan.stage["remind_ticks"][self.stage()], BUZZ_TICKS * 2)
        return self.sequencer.stage_elapsed % period < BUZZ_TICKS

    def control_cdeg(self):
        """Return the reading that paces the plan, NO_READING_CDEG when there is none."""
        return self.readings.cdeg[self.plan.control[0]]

    def hottest_in_use_cdeg(self):
        """Return the highest good reading of the configured channels, of all without a plan."""
        return self.readings.hottest_cdeg(None if self.plan is None else self.plan.in_use)

    def handling_cdeg(self):
        return HANDLING_CDEG if self.plan is None else self.plan.header["handling_cdeg"]

    def _staged(self):
        return self.sequencer is not None and self.life.state in rs.SHOWN_STATES

    def stage(self):
        return self.sequencer.stage if self._staged() else NONE

    def stage_tick(self):
        return self.sequencer.stage_tick if self._staged() else 0

    def stage_elapsed(self):
        return self.sequencer.stage_elapsed if self._staged() else 0

    def setpoint_cdeg(self):
        if self.life.state in rs.STAGED_STATES:
            return self.sequencer.setpoint_cdeg
        return NO_READING_CDEG

    def prompt(self):
        if self.life.state in rs.STAGED_STATES:
            return self.sequencer.prompt
        return NONE
