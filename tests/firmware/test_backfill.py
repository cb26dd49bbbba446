"""What a host lacks, oldest first: which memory each tick comes from, and where one hands over.

On a real memory with short rings: the newest 24 records whole, three blocks of 100 ticks each, one
tick in 10 for half an hour, one in 300 for longer.
"""

import struct

import pytest

from emberbed.link.packed import unpack
from emberbed_fw import record
from emberbed_fw.backfill import Backfill
from emberbed_fw.block_ring import BLOCK_BYTES, FORM_PACKED, FORM_WHOLE, BlockRing
from emberbed_fw.recorder import RING_SLOTS, Recorder
from tests.support.bench import Bench

NEWEST = 4321
AT = 5  # where in the frame's body the block goes


def recorded(newest, fine_blocks=3, second_blocks=3, run_blocks=3):
    """Return a memory that has had every tick up to `newest`."""
    recorder = Recorder()
    recorder.fine = BlockRing(fine_blocks, 1)
    recorder.second = BlockRing(second_blocks, 10)
    recorder.run = BlockRing(run_blocks, 300)
    machine = Bench().machine
    for tick in range(1, newest + 1):
        machine.tick = tick
        recorder.pack(machine)
    return recorder


@pytest.fixture(scope="module")
def memory():
    return recorded(NEWEST)


def kept(ring):
    """Return the ticks of each block of a ring, the oldest block first, by the host's reader."""
    blocks, tick = [], 0
    while (index := ring.find(tick)) >= 0:
        out = bytearray(BLOCK_BYTES)
        block = unpack(bytes(out[: ring.copy_block(index, out, 0)]))
        blocks.append([one.tick for one in block.ticks])
        tick = block.last_tick + 1
    return blocks


def sent(backfill, most=10000):
    """Return what comes, as (form, ticks of it), until nothing comes twice."""
    parts, quiet = [], 0
    while quiet < 2:
        assert len(parts) < most
        out = bytearray(b"\xee" * 300)
        length = backfill.next_into(out, AT)
        assert out[:AT] == b"\xee" * AT and set(out[AT + length :]) == {0xEE} and len(out) == 300
        quiet = 0 if length else quiet + 1
        if length:
            parts.append(opened(bytes(out[AT : AT + length])))
    return parts


def opened(block):
    if block[0] == FORM_WHOLE:
        assert len(block) == 1 + record.FIXED_BYTES
        return FORM_WHOLE, [struct.unpack_from("<I", block, 1)[0]]
    assert block[0] == FORM_PACKED
    return FORM_PACKED, [one.tick for one in unpack(block).ticks]


def asked(recorder, wanted):
    """Return the first tick that is announced and what then comes."""
    backfill = Backfill(recorder)
    first = backfill.ask(wanted)
    return first, sent(backfill)


def parts_since(recorder, wanted):
    """Return what must come for ticks from `wanted` on, put together from the rings themselves."""
    borders = Backfill(recorder)
    whole_from = recorder.oldest_whole()
    parts = []
    for ring, begins, ends in (
        (recorder.run, 0, borders.seconds_from()),
        (recorder.second, borders.seconds_from(), borders.fine_from()),
        (recorder.fine, borders.fine_from(), whole_from),
    ):
        since = max(wanted, begins)
        parts += [
            (FORM_PACKED, block) for block in kept(ring) if since <= block[-1]
            and block[0] < ends and since < ends
        ]  # fmt: skip
    # what has come packed does not come again
    first_whole = max(wanted, whole_from, parts[-1][1][-1] + 1 if parts else 0)
    return parts + [(FORM_WHOLE, [tick]) for tick in range(first_whole, recorder.newest_tick)]


# Where each memory begins


def test_nothing_is_kept_before_the_first_tick():
    backfill = Backfill(recorded(0))
    assert (backfill.fine_from(), backfill.seconds_from()) == (1, 1)
    assert backfill.ask(0) == backfill.ask(1) == backfill.ask(99) == 1
    assert sent(backfill) == []


def test_nothing_comes_before_it_is_asked_for(memory):
    assert sent(Backfill(memory)) == []


@pytest.mark.parametrize("wanted", [0, 1])
def test_the_first_tick_of_all_comes_too(wanted):
    assert asked(recorded(5), wanted) == (1, [(FORM_WHOLE, [tick]) for tick in range(1, 5)])


@pytest.mark.parametrize("newest", [1, 5, 23, 24, 25, 99, 100])
def test_at_first_every_tick_is_kept(newest):
    backfill = Backfill(recorded(newest))
    assert (backfill.fine_from(), backfill.seconds_from()) == (1, 1)


def test_borders_are_those_of_the_rings(memory):
    backfill = Backfill(memory)
    assert backfill.fine_from() == memory.fine.oldest_tick() == kept(memory.fine)[1][0] == 4201
    assert backfill.seconds_from() == memory.second.oldest_tick() == kept(memory.second)[1][0]
    assert memory.run.oldest_tick() == 300 and memory.oldest_whole() == NEWEST - 23


def test_what_is_kept_whole_may_reach_further_back_than_the_packed():
    recorder = recorded(105, fine_blocks=1)
    assert recorder.fine.oldest_tick() == 101
    assert Backfill(recorder).fine_from() == recorder.oldest_whole() == 105 - RING_SLOTS + 1


def test_seconds_never_begin_after_every_tick():
    recorder = recorded(2000, second_blocks=1)
    recorder.fine = BlockRing(200, 1)
    machine = Bench().machine
    for machine.tick in range(1, 2001):
        recorder.fine.take(machine.tick, recorder.slot(1), record.FIXED_BYTES)
    backfill = Backfill(recorder)
    assert recorder.second.oldest_tick() > 1
    assert (backfill.fine_from(), backfill.seconds_from()) == (1, 1)


