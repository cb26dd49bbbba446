"""Something breaks in the middle: heat goes, the record goes on, the exit code says what it was."""

import pytest

from emberbed import words
from emberbed_fw import record, safety_limits, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S


def ticks_after(tape, first):
    return [one for one in tape.records if one.tick >= first.tick]


def first_of(tape, wanted):
    return next(one for one in tape.records if wanted(one))


def is_tripped(one):
    return one.trip != trip_codes.NO_TRIP


@pytest.fixture(scope="module")
def tc_open(make_run):
    return make_run("label-printer", "--fault", "tc_open@120s")


@pytest.fixture(scope="module")
def stuck_on(make_run):
    return make_run("label-printer", "--fault", "ssr_stuck_on@300s")


@pytest.fixture(scope="module")
def silent(make_run):
    return make_run("label-printer", "--fault", "host_silent@200s")


@pytest.fixture(scope="module")
def short_silence(make_run, short_profile):
    return make_run(short_profile, "--fault", "host_silent@60s:1s")


@pytest.fixture(scope="module")
def two_faults(make_run, short_profile):
    """The SSR sticks, and a tick later the edge's couple breaks."""
    faults = ("--fault", "ssr_stuck_on@80s", "--fault", "tc_open@80.1s#1")
    return make_run(short_profile, *faults)


@pytest.fixture(scope="module")
def silent_then_open(make_run, short_profile):
    """The host is silent, and once that has taken the heat a couple breaks."""
    return make_run(short_profile, "--fault", "host_silent@80s", "--fault", "tc_open@83s")


def test_whatever_breaks_every_reading_is_kept(
    tc_open, stuck_on, silent, short_silence, two_faults, silent_then_open
):
    for ran in (tc_open, stuck_on, silent, short_silence, two_faults, silent_then_open):
        assert ran.tape.gaps == 0
        assert ran.tape.audit == []
        assert "Traceback" not in ran.done.said
        ticks = [one.tick for one in ran.tape.records]
        assert ticks == list(range(ticks[0], ticks[0] + len(ticks)))


def test_an_open_couple_takes_permission_at_once_and_trips_with_the_third(tc_open):
    assert tc_open.done.exit_code == 3
    assert tc_open.tape.run.state == "tripped"
    bad = first_of(tc_open.tape, lambda one: one.fault(0) == trip_codes.SENSOR_OPEN)
    first, second, third = ticks_after(tc_open.tape, bad)[:3]
    for one in (first, second, third):
        assert one.withheld & trip_codes.WITHHELD_SENSOR
        assert one.driven_zones == 0
    assert [first.trip, second.trip, third.trip] == [0, 0, trip_codes.SENSOR_OPEN]
    assert first.state == rs.RUN


def test_after_an_open_couple_the_contactor_opens_and_nothing_heats(tc_open):
    tripped = first_of(tc_open.tape, is_tripped)
    after = ticks_after(tc_open.tape, tripped)
    assert not any(one.driven_zones for one in after)
    assert not any(one.outputs & record.OUT_CONTACTOR for one in after)
    mirror = [bool(one.port_flags & record.PORT_CONTACTOR_CLOSED) for one in after]
    # the mirror follows the coil within the time the guard allows it, and stays open
    assert not any(mirror[safety_limits.CONTACTOR_TICKS :])
    current = [bool(one.port_flags & record.PORT_HEAT_CURRENT) for one in after]
    assert not any(current[1:])  # the sense tells of the tick before


def test_after_an_open_couple_the_cooling_is_recorded(tc_open):
    tripped = first_of(tc_open.tape, is_tripped)
    after = ticks_after(tc_open.tape, tripped)
    assert len(after) >= safety_limits.LEAST_COOL_TICKS
    assert all(one.channel_cdeg(1) is not None for one in after)  # the couple that is whole
    assert all(one.channel_cdeg(0) is None for one in after)
    ended = first_of(tc_open.tape, lambda one: one.state == rs.TRIPPED)
    assert ended.channel_cdeg(1) < safety_limits.HANDLING_CDEG


def test_an_open_couple_is_told_with_its_name_and_the_mend(tc_open):
    assert "top_near_chip is open" in tc_open.done.output
    assert "start a new run" in tc_open.done.output
    assert "top_near_chip is open" in tc_open.tape.sentences()


