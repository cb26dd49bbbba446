"""The loop that stores, answers for the heat and shows, against a device played from a tape."""

import re
import time
from types import SimpleNamespace

import pytest

from emberbed.bench import run_loop
from emberbed.bench.ledger import Ledger
from emberbed.bench.run_loop import OFFERS, SILENT_S, BenchRun
from emberbed.bench.story import Story
from emberbed.bench.wishes import Answer, Stop, Touch
from emberbed.link.events import Damaged, Gap, SessionLost, WrongVersion
from emberbed.link.transport import LinkError
from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed.report.ending import LEFT
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.trip_codes import WITHHELD_LEASE
from emberbed_sim.closed_loop import Operator
from tests.host.bench.fakes import FakeDevice, FakeHand, FakeScreen
from tests.host.store.synthetic_run import facts
from tests.support.profiles import PROMPT, hold_profile
from tests.support.tapes import loop_of, plan_of

PROFILE = hold_profile(for_s=20, to_c=55, prompt=PROMPT)
LINK_BROKE = LinkError("The link to socket://bench:1 broke (connection reset)")


@pytest.fixture(scope="module")
def tape():
    return list(loop_of(PROFILE).run())


@pytest.fixture(scope="module")
def tripped_tape():
    return list(loop_of(PROFILE, "tc_open@40s").run())


@pytest.fixture
def bench(tmp_path):
    """Return a function that lets the loop run over a tape: what it left behind."""
    stores = []

    def run(tape, hand=None, batch=10, why_gone=lambda: None, prepare=lambda _device: None):
        plan, prompts = plan_of(PROFILE)
        store = RunStore.open(tmp_path / "runs.sqlite")
        stores.append(store)
        ledger = Ledger(store, facts())
        device, screen = FakeDevice(tape, batch), FakeScreen()
        prepare(device)
        story = Story(decode_plan(plan), prompts, {0: "top_near_chip", 1: "edge"})
        loop = BenchRun(device, ledger, story, screen, hand or FakeHand(), why_gone)
        outcome = loop.watch(plan)
        return SimpleNamespace(
            outcome=outcome, device=device, screen=screen, store=store, run_id=ledger.run_id,
            loop=loop, ledger=ledger, story=story,
        )  # fmt: skip

    yield run
    for store in stores:
        store.close()


def of_state(tape, state):
    return next(n for n, raw in enumerate(tape) if decode_record(raw).state == state)


def ticks(tape):
    return [decode_record(raw).tick for raw in tape]


@pytest.mark.parametrize("batch", [1, 7, 25])
def test_every_record_is_stored_before_it_is_answered_for(bench, tape, batch):
    ran = bench(tape[:100] + [LINK_BROKE], batch=batch)
    stored = list(ran.store.raw_records(ran.run_id))
    assert stored == tape[:100]
    assert ran.device.renewed[-1] == ran.screen.shown[-1] == decode_record(tape[99]).tick
    assert ran.device.renewed == sorted(ran.device.renewed)


def test_what_could_not_be_stored_is_not_answered_for(bench, tape, monkeypatch):
    monkeypatch.setattr(RunStore, "append", _full)
    device = []
    with pytest.raises(StoreError):
        bench(tape[:10], prepare=device.append)
    assert device[0].renewed == []


def _full(*_arguments, **_more):
    raise StoreError("the disk is full")


def test_a_store_that_fails_takes_the_heat_away(bench, tape, monkeypatch):
    device = []
    monkeypatch.setattr(RunStore, "append", _full)
    with pytest.raises(StoreError, match="full"):
        bench(tape[:10], prepare=device.append)
    assert device[0].stops == [messages.STOP_HOST_ENDING]
    assert device[0].sink is None


@pytest.mark.parametrize(
    ("faults", "operator", "state", "code"),
    [
        ((), Operator(), "finished", 0),
        (("tc_open@40s",), Operator(), "tripped", 3),
        ((), Operator(stops_at_s=40.0), "stopped", 4),
        (("host_silent@40s",), Operator(), "link_lost", 5),
    ],
)
def test_the_firmwares_verdict_is_the_outcome(bench, faults, operator, state, code):
    ran = bench(list(loop_of(PROFILE, *faults, operator=operator).run()), batch=10)
    assert (ran.outcome.state, ran.outcome.exit_code) == (state, code)


