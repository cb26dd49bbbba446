"""The cable is pulled, the program is killed: the same run goes on, whole and replayable.

The virtual device runs on without a cable, as a real one does; `--device` reaches it by its port,
and then it outlives the program that records it.
"""

import time

import pytest

from emberbed.store.run_store import RunStore
from emberbed_fw import run_states as rs
from tests.support.command import Started, finish, listed, stored
from tests.support.processes import need_posix
from tests.support.profiles import hold_profile

EQUAL = "every output is equal"


@pytest.fixture(scope="module")
def cable_out(make_run, short_profile):
    """20 s without a cable while the board is held at 60 degC; the script goes on afterwards."""
    return make_run(short_profile, "--fault", "cable_out@80s:20s")


def rebuilt_ticks(store, run_id):
    """Return how many stored ticks came back by replay."""
    with RunStore.open(store, create=False) as opened:
        rows = opened.database.all(
            "SELECT coalesce(sum(ticks), 0) FROM block WHERE run_id = ? AND rebuilt", run_id
        )
    return rows[0][0]


def test_a_pulled_cable_costs_the_heat_and_no_reading(cable_out):
    first, second = stored(cable_out.store, 1), stored(cable_out.store, 2)
    assert cable_out.done.exit_code == 0, cable_out.done.said
    assert (first.run.state, second.run.state) == ("link_lost", "finished")
    assert second.run.linked_to == 1
    for tape in (first, second):
        assert (tape.gaps, tape.audit) == (0, [])
    lost = next(n for n, one in enumerate(first.records) if one.verdict == rs.LINK_LOST)
    assert not any(one.driven_zones for one in first.records[lost:])


def test_what_the_heat_did_meanwhile_is_told(cable_out):
    told = stored(cable_out.store, 1).sentences()
    for part in (
        "connecting again",
        "The PC link is back; ",
        "Meanwhile the device took the heat away, ",
        "the board went from ",
        "Goes on as run 2.",
    ):
        assert part in told
    assert "The PC link is back; " in cable_out.done.said


def test_the_absence_is_replayed_like_everything_else(cable_out):
    for run in (1, 2):
        done = finish("runs", "replay", run, "--store", cable_out.store)
        assert done.exit_code == 0 and EQUAL in done.said, done.said


def killed_while_heating(device, store, profile):
    url, tell = device
    with Started("run", profile, "--device", url, "--store", store) as run:
        run.until("Hold the button")
        tell("hold 1.5")
        run.until("Stage 1 of")
        time.sleep(0.5)
        run.process.kill()
        run.process.wait()


def test_a_program_started_again_takes_its_run_over(device, tmp_path):
    need_posix("a program is killed")
    store, profile = tmp_path / "runs.sqlite", tmp_path / "short.toml"
    profile.write_text(hold_profile(for_s=60))
    killed_while_heating(device, store, profile)
    assert [(row["id"], row["state"]) for row in listed(store)] == [(1, "open")]
    before = stored(store).run.ticks
    with Started("run", "--resume", "--store", store) as again:
        assert again.end() == 5, again.said
    tape = stored(store)
    assert (tape.run.id, tape.run.state, tape.gaps, tape.audit) == (1, "link_lost", 0, [])
    assert tape.run.ticks > before + 300
    assert "This program was started again and has taken the run over; " in again.said
    assert "Meanwhile the device took the heat away, " in again.said
    done = finish("runs", "replay", 1, "--store", store)
    assert done.exit_code == 0 and EQUAL in done.said, done.said


def until_armed(device, store, profile):
    """Begin a run on the device as soon as it has cooled down; leave it armed."""
    url, _tell = device
    end_s = time.monotonic() + 60
    while time.monotonic() < end_s:
        with Started("run", profile, "--device", url, "--store", store) as run:
            try:
                run.until("Hold the button", 10)
            except AssertionError:
                time.sleep(0.5)
                continue
            return
    raise AssertionError("the device never took another run")


def test_a_device_in_another_run_is_refused_in_one_sentence(device, tmp_path):
    need_posix("a program is killed")
    url, tell = device
    profile = tmp_path / "short.toml"
    profile.write_text(hold_profile(for_s=60))
    mine, other = tmp_path / "mine.sqlite", tmp_path / "other.sqlite"
    killed_while_heating(device, mine, profile)
    before = stored(mine).run
    tell("board")  # a cold one: the run on the device ends soon
    until_armed(device, other, profile)
    done = finish("run", "--resume", "--store", mine)
    assert done.exit_code == 2
    assert f"The device at {url} is not in run 1 any more" in done.said
    assert stored(mine).run == before, "nothing was changed"


def test_without_a_run_left_open_there_is_nothing_to_resume(tmp_path):
    done = finish("run", "--resume", "--device", "socket://127.0.0.1:9", "--store", tmp_path / "r")
    assert done.exit_code == 2
    assert "There is no run to take over on socket://127.0.0.1:9: " in done.said


@pytest.mark.parametrize(
    "words", [("label-printer",), ("--hold", "100", "--for", "1min"), ("--touch-test",)]
)
def test_resume_goes_with_nothing_that_begins_a_run(tmp_path, words):
    done = finish("run", "--resume", *words, "--store", tmp_path / "runs.sqlite")
    assert done.exit_code == 2 and "--resume goes on with what the device does" in done.said


def test_a_second_program_is_refused_while_the_first_holds_the_port(device, tmp_path):
    url, _tell = device
    with Started("run", "label-printer", "--device", url, "--store", tmp_path / "a.sqlite") as run:
        run.until("Hold the button")
        done = finish("device", "info", "--device", url)
        assert done.exit_code == 2
        assert "another program" in done.said and "Traceback" not in done.said
