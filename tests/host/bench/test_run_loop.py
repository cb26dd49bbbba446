"""The loop that stores, answers for the heat and shows, against a device played from a tape."""

import re

import pytest

from emberbed.records import decode_record
from emberbed.report.ending import LEFT
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_sim.closed_loop import Operator
from tests.host.bench.fakes import FakeHand
from tests.host.bench.taped import LINK_BROKE, PROFILE, of_state, ticks
from tests.support.tapes import loop_of


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
