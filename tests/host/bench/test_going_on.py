"""After a trip that a person has mended: a linked run, begun in the store, told, replayed.

The tapes are those of the closed loop, in which trip, mend and going on are one stream of records.
"""

from types import SimpleNamespace

import pytest

from emberbed.bench.ledger import Ledger
from emberbed.bench.run_loop import BenchRun
from emberbed.bench.story import Story
from emberbed.link.transport import LinkError
from emberbed.profiles.compile import decode_plan
from emberbed.records import commands_of, decode_record
from emberbed.store.run_store import RunStore
from emberbed_fw import messages, replay, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import Operator
from tests.host.bench.fakes import FakeDevice, FakeHand, FakeScreen
from tests.host.store.synthetic_run import facts
from tests.support.profiles import hold_profile
from tests.support.tapes import loop_of, plan_of, small_bench

PROFILE = hold_profile(for_s=60, to_c=60)
NAMES = {0: "top_near_chip", 1: "edge"}
AFTER_ONE_TRIP = bytes([0, 1, *[0] * 18])  # by the rows of trip_codes: SENSOR_OPEN once
LINK_BROKE = LinkError("The link to socket://bench:1 broke (connection reset)")


def tape_of(*faults):
    operator = Operator(goes_on=True, answers_after_s=5.0)
    return list(loop_of(PROFILE, *faults, operator=operator).run())


@pytest.fixture(scope="module")
def tape():
    """A couple that is off its terminals for 4 s; the run is gone on with."""
    return tape_of("tc_open@70s:4s")


class WatchingScreen(FakeScreen):
    """Looks into the store while the records come in."""

    def __init__(self, store):
        super().__init__()
        self._store = store
        self.first_states = {}  # state of run 1 when run 2 was first seen in a state

    def show(self, record):
        super().show(record)
        if self.turned_over:
            self.first_states.setdefault(record.state, self._store.run(1).state)


@pytest.fixture
def go(tmp_path):
    """Return a function that lets the loop run over a tape."""
    stores = []

    def run(tape, refuses=(), batch=10, hand=None):
        store = RunStore.open(tmp_path / "runs.sqlite")
        stores.append(store)
        plan, prompts = plan_of(PROFILE)
        settings = bench_settings(small_bench())
        ledger = Ledger(store, facts(plan=plan, settings=settings))
        device, screen = FakeDevice(tape, batch), WatchingScreen(store)
        device.refuses.update(refuses)
        device.trip_counts = AFTER_ONE_TRIP
        story = Story(decode_plan(plan), prompts, NAMES)
        loop = BenchRun(device, ledger, story, screen, hand or FakeHand())
        outcome = loop.watch(plan)
        trip = loop.newest.trip
        ledger.end(outcome, trip, story.plan, NAMES)
        return SimpleNamespace(
            outcome=outcome, device=device, screen=screen, store=store, ledger=ledger, plan=plan,
            settings=settings,
        )  # fmt: skip

    yield run
    for store in stores:
        store.close()


def arms_again(tape):
    """Return where on the tape the run goes on: the ARM after the first."""
    armed = [
        n for n, raw in enumerate(tape) if any(kind == messages.ARM for kind, _ in commands_of(raw))
    ]
    return armed[1]


@pytest.mark.parametrize("batch", [1, 7, 10])
def test_the_run_that_goes_on_begins_with_the_record_that_armed_it(go, tape, batch):
    ran = go(tape, batch=batch)
    at = arms_again(tape)
    assert list(ran.store.raw_records(1)) == tape[:at]
    assert list(ran.store.raw_records(2)) == tape[at:]
    assert ran.store.audit(1) == ran.store.audit(2) == []


def test_both_runs_keep_their_own_verdict_and_know_each_other(go, tape):
    ran = go(tape)
    first, second = ran.store.run(1), ran.store.run(2)
    assert (first.state, first.exit_code, first.trip) == ("tripped", 3, trip_codes.SENSOR_OPEN)
    assert (second.state, second.exit_code, second.trip) == ("finished", 0, 0)
    assert (first.linked_to, second.linked_to) == (None, 1)
    assert ran.store.goes_on_as(1) == 2
    assert first.limits_exceeded == second.limits_exceeded == 0
    assert (ran.outcome.state, ran.outcome.exit_code) == ("finished", 0)
    assert (ran.ledger.run_id, ran.ledger.earlier) == (2, [1])


