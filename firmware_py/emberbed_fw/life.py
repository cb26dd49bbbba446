"""The life of a run: arming, the two proofs, the press, stages, the watched cool-down, the verdict.

Owns `state` and `verdict` and moves only along the table in run_states. Asks the sequencer what the
plan does next and takes the guard's trips; never touches a sensor word or a pin. Heat is possible
only in states that a held button at the device has opened. Serves hazards H07 and H08.
"""

from emberbed_fw import pace, safety_limits, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.messages import ATTEND_PANEL
from emberbed_fw.plan import COOL
from emberbed_fw.record import PORT_STOPPED
from emberbed_fw.trip_codes import NO_TRIP
from emberbed_fw.units import NONE

GO_ON_PROMPT = 252  # "what tripped is mended: go on?" Heat still needs the press


class Life:
    STATE = (
        "state", "verdict", "run_ticks", "waits_for", "go_on_prompt", "trip_counts",
        "_state_ticks", "_good_ticks", "_cool_ticks", "_blind_ticks", "_pulled_ticks", "_pressed",
        "_had_all", "_declined", "_ran_through",
    )

    def __init__(self):
        self.state = rs.BOOT
        self.verdict = rs.NO_VERDICT
        self.run_ticks = 0
        self.waits_for = rs.WAITS_NOTHING
        self.go_on_prompt = NONE
        self.trip_counts = [0] * trip_codes.TRIP_CODES  # by code, since the last good run
        self._state_ticks = 0
        self._good_ticks = 0
        self._cool_ticks = 0
        self._blind_ticks = 0
        self._pulled_ticks = 0
        self._pressed = 0
        self._had_all = 0  # the cooling began with every sensor good
        self._declined = 0  # a person has stopped what could have gone on
        self._ran_through = 0  # the plan came to its cooling by itself

    def happen(self, event):
        """Move along the table; return whether the event was taken."""
        following = rs.next_state(self.state, event)
        if following < 0:
            return False
        if following != self.state:
            self._state_ticks = 0
            self._good_ticks = 0
            self._cool_ticks = 0
            self._blind_ticks = 0
            self._pulled_ticks = 0
            self._had_all = 0
            self._declined = 0
        self.state = following
        return True

    def end_heating(self, verdict):
        """Begin the watched cool-down with this verdict. In the cooling only a trip changes it:
        heat is off already, and what a trip says must not be hidden by an earlier ending."""
        if self.state == rs.COOL:
            if verdict == rs.TRIPPED:
                self.verdict = verdict
            elif verdict == rs.STOPPED:
                self._declined = 1
                self.go_on_prompt = NONE
            return
        if self.happen(rs.COOLS):
            self.verdict = verdict

    def offer_again(self):
        """Stand where a mended trip leaves a run: for replay of the run that goes on from it."""
        self.state = rs.COOL
        self.go_on_prompt = GO_ON_PROMPT

    def arm(self):
        """Start a new run's bookkeeping in COLD_PROOF."""
        if not self.happen(rs.ARMED):
            return False
        self.verdict = rs.NO_VERDICT
        self.go_on_prompt = NONE
        self.run_ticks = 0
        self._pressed = 0
        self._ran_through = 0
        return True

    def step(self, machine):
        """Take one tick before the controller: proofs, stages, the end of cooling."""
        self._state_ticks += 1
        if machine.inputs.port_flags & PORT_STOPPED and self.state in rs.HEATING_STATES:
            self.end_heating(rs.STOPPED)
        self.waits_for = rs.WAITS_NOTHING
        self.go_on_prompt = NONE
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
        """Take the guard's verdict of this tick: a trip or a lost lease ends the heating."""
        guard = machine.guard
        heated = self.state in rs.HEATING_STATES
        if guard.lease_lost() and guard.attendance == ATTEND_PANEL and heated:
            guard.set_trip(trip_codes.PROMPT_OVERDUE)  # nobody has touched the button for too long
        if guard.trip != NO_TRIP:
            if self.state != rs.TRIPPED:
                if heated:
                    self._count(guard.trip)
                self.end_heating(rs.TRIPPED)
        elif guard.lease_lost():
            if heated:
                self._count(trip_codes.PC_LINK_LOST)
                self.end_heating(rs.LINK_LOST)
            elif self.state == rs.COLD_PROOF:
                self._leave_arming(machine, rs.ARM_REFUSED)
        if not self._is_mendable(machine):
            self.go_on_prompt = NONE

    def _is_mendable(self, machine):
        """Tell whether what ended the heating, and nothing since, can be mended by a person."""
        cause = self.cause(machine)
        return (cause != NO_TRIP and trip_codes.REACTIONS[cause] == trip_codes.OFF
                and machine.guard.second_trip == NO_TRIP)

    def _count(self, code):
        self.trip_counts[code] = min(self.trip_counts[code] + 1, 255)

    def _forget_trips(self):
        """A run that went through shows that what had tripped is mended."""
        for code in range(trip_codes.TRIP_CODES):
            self.trip_counts[code] = 0

    def cause(self, machine):
        """Return what ended the heating, NO_TRIP when nothing went wrong."""
        if self.verdict == rs.LINK_LOST:
            return trip_codes.PC_LINK_LOST
        return machine.guard.trip if self.verdict == rs.TRIPPED else NO_TRIP

    def trips_of_cause(self, machine):
        return self.trip_counts[self.cause(machine)]

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
        plan, readings = machine.plan, machine.readings
        stopped = machine.inputs.port_flags & PORT_STOPPED
        good = readings.all_good(plan.in_use) and machine.guard.may_arm() and not stopped
        cold = good and machine.guard.rested and not readings.near_cold(plan.on_board)
        self._good_ticks = self._good_ticks + 1 if good and not cold else 0
        if self._state_ticks > safety_limits.PRESS_VALID_TICKS:
            self._leave_arming(machine, rs.ARM_EXPIRED)
            return
        if self._good_ticks < safety_limits.COLD_PROOF_GOOD_TICKS:
            self.waits_for = rs.WAITS_COLD_SENSOR if cold else rs.WAITS_SENSORS
            if stopped:
                self.waits_for = rs.WAITS_STOP_RELEASE
            machine.button.forget()
            return
        self.waits_for = rs.WAITS_PRESS if machine.button.is_ready() else rs.WAITS_RELEASE
        if machine.button.held:
            self._pressed = 1
            self.happen(rs.PRESSED)

    def _leave_arming(self, machine, event):
        """A board that is still hot from the run before is watched until it is cool."""
        if machine.heated:
            self.end_heating(rs.STOPPED)
        else:
            self.happen(event)
            machine.guard.dismiss()

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
        lifting = machine.guard.lift_watch.lifting
        rise = machine.pids[0].slope.rise_cdeg_per_min()
        doubted = machine.guard.doubts.slows or machine.guard.doubts.asks
        brake = pace.brake(machine.plan, sequencer, machine.readings, lifting, rise, doubted)
        if sequencer.step(machine.control_cdeg(), machine.acknowledged, brake):
            self._ran_through = 1 if sequencer.kind() == COOL else 0
            self.enter_stage(machine)
        if sequencer.overdue != NO_TRIP:
            machine.guard.set_trip(sequencer.overdue)
        self.waits_for = sequencer.waits_for

    def enter_stage(self, machine):
        """Let the state follow the sequencer's new stage, or its new part."""
        if machine.sequencer.kind() == COOL:
            self.end_heating(rs.FINISHED)
        elif machine.sequencer.asks():
            self.happen(rs.ASKS)
        else:
            self.happen(rs.HEATS)

    def _cool(self, machine):
        self.waits_for = rs.WAITS_COOLING
        self._offer_to_go_on(machine)
        hottest = machine.hottest_on_board_cdeg()
        seen = hottest >= safety_limits.LEAST_VALID_CDEG
        stored_heat = machine.heated and self._state_ticks < safety_limits.LEAST_COOL_TICKS
        cool = seen and hottest < machine.handling_cdeg() and not stored_heat
        self._cool_ticks = self._cool_ticks + 1 if cool else 0
        self._blind_ticks = 0 if seen else self._blind_ticks + 1
        blind = safety_limits.BLIND_COOL_TICKS if machine.heated else safety_limits.HANDLING_TICKS
        if (
            self._cool_ticks >= safety_limits.HANDLING_TICKS
            or self._blind_ticks >= blind
            or self._state_ticks >= safety_limits.LONGEST_COOL_TICKS
            or self._was_pulled(machine)
        ):
            self.happen(rs.END_EVENTS[self.verdict])
            machine.heated = 0
            machine.guard.dismiss()
            if self.state == rs.FINISHED and self._ran_through:
                self._forget_trips()

    def _was_pulled(self, machine):
        """Tell whether somebody has taken a couple off a board that no fault has stopped: that
        person has the board in hand, and its cooling stays unproven."""
        if machine.plan is None or self.verdict in BAD_ENDS:
            return False
        if machine.readings.all_good(machine.plan.on_board):
            self._had_all = 1
            self._pulled_ticks = 0
        else:
            self._pulled_ticks += 1
        return self._had_all and self._pulled_ticks >= safety_limits.PULLED_TICKS

    def _offer_to_go_on(self, machine):
        """After a trip that a person can mend: its cause is gone, and the board is still hot."""
        good = machine.plan is not None and machine.readings.all_good(machine.plan.in_use)
        good = good and machine.guard.may_arm()
        self._good_ticks = self._good_ticks + 1 if good else 0
        if (
            self._is_mendable(machine)
            and machine.heated
            and not self._declined
            and not machine.guard.lease_lost()
            and self.trips_of_cause(machine) < safety_limits.GO_ON_TRIPS
            and self._state_ticks <= safety_limits.GO_ON_TICKS
            and self._good_ticks >= safety_limits.COLD_PROOF_GOOD_TICKS
            and not machine.guard.lift_watch.lifting
        ):
            self.go_on_prompt = GO_ON_PROMPT

    def _may_clear(self, machine):
        """A trip clears when every believable sensor is cool (COOL has seen to that once, but a
        switch that still leaks would have warmed the board again)."""
        return machine.hottest_on_board_cdeg() < safety_limits.HANDLING_CDEG


BAD_ENDS = (rs.TRIPPED, rs.LINK_LOST)
