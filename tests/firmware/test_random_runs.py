"""Random hands at a warm bench: whatever is touched, pressed, answered or spoilt, and in any order,
an independent monitor finds heat only where it may be, and every run ends.

The monitor knows what the test did to the bench and the plan's numbers; it asks nothing of the
guard, the lift watch or the life of the run.
"""

from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.plan import Plan
from emberbed_fw.record import OUT_CONTACTOR
from emberbed_fw.units import NO_READING_CDEG, NONE
from tests.support.bench import OPEN_WORD
from tests.support.heated import HeatedBench
from tests.support.plans import build_plan, cool, hold, hot_air, ramp, wait

LONGEST_RUN = 6000
PLANS = [
    build_plan(
        [ramp(2500, 8000, 900), hold(8000, 100), wait(8000, prompt=1, longest_ticks=900),
         ramp(8000, 5000, 400), hold(5000, 100), cool()],
        longest_run_ticks=LONGEST_RUN, most_setpoint_cdeg=8200,
    ),
    build_plan(
        [hold(4000, 50, longest_ticks=2000), ramp(4000, 7000, 300, spread_cdeg=500),
         hot_air(7000, prompt=2, answer_ticks=900, longest_ticks=600), hold(7000, 60),
         hot_air(7000, prompt=2, answer_ticks=900, longest_ticks=600), cool()],
        longest_run_ticks=LONGEST_RUN, limit0_cdeg=12000, limit1_cdeg=12000,
    ),
]  # fmt: skip
# what must have happened before, in ticks; from the contract, not from the firmware's tables
RELEASED, HELD, LEASE, LIFT_SEEN, LIFT_GIVEN_UP = 3, 10, 20, 20, 125
AIR_SETTLES = 300


class Monitor:
    """Watches one bench, tick by tick."""

    def __init__(self, bench):
        self.bench = bench
        self.most_setpoint_cdeg = Plan(bench.plan).header["most_setpoint_cdeg"]
        self.pressed = False  # in this arming
        self.up_ticks = self.down_ticks = 0
        self.was_up = False
        self.silent_ticks = 0
        self.lifted_ticks = 0
        self.hidden = False
        self.air_ticks = 0  # since hot air was last seen on
        self.state = bench.state

    def tick(self):
        bench = self.bench
        bench.tick()
        said = bench.record
        self._press(said)
        heat = said.driven_zones != 0
        closed = said.outputs & OUT_CONTACTOR != 0
        self._conditions(said)
        assert not (heat or closed) or self.pressed, "heat without a press in this arming"
        assert not heat or closed
        for channel in (0, 1):
            doubtful = channel in bench.raw or not bench.fresh_channels >> channel & 1
            assert not (heat and doubtful), f"heat with channel {channel} in doubt"
        assert not (heat and self.silent_ticks >= LEASE), "heat that nobody answers for"
        assert not (heat and self.lifted_ticks > LIFT_SEEN), "heat with a bead in the air"
        assert not (closed and self.lifted_ticks > LIFT_GIVEN_UP)
        if said.setpoint_cdeg != NO_READING_CDEG:
            assert said.setpoint_cdeg <= self.most_setpoint_cdeg
        assert (said.state in rs.HEATING_STATES) is closed

    def _press(self, said):
        """Count the button as a person would: let go, then held for a second, while armed."""
        if said.state != self.state and said.state == rs.COLD_PROOF:
            self.pressed = False
            self.was_up = False
            self.up_ticks = 0
        if self.bench.button:
            self.down_ticks += 1
            if self.was_up and self.down_ticks >= HELD and self.state == rs.COLD_PROOF:
                self.pressed = True
        else:
            self.up_ticks = self.up_ticks + 1 if self.down_ticks == 0 else 1
            self.down_ticks = 0
            self.was_up = self.up_ticks >= RELEASED
        if said.state not in (*rs.HEATING_STATES, rs.COLD_PROOF):
            self.pressed = False
        self.state = said.state

    def _conditions(self, said):
        self.silent_ticks = 0 if self.bench.renews else self.silent_ticks + 1
        self.air_ticks = 0 if said.waits_for == rs.WAITS_AIR_AWAY else self.air_ticks + 1
        up = self.bench.lifted_c is not None
        # what moves under hot air, or just after it, cannot be told from a bead that lifts
        self.hidden = up and (self.hidden or self.air_ticks < AIR_SETTLES)
        lifted = up and not self.hidden and said.state in rs.HEATING_STATES
        self.lifted_ticks = self.lifted_ticks + 1 if lifted else 0


