"""Runs of the command itself, through wire and store: each is replayed with equal outputs."""

import json

import pytest

from emberbed.bench.self_check import SELF_CHECK
from tests.support.command import finish, listed

RUNS = {
    "finished": (0, ()),
    "tripped": (3, ("--fault", "tc_open@60s")),
    "stopped": (4, ("--act", "stop@40s")),
    "PC link lost": (5, ("--fault", "host_silent@50s")),
}


@pytest.fixture(scope="module", params=list(RUNS))
def ran(request, make_run, short_profile):
    exit_code, words = RUNS[request.param]
    made = make_run(short_profile, *words)
    assert made.done.exit_code == exit_code, made.done.said
    return made


def test_every_tick_from_the_arming_on_is_equal_in_each_interpreter(ran):
    for row in listed(ran.store):
        done = finish("runs", "replay", row["id"], "--json", "--store", ran.store)
        assert done.exit_code == 0, done.said
        replays = json.loads(done.output)["replays"]
        assert replays
        for one in replays:
            assert one["differences"] == []
            assert {span["why"] for span in one["not_proven"]} <= {"arming"}
            proven = one["equal_ticks"] + sum(
                span["last"] + 1 - span["first"] for span in one["not_proven"]
            )
            assert proven == row["ticks"]
            assert one["equal_ticks"] > 0.7 * row["ticks"]


def test_the_self_check_followed_and_had_nothing_to_tell(ran):
    assert [event for event in ran.tape.events if event.kind == SELF_CHECK] == []


def test_a_run_travels_in_a_bundle(ran, tmp_path):
    done = finish("runs", "bundle", "last", tmp_path / "run.zip", "--store", ran.store)
    assert done.exit_code == 0, done.said
    away = tmp_path / "away.sqlite"
    assert finish("runs", "open", tmp_path / "run.zip", "--store", away).exit_code == 0
    assert finish("runs", "audit", "--store", away).exit_code == 0
    assert finish("runs", "replay", "--engine", "cpython", "--store", away).exit_code == 0
    (there,) = listed(away)
    assert there["head_sha256"] == ran.tape.run.head_sha256


def test_an_unknown_self_check_is_refused(short_profile, tmp_path):
    given = ("--press", "--self-check", "loud", "--store", tmp_path / "runs.sqlite")
    done = finish("run", short_profile, *given)
    assert (done.exit_code, done.errors.strip()) == (
        2, "--self-check loud is not known: use alarm, trip or off",
    )  # fmt: skip
