"""What hands do in a run, end to end: hot air, changes, a bead that lifts, a couple pulled out.

The command as a process, the firmware in MicroPython where that is installed, a script as the hand.
"""

import json

import pytest

from emberbed.records import commands_of
from emberbed_fw import messages, replay, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S
from tests.support.command import finish, listed, stored
from tests.support.profiles import hold_profile


@pytest.fixture(scope="module")
def hot_air(make_run):
    return make_run("label-printer")


@pytest.fixture(scope="module")
def plain_hold(make_run):
    """A hold without a file, with second thoughts: times are after the press."""
    acts = (
        "hold_here@60s", "go_on@80s", "offset@90s#2", "mark@100s", "offset@110s#50", "go_on@120s",
        "extend@5min#30", "extend@310s#600", "press_down@320s",
    )  # fmt: skip
    words = [word for act in acts for word in ("--act", act)]
    return make_run("--hold=80", "--for", "3min", "--alloy", "SAC305", *words)


@pytest.fixture(scope="module")
def warm_profile(tmp_path_factory):
    """Return a profile that holds 85 °C for a while: hot enough to see a bead lift."""
    path = tmp_path_factory.mktemp("profile") / "warm.toml"
    path.write_text(hold_profile(for_s=240, to_c=85), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def mended(make_run, warm_profile):
    """A bead lifts in the hold and is not pressed down in time; later it is."""
    return make_run(warm_profile, "--act", "lift@5min", "--act", "press_down@315s", "--json")


@pytest.fixture(scope="module")
def third_trip(make_run, warm_profile):
    acts = [
        word
        for again in (240, 330, 420)
        for word in ("--act", f"lift@{again}s", "--act", f"press_down@{again + 15}s")
    ]
    return make_run(warm_profile, *acts)


@pytest.fixture(scope="module")
def pulled(make_run, short_profile):
    """Cooled down by the person, who takes a couple off the board before it is cool."""
    return make_run(short_profile, "--act", "cool@150s", "--fault", "tc_open@235s#1")


def marks(tape):
    return [(one.mark, one.touch_source) for one in tape.records if one.mark]


# hot air


def test_hot_air_is_a_stage_begun_and_ended_by_the_person(hot_air):
    assert hot_air.done.exit_code == 0, hot_air.done.said
    told = hot_air.tape.sentences()
    for sentence in (
        "Bring the hot air over the chip",
        "Mark: nozzle on, from a script.",
        "Hot air is on. Answer when it is away",
        "Mark: solder moves, from a script.",
        "Mark: air away, from a script.",
        "Finished.",
    ):
        assert sentence in told
    assert "Not done" not in told
    blown = [one for one in hot_air.tape.records if one.waits_for == rs.WAITS_AIR_AWAY]
    # ScriptedHand: 75 s of air, 3 s until it is said to be away
    assert len(blown) / TICKS_PER_S == pytest.approx(78, abs=8)  # a busy machine hears late
    assert max(one.channel_cdeg(0) for one in blown) > blown[0].channel_cdeg(0) + 500


def test_its_marks_are_in_the_record_in_their_order(hot_air):
    assert marks(hot_air.tape) == [
        (mark, messages.BY_SCRIPT)
        for mark in (
            messages.MARK_FLUX_ON, messages.MARK_NOZZLE_ON, messages.MARK_SOLDER_MOVES,
            messages.MARK_AIR_AWAY,
        )
    ]  # fmt: skip


# changes


def test_a_hold_without_a_file_runs_like_any_other(plain_hold):
    assert plain_hold.done.exit_code == 0, plain_hold.done.said
    tape = plain_hold.tape
    assert tape.run.profile_name == "Hold 80 °C for 3 min"
    assert 'alloy = "SAC305"' in tape.run.profile_toml
    assert tape.audit == [] and tape.gaps == 0
    held = [one for one in tape.records if one.stage == 1 and one.state == rs.RUN]
    # 3 min inside the band of 5 °C, which is 82 °C by now, and half a minute more
    in_band = [one for one in held if abs(one.channel_cdeg(0) - 8200) <= 500]
    assert len(in_band) / TICKS_PER_S >= 210


def test_every_change_is_a_logged_request_with_its_source_and_time(plain_hold):
    records = plain_hold.tape.records
    pressed = next(one.tick for one in records if one.state == rs.HOT_PROOF)
    touched = {
        one.touch: (one.tick - pressed) / TICKS_PER_S
        for one in records
        if one.touch and one.touch_source == messages.BY_SCRIPT
    }
    asked = {
        messages.HOLD_HERE: 60, messages.GO_ON: 80, messages.OFFSET: 90, messages.MARK: 100,
        messages.EXTEND: 300,
    }  # fmt: skip
    assert set(touched) == set(asked)
    for touch, at_s in asked.items():  # at full speed the command hears of a tick some later
        assert at_s <= touched[touch] <= at_s + 12, messages.TOUCH_NAMES[touch]
    requests = [
        payload
        for raw in plain_hold.tape.raw
        for kind, payload in commands_of(raw)
        if kind == messages.STAGE_REQUEST
    ]
    assert len(requests) == 8  # the refused ones too: they came in, and changed nothing
    assert max(one.offset_cdeg for one in records) == 200


def test_what_was_refused_is_told_in_one_sentence_and_changes_nothing(plain_hold):
    refused = [event.sentence for event in plain_hold.tape.events if event.kind == "refusal"]
    assert [one.split(": ")[0] for one in refused] == [
        "Not done (target moved, from a script)",
        "Not done (go on, from a script)",
        "Not done (more time, from a script)",
    ]
    assert "at most 5 °C" in refused[0]
    assert "Nothing is held" in refused[1]
    assert "up to 60 s more at a time" in refused[2]


def test_touched_runs_replay_bit_for_bit(plain_hold, hot_air):
    for ran in (plain_hold, hot_air):
        assert replays(ran.tape)


def replays(tape):
    """Tell whether this interpreter gives the same records again from the arming on."""
    first = next(at for at, octets in enumerate(tape.raw) if replay.arms(octets, len(octets)))
    again = replay.Replay(tape.run.settings, tape.run.plan, tape.run.trip_counts)
    return all(again.feed(octets, len(octets)) < 0 for octets in tape.raw[first:])


# a mended trip


def test_a_mended_trip_goes_on_in_a_linked_run(mended):
    assert mended.done.exit_code == 0, mended.done.said
    answer = json.loads(mended.done.output)
    assert (answer["run"], answer["goes_on_with"], answer["state"]) == (2, [1], "finished")
    first, second = listed(mended.store)
    assert (first["state"], first["trip"], first["linked_to"]) == ("tripped", "SENSOR_LIFTED", None)
    assert (second["state"], second["trip"], second["linked_to"]) == ("finished", "", 1)
    for run in (1, 2):
        tape = stored(mended.store, run)
        assert tape.audit == [] and tape.gaps == 0
    before, after = stored(mended.store, 1), stored(mended.store, 2)
    assert after.records[0].tick == before.records[-1].tick + 1
    assert replay.arms(after.raw[0], len(after.raw[0]))


def test_it_is_told_how_it_went_on(mended):
    told = stored(mended.store, 1).sentences()
    assert "Press the sensor down: top_near_chip. Heat is off until it is down." in told
    assert "The bead of the sensor top_near_chip has lifted off the board" in told
    assert "Mended within 3 min, the run can go on" in told
    assert "Go on from " in told and "Goes on as run 2." in told
    begins, *_rest = stored(mended.store, 2).events
    assert begins.sentence.startswith("Goes on with run 1: from ")


def test_it_goes_on_hot_and_in_the_hold_that_it_left(mended):
    before, after = stored(mended.store, 1).records, stored(mended.store, 2).records
    left = [one for one in before if one.state == rs.RUN][-1]
    entered = next(one for one in after if one.state == rs.RUN)
    assert left.stage == entered.stage == 1
    assert abs(entered.stage_tick - left.stage_tick) <= 2  # what was soaked is not soaked again
    assert entered.channel_cdeg(0) > 5000
    assert not any(one.driven_zones for one in after if one.state == rs.COLD_PROOF)


def test_both_linked_runs_replay_bit_for_bit(mended):
    assert stored(mended.store, 2).run.trip_counts[trip_codes.SENSOR_LIFTED] == 1
    for run in (1, 2):
        assert replays(stored(mended.store, run)), run


def test_the_third_trip_of_one_cause_allows_cooling_only(third_trip):
    assert third_trip.done.exit_code == 3, third_trip.done.said
    runs = listed(third_trip.store)
    assert [run["trip"] for run in runs] == ["SENSOR_LIFTED"] * 3
    assert [run["linked_to"] for run in runs] == [None, 1, 2]
    last = stored(third_trip.store, 3)
    assert "This is trip number 3 of this cause: only cooling is left." in last.sentences()
    assert not any(one.prompt == 252 for one in last.records)  # GO_ON_PROMPT
    assert "Run 3 goes on with runs 1 and 2" in third_trip.done.output
    assert [one.trips_of_cause for one in last.records][-1] == 3


# cooling


def test_a_couple_pulled_out_in_the_cooling_ends_the_run_unproven(pulled):
    assert pulled.done.exit_code == 0, pulled.done.said
    tape = pulled.tape
    assert tape.run.state == "finished"
    last = tape.records[-1]
    assert last.fault(1) == trip_codes.SENSOR_OPEN
    assert last.trip == trip_codes.NO_TRIP
    assert "Cooling not proven: " in tape.sentences() and "edge no reading" in tape.sentences()
    gone = [one for one in tape.records if one.state == rs.COOL and one.fault(1)]
    assert len(gone) / TICKS_PER_S == pytest.approx(10, abs=0.5)  # contracts: pulled for 10 s


# the touch test


def test_a_run_may_begin_with_the_touch_test(tmp_path):
    store = tmp_path / "runs.sqlite"
    done = finish(
        "run", "--hold", "40", "--for", "10s", "--touch-test", "--press", "--speed", "max",
        "--store", store,
    )  # fmt: skip
    assert done.exit_code == 0, done.said
    lines = done.output.splitlines()
    asked = next(n for n, line in enumerate(lines) if line.startswith("Lay a finger"))
    assert lines[asked + 1].startswith("The finger warmed top_near_chip (channel 0, by ")
    assert stored(store).run.state == "finished"
