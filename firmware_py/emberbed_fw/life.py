"""The life of a run: arming, the two proofs, the press, stages, the watched cool-down, the verdict.

Owns `state` and `verdict` and moves only along the table in run_states. Asks the sequencer what the
plan does next and takes the guard's trips; never touches a sensor word or a pin. Heat is possible
only in states that a held button at the device has opened. Serves hazards H07 and H08.
"""

from emberbed_fw import run_states as rs
from emberbed_fw import safety_limits, trip_codes
from emberbed_fw.plan import COOL, WAIT
from emberbed_fw.trip_codes import NO_TRIP


class Life:
    STATE = (
        "state", "verdict", "run_ticks", "waits_for",
        "_state_ticks", "_good_ticks", "_cool_ticks", "_blind_ticks", "_pressed",
    )

    def __init__(self):
        self.state = rs.BOOT
        self.verdict = rs.NO_VERDICT
        self.run_ticks = 0
        self.waits_for = rs.WAITS_NOTHING
        self._state_ticks = 0
        self._good_ticks = 0
        self._cool_ticks = 0
        self._blind_ticks = 0
        self._pressed = 0

    def happen(self, event):
        """Move along the table; return whether the event was taken."""
        following = rs.next_state(self.state, event)
        if following < 0:
            return False
        if following != self.state:
            self._state_ticks = 0
            self._cool_ticks = 0
            self._blind_ticks = 0
        self.state = following
        return True

    def end_heating(self, verdict):
        """Begin the watched cool-down with this verdict. In the cooling only a trip changes it:
        heat is off already, and what a trip says must not be hidden by an earlier ending."""
        if self.state == rs.COOL:
            if verdict == rs.TRIPPED:
                self.verdict = verdict
            return
        if self.happen(rs.COOLS):
            self.verdict = verdict

    def arm(self):
        """Start a new run's bookkeeping in COLD_PROOF."""
        if not self.happen(rs.ARMED):
            return False
        self.verdict = rs.NO_VERDICT
        self.run_ticks = 0
        self._good_ticks = 0
        self._pressed = 0
        return True

    def step(self, machine):
        """Take one tick before the controller: proofs, stages, the end of cooling."""
        self._state_ticks += 1
        self.waits_for = rs.WAITS_NOTHING
        if self.state == rs.COLD_PROOF:
            self._cold_proof(machine)
        elif self.state == rs.HOT_PROOF:
            self._hot_proof(machine)
        elif self.state in rs.STAGED_STATES:
            self._stages(machine)
        elif self.state == rs.COOL:
            self._cool(machine)
        elif self.state == rs.TRIPPED and machine.button.held and self._may_clear(machine):
            self.happen(rs.CLEARED)
            self.verdict = rs.NO_VERDICT
            machine.guard.clear()

    def after_guard(self, machine):
        """Take the guard's verdict of this tick: a trip or a lost PC link ends the heating."""
        if machine.guard.trip != NO_TRIP:
            if self.state != rs.TRIPPED:
                self.end_heating(rs.TRIPPED)
        elif machine.guard.lease_lost():
            if self.state in rs.HEATING_STATES:
                self.end_heating(rs.LINK_LOST)
            elif self.state == rs.COLD_PROOF:
                self.happen(rs.ARM_REFUSED)

    def pulse_zones(self, machine):
        """Return the zones that the running proof wants on in this tick."""
        if self.state != rs.HOT_PROOF:
            return 0
        into = self._state_ticks - safety_limits.HOT_PROOF_DARK_TICKS
        return machine.zones_in_use if 0 < into <= safety_limits.HOT_PROOF_PULSE_TICKS else 0

    def contactor_wanted(self):
        return self.state in rs.HEATING_STATES

    def _cold_proof(self, machine):
        """No heat yet: every sensor good for a second, then the button released, then held."""
        good = machine.readings.all_good(machine.plan.in_use)
        self._good_ticks = self._good_ticks + 1 if good else 0
        if self._state_ticks > safety_limits.PRESS_VALID_TICKS:
            self.happen(rs.ARM_EXPIRED)
            return
        if self._good_ticks < safety_limits.COLD_PROOF_GOOD_TICKS:
            self.waits_for = rs.WAITS_SENSORS
            machine.button.forget()
            return
        self.waits_for = rs.WAITS_PRESS if machine.button.is_ready() else rs.WAITS_RELEASE
        if machine.button.held:
            self._pressed = 1
            self.happen(rs.PRESSED)

    def _hot_proof(self, machine):
        """Contactor closed and dark, then one short pulse: both switches show what they do."""
        done = safety_limits.HOT_PROOF_DARK_TICKS + safety_limits.HOT_PROOF_PULSE_TICKS
        # the senses answer one tick after the drive
        if self._state_ticks <= done + 1:
            return
        if machine.sees_heat and not machine.guard.heat_seen:
            machine.guard.set_trip(trip_codes.HEAT_MISSING)
            return
        # no stage begins from a doubtful reading: the guard counts it, or the next tick is good
        if not machine.readings.all_good(machine.plan.in_use):
            return
        if self._pressed and self.happen(rs.PROVED):
            machine.begin_stages()

    def _stages(self, machine):
        self.run_ticks += 1
        if self.run_ticks > machine.plan.header["longest_run_ticks"]:
            machine.guard.set_trip(trip_codes.RUN_TOO_LONG)
            return
        sequencer = machine.sequencer
        if sequencer.step(machine.control_cdeg(), machine.acknowledged):
            self.enter_stage(machine)
        if sequencer.overdue != NO_TRIP:
            machine.guard.set_trip(sequencer.overdue)
        self.waits_for = sequencer.waits_for

    def enter_stage(self, machine):
        """Let the state follow the sequencer's new stage."""
        if machine.sequencer.kind() == COOL:
            self.end_heating(rs.FINISHED)
        elif machine.sequencer.kind() == WAIT:
            self.happen(rs.ASKS)
        else:
            self.happen(rs.HEATS)

    def _cool(self, machine):
        self.waits_for = rs.WAITS_COOLING
        hottest = machine.hottest_in_use_cdeg()
        seen = hottest >= safety_limits.LEAST_VALID_CDEG
        stored_heat = machine.energy_j > 0 and self._state_ticks < safety_limits.LEAST_COOL_TICKS
        cool = seen and hottest < machine.handling_cdeg() and not stored_heat
        self._cool_ticks = self._cool_ticks + 1 if cool else 0
        self._blind_ticks = 0 if seen else self._blind_ticks + 1
        blind = safety_limits.BLIND_COOL_TICKS if machine.energy_j else safety_limits.HANDLING_TICKS
        if (
            self._cool_ticks >= safety_limits.HANDLING_TICKS
            or self._blind_ticks >= blind
            or self._state_ticks >= safety_limits.LONGEST_COOL_TICKS
        ):
            self.happen(rs.END_EVENTS[self.verdict])

    def _may_clear(self, machine):
        """A heater trip clears when every believable sensor is cool (COOL has seen to that once,
        but a switch that still leaks would have warmed the board again)."""
        return machine.hottest_in_use_cdeg() < safety_limits.HANDLING_CDEG
