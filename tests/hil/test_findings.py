"""What acceptance must find: each sabotage is named by the step that is there for it."""

from dataclasses import replace

import pytest

from emberbed.acceptance.report import FAILED, NOT_DONE, PASSED
from emberbed.acceptance.whole import refuse_other_firmware
from emberbed.bench.prepare import NotReady
from emberbed_fw import trip_codes
from emberbed_fw.ports import inject
from emberbed_hil import trip_steps
from emberbed_hil.accept import Unfit, all_steps, numbered, run_steps
from emberbed_hil.bench import Failed
from emberbed_hil.step import Found, Step
from emberbed_hil.trip_ways import WAYS
from tests.hil.command import accept


def run(bench, *steps):
    return run_steps(bench, steps, lambda _line: None)


def step(number):
    return next(each for each in all_steps(2.0) if each.number == number)


def test_two_channels_swapped_are_named(bench):
    healthy = bench.scene.word_for
    bench.scene.word_for = lambda channel, at_c: healthy(
        channel, bench.scene.board_c[1 - channel] if channel < 2 else at_c
    )
    (result,) = run(bench, step("2.1"))
    assert result.outcome == FAILED
    assert "channels 0 (top_near_chip) and 1 (edge) are swapped" in result.said


def test_trip_that_does_not_come_is_a_failure(bench, monkeypatch):
    """A guard that does nothing: the cause never reaches it."""
    way = replace(next(way for way in WAYS if way.trip == "SENSOR_OPEN"), spoil=lambda _bench: None)
    (result,) = run(bench, trip_steps._step(1, way))
    assert result.outcome == FAILED and "did not come within 300 ms" in result.said


def test_another_trip_than_the_right_one_is_a_failure(bench):
    ways = {way.trip: way for way in WAYS}
    wrong = replace(ways["SENSOR_OPEN"], spoil=ways["SENSOR_SHORT_GROUND"].spoil)
    (result,) = run(bench, trip_steps._step(1, wrong))
    assert result.outcome == FAILED
    assert result.said.startswith('"bead touches metal" came instead of "open thermocouple"')


def test_trip_that_comes_too_late_is_a_failure(bench, monkeypatch):
    monkeypatch.setattr(trip_steps, "must_act_ms", lambda _check: 100)
    (result,) = run(bench, step("4.01"))
    assert result.outcome == FAILED and result.measured > result.limit == 100


def test_fault_that_is_left_is_found_and_the_next_step_is_its_own(bench, monkeypatch):
    """A step that leaves a trip behind which nothing clears: the device is started anew."""
    scene = bench.scene
    healthy = scene.reset

    def leaves_it(bench):
        bench.to_run(board_c=64.0)
        scene.raw[0] = 0
        bench.tick(5)
        assert bench.newest.trip == trip_codes.SENSOR_BUS_DEAD
        monkeypatch.setattr(scene, "reset", lambda: None)
        return Found("tripped")

    def after(bench):
        monkeypatch.setattr(scene, "reset", healthy)
        scene.reset()
        bench.tick(5)
        return Found("at rest") if bench.newest.trip == 0 else Found("", 1, 0)

    left, then = run(bench, Step("9.8", "leaves a fault", leaves_it), Step("9.9", "after", after))
    assert left.outcome == FAILED and "did not come within" in left.said
    assert then.outcome == PASSED


def test_step_that_needs_hands_is_not_done_without_them(bench):
    bench.hands = None
    (result,) = run(bench, step("6.5"))
    assert result.outcome == NOT_DONE


def test_device_that_stops_telling_ticks_is_a_failure_not_a_hang(bench):
    def freezes(bench):
        bench.tick(3)  # the watchdog begins with the first whole tick
        bench.scene.how = inject.HANGS
        bench.tick(5)
        return Found("never here")

    (result,) = run(bench, Step("9.9", "hangs", freezes))
    assert result.outcome == FAILED


def test_other_firmware_is_named_with_its_mend(bench):
    bench.device._session.greeting = replace(bench.device.greeting, build_id=bytes(8))
    with pytest.raises(NotReady, match="runs firmware 0000000000000000, and this program.*install"):
        refuse_other_firmware(bench.device)


def test_step_that_does_not_exist_is_named():
    steps = all_steps(1.0)
    assert [each.number for each in numbered(steps, ["4.01", "6"])][:2] == ["4.01", "6.1"]
    with pytest.raises(Unfit, match="There is no step 12: the steps are 1.1 to 7.2"):
        numbered(steps, ["12"])


def test_reset_that_brings_nothing_back_is_a_failure(bench, monkeypatch):
    monkeypatch.setattr("emberbed_hil.bench.BACK_S", 0.5)
    bench.url = "socket://127.0.0.1:9"
    with pytest.raises(Failed, match="after a reset nothing answers"):
        bench.reset()


def test_device_that_is_lost_leaves_the_rest_undone_and_loses_nothing(bench, monkeypatch):
    monkeypatch.setattr("emberbed_hil.bench.BACK_S", 0.5)

    def is_lost(bench):
        bench.pull_cable()
        bench.url = "socket://127.0.0.1:9"
        raise Failed("gone")

    before, lost, after = run(
        bench,
        step("1.2"),
        Step("9.8", "is lost", is_lost),
        Step("9.9", "after", lambda _b: Found("")),
    )
    assert (before.outcome, lost.outcome, after.outcome) == (PASSED, FAILED, NOT_DONE)
    assert lost.said.startswith("gone; ")
    assert "does not come back: reset it by hand" in after.said


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--part", "roof"], "--part roof is none of injected, lamp, mains"),
        (["--part", "mains"], "A virtual device has no mains"),
        (["--soak", "long"], "--soak: "),
        (["--only", "99"], "There is no step 99"),
        (["socket://127.0.0.1:9"], "Nobody signs this acceptance"),
        (["socket://127.0.0.1:9", "--signed-by", "A. Tester"], "Nothing listens"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(tmp_path, words, told):
    done = accept(tmp_path, *words)
    assert done.returncode == 2 and told in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_device_in_its_usual_firmware_is_told_apart(tmp_path):
    from emberbed.bench.virtual import VirtualBench, VirtualDevice

    with VirtualDevice(VirtualBench()) as usual:
        done = accept(tmp_path, usual.url, "--signed-by", "A. Tester")
    assert done.returncode == 2
    assert "runs its usual firmware" in done.stderr and "injection entry" in done.stderr
