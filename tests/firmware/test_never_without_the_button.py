"""No sequence of requests, readings, faults and time drives a zone unless the button was held."""

import copy
import struct
from functools import cache

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.commands import STOP_BYTES, TICK_COMMANDS, command_length
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.record import COMMAND_BYTES
from tests.support.bench import ALWAYS, FOLLOWS, NEVER, OPEN_WORD, Bench, short_plan
from tests.support.plans import bench_settings, build_plan, cool, hold, ramp, wait
from tests.support.trips import MENDABLE, go_on, mended

PLANS = [
    short_plan(),
    build_plan([hold(20000, 100), cool()]),
    build_plan([ramp(2500, 15000, 300), wait(15000, prompt=0), cool()]),
]
requests = st.sampled_from(TICK_COMMANDS).flatmap(
    lambda kind: st.tuples(
        st.just(kind), st.binary(min_size=command_length(kind), max_size=command_length(kind))
    )
)


def fits_one_tick(sent):
    """The link refuses what a tick's queue has no room for, beside a renewal and a stop."""
    return sum(2 + len(payload) for _kind, payload in sent) <= COMMAND_BYTES - 6 - STOP_BYTES


class HostWithoutHands(RuleBasedStateMachine):
    """A host that may ask for anything, with nobody at the device."""

    @initialize(stuck=st.booleans(), senses=st.booleans())
    def switch_on(self, stuck, senses):
        self.bench = Bench(settings=None if senses else bench_settings(has=0))
        self.bench.button = stuck  # held since before power-on, or never

    @rule(plan=st.sampled_from(PLANS))
    def send_plan(self, plan):
        self.bench.load(plan)
        self.pass_time(1)

    @rule()
    def arm(self):
        self.bench.arm()
        self.pass_time(1)

    @rule(plan=st.sampled_from(PLANS), ticks=st.integers(12, 40))
    def send_plan_and_arm(self, plan, ticks):
        self.bench.load(plan)
        self.bench.arm()
        self.pass_time(ticks)

    @rule(stage=st.integers(0, 6), done_ticks=st.sampled_from([0, 100, 2**20]))
    def go_on(self, stage, done_ticks):
        self.bench.arm(stage=stage, done_ticks=done_ticks)
        self.pass_time(20)

    @rule(answers=st.booleans())
    def go_on_where_it_was(self, answers):
        sequencer = self.bench.machine.sequencer
        if sequencer is None:
            return
        if answers:
            self.bench.acknowledge(GO_ON_PROMPT)
        self.bench.arm(stage=sequencer.left_stage, done_ticks=sequencer.left_tick)
        self.pass_time(20)

    @rule(prompt=st.one_of(st.integers(0, 255), st.just(GO_ON_PROMPT)))
    def answer(self, prompt):
        self.bench.acknowledge(prompt)
        self.pass_time(1)

    @rule(touch=st.sampled_from(sorted(messages.TOUCH_NAMES)), amount=st.integers(-600, 600))
    def change(self, touch, amount):
        self.bench.ask_touch(touch, amount)
        self.pass_time(1)

    @rule()
    def stop(self):
        self.bench.stop()
        self.pass_time(1)

    @rule(sent=st.lists(requests, max_size=4).filter(fits_one_tick))
    def ask_for_anything(self, sent):
        for kind, payload in sent:
            self.bench.send(kind, payload)
        self.pass_time(1)

    @rule(age=st.integers(0, 30))
    def renew_with_an_old_tick(self, age):
        tick = max(0, self.bench.machine.tick - age)
        self.bench.send(messages.RENEW, struct.pack("<I", tick))
        self.pass_time(1)

    @rule(renews=st.booleans())
    def watch_or_look_away(self, renews):
        self.bench.renews = renews

    @rule(board_c=st.sampled_from([-5.0, 25.0, 45.0, 60.0, 200.0, 300.0]))
    def move_the_board(self, board_c):
        self.bench.board_c = [board_c, board_c]

    @rule(raw=st.sampled_from([{}, {0: OPEN_WORD}, {1: 0}, {0: 0xFFFFFFFF}]))
    def spoil_a_sensor(self, raw):
        self.bench.raw = raw

    @rule(contactor=st.sampled_from([FOLLOWS, ALWAYS, NEVER]),
          current=st.sampled_from([FOLLOWS, ALWAYS, NEVER]))  # fmt: skip
    def spoil_a_switch(self, contactor, current):
        self.bench.contactor = contactor
        self.bench.current = current

    @rule(elapsed_ms=st.sampled_from([0, 100, 121, 301, 65535]))
    def come_late(self, elapsed_ms):
        self.bench.elapsed_ms = elapsed_ms

    @rule(ticks=st.integers(1, 60))
    def pass_time(self, ticks):
        for _ in range(ticks):
            self.bench.tick()
            assert self.bench.machine.driven_zones == 0
            assert not self.bench.contactor_driven
            assert self.bench.state not in rs.HEATING_STATES


class HostAfterATrip(HostWithoutHands):
    """The same, at a device whose run has tripped, was mended and asks whether to go on."""

    @initialize(stuck=st.booleans(), name=st.sampled_from(sorted(MENDABLE)))
    def switch_on(self, stuck, name):
        self.bench = copy.deepcopy(after(name))
        self.bench.button = stuck  # from the tick on in which it asks, or not at all


@cache
def after(name):
    return mended(name)


HostWithoutHands.TestCase.settings = settings(max_examples=60, stateful_step_count=25)
HostAfterATrip.TestCase.settings = settings(max_examples=60, stateful_step_count=25)
TestHostWithoutHands = HostWithoutHands.TestCase
TestHostAfterATrip = HostAfterATrip.TestCase


def test_the_same_requests_with_the_button_do_heat():
    # the machine above is not simply dead
    for plan in PLANS:
        bench = Bench(plan).to_run()
        bench.tick(30)
        assert bench.heats and bench.contactor_driven


def test_the_same_trips_with_the_button_do_go_on():
    for name in MENDABLE:
        bench = copy.deepcopy(after(name))
        go_on(bench, bench.machine.sequencer.left_stage)
        assert bench.state in rs.STAGED_STATES and bench.contactor_driven
