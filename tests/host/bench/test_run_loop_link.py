"""The loop and its link: what breaks, falls silent, is reset, lost or damaged."""

from types import SimpleNamespace

import pytest

from emberbed.bench import run_loop
from emberbed.bench.run_loop import SILENT_S
from emberbed.link.events import Damaged, Gap, SessionLost, WrongVersion
from emberbed_fw import run_states as rs
from tests.host.bench.taped import LINK_BROKE, of_state, ticks

# the link


def test_a_broken_link_is_told_once_and_ends_the_run(bench, tape):
    ran = bench(tape[:200] + [LINK_BROKE])
    assert (ran.outcome.state, ran.outcome.exit_code) == ("link_lost", 5)
    told, given_up = ran.screen.sentences("link")
    assert told.startswith(str(LINK_BROKE))
    assert "switches heat off within 2 s by itself" in told
    assert given_up.startswith("The device has not come back")


def test_a_virtual_device_that_ended_is_told_instead_of_the_link(bench, tape):
    ran = bench(tape[:200] + [LINK_BROKE], why_gone=lambda: "The virtual device ended by itself")
    (told,) = ran.screen.sentences("link")
    assert told.startswith("The virtual device ended by itself.")
    assert "broke" not in told


def test_a_link_that_breaks_in_the_cooling_of_a_trip_is_still_a_trip(bench, tripped_tape):
    at = of_state(tripped_tape, rs.COOL) + 50
    ran = bench(tripped_tape[:at] + [LINK_BROKE])
    assert (ran.outcome.state, ran.outcome.exit_code) == ("tripped", 3)


def test_a_device_that_says_nothing_any_more_is_a_lost_link(bench, tape, monkeypatch):
    now = SimpleNamespace(s=0.0)

    def passing():
        now.s += SILENT_S / 4
        return now.s

    monkeypatch.setattr(run_loop, "time", SimpleNamespace(monotonic=passing))
    ran = bench(tape[:20])
    assert ran.outcome.exit_code == 5
    assert "has sent no record for 10 s" in ran.screen.sentences("link")[0]
    assert ran.device.renewed[-1] == ticks(tape)[19]


def break_at_the_acknowledgement(device):
    def renew(_tick):
        raise LINK_BROKE

    device.renew = renew


def test_what_came_before_the_link_broke_is_stored_whole(bench, tape):
    ran = bench(tape[:35], batch=35, prepare=break_at_the_acknowledgement)
    assert list(ran.store.raw_records(ran.run_id)) == tape[:35]
    assert ran.outcome.exit_code == 5


def test_a_link_that_breaks_after_the_end_takes_no_verdict_back(bench, tape):
    ran = bench(tape, batch=len(tape), prepare=break_at_the_acknowledgement)
    assert (ran.outcome.state, ran.outcome.exit_code) == ("finished", 0)
    assert ran.screen.sentences("link") == []


def test_a_reset_after_the_end_takes_no_verdict_back(bench, tape):
    ran = bench([*tape, SessionLost(7)], batch=len(tape) + 1)
    assert (ran.outcome.state, ran.outcome.exit_code) == ("finished", 0)


@pytest.mark.parametrize("event", [SessionLost(7), WrongVersion(2)])
def test_a_device_that_was_reset_is_a_lost_link(bench, tape, event):
    ran = bench([*tape[:50], event])
    assert ran.outcome.exit_code == 5
    assert "reset" in ran.screen.sentences("link")[0]


def test_lost_and_damaged_records_are_told_and_end_nothing(bench, tape):
    ran = bench([*tape[:50], Gap(51, 52), Damaged(3), *tape[52:60], LINK_BROKE])
    assert "51 to 52 are lost" in ran.screen.sentences("gap")[0]
    assert "3 frames arrived damaged" in ran.screen.sentences("damage")[0]
    assert ran.screen.shown[-1] == ticks(tape)[59]
