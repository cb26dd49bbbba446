"""The judge, last in line: gets the wanted on/off bits and can only clear them.

Permission starts false in every tick and is given only when every question is answered well:
`withheld` says why not. A doubtful reading takes permission in the same tick and trips at the third
in a row. Trips latch; the first cause is kept, and the first thing that went wrong after it. Drops
the contactor on every trip. Reads neither setpoint nor demand. Serves hazards H01 to H06.
"""

from emberbed_fw import guard_rules, safety_limits, trip_codes
from emberbed_fw.doubt_count import DoubtCount
from emberbed_fw.doubts import Doubts, Facts
from emberbed_fw.lift_watch import LiftWatch
from emberbed_fw.messages import ATTEND_HOST, ATTEND_PANEL
from emberbed_fw.record import (
    OUT_CONTACTOR,
    OUT_FAN,
    PORT_CONTACTOR_CLOSED,
    PORT_FAN_TURNS,
    PORT_HEAP_LOW,
    PORT_HEAT_CURRENT,
    PORT_STOPPED,
)
from emberbed_fw.run_states import STAGED_STATES
from emberbed_fw.settings import HAS_CONTACTOR_SENSE, HAS_FAN_TACH, HAS_HEAT_SENSE
from emberbed_fw.trip_codes import NO_TRIP
from emberbed_fw.units import NONE

WITHHELD_DOUBT = trip_codes.WITHHELD_LIFTED | trip_codes.WITHHELD_DISTURBED