class Hands(RuleBasedStateMachine):
    @initialize(
        plan=st.sampled_from(PLANS), start_c=st.sampled_from([20.0, 45.0, 69.0, 79.0]),
        stage=st.integers(0, 4),
    )  # fmt: skip
    def begin(self, plan, start_c, stage):
        self.bench = HeatedBench(plan, start_c=start_c)
        self.monitor = Monitor(self.bench)
        self.pass_time(5)
        self.load_arm_and_press(12)
        for _ in range(stage):
            self.hurry(10)

    def load_arm_and_press(self, press_ticks):
        self.bench.load()
        self.bench.arm()
        self.pass_time(15)
        self.press(press_ticks)
        self.pass_time(25)

    def press(self, ticks):
        self.bench.button = True
        self.pass_time(ticks)
        self.bench.button = False
        self.pass_time(4)

    # what a person does in a run

    @rule(ticks=st.integers(1, 400))
    def pass_time(self, ticks):
        for _ in range(ticks):
            self.monitor.tick()

    @rule(
        touch=st.sampled_from([touch for touch in ms.TOUCH_NAMES if touch != ms.COOL_DOWN]),
        amount=st.sampled_from([0, 1, 2, 6, 600, 601, -1]),
        ticks=st.integers(1, 30),
    )
    def change(self, touch, amount, ticks):
        self.bench.ask_touch(touch, amount)
        self.pass_time(ticks)

    @rule(amount=st.sampled_from([100, 200, 300, 500, 501, -500]), ticks=st.integers(1, 60))
    def shift(self, amount, ticks):
        self.bench.ask_touch(ms.OFFSET, amount)
        self.pass_time(ticks)

    @rule(ticks=st.integers(1, 60))
    def hurry(self, ticks):
        self.bench.ask_touch(ms.NEXT_STAGE)
        self.pass_time(ticks)

    @rule(taps=st.integers(1, 4))
    def tap(self, taps):
        for _ in range(taps):
            self.press(2)
        self.pass_time(8)

    @precondition(lambda self: self.bench.record.prompt != NONE)
    @rule(ticks=st.integers(1, 60))
    def answer(self, ticks):
        self.bench.acknowledge(self.bench.record.prompt)
        self.pass_time(ticks)

    @rule(watts=st.sampled_from([0.0, 40.0, -20.0]))
    def blow(self, watts):
        self.bench.from_above_w = watts
        self.pass_time(20)

    # what goes wrong

    @rule(channel=st.sampled_from([0, 1]), ticks=st.sampled_from([1, 2]))
    def brush_a_wire(self, channel, ticks):
        self.bench.raw = {channel: OPEN_WORD}
        self.pass_time(ticks)
        self.bench.raw = {}
        self.pass_time(15)

    @rule(fall_c=st.sampled_from([15.0, 30.0]), ticks=st.sampled_from([5, 30, 90, 140]))
    def lift_the_bead(self, fall_c, ticks):
        self.bench.lifted_c = self.bench.true_c - fall_c
        self.pass_time(ticks)
        self.bench.lifted_c = None
        self.pass_time(20)

    @rule(
        how=st.sampled_from(["stop", "cool down", "hold the button", "wire", "host", "late"]),
        ticks=st.integers(1, 100),
    )
    def end_it(self, how, ticks):
        if how == "stop":
            self.bench.stop()
        elif how == "cool down":
            self.bench.ask_touch(ms.COOL_DOWN)
        elif how == "hold the button":
            self.press(10)
        elif how == "wire":
            self.bench.fresh_channels = 0b01
            self.pass_time(3)
        elif how == "host":
            self.bench.renews = False
            self.pass_time(ticks)
        else:
            self.bench.elapsed_ms = 301
            self.pass_time(1)
        self.bench.fresh_channels, self.bench.renews, self.bench.elapsed_ms = 0xFF, True, 100
        self.pass_time(ticks)

    # and again

    @precondition(lambda self: self.bench.record.prompt == GO_ON_PROMPT)
    @rule(other=st.sampled_from([0, 0, 0, 1, -1]), ticks=st.sampled_from([2, 9, 10, 12]))
    def go_on(self, other, ticks):
        """In the stage that was left, or, refused, in another."""
        self.bench.acknowledge(GO_ON_PROMPT)
        self.pass_time(1)
        left = self.bench.machine.sequencer.left_stage
        self.bench.arm(stage=max(left + other, 0))
        self.pass_time(15)
        self.press(ticks)
        self.pass_time(25)

    @precondition(lambda self: self.bench.state not in rs.HEATING_STATES)
    @rule(ticks=st.sampled_from([0, 9, 10, 12]))
    def cool_and_begin_anew(self, ticks):
        self.bench.cooled_by = 60.0
        while self.bench.state == rs.COOL:
            self.pass_time(50)
        self.bench.cooled_by = 1.0
        self.press(12)  # clears a trip
        self.load_arm_and_press(ticks)

    @precondition(lambda self: self.bench.state not in rs.HEATING_STATES)
    @rule(ticks=st.integers(1, 60))
    def lean_on_the_button_and_arm(self, ticks):
        self.bench.button = True
        self.bench.load()
        self.bench.arm()
        self.pass_time(ticks)
        self.bench.button = False
        self.pass_time(ticks)

    def teardown(self):
        """Everybody leaves; the host stays. Heat must end, and so must the run."""
        if not hasattr(self, "monitor"):
            return
        bench = self.bench
        bench.button, bench.renews, bench.raw, bench.lifted_c = False, True, {}, None
        bench.from_above_w = 0.0
        left = LONGEST_RUN + 30
        while bench.state in (*rs.HEATING_STATES, rs.COLD_PROOF):
            self.pass_time(10)
            left -= 10
            assert left > 0, "a run that nobody ends"
        bench.cooled_by = 60.0  # in front of a fan: what is left to prove takes no hours
        left = 5000
        while bench.state == rs.COOL:
            self.pass_time(10)
            left -= 10
            assert left > 0, "a cooling that does not end"
        assert bench.state in (
            rs.LOADED, rs.FINISHED, rs.STOPPED, rs.LINK_LOST, rs.TRIPPED, rs.IDLE,
        )  # fmt: skip


Hands.TestCase.settings = settings(
    max_examples=40, stateful_step_count=40, deadline=None, derandomize=True,
    phases=[Phase.generate],  # a run is too long to be shrunk
)  # fmt: skip
TestHands = Hands.TestCase
