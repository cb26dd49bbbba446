"""10^5 hostile frames in the suite; 10^7 by `python -m tests.fuzz.hostile --frames 1e7`."""

import random

from emberbed_fw import messages as ms
from tests.fuzz.hostile import Judge, requests_of, stranger
from tests.support.wire import Wire

FRAMES = 100_000


def test_no_hostile_frame_is_taken_and_both_decoders_judge_alike():
    found = Judge(seed=7).throw(FRAMES)
    assert (found.frames, found.accepted, found.state_changes, found.judged_differently) == (
        FRAMES, 0, 0, 0,
    )  # fmt: skip


def test_judge_sees_a_frame_that_is_taken():
    judge = Judge(seed=1)
    good = judge._wire.frame(ms.PLAN_READ, b"\0\0\1")
    judge.hostile = lambda: good
    assert judge.throw(1).accepted == 1


def test_judge_sees_a_change_of_state():
    judge = Judge(seed=1)
    judge._wire.machine.energy_j += 1
    assert judge.throw(1).state_changes == 1


def test_judge_sees_decoders_that_differ():
    judge = Judge(seed=1)
    judge._splitter.damaged -= 1
    assert judge.throw(1).judged_differently == 1


def test_strangers_are_whole_frames_and_requests_are_good():
    wire = Wire().to_run()
    for octets in requests_of(wire):
        assert octets.count(b"\0") == 2
    kept = wire.link._reader.damaged
    for _ in range(200):
        octets = stranger(wire, random.Random(3))
        wire.link.receive(octets, len(octets))
    assert wire.link._reader.damaged == kept
