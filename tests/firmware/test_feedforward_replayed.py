"""FEEDFORWARD: a run whose power was planned anew is replayed from its records."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw.record import FIXED_BYTES
from emberbed_fw.replay import Heard, Replay, arms, field_at
from emberbed_fw.snapshot import restore_snapshot, take_snapshot
from tests.support.anew import powers_of
from tests.support.played import planned_anew
from tests.support.power_sets import PART


def planned_anew_tape():
    """Return the bench of a run whose power was planned anew twice, and its tape."""
    bench = planned_anew()
    first = next(n for n, packed in enumerate(bench.tape) if arms(packed, len(packed)))
    return bench, bench.tape[first:]


def fed(replay, records):
    """Return the first field that differs, '' for none."""
    for packed in records:
        differs = replay.feed(packed, len(packed))
        if differs >= 0:
            return field_at(differs)
    return ""


def test_run_is_replayed_from_its_records_alone():
    bench, tape = planned_anew_tape()
    replay = Replay(bench.settings, bench.plan)
    assert fed(replay, tape) == ""
    assert powers_of(replay.machine) == powers_of(bench.machine)


CLOSING = bytes([ms.FEEDFORWARD, PART, 0xFF, 0xFF])


def test_set_that_is_taken_out_of_the_record_is_found():
    bench, tape = planned_anew_tape()
    without = [
        packed[: packed.index(CLOSING, FIXED_BYTES)] if CLOSING in packed else packed
        for packed in tape
    ]
    assert without != tape
    assert fed(Replay(bench.settings, bench.plan), without) != ""


@pytest.mark.parametrize("share", [0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.97])
def test_replay_goes_on_from_a_snapshot_and_what_was_recorded(share):
    bench, tape = planned_anew_tape()
    cut = int(len(tape) * share)
    first, heard = Replay(bench.settings, bench.plan), Heard()
    for packed in tape[:cut]:
        assert first.feed(packed, len(packed)) == -1
        heard.note(packed, len(packed))
        heard.note(packed, len(packed))  # a record may be given again
    second = Replay(bench.settings, bench.plan)
    restore_snapshot(second.machine, take_snapshot(first.machine))
    second.begin_here(heard.until(first.machine.tick))
    assert powers_of(second.machine) == powers_of(first.machine)
    assert fed(second, tape[cut:]) == ""
    assert take_snapshot(second.machine) == take_snapshot(bench.machine)


def test_snapshot_without_its_feedforward_is_no_beginning():
    bench, tape = planned_anew_tape()
    second = Replay(bench.settings, bench.plan)
    restore_snapshot(second.machine, take_snapshot(bench.machine))
    with pytest.raises(ValueError, match="feedforward"):
        second.begin_here()


def test_next_arming_begins_without_what_was_heard():
    _bench, tape = planned_anew_tape()
    heard = Heard()
    for packed in tape:
        heard.note(packed, len(packed))
    assert len(heard.until(2**30)) == 6
    heard.note(tape[0], len(tape[0]))
    assert heard.until(2**30) == []
