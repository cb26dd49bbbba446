"""What the device kept of an absence becomes records again: byte for byte, or marked as less.

Real records of a simulated run go through the firmware's own memory and backfill; the host's stream
reads what comes out of them. Nothing is compared with itself: the records are those of the run.
"""

import struct

import pytest

from emberbed.link.events import DEVICE, MEASURED, REBUILT, Gap, Snapshot, Thinned
from emberbed.link.packed import unpack
from emberbed.link.rebuild import Rebuilder
from emberbed.link.record_stream import RecordStream
from emberbed.records import commands_of, decode_record
from emberbed_fw import messages, recorder
from emberbed_fw.block_ring import BLOCK_BYTES, FORM_PACKED, HEAD
from emberbed_fw.replay import Replay
from emberbed_fw.snapshot import take_snapshot
from emberbed_fw.snapshot_parts import SnapshotParts
from emberbed_fw.tick_pack import DEMAND_SHIFT
from tests.host.link.away import Away, tick_of, up_to_a_long_block
from tests.support.record_tapes import run_of

NEVER_TRIPPED = None


@pytest.fixture(scope="module")
def whole_run():
    """Settings, plan and the records of a run of some 20 minutes."""
    settings, plan, records = run_of("whole run")[:3]
    return settings, plan, up_to_a_long_block(records)


@pytest.fixture
def short_memory(monkeypatch):
    """A device that keeps one a second for some 5 minutes, so that a short run outlasts it."""
    monkeypatch.setattr(recorder, "SECOND_BLOCKS", 30)


@pytest.mark.parametrize("missed", [40, 700, 2900])
def test_outputs_come_back_byte_for_byte(whole_run, missed):
    last = tick_of(whole_run[2][-1])
    away = Away(whole_run, last - missed)
    got = away.hear(away.ask())
    assert [one.tick for one in got] == list(range(last - missed, last + 1))
    assert all(away.is_true(one) for one in got)
    assert set(away.origins()) == {REBUILT}


def test_the_newest_records_come_whole(whole_run):
    last = tick_of(whole_run[2][-1])
    away = Away(whole_run, last - recorder.RING_SLOTS + 1)
    got = away.hear(away.ask())
    assert [one.tick for one in got] == list(range(last - recorder.RING_SLOTS + 1, last))
    assert all(away.is_true(one) for one in got) and set(away.origins()) == {DEVICE}