class Guard:
    """One for the device; `clear` at arming, `judge` once a tick, then `note_outputs`."""

    STATE = (
        "trip", "second_trip", "withheld", "lease_left", "attendance", "heat_seen",
        "_doubtful", "_too_hot", "_uncommanded", "_missing", "_contactor_wrong",
        "_last_driven", "_last_outputs", "_air_ticks", "_had_air", "warnings", "_heap_low",
        "_fan_wrong",
    )

    def __init__(self, settings):
        self.ceiling_cdeg = [
            min(ceiling, safety_limits.EMITTER_CEILING_CDEG) for ceiling in settings.ceiling_cdeg
        ]
        self._sees_contactor = settings.has_input(HAS_CONTACTOR_SENSE)
        self._sees_heat = settings.has_input(HAS_HEAT_SENSE)
        self._has_tach = settings.has_input(HAS_FAN_TACH)
        self._watts = settings.watts
        self._last_driven = 0
        self._last_outputs = 0
        self.lease_left = 0
        self.attendance = ATTEND_HOST  # who answers for the heat
        self._air_ticks = 0  # left in which readings may fall fast: hot air is on, or was
        self.lift_watch = LiftWatch()
        self.doubted = DoubtCount()
        self.doubts = Doubts()
        self.model = self.doubts.balance.model
        self.facts = Facts()
        self.memory = None  # comes with the plan
        self.rested = 0  # the bench has certainly been without heat for long
        self.clear()

    def clear(self):
        """Forget trips and counters: at start-up, at arming, and after a clearing press."""
        self.trip = NO_TRIP
        self.second_trip = NO_TRIP
        self.withheld = 0
        self.heat_seen = 0  # emitter current seen while driven since `clear`
        self._doubtful = 0
        self._too_hot = 0
        self._uncommanded = 0
        self._missing = 0
        self._contactor_wrong = 0
        self._air_ticks = 0
        self._had_air = 0  # hot air has been on in this run: the board may be warmer than the plan
        self.warnings = 0
        self._heap_low = 0
        self._fan_wrong = 0
        self.lift_watch.forget()
        self.doubted.forget()
        self.doubts.clear()
        if self.memory is not None:
            self.memory.forget()

    def watch_memory(self, memory):
        """Watch these numbers from now on: those of the plan that arming will run."""
        self.memory = memory

    def note_air(self):
        """Hot air has been on: from now on the limits for that hold."""
        self._had_air = 1

    def attend(self, attendance):
        """Let one source answer for the heat from now on."""
        self.attendance = attendance
        self.lease_left = 0
        self.renew_lease(attendance)

    def renew_lease(self, source):
        """Take note that somebody answers for the heat; only the chosen source counts."""
        if source == self.attendance:
            panel = source == ATTEND_PANEL
            self.lease_left = safety_limits.PANEL_TICKS if panel else safety_limits.LEASE_TICKS

    def dismiss(self):
        """Nobody has to answer any more: the board is cool."""
        if self.attendance != ATTEND_HOST:
            self.attendance = ATTEND_HOST
            self.lease_left = 0

    def may_arm(self):
        """Tell whether nothing but a sensor without a reading, or a person, keeps heat away."""
        sound = self.doubts.cold_ticks == 0 and self.doubts.pairs.apart == 0
        return sound and not self.withheld & trip_codes.WITHHELD_MACHINE

    def held_by_host(self):
        """Tell whether a host answers for the heat right now."""
        return self.attendance == ATTEND_HOST and self.lease_left > 0

    def lease_lost(self):
        return self.lease_left == 0

    def set_trip(self, code):
        """Latch a trip; the first one stays the cause."""
        if self.trip == NO_TRIP:
            self.trip = code
        elif self.second_trip == NO_TRIP and code != self.trip:
            self.second_trip = code

    def age_lease(self):
        """Let one tick pass; called before the tick's commands renew it."""
        if self.lease_left > 0:
            self.lease_left -= 1

    def judge(self, state, readings, plan, port_flags, elapsed_ms, wanted_zones, air_on):
        """Return the zone bits that may be driven this tick: `wanted_zones` or 0.

        air_on: the operator has said that hot air from above is on. `facts` tells the rest.
        """
        heats = guard_rules.state_heats(state)
        self._watch_switches(port_flags)
        self._watch_fan(port_flags)
        withheld = 0 if heats else trip_codes.WITHHELD_STATE
        if plan is not None:
            withheld |= self._judge_sensors(heats, readings, plan, air_on)
            withheld |= self._judge_beads(heats, readings, plan, air_on)
            withheld |= self._judge_heat(state, heats, readings, plan, port_flags)
            withheld |= self._judge_machine(heats, port_flags)
            self.doubted.step(heats and self._doubtful, heats and withheld & WITHHELD_DOUBT)
            if heats and self.doubted.overdue():
                self.set_trip(trip_codes.READING_JUMPS)
        if self.lease_lost():
            withheld |= trip_codes.WITHHELD_LEASE
        if guard_rules.tick_late(elapsed_ms):
            withheld |= trip_codes.WITHHELD_LATE
            if heats and guard_rules.tick_overrun(elapsed_ms):
                self.set_trip(trip_codes.TICK_OVERRUN)
        open_ = self._sees_contactor and not port_flags & PORT_CONTACTOR_CLOSED
        if open_ or port_flags & PORT_STOPPED:
            withheld |= trip_codes.WITHHELD_SWITCH
        if self.trip != NO_TRIP:
            withheld |= trip_codes.WITHHELD_TRIP
        self.withheld = withheld
        return wanted_zones if withheld == 0 and plan is not None else 0

    def note_outputs(self, driven_zones, outputs):
        """Remember what was really driven, to hold the senses against it in the next tick."""
        self._last_driven = driven_zones
        self._last_outputs = outputs

    def _judge_heat(self, state, heats, readings, plan, port_flags):
        """What the sensors say against the heat that was sent."""
        facts = self.facts
        facts.heats = heats
        facts.staged = state in STAGED_STATES
        facts.air = self._air_ticks > 0
        facts.lifting = self.lift_watch.lifting
        facts.sees_current = self._sees_heat
        flows = port_flags & PORT_HEAT_CURRENT if self._sees_heat else NONE
        facts.driven_w = guard_rules.driven_w(self._watts, self._last_driven, flows)
        withheld = self.doubts.judge(facts, readings, plan, self._limits_cdeg(plan))
        if self.doubts.trip != NO_TRIP:
            self.set_trip(self.doubts.trip)
        self.warnings = self.doubts.warnings
        if not plan.header["model_trust"]:
            self.warnings |= trip_codes.WARN_NOT_IDENTIFIED
        if self.rested:
            self.warnings |= trip_codes.NOTE_RESTED
        if not self._sees_contactor:
            self.warnings |= trip_codes.WARN_SECOND_SWITCH
        if self._fan_wrong >= safety_limits.FAN_TICKS:
            self.warnings |= trip_codes.WARN_FAN
        return withheld

    def _judge_machine(self, heats, port_flags):
        """The controller's own memory: what the run lives by is unchanged, and there is room."""
        if self.memory is None:
            return trip_codes.WITHHELD_MACHINE
        self.memory.step()
        self._heap_low = self._heap_low + 1 if port_flags & PORT_HEAP_LOW else 0
        if heats and self.memory.changed:
            self.set_trip(trip_codes.MEMORY_CHANGED)
        if heats and self._heap_low >= safety_limits.HEAP_TICKS:
            self.set_trip(trip_codes.HEAP_LOW)
        return trip_codes.WITHHELD_MACHINE if self.memory.changed or self._heap_low else 0

    def _limits_cdeg(self, plan):
        return plan.air_limit_cdeg if self._had_air else plan.limit_cdeg

    def _watch_fan(self, port_flags):
        """A fan that does not turn, or does not stop: told, for it is no heat."""
        turns = port_flags & PORT_FAN_TURNS != 0
        wrong = self._has_tach and turns != (self._last_outputs & OUT_FAN != 0)
        self._fan_wrong = min(self._fan_wrong + 1, safety_limits.FAN_TICKS) if wrong else 0

    def _judge_beads(self, heats, readings, plan, air_on):
        """A bead that falls faster than a board can has lifted: no heat until it is back."""
        if air_on:
            self._air_ticks = safety_limits.AIR_SETTLE_TICKS
        elif self._air_ticks > 0:
            self._air_ticks -= 1
        if self.trip == trip_codes.SENSOR_LIFTED and not heats:
            self.lift_watch.await_return(readings)
            return 0
        if not heats:
            self.lift_watch.forget()
            return 0
        air = self._air_ticks > 0 or self.doubts.blown_ticks > 0
        self.lift_watch.step(readings, plan.off_jet if air else plan.on_board, air)
        if self.lift_watch.overdue:
            self.set_trip(trip_codes.SENSOR_LIFTED)
        return trip_codes.WITHHELD_LIFTED if self.lift_watch.lifting else 0

    def _judge_sensors(self, heats, readings, plan, air_on):
        withheld = 0
        fault = guard_rules.sensor_fault(readings, plan.in_use)
        self._doubtful = self._doubtful + 1 if fault != NO_TRIP else 0
        if fault != NO_TRIP:
            withheld |= trip_codes.WITHHELD_SENSOR
            if heats and self._doubtful >= safety_limits.DOUBTFUL_TICKS_TO_LATCH:
                self.set_trip(fault)
        if air_on:
            self.note_air()
        hot = guard_rules.too_hot(readings, plan, self.ceiling_cdeg, self._limits_cdeg(plan))
        self._too_hot = self._too_hot + 1 if hot != NONE else 0
        if hot != NONE:
            withheld |= trip_codes.WITHHELD_OVER_TEMPERATURE
            if heats and self._too_hot >= self._most_hot_ticks(readings, plan, air_on):
                self.set_trip(
                    trip_codes.TOO_HOT_FROM_ABOVE if air_on else trip_codes.OVER_TEMPERATURE
                )
        return withheld

    def _most_hot_ticks(self, readings, plan, air_on):
        """Return for how long a sensor may be above its limit: a jet that wanders over a bead is
        taken off by a person, not by a trip. Nothing may be above its ceiling."""
        air = air_on or self._air_ticks > 0
        above = guard_rules.too_hot(readings, plan, self.ceiling_cdeg, self.ceiling_cdeg)
        if air and above == NONE:
            return safety_limits.AIR_HOT_TICKS
        return safety_limits.DOUBTFUL_TICKS_TO_LATCH

    def _watch_switches(self, port_flags):
        """Hold both senses against what was driven in the last tick; in every state."""
        if self._sees_heat:
            self._watch_current(port_flags & PORT_HEAT_CURRENT != 0)
        if self._sees_contactor:
            closed = 1 if port_flags & PORT_CONTACTOR_CLOSED else 0
            wrong = closed != (1 if self._last_outputs & OUT_CONTACTOR else 0)
            self._contactor_wrong = self._contactor_wrong + 1 if wrong else 0
            if self._contactor_wrong >= safety_limits.CONTACTOR_TICKS:
                self.set_trip(
                    trip_codes.CONTACTOR_STUCK_CLOSED if closed else trip_codes.CONTACTOR_STUCK_OPEN
                )

    def _watch_current(self, flows):
        if self._last_driven == 0:
            # driven ticks in between say nothing: at half power no gap is three ticks long
            self._uncommanded = self._uncommanded + 1 if flows else 0
            if self._uncommanded >= safety_limits.UNCOMMANDED_TICKS:
                self.set_trip(trip_codes.HEAT_UNCOMMANDED)
            return
        if flows:
            self.heat_seen = 1
            self._missing = 0
        else:
            self._missing += 1
            if self._missing >= safety_limits.MISSING_TICKS:
                self.set_trip(trip_codes.HEAT_MISSING)