def test_it_goes_on_in_the_stage_that_was_running(go, tape):
    ran = go(tape)
    payload = next(data for kind, data in commands_of(tape[arms_again(tape)]) if kind == 7)
    # messages.py: H H crc, B attendance, B stage, I ticks of it already done
    stage, done_ticks = payload[5], int.from_bytes(payload[6:10], "little")
    ((asked_stage, asked_ticks),) = ran.device.places
    assert asked_stage == stage
    # the device says ticks of a ramp too, which it does not use; the host only those of a hold
    kind = decode_plan(ran.plan).stages[stage]["kind"]
    assert abs(asked_ticks - done_ticks) <= 1 if kind == 1 else asked_ticks == 0


def test_a_hold_goes_on_with_the_time_it_had(go):
    """Broken in the hold: what was soaked already is not soaked again."""
    cuts = [decode_record(raw) for raw in tape_of()]
    holds = next(one.tick for one in cuts if one.stage == 1) / TICKS_PER_S
    tape = tape_of(f"tc_open@{holds + 30:.0f}s:4s")
    ran = go(tape)
    ((stage, done_ticks),) = ran.device.places
    assert stage == 1
    assert 200 < done_ticks < 320  # 30 s less what the bench and the device tick differ


def test_what_it_began_with_replays_bit_for_bit(go, tape):
    """With the trips that ARM answered; without them the count in the records would differ."""
    ran = go(tape_of("tc_open@70s:4s", "tc_open@130s:4s"))
    raw = list(ran.store.raw_records(2))
    counts = ran.store.run(2).trip_counts
    assert counts == AFTER_ONE_TRIP
    assert differences(ran, raw, counts) == []
    assert differences(ran, raw, None) == ["trips_of_cause"]


def differences(ran, raw, counts):
    again = replay.Replay(ran.settings, ran.plan, counts)
    for octets in raw:
        at = again.feed(octets, len(octets))
        if at >= 0:
            return [replay.field_at(at)]
    return []


def test_both_runs_tell_of_it(go, tape):
    ran = go(tape)
    last = ran.store.events(1)[-1]
    assert (last.kind, last.sentence) == ("goes_on", "Goes on as run 2.")
    first = ran.store.events(2)[0]
    assert first.kind == "goes_on"
    assert first.sentence.startswith("Goes on with run 1: from ")
    assert first.tick == ran.store.run(2).first_tick
    assert ran.screen.turned_over == [2]
    asked = ran.screen.sentences("prompt")
    assert len(asked) == 1
    assert asked[0].startswith("Sensor reads again. Go on from ") and asked[0].endswith("stage 1?")
    assert ran.screen.sentences("clears") == [
        "Mended within 3 min, the run can go on from where the board is then."
    ]


def test_the_run_before_is_closed_before_the_next_one_heats(go, tape):
    ran = go(tape)
    assert ran.screen.first_states[rs.COLD_PROOF] == "open"  # still being summed up
    assert ran.screen.first_states[rs.RUN] == "tripped"


def test_a_stop_before_is_not_the_next_run_s_stop(go, tape):
    cools = next(n for n, raw in enumerate(tape) if decode_record(raw).state == rs.COOL)
    hand = FakeHand(stop_from={decode_record(tape[cools]).tick: 1})
    ran = go(tape, hand=hand)
    assert len(ran.device.stops) == 1
    assert ran.store.run(2).state == "finished"


def test_a_device_that_will_not_go_on_leaves_the_run_as_it_was(go, tape):
    broken = tape_of("tc_open@70s:4s")
    tripped = [raw for raw in broken[: arms_again(broken)]]
    ran = go([*tripped, LINK_BROKE], refuses={messages.ARM: messages.WRONG_STATE})
    assert list(ran.store.raw_records(1)) == tripped
    assert (ran.outcome.state, ran.outcome.exit_code) == ("tripped", 3)
    assert ran.screen.sentences("refused")[0].startswith("It cannot go on: ")
    assert (ran.store.run(2).state, ran.store.run(2).ticks) == ("refused", 0)
    assert ran.store.goes_on_as(1) is None
    assert ran.ledger.earlier == []


def test_a_link_that_breaks_just_then_leaves_no_run_open(go, tape):
    ran = go([*tape[: arms_again(tape)], LINK_BROKE])
    assert [run.state for run in ran.store.runs()] == ["tripped", "refused"]
    assert ran.outcome.exit_code == 3


def test_the_third_trip_of_one_cause_allows_cooling_only(go):
    ran = go(tape_of("tc_open@70s:4s", "tc_open@130s:4s", "tc_open@190s:4s"))
    states = [(run.state, run.trip) for run in ran.store.runs()]
    assert states == [("tripped", trip_codes.SENSOR_OPEN)] * 3
    assert [run.linked_to for run in ran.store.runs()] == [None, 1, 2]
    assert ran.outcome.exit_code == 3
    assert ran.screen.sentences("clears")[-1] == (
        "This is trip number 3 of this cause: only cooling is left."
    )
    assert len(ran.screen.sentences("prompt")) == 2
