"""Closed loops that are forked, sent elsewhere, and asked for the truth."""

import pickle
from itertools import islice

import pytest

from emberbed.records import commands_of, decode_record
from emberbed_fw import messages, record
from emberbed_fw import run_states as rs
from emberbed_sim.faults import parse_fault
from tests.support.looped import AT, PROFILE, RAMPING_S, ended, records_of, warm_loop
from tests.support.tapes import loop_of, plan_of


@pytest.mark.parametrize("plant", ["lumped", "grid"])
def test_a_fork_without_faults_goes_on_with_the_same_bits(plant):
    loop = warm_loop(plant)
    other = loop.fork()
    third = other.fork()
    ahead = list(islice(other.run(), 900))  # the fork first: it must not move the original
    assert list(islice(loop.run(), 900)) == ahead
    assert list(islice(third.run(), 900)) == ahead
    assert loop.heater.truth == other.heater.truth == third.heater.truth
    assert len(set(ahead)) == 900


def test_a_fork_goes_through_to_the_end_as_a_run_without_one():
    whole = list(loop_of(PROFILE).run())
    loop = loop_of(PROFILE)
    first = list(islice(loop.run(), 333))
    assert first + list(loop.fork().run()) == whole


def test_faults_of_a_fork_are_its_own():
    loop = warm_loop()
    now_s = loop.heater.elapsed_s
    texts = (f"tc_open@{now_s + 1}s", f"host_silent@{now_s + 1}s", f"tick_raises@{now_s + 1}s")
    forks = [loop.fork([parse_fault(text)]) for text in texts]
    plain = list(islice(loop.run(), 60))
    for fork in forks:
        tape = list(islice(fork.run(), 60))
        assert tape[:10] == plain[:10]
        assert tape[-1] != plain[-1]
    assert decode_record(plain[-1]).state == rs.RUN


def test_a_fork_begins_in_any_phase():
    """A prompt that waits, a press that is due: hands are copied with the rest."""
    loop = loop_of(PROFILE)
    for _raw in loop.run(15):  # armed, not pressed yet
        pass
    other = loop.fork()
    assert list(other.run()) == list(loop.run())
    assert other.machine.life.state == rs.FINISHED


def test_a_loop_can_be_sent_to_another_process():
    loop = warm_loop()
    other = pickle.loads(pickle.dumps(loop))
    assert list(islice(other.run(), 300)) == list(islice(loop.run(), 300))
    grid = warm_loop("grid")
    other = pickle.loads(pickle.dumps(grid))
    assert list(islice(other.run(), 100)) == list(islice(grid.run(), 100))


def test_the_next_board_has_the_faults_of_the_bench():
    first = loop_of(PROFILE, "heap_low@0s")
    assert len(records_of(first, 50)) == 50
    second = first.next_board(plan_of(PROFILE)[0], after_s=1.0)
    assert all(one.port_flags & record.PORT_HEAP_LOW for one in records_of(second, 50))


def test_truth_tells_what_each_bead_should_read():
    loop = loop_of(PROFILE, "bead_half_off@0s#30,1")
    for _raw in loop.run(900):
        pass
    truth = loop.heater.truth
    assert truth.places_c == (truth.board_centre_c, truth.board_edge_c)
    assert truth.beads_c[0] == pytest.approx(truth.places_c[0], abs=2.0)
    assert truth.beads_c[1] < truth.places_c[1] - 5


def test_a_renewal_in_the_tape_names_the_tick_that_was_stored():
    """What the link's rows change is seen in the record: RENEW's payload is a tick."""
    _loop, records = ended(f"host_stores_nothing@{RAMPING_S}s:1s")
    loop = loop_of(PROFILE, f"host_stores_nothing@{RAMPING_S}s:1s")
    named = []
    for raw in loop.run(AT + 20):
        renewals = [body for kind, body in commands_of(raw) if kind == messages.RENEW]
        named += [int.from_bytes(body, "little") for body in renewals]
    stuck = AT - 1
    assert named.count(stuck) == 11  # once in its time, ten times in vain
    assert named[-1] == AT + 19
    assert records[-1].state == rs.FINISHED
