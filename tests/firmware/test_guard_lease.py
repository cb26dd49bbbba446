"""Who answers for the heat: one source at a time, for as long as it says so."""

import pytest

from emberbed_fw import trip_codes
from emberbed_fw.messages import ATTEND_HOST, ATTEND_PANEL
from emberbed_fw.safety_limits import LEASE_TICKS, PANEL_TICKS
from tests.support.judged import Judged

LEASES = {ATTEND_HOST: LEASE_TICKS, ATTEND_PANEL: PANEL_TICKS}
OTHER = {ATTEND_HOST: ATTEND_PANEL, ATTEND_PANEL: ATTEND_HOST}


def test_lease_runs_out_after_its_ticks():
    one = Judged()
    for _ in range(LEASE_TICKS - 1):
        one.guard.age_lease()
        assert one.tick() == 1
    one.guard.age_lease()
    assert one.tick() == 0
    assert one.withheld == trip_codes.WITHHELD_LEASE and one.guard.lease_lost()
    one.guard.renew_lease(ATTEND_HOST)
    assert one.tick() == 1, "the guard itself only withholds; the run ends elsewhere"


def test_lease_does_not_go_below_nothing():
    guard = Judged().guard
    for _ in range(LEASE_TICKS * 2):
        guard.age_lease()
    assert guard.lease_left == 0


@pytest.mark.parametrize("source", LEASES)
def test_each_source_has_its_own_time(source):
    guard = Judged().guard
    guard.attend(source)
    for _ in range(LEASES[source] - 1):
        guard.age_lease()
    assert not guard.lease_lost()
    guard.age_lease()
    assert guard.lease_lost()
    guard.renew_lease(source)
    assert guard.lease_left == LEASES[source]


@pytest.mark.parametrize("source", LEASES)
def test_the_other_source_renews_nothing(source):
    guard = Judged().guard
    guard.attend(source)
    guard.age_lease()
    left = guard.lease_left
    guard.renew_lease(OTHER[source])
    assert guard.lease_left == left and guard.attendance == source


@pytest.mark.parametrize("source", LEASES)
def test_another_source_begins_with_its_own_lease(source):
    guard = Judged().guard
    guard.attend(OTHER[source])
    guard.attend(source)
    assert guard.lease_left == LEASES[source]


def test_held_by_host_says_that_a_host_answers_right_now():
    guard = Judged().guard
    guard.attend(ATTEND_HOST)
    for _ in range(LEASE_TICKS):
        assert guard.held_by_host()
        guard.age_lease()
    assert not guard.held_by_host()
    guard.attend(ATTEND_PANEL)
    assert not guard.lease_lost() and not guard.held_by_host()


def test_dismissing_whoever_stood_at_the_device_leaves_nobody():
    guard = Judged().guard
    guard.attend(ATTEND_PANEL)
    guard.dismiss()
    assert (guard.attendance, guard.lease_left) == (ATTEND_HOST, 0)
    guard.renew_lease(ATTEND_HOST)
    assert guard.held_by_host()


def test_dismissing_takes_nothing_from_a_host():
    guard = Judged().guard
    guard.attend(ATTEND_HOST)
    guard.age_lease()
    guard.dismiss()
    assert (guard.attendance, guard.lease_left) == (ATTEND_HOST, LEASE_TICKS - 1)
