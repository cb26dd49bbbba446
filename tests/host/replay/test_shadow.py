"""The copy that follows a run says nothing of a good one and tells the first difference at once."""

import pytest

from emberbed.bench.ledger import Ledger
from emberbed.bench.run_loop import BenchRun
from emberbed.bench.self_check import SELF_CHECK, SelfCheck, self_check_for
from emberbed.bench.story import Story
from emberbed.firmware_sources import installed_digest
from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed.replay.shadow import Shadow
from emberbed.store.snapshots import unpack_numbers
from emberbed_fw import messages
from emberbed_fw.replay import Replay
from emberbed_fw.snapshot import take_snapshot
from tests.host.bench.fakes import FakeDevice, FakeHand, FakeScreen
from tests.host.replay.recorded import (
    NO_TRIPS,
    PLAN,
    SETTINGS,
    gone_on,
    of_tape,
    open_store,
    recorded,
    snapshot_after,
)
from tests.host.replay.test_replay import changed
from tests.host.store.synthetic_run import facts
from tests.support.record_tapes import NAMES


def followed(records, counts=None, settings=SETTINGS, plan=PLAN):
    """Let a shadow follow; return it and what it found, with the number of the record."""
    shadow = Shadow(settings, plan)
    shadow.arming()
    shadow.armed(counts or NO_TRIPS)
    found = [(n, told) for n, packed in enumerate(records) if (told := shadow.follow(packed))]
    return shadow, found


@pytest.mark.parametrize("name", NAMES)
def test_it_follows_every_kind_of_run_and_finds_nothing(name):
    settings, plan, records, counts = of_tape(name)
    shadow, found = followed(records, counts, settings, plan)
    assert found == [] and shadow.follows and shadow.lost == 0
    assert shadow.compared == len(records)


def test_it_waits_for_what_arm_was_answered_whichever_comes_first():
    settings, plan, records, counts = gone_on()
    late = Shadow(settings, plan)
    late.arming()
    assert [late.follow(packed) for packed in records[:7]] == [None] * 7
    assert not late.follows and late.compared == 0
    assert late.armed(counts) is None
    assert late.follows and late.compared == 7
    assert [late.follow(packed) for packed in records[7:]] == [None] * len(records[7:])


def test_a_difference_in_what_has_waited_is_told_when_the_answer_comes():
    records = list(recorded())
    records[3] = changed(records[3], energy_j=5)
    shadow = Shadow(SETTINGS, PLAN)
    shadow.arming()
    assert [shadow.follow(packed) for packed in records[:6]] == [None] * 6
    difference = shadow.armed(NO_TRIPS)
    assert (difference.tick, difference.field) == (decode_record(records[3]).tick, "energy_j")


def test_a_difference_is_told_once_at_its_tick():
    records = list(recorded())
    record = decode_record(records[500])
    records[500] = changed(records[500], energy_j=record.energy_j ^ 4)
    shadow, ((number, difference),) = followed(records)
    assert number == 500 and not shadow.follows
    assert (difference.tick, difference.field) == (record.tick, "energy_j")
    assert (difference.recorded, difference.replayed) == (
        str(record.energy_j ^ 4), str(record.energy_j),
    )  # fmt: skip


def test_a_missing_record_loses_it_once_and_the_next_arming_brings_it_back():
    records = recorded()
    shadow, found = followed([*records[:300], *records[301:]])
    assert found == [] and shadow.lost == 1 and not shadow.follows
    assert shadow.compared == 300
    shadow.arming()
    shadow.armed(NO_TRIPS)
    assert not any(shadow.follow(packed) for packed in records)
    assert shadow.follows


@pytest.mark.parametrize("late", [0, 1, 25])
def test_a_snapshot_brings_it_back_even_when_it_comes_late(late):
    records = recorded()
    first = decode_record(records[0]).tick
    shadow, _found = followed([*records[:300], *records[310 : 400 + late]])
    assert not shadow.follows
    numbers = unpack_numbers(snapshot_after(records, 399))
    assert shadow.snapshot(first + 398, numbers[:-1]) is None and not shadow.follows
    assert shadow.snapshot(first + 399, numbers) is None
    assert shadow.follows and shadow.compared == 300 + late
    assert not any(shadow.follow(packed) for packed in records[400 + late :])
    assert shadow.follows and shadow.lost == 1


