"""The link breaks while a run is on: tried again, told what the heat did, the same run goes on."""

from types import SimpleNamespace

import pytest

from emberbed.bench import absence
from emberbed.bench.ledger import Ledger
from emberbed.bench.run_loop import BenchRun
from emberbed.bench.story import Story
from emberbed.link.blocks import block_crc
from emberbed.link.events import MEASURED, REBUILT, Greeting, Record, Snapshot, Thinned
from emberbed.link.transport import LinkError
from emberbed.profiles.compile import decode_plan
from emberbed.records import commands_of, decode_record
from emberbed.report.ending import LEFT
from emberbed.store.run_store import RunStore
from emberbed.store.snapshots import unpack_numbers
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from tests.host.bench.fakes import FakeDevice, FakeHand, FakeScreen
from tests.host.store.synthetic_run import facts
from tests.support.profiles import hold_profile
from tests.support.tapes import loop_of, plan_of

PROFILE = hold_profile(for_s=20, to_c=55)
PLAN, PROMPTS = plan_of(PROFILE)
BROKE = LinkError("The link to port broke (no: thing): check the cable", "The link to port broke")


@pytest.fixture(scope="module")
def tape():
    return list(loop_of(PROFILE).run())


@pytest.fixture(scope="module")
def silent_tape():
    """The host is silent from 40 s on: heat goes off and the board cools."""
    return list(loop_of(PROFILE, "host_silent@40s").run())


def tick_of(raw):
    return decode_record(raw).tick


def armed_at(tape):
    return next(
        tick_of(raw) for raw in tape if messages.ARM in [kind for kind, _data in commands_of(raw)]
    )


def greeting(tape, newest, **said):
    values = {
        "protocol": 1, "session": 78, "state": rs.RUN, "verdict": 0, "newest_tick": newest,
        "firmware": "0.1.0", "build_id": bytes(8), "run_session": 77, "run_tick": armed_at(tape),
        "plan_crc": block_crc(PLAN), "memory_bytes": 1, "day_bytes": 1, **said,
    }  # fmt: skip
    return Greeting(**values)


@pytest.fixture
def run(tmp_path):
    """Return a function that lets the loop run over a tape with a link that breaks."""
    stores = []

    def watch(tape, comes_back=(), hand=None, why_gone=lambda: None):
        store = RunStore.open(tmp_path / "runs.sqlite")
        stores.append(store)
        ledger, screen, device = Ledger(store, facts()), FakeScreen(), FakeDevice(tape, 10)
        device.comes_back = list(comes_back)
        story = Story(decode_plan(PLAN), PROMPTS, {0: "top_near_chip", 1: "edge"})
        loop = BenchRun(device, ledger, story, screen, hand or FakeHand(), why_gone)
        outcome = loop.watch(PLAN)
        return SimpleNamespace(
            outcome=outcome, device=device, told=screen.sentences("link"), store=store,
            ledger=ledger, screen=screen,
        )  # fmt: skip

    yield watch
    for store in stores:
        store.close()


def rebuilt(tape):
    return [Record(raw, tick_of(raw), True, REBUILT) for raw in tape]


def test_the_same_run_goes_on_after_the_link_broke(run, tape):
    back = greeting(tape, tick_of(tape[259]))
    refused = LinkError("Nothing listens at socket://bench:1: start it")
    ran = run([*tape[:200], BROKE, *rebuilt(tape[200:260]), *tape[260:]], [refused, back])
    assert (ran.outcome.state, ran.outcome.exit_code) == ("finished", 0)
    assert list(ran.store.raw_records(ran.ledger.run_id)) == tape
    assert ran.device.reconnects == [tick_of(tape[200])] * 2
    assert ran.told[0].startswith("The link to port broke. The device switches heat off within 2 s")
    assert ran.told[1] == "The PC link is back; 6.0 s of readings were missed."
    assert ran.told[2].startswith("Meanwhile the run went on with its heat; the board went from ")
    marks = ran.store.database.all("SELECT rebuilt, sum(ticks) FROM block GROUP BY rebuilt")
    packed = ran.store.database.all("SELECT count(*) FROM stretch")[0][0]
    assert packed or dict(map(tuple, marks))[1] == 60


def test_it_is_told_when_the_heat_went_off(run, silent_tape):
    at = next(n for n, raw in enumerate(silent_tape) if decode_record(raw).state == rs.COOL)
    before, until = at - 20, at + 100
    back = greeting(silent_tape, tick_of(silent_tape[until]))
    missed = rebuilt(silent_tape[before + 1 : until + 1])
    ran = run([*silent_tape[: before + 1], BROKE, *missed, *silent_tape[until + 1 :]], [back])
    assert ran.outcome.state == "link_lost"
    assert ran.told[1] == "The PC link is back; 12.0 s of readings were missed."
    (told,) = [one for one in ran.told if one.startswith("Meanwhile")]
    assert told.startswith("Meanwhile the device took the heat away, 1.9 s after")


