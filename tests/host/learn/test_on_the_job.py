"""The learner in the run loop: told once, before the work, while the heat is answered for."""

import threading

import pytest

from emberbed.bench.ledger import Ledger
from emberbed.bench.run_loop import BenchRun
from emberbed.bench.story import Story
from emberbed.learn import on_the_job
from emberbed.learn.board_fit import NotLearned
from emberbed.learn.on_the_job import HELD_TICKS, KIND, OnTheJob
from emberbed.link.transport import LinkError
from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed.store.run_store import RunStore
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S
from tests.host.bench.fakes import FakeDevice, FakeHand, FakeScreen
from tests.host.learn.boards import FIRST_HOLD, before_flux, profile_text, ran
from tests.host.learn.true_heater import true_heater, true_text
from tests.host.store.synthetic_run import facts
from tests.support.command import finish, stored
from tests.support.profiles import PROMPT, hold_profile
from tests.support.tapes import loop_of, plan_of

PATIENCE_S = 20.0  # for a thread on a busy machine; nothing waits that long
RENEWALS = 50
SHORT = hold_profile(for_s=60, to_c=55, prompt=PROMPT)


def fed(learner, records):
    """Return what the learner told; a bench in real time would leave it seconds to compute."""
    told = []
    for record in records:
        told += learner(record)
        if learner._thread is not None:
            learner._thread.join(PATIENCE_S)
    return told


def test_it_tells_once_before_the_work():
    records, plan = ran(240)
    told = fed(OnTheJob(true_heater(), plan, 1000), records)
    assert {kind for _tick, kind, _sentence in told} == {KIND}
    (tick,) = {tick for tick, _kind, _sentence in told}
    flux = next(record.tick for record in records if record.state == rs.WAIT)
    assert tick == before_flux(records)[-1].tick < flux
    said = " ".join(sentence for _tick, _kind, sentence in told)
    assert "J/K" in said and "medium board" in said
    assert "135 °C is reachable" in said and "min of heating" in said


def test_a_prompt_that_comes_first_is_time_too():
    """The hold is cut short by a person: the prompt is there before 30 s of it."""
    records, plan = ran(240)
    ramp = [record for record in records if record.stage == 0]
    wait = next(record for record in records if record.state == rs.WAIT)
    assert fed(OnTheJob(true_heater(), plan, 1000), [*ramp, wait, wait])[0][0] == wait.tick


def test_data_that_cannot_carry_it_are_said_so():
    records, plan = ran(240)
    (told,) = fed(OnTheJob(true_heater(), plan, 1000), before_flux(records)[-300:] + records[-1:])
    assert "not known better than before" in told[2]
    assert "cold start" in told[2] or "too short" in told[2]


@pytest.fixture(scope="module")
def tape():
    return list(loop_of(SHORT).run())


@pytest.fixture
def loop(tmp_path, tape):
    """Return a function that runs the loop over a tape with a learner."""
    plan, prompts = plan_of(SHORT)
    store = RunStore.open(tmp_path / "runs.sqlite")
    ledger = Ledger(store, facts())
    device, screen = FakeDevice(tape, batch=10), FakeScreen()
    story = Story(decode_plan(plan), prompts, {0: "top_near_chip", 1: "edge"})
    learner = OnTheJob(true_heater(), story.plan, 1000)

    def run():
        loop = BenchRun(
            device, ledger, story, screen, FakeHand(), lambda: "It will not be back", learner
        )
        loop.watch(plan)
        return store.events(ledger.run_id), screen

    yield device, run
    store.close()


def test_the_heat_is_answered_for_while_it_computes(loop, monkeypatch):
    """The computing ends only after 50 more renewals: a loop that waited for it gives none."""
    device, run = loop
    enough, began = threading.Event(), []
    renew = device.renew

    def counted(tick):
        renew(tick)
        if began and len(device.renewed) >= began[0] + RENEWALS:
            enough.set()

    def slow(*_arguments):
        began.append(len(device.renewed))
        raise NotLearned("it was slow" if enough.wait(PATIENCE_S) else "nobody renewed")

    device.renew = counted
    monkeypatch.setattr(on_the_job, "learn", slow)
    events, screen = run()
    (sentence,) = [event.sentence for event in events if event.kind == KIND]
    assert "it was slow" in sentence
    assert screen.sentences(KIND) == [sentence]
    assert device.renewed[-1] - device.renewed[0] > RENEWALS


def test_a_lost_link_does_not_wait_for_it(loop, monkeypatch):
    device, run = loop
    never = threading.Event()

    def endless(*_arguments):
        never.wait()
        raise NotLearned("nobody waits for it any more")

    monkeypatch.setattr(on_the_job, "learn", endless)
    held = next(at for at, raw in enumerate(device._tape) if _is_wait(raw))
    device._tape = type(device._tape)([*list(device._tape)[: held + 20], LinkError("it broke")])
    events, _screen = run()
    assert [event for event in events if event.kind == KIND] == []
    assert any(event.kind == "link" for event in events)
    never.set()


def _is_wait(raw):
    return decode_record(raw).state == rs.WAIT


def test_end_to_end_on_the_virtual_device(tmp_path):
    """The command, its process and its store: the learned sentences stand among the events."""
    heater, profile = tmp_path / "heater.toml", tmp_path / "board.toml"
    heater.write_text(true_text(), encoding="utf-8")
    profile.write_text(profile_text(240), encoding="utf-8")
    store = tmp_path / "runs.sqlite"
    given = ("--press", "--speed", "max", "--engine", "cpython", "--store", store)
    done = finish("run", profile, "--heater", heater, *given)
    assert done.exit_code == 0, done.said
    tape = stored(store)
    learned = [event for event in tape.events if event.kind == KIND]
    assert "medium board" in learned[0].sentence
    assert learned[0].sentence in done.said
    hold = next(record.tick for record in tape.records if record.stage == FIRST_HOLD)
    assert learned[0].tick - hold == pytest.approx(HELD_TICKS, abs=TICKS_PER_S)


def test_a_heater_file_that_is_not_there_is_refused(tmp_path):
    done = finish("run", "label-printer", "--press", "--heater", tmp_path / "none.toml")
    assert done.exit_code == 2
    assert done.errors.count("\n") == 1
    assert "none.toml cannot be read" in done.errors