def test_events_are_stored_as_they_are_shown(bench, tape):
    ran = bench(tape, batch=10)
    stored = [(e.tick, e.kind, e.sentence) for e in ran.store.events(ran.run_id)]
    assert stored == ran.screen.told
    assert ("answer", "Answered, from a script.") in [(kind, told) for _, kind, told in stored]


# stopping


def test_the_first_stop_stays_and_the_second_leaves(bench, tape):
    at = of_state(tape, rs.RUN) + 5
    stop_from = {ticks(tape)[at]: 1, ticks(tape)[at + 20]: 2}
    ran = bench(tape, FakeHand(stop_from=stop_from), batch=2)
    assert ran.device.stops == [messages.STOP_BY_PERSON]
    assert ran.outcome.exit_code == 4
    (first,) = ran.screen.sentences("stop")
    (second,) = ran.screen.sentences(LEFT)
    assert "heat off" in first and "Ctrl-C again leaves" in first
    assert re.fullmatch(
        r"Left while the board was at \d+ °C: nothing records it any more\.", second
    )
    assert ran.screen.shown[-1] < ticks(tape)[at + 25]


def test_leaving_a_hot_board_says_how_hot_it_was(bench, tape):
    at = of_state(tape, rs.COOL) + 5
    ran = bench(tape, FakeHand(stop_from={ticks(tape)[at]: 2}), batch=1)
    newest = next(one for raw in tape if (one := decode_record(raw)).tick == ran.screen.shown[-1])
    hottest = max(newest.channel_cdeg(0), newest.channel_cdeg(1)) / 100
    assert ran.screen.sentences(LEFT) == [
        f"Left while the board was at {hottest:.0f} °C: it is still hot, and nothing records it"
        " any more."
    ]


def test_stopping_before_heat_is_told_as_that(bench):
    tape = list(loop_of(PROFILE, operator=Operator(stops_at_s=0.5)).run())
    ran = bench(tape, FakeHand(stop_from={2: 1}), batch=1)
    assert ran.outcome.state == "stopped"
    assert ran.screen.sentences("stop") == ["Stop asked for: nothing was heated."]
    assert "Stopped before heating: nothing was heated." in ran.screen.sentences("state")
    assert not ran.screen.sentences("stage")


def test_stopping_in_the_cooling_says_that_heat_is_off_already(bench, tape):
    at = of_state(tape, rs.COOL) + 5
    ran = bench(tape, FakeHand(stop_from={ticks(tape)[at]: 1}))
    assert "heat is off already" in ran.screen.sentences("stop")[0]


def test_leaving_the_cooling_of_a_trip_is_still_a_trip(bench, tripped_tape):
    at = of_state(tripped_tape, rs.COOL) + 5
    ran = bench(tripped_tape, FakeHand(stop_from={ticks(tripped_tape)[at]: 2}))
    assert (ran.outcome.state, ran.outcome.exit_code) == ("tripped", 3)


def test_a_stop_that_is_refused_drops_the_link_instead(bench, tape):
    at = of_state(tape, rs.RUN) + 5
    ran = bench(
        tape,
        FakeHand(stop_from={ticks(tape)[at]: 1}),
        prepare=lambda device: device.refuses.update({messages.STOP: messages.BUSY}),
    )
    assert ran.outcome.exit_code == 4
    assert "switches heat off within 2 s by itself" in ran.screen.sentences("stop")[-1]


# the link


def test_a_broken_link_is_told_once_and_ends_the_run(bench, tape):
    ran = bench(tape[:200] + [LINK_BROKE])
    assert (ran.outcome.state, ran.outcome.exit_code) == ("link_lost", 5)
    told, given_up = ran.screen.sentences("link")
    assert told.startswith(str(LINK_BROKE))
    assert "switches heat off within 2 s by itself" in told
    assert given_up.startswith("The device has not come back")