def test_a_run_that_ended_in_the_absence_is_told_of_too(run, silent_tape):
    at = next(n for n, raw in enumerate(silent_tape) if decode_record(raw).state == rs.COOL) - 5
    back = greeting(silent_tape, tick_of(silent_tape[-1]) + 1000)  # it stands there, cold
    ran = run([*silent_tape[:at], BROKE, *rebuilt(silent_tape[at:])], [back])
    assert ran.outcome.state == "link_lost"
    assert [one for one in ran.told if one.startswith("Meanwhile the device took the heat away")]


def test_a_cooling_board_is_told_of_too(run, silent_tape):
    at = next(n for n, raw in enumerate(silent_tape) if decode_record(raw).state == rs.COOL) + 50
    back = greeting(silent_tape, tick_of(silent_tape[at + 40]))
    missed = rebuilt(silent_tape[at : at + 41])
    ran = run([*silent_tape[:at], BROKE, *missed, *silent_tape[at + 41 :]], [back])
    assert [one for one in ran.told if one.startswith("Meanwhile heat was off; the board went")]


@pytest.mark.parametrize(
    "said", [{"run_tick": 0}, {"plan_crc": 5}, {"newest_tick": 20}, {"run_tick": 9_000_000}]
)
def test_a_device_in_another_run_ends_the_record(run, tape, said):
    ran = run([*tape[:200], BROKE], [greeting(tape, 10_000, **said)])
    assert (ran.outcome.state, ran.outcome.exit_code) == ("link_lost", 5)
    assert ran.told[1].startswith("The device was reset, or runs something else by now: heat is")
    assert list(ran.store.raw_records(ran.ledger.run_id)) == tape[:200]


def test_a_device_that_stays_away_ends_the_run_after_a_while(run, tape):
    ran = run([*tape[:200], BROKE])
    assert (ran.outcome.state, ran.outcome.exit_code) == ("link_lost", 5)
    assert "has not come back in" in ran.told[1] and len(ran.device.reconnects) > 1


def test_ctrl_c_leaves_while_the_link_is_away(run, tape):
    hand = FakeHand(stop_from={tick_of(tape[199]): 1})
    ran = run([*tape[:200], BROKE], hand=hand)
    assert ran.outcome.exit_code in (4, 5)
    assert ran.screen.sentences(LEFT) and len(ran.device.reconnects) == 1


def test_a_virtual_device_that_died_is_not_waited_for(run, tape):
    ran = run([*tape[:200], BROKE], why_gone=lambda: "The virtual device ended by itself")
    assert ran.told == [
        "The virtual device ended by itself. What follows is not recorded; start a new run."
    ]
    assert ran.device.reconnects == []


def test_a_link_that_breaks_again_is_tried_again(run, tape):
    first, second = greeting(tape, tick_of(tape[209])), greeting(tape, tick_of(tape[309]))
    missed = [*rebuilt(tape[200:210]), *tape[210:300], BROKE, *rebuilt(tape[300:310])]
    ran = run([*tape[:200], BROKE, *missed, *tape[310:]], [first, second])
    assert ran.outcome.state == "finished"
    assert len([one for one in ran.told if one.startswith("Meanwhile")]) == 2


def test_a_run_that_goes_on_is_armed_in_the_session_of_now(run, tape):
    back = greeting(tape, tick_of(tape[209]), session=4242)
    ran = run([*tape[:200], BROKE, *rebuilt(tape[200:210]), *tape[210:]], [back])
    assert ran.ledger.session == 4242 != ran.store.run(ran.ledger.run_id).session


def test_thinned_readings_are_stored_and_told(run, tape):
    kept = [Record(raw, tick_of(raw), True, MEASURED) for raw in tape[200:260:10]]
    thinned = Thinned(tick_of(tape[200]), tick_of(tape[259]), 10)
    ran = run([*tape[:200], thinned, *kept, *tape[260:]])
    assert ran.screen.sentences("gap") == [
        f"Of readings {thinned.first} to {thinned.last} the device kept one in 1 s."
    ]
    assert len(ran.store.gaps(ran.ledger.run_id)) == 6
    assert ran.store.audit(ran.ledger.run_id) == []


def test_snapshots_are_stored_with_the_run(run, tape):
    ran = run([*tape[:200], Snapshot(tick_of(tape[199]), (1, -2, 3)), *tape[200:]])
    (kept,) = ran.store.snapshots(ran.ledger.run_id)
    assert (kept.tick, unpack_numbers(kept.numbers)) == (tick_of(tape[199]), [1, -2, 3])


def test_a_break_without_a_mend_is_told_whole():
    told = absence.broke_text(LinkError("The device says nothing: check the cable"))
    assert told.startswith("The device says nothing. The device switches heat off within 2 s")
