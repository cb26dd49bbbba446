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
from emberbed_fw.control import control_zone, rest_zone
from emberbed_fw.guard import Guard
from emberbed_fw.hand import take_button
from emberbed_fw.inputs import Inputs
from emberbed_fw.life import Life
from emberbed_fw.loaded import Loaded
from emberbed_fw.messages import ATTEND_HOST
from emberbed_fw.plan import HOT_AIR
from emberbed_fw.readings import Readings
from emberbed_fw.safety_limits import COLD_IDLE_TICKS, HANDLING_CDEG
from emberbed_fw.settings import HAS_FAN, HAS_HEAT_SENSE
from emberbed_fw.signals import Signals
from emberbed_fw.soak_power import SoakPower
from emberbed_fw.touches import Touches
from emberbed_fw.trip_codes import FIRMWARE_ERROR, NO_TRIP, PROGRAM_FLOW
from emberbed_fw.units import (
    NO_READING_CDEG,
    NONE,
    TICKS_PER_S,
    ZONES,
)
from emberbed_fw.zone_power import ZonePower, within_socket

FLOW_BASE = 8
FLOW_WHOLE = 0o1234567


class Machine:
    """The whole deterministic firmware. Same inputs and commands, same record bytes."""

    STATE = ("tick", "energy_j", "_watt_ticks", "driven_zones", "_wanted_zones", "outputs",
             "demand_q15", "acknowledged", "zones_in_use", "heated", "fan_allowed", "dark_ticks",
             "flow", "kept_trip")

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
        self.received = None  # checked and opened by the link, taken by its command
        self.received_settings = None  # checked by the link, taken by its command
        self.unplugged = 0  # a person says so: for service, whatever the senses say
        self.settings_to_keep = None  # for the errands between ticks
        self.sequencer = None
        self.pids = None
        self.needs = None
        self.feedforward = None
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
        self.dark_ticks = 0  # without heat, as far as this device knows
        self.kept_trip = NO_TRIP  # what the port keeps across a reset
        self.flow = FLOW_WHOLE  # which steps the tick has passed, in order
        self.life.happen(rs.BOOTED)

    def prepare(self, plan):
        """Open a checked plan for the command that stores it. Allocates: between ticks only."""
        self.received = Loaded(plan, self.settings, self.guard.ceiling_cdeg)

    def take_received_plan(self):
        """Make the prepared plan the one that arming will run."""
        self.plan = self.received.plan
        self.zones_in_use = 0
        self.sequencer = self.received.sequencer
        self.pids = self.received.pids
        self.needs = self.received.needs
        self.feedforward = self.received.feedforward
        self.guard.watch_memory(self.received.memory)
        self.received = None

    def reset_for_run(self, attendance=ATTEND_HOST):
        """Arm: everything that remembers starts from constants, settings and plan."""
        self.sequencer.reset()
        self.feedforward.reset()
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
                self.needs[zone].reset(0)
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
                start_cdeg = self.readings.cdeg[self.plan.control[zone]]
                self.pids[zone].reset(start_cdeg)
                self.needs[zone].reset(start_cdeg)
        self.sequencer.begin(self.control_cdeg())
        self.life.enter_stage(self)

    def sample_to_drive(self):
        """Take one tick from inputs to outputs."""
        if self.flow != FLOW_WHOLE:
            self.guard.set_trip(PROGRAM_FLOW)
        self.flow = 0
        self.tick += 1
        self.acknowledged = NONE
        self.touches.begin_tick()
        self.guard.age_lease()
        apply_commands(self)
        self._passed(1)
        inputs = self.inputs
        self.readings.update(
            inputs.words, inputs.fresh_channels, inputs.port_flags & record.PORT_BUS_ERROR
        )
        self._passed(2)
        self.button.update(inputs.port_flags & record.PORT_BUTTON)
        take_button(self)
        self.life.step(self)
        self._passed(3)
        self._control()
        self._passed(4)
        self._tell_guard()
        driven = self.guard.judge(
            self.life.state, self.readings, self.plan, inputs.port_flags, inputs.elapsed_ms,
            self._wanted_zones, self.air_is_on(),
        )
        self._passed(5)
        self.life.after_guard(self)
        if self.life.state == rs.COOL and self.sequencer is not None:
            self.sequencer.cool()
        self._passed(6)
        self._drive(driven if self.guard.trip == NO_TRIP else 0)
        self._passed(7)

    def _passed(self, step):
        """Check in: the watchdog is fed only when every step of a tick has, in this order."""
        self.flow = self.flow * FLOW_BASE + step

    def fail(self, tick):
        """An exception came out of tick number `tick`: that is a fault like any other."""
        self.tick = tick
        self.flow = FLOW_WHOLE
        self.guard.set_trip(FIRMWARE_ERROR)
        self.life.after_guard(self)
        # not through the tick's own steps: what failed in them would fail again
        self.driven_zones = 0
        self.outputs = 0
        self.guard.note_outputs(0, 0)

    def switches_open(self):
        """Tell whether nothing is driven, and no sense says that a switch has stayed closed."""
        sensed = self.inputs.port_flags & (record.PORT_CONTACTOR_CLOSED | record.PORT_HEAT_CURRENT)
        return sensed == 0 and self.drives_nothing()

    def drives_nothing(self):
        return self.driven_zones == 0 and self.outputs & record.OUT_CONTACTOR == 0

    def _tell_guard(self):
        """What the guard asks besides the readings."""
        facts = self.guard.facts
        facts.tick = self.tick
        facts.acknowledged = self.acknowledged
        self.guard.rested = 1 if self.dark_ticks >= COLD_IDLE_TICKS else 0
        if self.guard.rested:
            self.guard.model.settle()
        if self.feedforward is not None and self.feedforward.step():
            self.guard.memory.changed = 1
        facts.holds = self.life.state in rs.STAGED_STATES and self.sequencer.holds()

    def _control(self):
        """Demands and wanted bits of every zone."""
        heats = self.life.state in rs.STAGED_STATES
        wanted = self.life.pulse_zones(self)
        for zone in range(ZONES):
            if not self.zones_in_use >> zone & 1:
                continue
            measured = self.readings.cdeg[self.plan.control[zone]]
            if heats and measured != NO_READING_CDEG:
                control_zone(self, zone, measured)
                wanted |= self.powers[zone].step(self.demand_q15[zone]) << zone
            else:
                rest_zone(self, zone, measured)
        settings = self.settings
        self._wanted_zones = within_socket(
            wanted, self.powers, settings.watts, settings.socket_watts[0]
        )

    def _drive(self, driven):
        """Set the outputs of this tick and count what they cost."""
        self.driven_zones = driven
        for zone in range(ZONES):
            on = driven >> zone & 1
            self.powers[zone].driven(on)
            if on:
                self._watt_ticks += self.settings.watts[zone]
                self.heated = 1
        self.dark_ticks = 0 if driven else min(self.dark_ticks + 1, COLD_IDLE_TICKS)
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
            asks = self.guard.doubts.prompt()
            return self.sequencer.prompt if asks == NONE else asks
        return self.life.go_on_prompt