def test_a_virtual_device_that_ended_is_told_instead_of_the_link(bench, tape):
    ran = bench(tape[:200] + [LINK_BROKE], why_gone=lambda: "The virtual device ended by itself")
    (told,) = ran.screen.sentences("link")
    assert told.startswith("The virtual device ended by itself.")
    assert "broke" not in told


def test_a_link_that_breaks_in_the_cooling_of_a_trip_is_still_a_trip(bench, tripped_tape):
    at = of_state(tripped_tape, rs.COOL) + 50
    ran = bench(tripped_tape[:at] + [LINK_BROKE])
    assert (ran.outcome.state, ran.outcome.exit_code) == ("tripped", 3)


def test_a_device_that_says_nothing_any_more_is_a_lost_link(bench, tape, monkeypatch):
    now = SimpleNamespace(s=0.0)

    def passing():
        now.s += SILENT_S / 4
        return now.s

    monkeypatch.setattr(run_loop, "time", SimpleNamespace(monotonic=passing))
    ran = bench(tape[:20])
    assert ran.outcome.exit_code == 5
    assert "has sent no record for 10 s" in ran.screen.sentences("link")[0]
    assert ran.device.renewed[-1] == ticks(tape)[19]


def break_at_the_acknowledgement(device):
    def renew(_tick):
        raise LINK_BROKE

    device.renew = renew


def test_what_came_before_the_link_broke_is_stored_whole(bench, tape):
    ran = bench(tape[:35], batch=35, prepare=break_at_the_acknowledgement)
    assert list(ran.store.raw_records(ran.run_id)) == tape[:35]
    assert ran.outcome.exit_code == 5


def test_a_link_that_breaks_after_the_end_takes_no_verdict_back(bench, tape):
    ran = bench(tape, batch=len(tape), prepare=break_at_the_acknowledgement)
    assert (ran.outcome.state, ran.outcome.exit_code) == ("finished", 0)
    assert ran.screen.sentences("link") == []


def test_a_reset_after_the_end_takes_no_verdict_back(bench, tape):
    ran = bench([*tape, SessionLost(7)], batch=len(tape) + 1)
    assert (ran.outcome.state, ran.outcome.exit_code) == ("finished", 0)


@pytest.mark.parametrize("event", [SessionLost(7), WrongVersion(2)])
def test_a_device_that_was_reset_is_a_lost_link(bench, tape, event):
    ran = bench([*tape[:50], event])
    assert ran.outcome.exit_code == 5
    assert "reset" in ran.screen.sentences("link")[0]


def test_lost_and_damaged_records_are_told_and_end_nothing(bench, tape):
    ran = bench([*tape[:50], Gap(51, 52), Damaged(3), *tape[52:60], LINK_BROKE])
    assert "51 to 52 are lost" in ran.screen.sentences("gap")[0]
    assert "3 frames arrived damaged" in ran.screen.sentences("damage")[0]
    assert ran.screen.shown[-1] == ticks(tape)[59]


# the press


def offers(tape):
    """Return a tape on which the press expires: COLD_PROOF, then LOADED, again and again."""
    cold = decode_record(tape[0])
    raws = []
    for _ in range(OFFERS):
        raws += [cold._replace(state=rs.COLD_PROOF), cold._replace(state=rs.LOADED)]
    return [_packed(one, tape[0], n) for n, one in enumerate(raws)]


def _packed(record, raw, number):
    """Return `raw` with the state and tick of another record."""
    import struct

    from emberbed_fw import record as layout

    octets = bytearray(raw)
    struct.pack_into("<I", octets, 0, record.tick + number)
    octets[layout.INPUT_BYTES] = record.state
    at = layout.INPUT_BYTES + [name for name, _ in layout.OUTPUT_FIELDS].index("withheld")
    octets[at] = record.withheld
    return bytes(octets)


def test_a_press_that_does_not_come_is_offered_again_and_then_given_up(bench, tape):
    ran = bench(offers(tape), batch=1)
    assert ran.device.armed == OFFERS - 1
    assert ran.outcome.exit_code == 2
    assert ran.screen.sentences("arm") == [
        "Nobody held the device's button in 2 min; it is offered again."
    ] * (OFFERS - 1)
    assert "nothing was heated" in ran.screen.sentences("refused")[0]


