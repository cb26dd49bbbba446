"""Who answers for the heat over the wire: renewals, and a link that is too damaged to count."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import LEASE_TICKS
from tests.support.wire import DAMAGED, Wire, connected

# Leases


def test_renewals_keep_the_heat_on_and_free_the_ring():
    wire = Wire().to_run()
    wire.tick(100)
    assert wire.machine.driven_zones and wire.link.flow_owed() <= 1


def test_without_renewals_the_lease_runs_out():
    wire = Wire().to_run()
    wire.renews = False
    wire.tick(LEASE_TICKS)
    assert wire.machine.life.state == rs.COOL and wire.machine.life.verdict == rs.LINK_LOST
    assert wire.machine.driven_zones == 0


def test_renewals_of_another_session_do_not_count():
    wire = Wire().to_run()
    wire.renews = False
    for _ in range(LEASE_TICKS):
        wire.renew(session=wire.session ^ 1)
        wire.tick()
    assert wire.machine.life.verdict == rs.LINK_LOST


def test_renewals_that_acknowledge_nothing_new_do_not_count():
    wire = Wire().to_run()
    wire.renews = False
    stored = wire.machine.tick
    for _ in range(60):
        wire.renew(tick=stored)  # a host that talks and does not store
        wire.tick()
    assert wire.machine.life.verdict == rs.LINK_LOST


def test_ten_damaged_frames_in_a_minute_are_borne():
    wire = Wire().to_run()
    for _ in range(ms.MAX_DAMAGED_PER_MIN):
        wire.feed(DAMAGED)
        wire.tick(10)
    assert not wire.link_is_bad() and wire.machine.life.state == rs.RUN


@pytest.mark.parametrize("lead_in", [0, 97, 300, 598, 599])
def test_eleven_at_once_make_the_link_bad_and_the_lease_runs_out(lead_in):
    wire = Wire().to_run()
    while wire.machine.tick % 600 != lead_in:
        wire.tick()
        wire.machine.life.run_ticks = 0
    wire.feed(DAMAGED * (ms.MAX_DAMAGED_PER_MIN + 1))
    wire.tick()
    assert wire.link_is_bad()
    wire.tick(LEASE_TICKS)
    assert wire.machine.life.verdict == rs.LINK_LOST and wire.machine.driven_zones == 0


def test_eleven_within_a_minute_make_the_link_bad():
    wire = connected()
    wire.tick(600 - wire.machine.tick % 600)
    for _ in range(ms.MAX_DAMAGED_PER_MIN):
        wire.feed(DAMAGED)
        wire.tick(50)
    assert not wire.link_is_bad()
    wire.feed(DAMAGED)
    wire.tick()
    assert wire.link_is_bad()


def test_link_is_good_again_after_a_clean_minute():
    wire = connected()
    wire.feed(DAMAGED * 11)
    wire.tick(600)
    assert wire.link_is_bad()
    wire.tick()
    assert not wire.link_is_bad()
    wire.renew()
    wire.tick()
    assert wire.machine.guard.lease_left == LEASE_TICKS


def test_damage_in_that_minute_starts_it_again():
    wire = connected()
    wire.feed(DAMAGED * 11)
    wire.tick(500)
    wire.feed(DAMAGED)
    wire.tick(400)
    assert wire.link_is_bad()


def test_slow_drip_of_damage_is_no_bad_link():
    wire = connected()
    for _ in range(60):
        wire.feed(DAMAGED)
        wire.tick(100)
        assert not wire.link_is_bad()