def test_beyond_the_fine_memory_one_a_second_is_had(whole_run, short_memory):
    gone = 1000
    away = Away(whole_run, gone)
    got = away.hear(away.ask())
    fine_from = away.backfill.fine_from()
    assert fine_from > gone + 1000
    thinned = [one for one in got if one.tick < fine_from]
    assert {one.origin for one in thinned} == {MEASURED}
    seconds_from = away.backfill.seconds_from()
    assert [one.tick for one in thinned if one.tick >= seconds_from] == list(
        range(-(-seconds_from // 10) * 10, fine_from, 10)
    )
    told = [event for event in away.events if isinstance(event, Thinned)]
    assert (told[-1].last, told[-1].step) == (fine_from - 1, 10)
    fine = [one.tick for one in got if one.tick >= fine_from]
    assert fine == list(range(fine[0], away.until + 1)) and fine[0] <= fine_from + 1
    assert not any(isinstance(event, Gap) for event in away.events)


def test_measured_records_hold_what_was_measured_and_invent_nothing(whole_run):
    away = Away(whole_run, 1000)
    fine_from = away.backfill.fine_from()
    thinned = [one for one in away.hear(away.ask()) if one.tick < fine_from]
    for one in thinned:
        said, true = decode_record(one.raw), decode_record(away.by_tick[one.tick])
        assert said.channels_cdeg() == true.channels_cdeg()
        for field in ("elapsed_ms", "words", "port_flags", "cold0_cdeg", "faults_low", "state",
                      "stage", "trip", "verdict", "energy_j", "setpoint_cdeg"):  # fmt: skip
            assert getattr(said, field) == getattr(true, field), field
        assert said.demand0_q15 == min(true.demand0_q15 >> DEMAND_SHIFT, 255) << DEMAND_SHIFT
        assert (said.driven_zones, said.outputs, said.touch, said.mark) == (0, 0, 0, 0)


def test_first_tick_without_a_proof_is_left_out(whole_run):
    """So the record shows a gap there, and a replay takes nothing after it for proven."""
    away = Away(whole_run, tick_of(whole_run[2][-1]) - 300, knows=True)
    away.rebuilder._lose_place()
    away.rebuilder._newest = (away.stream.next_tick - 1, away.records[0])
    got = away.hear(away.ask())
    assert got[0].origin == MEASURED and got[0].tick == tick_of(whole_run[2][-1]) - 299


@pytest.mark.parametrize("at", [20, 100, 199])
def test_a_bit_that_flipped_in_the_memory_is_not_taken_for_proven(whole_run, at):
    away = Away(whole_run, tick_of(whole_run[2][-1]) - 1000)
    payloads = away.ask()
    assert payloads[2][0] == FORM_PACKED
    spoilt = bytearray(payloads[2])
    spoilt[min(at, len(spoilt) - 1)] ^= 4
    got = away.hear([*payloads[:2], bytes(spoilt), *payloads[3:]])
    assert all(away.is_true(one) for one in got if one.origin == REBUILT)
    wrong = [one for one in got if not away.is_true(one)]
    assert {one.origin for one in wrong} <= {MEASURED}


def test_a_snapshot_is_a_new_place_to_begin(whole_run):
    """A host that knows nothing of before: from the snapshot on everything is had again."""
    settings, plan, records = whole_run
    last = tick_of(records[-1])
    replay = Replay(settings, plan, NEVER_TRIPPED)
    for raw in records:
        replay.feed(raw, len(raw))
        if tick_of(raw) == last - 500:
            break
    parts = SnapshotParts()
    parts.take(replay.machine)
    away = Away(whole_run, last - 500, knows=False)
    away.stream.start(last - 500, last)
    out = bytearray(400)
    while length := parts.next_into(out, 0):
        away.stream.take(messages.SNAPSHOT, bytes(out[:length]), away.events)
    for tick in range(last - 500, last - 400):  # as many as a block may have
        away.stream.take(messages.RECORD, away.by_tick[tick], away.events)
    (snapshot,) = [event for event in away.events if isinstance(event, Snapshot)]
    assert list(snapshot.numbers) == take_snapshot(replay.machine)
    away.events.clear()
    got = away.hear(away.ask())
    assert all(away.is_true(one) for one in got) and set(away.origins()) == {REBUILT}


def power_parts(records):
    """Return the ticks in which a part of a power set, or its end, was taken."""
    kinds = {tick_of(raw): [kind for kind, _payload in commands_of(raw)] for raw in records}
    return [tick for tick, asked in kinds.items() if messages.FEEDFORWARD in asked]


def test_power_that_was_planned_anew_in_an_absence_is_had_again():
    run = run_of("power anew")[:3]
    away = Away(run, power_parts(run[2])[0] - 5)
    got = away.hear(away.ask())
    assert got and all(away.is_true(one) for one in got)
    assert set(away.origins()) == {REBUILT}


@pytest.mark.parametrize("with_set", [1, 2])
def test_snapshot_brings_the_power_that_was_heard_before_it(with_set):
    """The snapshot names it, the records before have it; without them nothing is proved."""
    settings, plan, records = run_of("power anew")[:3]
    ends = power_parts(records)[2::3]
    taken = ends[with_set - 1] + 3
    replay = Replay(settings, plan, NEVER_TRIPPED)
    for raw in records:
        replay.feed(raw, len(raw))
        if tick_of(raw) == taken:
            break
    numbers = take_snapshot(replay.machine)
    for knows in (True, False):
        one = Rebuilder(settings, plan)
        for raw in records:
            if tick_of(raw) <= taken + 1 and (knows or tick_of(raw) >= taken):
                one.note(raw, tick_of(raw), DEVICE)
            if tick_of(raw) == taken:
                one.note_snapshot(taken, numbers)
        here = one._here()
        assert (here is not None) == knows
        if here is not None:
            powers = here.machine.plan.feedforward_q15[0]
            assert powers == replay.machine.plan.feedforward_q15[0]


@pytest.mark.parametrize("lost", [0, 1, 5])
def test_a_lost_block_is_asked_for_again(whole_run, lost):
    away = Away(whole_run, tick_of(whole_run[2][-1]) - 1000)
    payloads = away.ask()
    away.hear([*payloads[:lost], *payloads[lost + 1 :]])
    assert away.stream.missing
    away.hear(away.ask())
    assert [one.tick for one in away.got] == list(range(away.until - 1000, away.until + 1))
    assert all(away.is_true(one) for one in away.got)


def test_blocks_that_come_twice_or_late_change_nothing(whole_run):
    away = Away(whole_run, tick_of(whole_run[2][-1]) - 400)
    payloads = away.ask()
    got = away.hear([*payloads[:3], *payloads[:3], payloads[1], *payloads[3:]])
    assert [one.tick for one in got] == list(range(away.until - 400, away.until + 1))


def test_what_no_memory_has_any_more_is_a_gap(whole_run, short_memory):
    away = Away(whole_run, 1000)
    away.backfill._recorder.run._used = 0  # a device that kept no whole-run record
    away.hear(away.ask())
    (gap,) = [event for event in away.events if isinstance(event, Gap)]
    first = -(-away.backfill.seconds_from() // 10) * 10
    assert (gap.first, gap.last) == (1000, first - 1)


def test_without_a_rebuilder_packed_ticks_are_a_gap(whole_run):
    away = Away(whole_run, tick_of(whole_run[2][-1]) - 300)
    away.stream.rebuilder = None
    away.hear(away.ask())
    gaps = [event for event in away.events if isinstance(event, Gap)]
    assert (gaps[0].first, gaps[-1].last) == (away.until - 300, away.until)


HEADS = [
    b"", b"\1", struct.pack(HEAD, 1, 1, 5, 0, 0), struct.pack(HEAD, 1, 0, 5, 1, 0) + b"\0",
    struct.pack(HEAD, 2, 1, 5, 1, 0) + b"\0", struct.pack(HEAD, 1, 1, 5, 2, 0) + b"\0",
    struct.pack(HEAD, 1, 1, 5, 1, 0) + b"\0\0", struct.pack(HEAD, 1, 1, 5, 1, 0) + b"\x08",
    struct.pack(HEAD, 1, 1, 5, 1, 0) + b"\x40\x20abc",
]  # fmt: skip


@pytest.mark.parametrize("payload", HEADS)
def test_what_is_no_block_is_damage(payload):
    with pytest.raises(ValueError, match="block|packed"):
        unpack(payload)
    stream, events = RecordStream(0.4, None), []
    stream.take(messages.BACKFILL_BLOCK, payload, events)
    assert (events, stream.malformed) == ([], 1)


def test_a_block_fills_one_frame_at_most():
    assert BLOCK_BYTES <= 236
