"""One tick, one direction: the only file that knows the order.

commands -> readings -> button -> life, sequencer -> controller -> zone power -> guard -> drive.
Takes `machine.inputs` (filled by the device port) and the queued commands; gives `driven_zones` and
`outputs`. `sample_to_drive` allocates no heap and reads no clock. The recorder and the link come
after the outputs are set.
"""

from emberbed_fw import record
from emberbed_fw import run_states as rs
from emberbed_fw.button import Button
from emberbed_fw.commands import CommandQueue, apply_commands
from emberbed_fw.guard import Guard
from emberbed_fw.hand import take_button
from emberbed_fw.life import Life
from emberbed_fw.messages import ATTEND_HOST
from emberbed_fw.pid import Pid
from emberbed_fw.plan import HOT_AIR, PLATEAUS, POWER
from emberbed_fw.readings import Readings
from emberbed_fw.safety_limits import HANDLING_CDEG
from emberbed_fw.sequencer import Sequencer
from emberbed_fw.settings import HAS_FAN, HAS_HEAT_SENSE
from emberbed_fw.signals import Signals
from emberbed_fw.soak_power import SoakPower
from emberbed_fw.touches import Touches
from emberbed_fw.trip_codes import FIRMWARE_ERROR, NO_TRIP
from emberbed_fw.units import (
    CHANNELS,
    FULL_POWER_Q15,
    NO_READING_CDEG,
    NONE,
    TICKS_PER_S,
    WORD_BYTES,
    ZONES,
)
from emberbed_fw.zone_power import ZonePower


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
             "demand_q15", "acknowledged", "zones_in_use", "heated", "fan_allowed")

    def __init__(self, settings):
        self.settings = settings
        self.inputs = Inputs()
        self.commands = CommandQueue()
        self.readings = Readings(settings)
        self.button = Button()
        self.guard = Guard(settings)
        self.life = Life()
        self.touches = Touches()
        self.signals = Signals()
        self.powers = [ZonePower(settings.dwell_ticks[zone]) for zone in range(ZONES)]
        self.soaks = [SoakPower() for _zone in range(ZONES)]
        self.sees_heat = settings.has_input(HAS_HEAT_SENSE)
        self.has_fan = settings.has_input(HAS_FAN)
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
        self.heated = 0  # driven since the board was last seen cool
        self.fan_allowed = 0  # the operator says that the solder is solid
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

    def reset_for_run(self, attendance=ATTEND_HOST):
        """Arm: everything that remembers starts from constants, settings and plan."""
        self.sequencer.reset()
        self.guard.clear()
        self.guard.attend(attendance)
        self.button.forget()
        self.touches.reset()
        self.signals.reset()
        self.energy_j = 0
        self._watt_ticks = 0
        self.heated = 0
        self.fan_allowed = 0
        self.zones_in_use = 0
        for zone in range(ZONES):
            self.powers[zone].reset()
            self.soaks[zone].reset()
            self.pids[zone].reset(0)
            self.demand_q15[zone] = 0
            if self.plan.control[zone] != NONE:
                self.zones_in_use |= 1 << zone
        self.life.arm()

    def go_on_with(self, stage, done_ticks):
        """Begin the armed run in this stage, with a board that is hot from the run before."""
        self.heated = 1
        self.sequencer.left_stage = stage
        self.sequencer.left_tick = done_ticks
        for earlier in range(stage + 1):
            if self.plan.stage["kind"][earlier] == HOT_AIR:
                self.guard.note_air()

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
        self.touches.begin_tick()
        self.guard.age_lease()
        apply_commands(self)
        inputs = self.inputs
        self.readings.update(
            inputs.words, inputs.fresh_channels, inputs.port_flags & record.PORT_BUS_ERROR
        )
        self.button.update(inputs.port_flags & record.PORT_BUTTON)
        take_button(self)
        self.life.step(self)
        self._control()
        driven = self.guard.judge(
            self.life.state, self.readings, self.plan, inputs.port_flags, inputs.elapsed_ms,
            self._wanted_zones, self.air_is_on(),
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
        sequencer = self.sequencer
        pid = self.pids[zone]
        if sequencer.kind() == POWER:
            pid.slope.observe(measured)
            self.demand_q15[zone] = self._open_loop_q15(pid.cap_q15)
            return
        soak = self.soaks[zone]
        least, most = 0, self.plan.stage["cap_q15"][sequencer.stage] or FULL_POWER_Q15
        if sequencer.air_on:
            most = min(most, soak.most_q15())
            least = min(most, soak.least_q15())
        pid.step(
            sequencer.setpoint_cdeg, sequencer.slope_q6(self.plan.preview_ticks[zone]), measured,
            sequencer.feedforward_q15(zone), delivered, least, most,
        )
        self.demand_q15[zone] = pid.demand_q15
        if sequencer.kind() not in PLATEAUS or sequencer.lead.climbs():
            soak.reset()
        elif delivered and not sequencer.air_on:
            soak.observe(pid.demand_q15, sequencer.setpoint_cdeg, measured)

    def _open_loop_q15(self, cap_q15):
        """Return the power of a POWER stage; none while a neighbour is near its limit."""
        stage = self.sequencer.stage
        if self.sequencer.waits_for != rs.WAITS_NOTHING:
            return 0
        stage_cap_q15 = self.plan.stage["cap_q15"][stage] or FULL_POWER_Q15
        return min(self.plan.stage["power_q15"][stage], stage_cap_q15, cap_q15)

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
                self.heated = 1
        self.energy_j += self._watt_ticks // TICKS_PER_S
        self._watt_ticks %= TICKS_PER_S
        outputs = self.signals.outputs(self)
        if self.life.contactor_wanted() and self.guard.trip == NO_TRIP:
            outputs |= record.OUT_CONTACTOR
        self.outputs = outputs
        self.guard.note_outputs(driven, outputs)

    def control_cdeg(self):
        """Return the reading that paces the plan, NO_READING_CDEG when there is none."""
        return self.readings.cdeg[self.plan.control[0]]

    def hottest_in_use_cdeg(self):
        """Return the highest good reading of the configured channels, of all without a plan."""
        return self.readings.hottest_cdeg(None if self.plan is None else self.plan.in_use)

    def hottest_on_board_cdeg(self):
        """Return the same without the emitters' sensors: what a hand may touch."""
        return self.readings.hottest_cdeg(None if self.plan is None else self.plan.on_board)

    def air_is_on(self):
        """Tell whether the operator has said that hot air from above is on."""
        return self.life.state in rs.STAGED_STATES and self.sequencer.air_on == 1

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

    def offset_cdeg(self):
        return self.sequencer.offset_cdeg if self.life.state in rs.STAGED_STATES else 0

    def prompt(self):
        if self.life.state in rs.STAGED_STATES:
            return self.sequencer.prompt
        return self.life.go_on_prompt