@pytest.mark.parametrize("heard", [True, False])
def test_a_snapshot_needs_the_power_that_was_planned_anew_before_it(heard):
    """Lost in the middle: what was recorded before makes the snapshot whole again."""
    settings, plan, records, _counts = of_tape("power anew")
    at = len(records) - 20  # both sets are in use or behind
    replay = Replay(settings, plan)
    for packed in records[: at + 1]:
        assert replay.feed(packed, len(packed)) == -1
    shadow, first = Shadow(settings, plan), decode_record(records[0]).tick
    for packed in records[1 if heard else at : at + 1]:  # without its arming it does not follow
        assert shadow.follow(packed) is None
    assert not shadow.follows
    assert shadow.snapshot(first + at, take_snapshot(replay.machine)) is None
    assert shadow.follows is heard
    if heard:
        assert [shadow.follow(packed) for packed in records[at + 1 :]] == [None] * 19


def test_a_snapshot_that_is_too_old_brings_nothing_back():
    records = recorded()
    first = decode_record(records[0]).tick
    shadow, _found = followed([*records[:300], *records[310:600]])
    numbers = unpack_numbers(snapshot_after(records, 399))
    assert shadow.snapshot(first + 399, numbers) is None and not shadow.follows


def test_it_does_not_raise_for_what_a_record_holds():
    records = list(recorded())
    records[200] += bytes([messages.ARM, 200])  # a command that is cut short
    _shadow, ((number, difference),) = followed(records)
    assert number == 200 and difference.field == "commands"


def test_a_copy_that_fails_is_a_difference(monkeypatch):
    def fails(*_arguments):
        raise MemoryError

    monkeypatch.setattr(Replay, "feed", fails)
    shadow, found = followed(recorded()[:3])
    assert [(n, told.field, told.replayed) for n, told in found] == [(0, "", "MemoryError")]
    assert not shadow.follows


# in the loop of a run


@pytest.fixture
def run(tmp_path):
    """Return a function that lets the loop run over a tape with a self-check."""
    stores = []

    def go(records, mode, digest=None):
        store = open_store(tmp_path)
        stores.append(store)
        ledger = Ledger(store, facts(plan=PLAN, settings=SETTINGS))
        device, screen = FakeDevice(records, 10), FakeScreen()
        device.trip_counts = NO_TRIPS
        story = Story(decode_plan(PLAN), [], {0: "top_near_chip", 1: "edge"})
        check = self_check_for(mode, SETTINGS, PLAN, digest or installed_digest())
        loop = BenchRun(device, ledger, story, screen, FakeHand(), self_check=check)
        loop.arm(PLAN)
        loop.watch(PLAN)
        stored = [event.sentence for event in store.events(1) if event.kind == SELF_CHECK]
        assert stored == screen.sentences(SELF_CHECK)
        return device, screen

    yield go
    for store in stores:
        store.close()


def spoilt():
    records = list(recorded())
    record = decode_record(records[500])
    records[500] = changed(records[500], energy_j=record.energy_j ^ 1)
    return records, record


@pytest.mark.parametrize("mode", ["alarm", "trip", "off"])
def test_a_good_run_is_told_nothing(run, mode):
    device, screen = run(recorded(), mode)
    assert screen.sentences(SELF_CHECK) == [] and device.stops == []


def test_a_difference_is_shown_and_logged_and_stops_nothing(run):
    records, record = spoilt()
    device, screen = run(records, "alarm")
    ((tick, sentence),) = [(t, said) for t, kind, said in screen.told if kind == SELF_CHECK]
    assert tick == record.tick and device.stops == []
    assert f"energy_j was {record.energy_j ^ 1} and had to be {record.energy_j}" in sentence
    assert not {"shadow", "digest", "lease"} & set(sentence.lower().split())


def test_a_difference_takes_the_heat_away_where_a_person_asked_for_that(run):
    device, screen = run(spoilt()[0], "trip")
    assert device.stops == [messages.STOP_SELF_CHECK]
    assert "--self-check trip" in screen.sentences(SELF_CHECK)[0]


def test_without_a_self_check_nothing_is_compared(run):
    device, screen = run(spoilt()[0], "off")
    assert screen.sentences(SELF_CHECK) == [] and device.stops == []


def test_other_firmware_on_the_device_is_told_when_the_run_begins(run):
    _device, screen = run(spoilt()[0], "alarm", "ab" * 8)
    (sentence,) = screen.sentences(SELF_CHECK)
    assert "self-check is off" in sentence and "fingerprint abababababababab" in sentence


def test_missing_readings_are_told_once(run):
    records = list(recorded())
    _device, screen = run([*records[:300], *records[305:]], "alarm")
    assert len(screen.sentences(SELF_CHECK)) == 1
    assert "cannot follow any more" in screen.sentences(SELF_CHECK)[0]


def test_a_check_that_nobody_wants_takes_everything():
    check = SelfCheck()
    check.arming()
    check.armed(b"")
    assert list(check.follow(b"", 0)) == [] and not check.wants_stop