# What comes


@pytest.mark.parametrize("wanted", [NEWEST - 23, NEWEST - 22, NEWEST - 5, NEWEST - 1])
def test_newest_come_whole(memory, wanted):
    ticks = list(range(wanted, NEWEST))
    assert asked(memory, wanted) == (wanted, [(FORM_WHOLE, [tick]) for tick in ticks])


def test_newest_of_all_has_just_been_sent(memory):
    assert asked(memory, NEWEST) == (NEWEST, [])
    assert asked(memory, NEWEST + 1) == (NEWEST + 1, [])
    assert asked(memory, 2**32 - 1) == (NEWEST + 1, [])


@pytest.mark.parametrize("wanted", [4201, 4202, 4250, 4296, 4297])
def test_older_ones_come_in_blocks_of_every_tick(memory, wanted):
    first, parts = asked(memory, wanted)
    assert first == wanted and parts == parts_since(memory, wanted)
    ticks = [tick for _form, of in parts for tick in of if tick >= wanted]
    assert sorted(set(ticks)) == list(range(wanted, NEWEST))


def test_before_those_one_a_second(memory):
    seconds_from = memory.second.oldest_tick()
    for wanted in (seconds_from, seconds_from + 1, 4000, 4191, 4200):
        first, parts = asked(memory, wanted)
        assert first == min(-(-wanted // 10) * 10, 4201), wanted
        seconds = [of for _form, of in parts if len(of) > 1 and of[1] - of[0] == 10]
        assert seconds == [
            block for block in kept(memory.second) if block[-1] >= first and first <= 4200
        ]
        assert parts[len(seconds) :] == asked(memory, 4201)[1]


def test_before_those_one_in_half_a_minute(memory):
    seconds_from = memory.second.oldest_tick()
    for wanted in (0, 1, 299, 300, 301, 599, 601, seconds_from - 300):
        first, parts = asked(memory, wanted)
        assert first == max(300, -(-wanted // 300) * 300), wanted
        assert parts[0] == (FORM_PACKED, kept(memory.run)[0])
        assert parts[1:] == asked(memory, seconds_from)[1]


def test_just_before_the_seconds_begin_they_come_first(memory):
    """No tick of the longest memory lies between: the seconds are the next."""
    seconds_from = memory.second.oldest_tick()
    wanted = seconds_from // 300 * 300 + 1
    assert wanted < seconds_from
    assert asked(memory, wanted) == asked(memory, seconds_from)
    on_it = seconds_from // 300 * 300
    assert asked(memory, on_it)[0] == on_it


def with_holes():
    """Return a memory of 900 to 1800 thinly, of seconds from 2000 on, of 2500 and 2600 itself."""
    recorder = recorded(700, fine_blocks=1, second_blocks=1, run_blocks=1)
    raw = bytes(recorder.slot(700))
    for ring, ticks in (
        ("run", range(900, 2000, 300)), ("second", range(2000, 2470, 10)), ("fine", (2500,)),
    ):  # fmt: skip
        empty = BlockRing(3, getattr(recorder, ring).step)
        for tick in ticks:
            empty.take(tick, raw, record.FIXED_BYTES)
        setattr(recorder, ring, empty)
    recorder.newest_tick = 2600
    return recorder


@pytest.mark.parametrize(
    ("wanted", "first"),
    [(1, 900), (900, 900), (901, 1200), (1800, 1800), (1801, 2000), (1999, 2000),
     (2000, 2000), (2001, 2010), (2491, 2500), (2501, 2501)],
)  # fmt: skip
def test_first_that_will_come_is_announced(wanted, first):
    assert Backfill(with_holes()).ask(wanted) == first


def test_where_a_memory_ends_early_the_next_one_goes_on_a_turn_later():
    backfill = Backfill(with_holes())
    backfill.ask(1)
    out, turns = bytearray(300), []
    for _turn in range(7):
        length = backfill.next_into(out, 0)
        turns.append((opened(bytes(out[:length]))[1] if length else [], backfill._tick))
    assert turns == [
        ([900, 1200, 1500, 1800], 1801), ([], 2000), (list(range(2000, 2470, 10)), 2461),
        ([], 2500), ([2500], 2501), ([], 2601), ([], 0),
    ]  # fmt: skip


def test_without_the_longest_memory_the_seconds_come():
    recorder = recorded(3000)
    recorder.run = BlockRing(1, 300)
    assert recorder.run.oldest_tick() == 0
    seconds_from = recorder.second.oldest_tick()
    assert seconds_from > 300
    assert Backfill(recorder).ask(1) == seconds_from


def test_it_goes_on_from_tick_to_tick(memory):
    backfill = Backfill(memory)
    backfill.ask(NEWEST - 2)
    out = bytearray(300)
    for tick in (NEWEST - 2, NEWEST - 1):
        length = backfill.next_into(out, 0)
        assert length == 1 + record.FIXED_BYTES
        assert bytes(out[1:length]) == bytes(memory.slot(tick)[: length - 1])
    assert backfill.next_into(out, 0) == 0


def test_forgotten_nothing_comes(memory):
    backfill = Backfill(memory)
    backfill.ask(1)
    backfill.forget()
    assert sent(backfill) == []


def test_once_all_is_sent_new_ticks_are_not_sent_again():
    """They come as they are made; only what is asked for comes a second time."""
    recorder = recorded(30)
    backfill = Backfill(recorder)
    backfill.ask(28)
    assert [of for _form, of in sent(backfill)] == [[28], [29]]
    machine = Bench().machine
    for machine.tick in range(31, 40):
        recorder.pack(machine)
    assert sent(backfill) == []
