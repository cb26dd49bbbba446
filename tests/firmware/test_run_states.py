"""The table of states: its whole product walked, and nothing outside it happens."""

import itertools
from contextlib import suppress

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.life import Life
from tests.support.bench import Bench

STATES = range(len(rs.STATE_NAMES))
EVENTS = range(len(rs.EVENT_NAMES))
ENDS = (rs.FINISHED, rs.STOPPED, rs.LINK_LOST, rs.TRIPPED)


def reachable(start, without=()):
    """Return every state that events can lead to from `start`."""
    found, todo = set(), [start]
    while todo:
        state = todo.pop()
        if state in found:
            continue
        found.add(state)
        todo += [to for event, to in rs.NEXT_STATE[state].items() if event not in without]
    return found


@pytest.mark.parametrize("state", [rs.RUN | 0x8000, -1, len(rs.STATE_NAMES)])
def test_state_that_is_none_can_only_end(state):
    """A bit has flipped in it."""
    taken = {event: rs.next_state(state, event) for event in EVENTS}
    assert taken.pop(rs.COOLS) == rs.COOL
    assert set(taken.values()) == {-1}


@pytest.mark.parametrize("bit", [3, 4, 15, 29])
def test_run_whose_state_flips_ends_as_a_fault_of_the_program(bit):
    bench = Bench().to_run()
    bench.tick(5)
    bench.machine.life.state ^= 1 << bit
    with suppress(Exception):
        bench.tick()
    if bench.machine.guard.trip == trip_codes.NO_TRIP:
        bench.machine.fail(bench.machine.tick)  # as the main loop does with what a tick raises
    assert bench.machine.guard.trip != trip_codes.NO_TRIP
    assert bench.machine.drives_nothing()
    bench.tick(20)
    assert bench.state in (rs.COOL, rs.TRIPPED) and bench.machine.drives_nothing()


def test_every_state_has_a_row_and_a_name():
    assert sorted(rs.NEXT_STATE) == list(STATES)
    assert len(set(rs.STATE_NAMES)) == len(rs.STATE_NAMES)
    assert len(set(rs.EVENT_NAMES)) == len(rs.EVENT_NAMES)
    for names in (rs.STATE_NAMES, rs.EVENT_NAMES):
        for number, name in enumerate(names):
            assert getattr(rs, name) == number


@pytest.mark.parametrize(("state", "event"), [*itertools.product(STATES, EVENTS)])
def test_whole_product_of_states_and_events(state, event):
    listed = rs.NEXT_STATE[state].get(event)
    life = Life()
    life.state = state
    life._state_ticks = 77
    taken = life.happen(event)
    if listed is None:
        assert rs.next_state(state, event) == -1
        assert not taken and life.state == state and life._state_ticks == 77
    else:
        assert rs.next_state(state, event) == listed
        assert taken and life.state == listed
        assert life._state_ticks == (77 if listed == state else 0)


def test_every_event_is_used_somewhere():
    used = {event for row in rs.NEXT_STATE.values() for event in row}
    assert used == set(EVENTS)


def test_every_state_can_be_reached():
    assert reachable(rs.BOOT) == set(STATES)


def test_heat_lies_behind_the_press():
    cold = reachable(rs.BOOT, without=(rs.PRESSED,))
    assert not cold & set(rs.HEATING_STATES)
    entries = {
        (state, event)
        for state, row in rs.NEXT_STATE.items()
        for event, to in row.items()
        if to in rs.HEATING_STATES and state not in rs.HEATING_STATES
    }
    assert entries == {(rs.COLD_PROOF, rs.PRESSED)}


def test_every_state_that_heats_can_only_be_left_into_cooling():
    for state in rs.HEATING_STATES:
        for to in rs.NEXT_STATE[state].values():
            assert to in rs.HEATING_STATES or to == rs.COOL
        assert rs.NEXT_STATE[state][rs.COOLS] == rs.COOL


def test_stop_leads_to_cooling_from_everywhere_but_the_last_states():
    refused = [state for state in STATES if rs.COOLS not in rs.NEXT_STATE[state]]
    # not started yet, cooling already, tripped and dark, in service and dark
    assert refused == [rs.BOOT, rs.COOL, rs.TRIPPED, rs.SERVICE]


def test_cooling_ends_in_its_verdict_or_goes_on_behind_a_new_press():
    for verdict in ENDS:
        assert rs.NEXT_STATE[rs.COOL][rs.END_EVENTS[verdict]] == verdict
    others = {event: to for event, to in rs.NEXT_STATE[rs.COOL].items() if to not in ENDS}
    assert others == {rs.ARMED: rs.COLD_PROOF}, "it heats again only through both proofs"


def test_tripped_state_is_left_only_by_being_cleared():
    # service restarts the device; a command asks for the mains plug to be pulled first
    assert rs.NEXT_STATE[rs.TRIPPED] == {rs.CLEARED: rs.IDLE, rs.TO_SERVICE: rs.SERVICE}


def test_a_new_run_needs_its_plan_stored_again():
    for end in ENDS:
        assert rs.ARMED not in rs.NEXT_STATE[end]


@pytest.mark.parametrize("verdict", ENDS)
def test_only_a_trip_changes_the_verdict_of_a_cooling(verdict):
    life = Life()
    life.state = rs.RUN
    life.end_heating(verdict)
    assert (life.state, life.verdict) == (rs.COOL, verdict)
    for later in (rs.FINISHED, rs.STOPPED, rs.LINK_LOST):
        life.end_heating(later)
        assert life.verdict == verdict
    life.end_heating(rs.TRIPPED)
    assert (life.state, life.verdict) == (rs.COOL, rs.TRIPPED)
