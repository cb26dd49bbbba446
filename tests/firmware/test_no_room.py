"""Requests that find no room in memory: refused, and what was there before goes on."""

from emberbed_fw import run_states as rs
from tests.support.anew import anew, powers_of, send, waiting
from tests.support.power_sets import parts_of


def no_room(*_given):
    raise MemoryError


def test_power_that_finds_no_room_leaves_the_set_in_use(monkeypatch):
    wire = waiting()
    before = powers_of(wire.machine)
    payloads = parts_of(wire.bench.plan, anew(9000, 4000))
    with monkeypatch.context() as patch:
        patch.setattr(wire.machine.feedforward, "check", no_room)
        assert send(wire, payloads) == "BUSY"
    assert powers_of(wire.machine) == before and wire.machine.life.state == rs.WAIT
    assert send(wire, payloads) == "DONE"
    assert powers_of(wire.machine) == anew(9000, 4000)


def test_power_whose_first_part_finds_no_room_is_refused_too(monkeypatch):
    wire = waiting()
    first = parts_of(wire.bench.plan, anew(9000, 4000))[0]
    monkeypatch.setattr(wire.machine.feedforward, "make_room", no_room)
    assert send(wire, [first]) == "BUSY"
    assert wire.machine.life.state == rs.WAIT and wire.machine.guard.trip == 0