def test_an_arming_lost_by_a_silent_link_is_not_blamed_on_the_person(bench, tape):
    cold = decode_record(tape[0])
    lost = cold._replace(state=rs.LOADED, withheld=WITHHELD_LEASE)
    ran = bench([tape[0], _packed(lost, tape[0], 1), LINK_BROKE], batch=1)
    assert ran.screen.sentences("arm")[0].startswith("The PC link was silent")


def test_an_arming_that_is_refused_the_second_time_ends_the_run_unheated(bench, tape):
    ran = bench(
        offers(tape)[:2],
        batch=1,
        prepare=lambda device: device.refuses.update({messages.ARM: messages.WRONG_STATE}),
    )
    assert ran.outcome.exit_code == 2
    assert ran.screen.sentences("refused")


# answering


def test_an_answer_goes_to_the_device_and_a_late_one_ends_nothing(bench, tape):
    ran = bench(
        [*tape[:3], LINK_BROKE],
        FakeHand(wishes_at={ticks(tape)[1]: Answer(0)}),
        batch=1,
        prepare=lambda device: device.refuses.update({messages.ACK_PROMPT: messages.WRONG_PROMPT}),
    )
    assert ran.device.acknowledged == [(0, messages.BY_TERMINAL)]
    assert ran.screen.sentences("refusal") == [
        "Not done (answered, from the terminal): That question is gone; look at what the device"
        " asks now, then answer that."
    ]


def test_the_clock_of_the_silence_is_a_steady_one():
    assert run_loop.time is time


# changes


def test_a_change_goes_to_the_device_with_its_source(bench, tape):
    wishes = {ticks(tape)[5]: Touch(messages.OFFSET, 100)}
    ran = bench(tape[:30] + [LINK_BROKE], FakeHand(wishes_at=wishes))
    assert ran.device.touched == [(messages.OFFSET, 100, messages.BY_TERMINAL)]
    assert ran.screen.sentences("refusal") == []


@pytest.mark.parametrize(
    ("touch", "refusal", "told"),
    [
        (Touch(messages.OFFSET, 500), messages.ABOVE_LIMIT,
         "Not done (target moved, from the terminal): That would pass the highest temperature that"
         " was shown before the press; stay below it."),
        (Touch(messages.MARK), messages.NO_RUN,
         "Not done (mark, from the terminal): No run is on to set a mark in; start one first."),
    ],
)  # fmt: skip
def test_a_refused_change_is_told_and_stored_and_changes_nothing(bench, tape, touch, refusal, told):
    ran = bench(
        tape,
        FakeHand(wishes_at={ticks(tape)[5]: touch}),
        prepare=lambda device: device.refuses.update({messages.STAGE_REQUEST: refusal}),
    )
    assert ran.screen.sentences("refusal") == [told]
    assert told in [event.sentence for event in ran.store.events(ran.run_id)]
    assert list(ran.store.raw_records(ran.run_id)) == tape
    assert (ran.outcome.state, ran.outcome.exit_code) == ("finished", 0)


def test_smoke_stops_at_once_and_says_what_to_do(bench, tape):
    at = of_state(tape, rs.RUN) + 5
    ran = bench(tape, FakeHand(wishes_at={ticks(tape)[at]: Stop(messages.STOP_SMOKE)}))
    assert ran.device.stops == [messages.STOP_SMOKE]
    (told,) = ran.screen.sentences("stop")
    assert told.startswith("Smoke: heat off.") and "pull the mains plug" in told


def test_after_smoke_one_ctrl_c_does_nothing_more_and_two_leave(bench, tape):
    at = of_state(tape, rs.RUN) + 5
    hand = FakeHand(
        wishes_at={ticks(tape)[at]: Stop(messages.STOP_SMOKE)},
        stop_from={ticks(tape)[at + 10]: 1, ticks(tape)[at + 30]: 2},
    )
    ran = bench(tape, hand, batch=1)
    assert ran.device.stops == [messages.STOP_SMOKE]
    assert len(ran.screen.sentences(LEFT)) == 1
    assert ran.screen.shown[-1] >= ticks(tape)[at + 30]
