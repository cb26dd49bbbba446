"""Pairs of faults: every one that a program can answer for, and none that it cannot."""

import pytest

from emberbed_sim.campaign.pairs import left_to_hardware, pairs, run_pair


def test_both_switches_failing_closed_is_left_to_hardware():
    closed = {("ssr_stuck_on", "contactor_welded"), ("contactor_welded", "ssr_stuck_on")}
    assert not closed & {(pair.first.fault, pair.second) for pair in pairs()}
    assert "ssr_stuck_on and contactor_welded" in left_to_hardware()


def test_there_are_more_pairs_than_the_fault_table_asks_for():
    assert len({(pair.first.fault, pair.second) for pair in pairs()}) > 990


@pytest.mark.parametrize(
    "name",
    [
        "tc_open then ssr_stuck_on", "host_silent then bus_dead", "ssr_stuck_on then tc_open",
        "tc_open then device_resets", "heap_low then button_stuck",
    ],
)  # fmt: skip
def test_heat_stays_off_when_one_more_fault_follows(name):
    pair = next(pair for pair in pairs() if pair.name == name and pair.first.phase == "soak")
    result = run_pair(pair, 0)
    assert result.found
    assert result.miss == ""