def test_a_stuck_switch_is_tripped_within_a_second_of_sticking(stuck_on):
    """Sticking shows with the first tick in which current flows without a drive."""
    assert stuck_on.done.exit_code == 3
    cause, caution = stuck_on.done.output.splitlines()[-2:]
    assert cause.startswith("Tripped: Heater current flows although")
    assert "Pull the mains plug now" in cause
    assert caution == words.HOT
    assert stuck_on.tape.run.trip == trip_codes.HEAT_UNCOMMANDED
    began = _tick_at_s(stuck_on.tape, 300)
    tripped = first_of(stuck_on.tape, is_tripped)
    assert 0 < tripped.tick - began <= TICKS_PER_S


def test_a_stuck_switch_heats_no_more_once_the_contactor_is_open(stuck_on):
    """The emitter's truth is not on the wire; the current sense of the second tick after is."""
    tripped = first_of(stuck_on.tape, is_tripped)
    after = ticks_after(stuck_on.tape, tripped)
    assert not any(one.outputs & record.OUT_CONTACTOR for one in after)
    flows = [bool(one.port_flags & record.PORT_HEAT_CURRENT) for one in after]
    assert not any(flows[safety_limits.CONTACTOR_TICKS :])
    peak = max(one.channel_cdeg(0) for one in after)
    assert peak < tripped.channel_cdeg(0) + 2500  # what the emitters had stored: facts, 10-25 degC
    ended = first_of(stuck_on.tape, lambda one: one.state == rs.TRIPPED)
    assert ended.channel_cdeg(0) < safety_limits.HANDLING_CDEG


def test_a_silent_host_loses_the_heat_within_two_and_a_quarter_seconds(silent):
    assert silent.done.exit_code == 5
    assert silent.tape.run.state == "link_lost"
    began = _tick_at_s(silent.tape, 200)
    heats = [one.tick for one in silent.tape.records if one.driven_zones]
    assert (max(heats) - began) / TICKS_PER_S <= 2.25
    cools = first_of(silent.tape, lambda one: one.state == rs.COOL)
    assert (cools.tick - began) / TICKS_PER_S <= 2.25
    assert cools.verdict == rs.LINK_LOST
    assert not any(
        one.outputs & record.OUT_CONTACTOR for one in silent.tape.records if one.tick >= cools.tick
    )
    assert silent.tape.records[-1].state == rs.LINK_LOST


def test_a_silence_of_one_second_costs_nothing(short_silence):
    assert short_silence.done.exit_code == 0, short_silence.done.said
    assert short_silence.tape.run.state == "finished"
    began = _tick_at_s(short_silence.tape, 60)
    quiet = [
        one
        for one in short_silence.tape.records
        if began <= one.tick < began + TICKS_PER_S and one.state == rs.RUN
    ]
    assert len(quiet) == TICKS_PER_S  # it fell into the heating
    assert not any(one.withheld for one in quiet)


def test_of_two_faults_the_first_to_be_sure_of_is_the_cause(two_faults):
    """Which one that is depends on whether the drive was just on when the switch stuck."""
    assert two_faults.done.exit_code == 3
    tripped = first_of(two_faults.tape, is_tripped)
    causes = {
        trip_codes.HEAT_UNCOMMANDED: "Heater current flows",
        trip_codes.SENSOR_OPEN: "sensor edge is open",
    }
    assert causes[tripped.trip] in two_faults.done.output
    assert two_faults.tape.run.trip == tripped.trip
    after = ticks_after(two_faults.tape, tripped)
    assert {one.trip for one in after} == {tripped.trip}
    assert not any(one.driven_zones for one in after)
    assert not any(one.outputs & record.OUT_CONTACTOR for one in after)


def test_a_couple_that_breaks_in_the_cooling_changes_no_verdict(silent_then_open):
    assert silent_then_open.done.exit_code == 5
    last = silent_then_open.tape.records[-1]
    assert last.state == rs.LINK_LOST
    assert last.trip == trip_codes.NO_TRIP
    assert last.fault(0) == trip_codes.SENSOR_OPEN
    assert last.channel_cdeg(1) is not None


def _tick_at_s(tape, seconds):
    """Return the tick whose inputs were taken `seconds` after the virtual device's clock began;
    its first tick is number 1 and reads the bench at 0 s."""
    return seconds * TICKS_PER_S + 1
