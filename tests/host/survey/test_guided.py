"""The guided survey: its points, its stages, what it measures, and whole runs on the grid."""

import json
import os
import signal
import subprocess
import sys
from itertools import pairwise

import numpy as np
import pytest

from emberbed.bench.prepare import NotReady
from emberbed.bench.progress import Progress
from emberbed.bench.watcher import Begun
from emberbed.device_description import decode_settings
from emberbed.heater.csv_reader import TableMistake
from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed.store.run_store import RunStore
from emberbed.survey.guided import MEASURE_S, SurveyRun, channels_of, point_of, stage_of
from emberbed.survey.points import Point, nine_points
from emberbed.survey.positions import as_table, checked_survey, read_survey
from emberbed.survey.rover import STEADY_C, Measured, Rover
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_sim.bench_device import bench_settings, parse_sensors
from emberbed_sim.plant.parameters import bench_for_board
from tests.support.plans import build_plan, cool, hold, ramp, wait
from tests.support.tapes import rehearsed

BOARD_MM = (180.0, 120.0)
POINTS = nine_points(BOARD_MM)


def device(*sensors):
    return decode_settings(bench_settings(bench_for_board(240, *BOARD_MM, parse_sensors(sensors))))


# points


def test_nine_points_from_rim_to_rim_in_short_moves():
    assert len(set(POINTS)) == 9
    assert {x for x, _y in POINTS} == {15, 90, 165} and {y for _x, y in POINTS} == {15, 60, 105}
    moves_mm = [abs(np.subtract(one, other)).sum() for one, other in pairwise(POINTS)]
    assert max(moves_mm) == 75  # never across the board


@pytest.mark.parametrize("board_mm", [(49.0, 120.0), (180.0, 10.0), (1200.0, 120.0)])
def test_a_board_that_has_no_room_for_them(board_mm):
    with pytest.raises(TableMistake, match="nine points need a board of 50 to 1000 mm"):
        nine_points(board_mm)


# stages


def test_a_point_is_a_wait_and_a_hold():
    profile = SurveyRun(100.0, POINTS).on(device("a:board_centre", "b:board_edge")).model
    kinds = [stage.kind for stage in profile.stages]
    assert kinds == ["ramp", "hold", *["wait", "hold"] * 9, "cool"]
    for number, point in enumerate(POINTS):
        asks = profile.stages[stage_of(number)]
        assert asks.prompt.endswith(f"x {point.x_mm:g}, y {point.y_mm:g} mm")
        assert point_of(stage_of(number), 9) == (number, False)
        assert point_of(stage_of(number) + 1, 9) == (number, True)
    assert [point_of(stage, 9) for stage in (0, 1, 20, 255)] == [None] * 4


def test_the_roving_couple_stands_in_no_role():
    # so nothing minds that it is lifted: neither a sensor's loss nor its fall ends the run
    sensors = ("hot:emitter", "a:board_centre", "b:board_edge", "c:chip_top")
    profile = SurveyRun(100.0, POINTS, "c").on(device(*sensors)).model
    assert {name: one.role for name, one in profile.sensors.items()} == {
        "a": "control", "b": "edge", "hot": "emitter",
    }  # fmt: skip
    assert channels_of(device(*sensors), None) == ("a", "b")
    assert channels_of(device(*sensors), "a") == ("b", "a")


@pytest.mark.parametrize(
    ("sensors", "roving", "why"),
    [
        (("a:board_centre",), None, "two couples on the board.*this device has 1"),
        (("a:board_centre", "hot:emitter"), None, "two couples"),
        (("a:board_centre", "b:board_edge"), "hot", "--roving hot is no couple on the board"),
    ],
)
def test_a_device_that_cannot_survey(sensors, roving, why):
    with pytest.raises(NotReady, match=why):
        SurveyRun(100.0, POINTS, roving).on(device(*sensors))


# measuring

PLAN = decode_plan(
    build_plan(
        [
            ramp(2500, 10000, 3000),
            hold(10000, 6000),
            *[one for n in range(2) for one in (wait(10000, n), hold(10000, MEASURE_S * 10))],
            cool(),
        ]
    )
)
RECORD = decode_record(rehearsed().raw_records[0])


class Following:
    """A rover that is shown records of two points."""

    def __init__(self):
        self.rover = Rover([Point(0, 0), Point(50, 0)], (50, 50), None)
        description = device("a:board_centre", "b:board_edge")
        self.rover.begins(Begun(1, None, None, description, None))  # type: ignore[arg-type]
        self.progress = Progress(PLAN)
        self.tick = 0

    def see(self, stage, stage_tick, roving_cdeg, control_cdeg=10000, state=rs.RUN):
        """Show one record; return what the rover wants."""
        self.tick += 1
        record = RECORD._replace(
            tick=self.tick, stage=stage, stage_tick=stage_tick, state=state,
            channel0_cdeg=control_cdeg, channel1_cdeg=roving_cdeg,
        )  # fmt: skip
        self.progress.follow(record)
        self.rover.show(record)
        return self.rover.wishes(record, self.progress)

    def hold_point(self, point, course, ticks=MEASURE_S * 10):
        """Show a whole hold; return (tick, wishes) of each that has any."""
        seen = ((n, self.see(stage_of(point) + 1, n, course(n))) for n in range(ticks))
        return [(n, wishes) for n, wishes in seen if wishes]


def test_a_steady_point_is_measured_and_the_next_is_asked_for_once():
    following = Following()
    following.see(stage_of(0), 0, 3000, state=rs.WAIT)
    # a bead of 1.5 s lag set down from the hand: steady within a quarter of a degree after 8 s
    wishes = following.hold_point(0, lambda n: round(9700 - 6700 * np.exp(-n / 15)))
    assert [wish.kind for _n, (wish,) in wishes] == [messages.NEXT_STAGE]
    assert wishes[0][1][0].source == messages.BY_SCRIPT
    assert 250 < wishes[0][0] < 450
    found = following.rover.found[0]
    assert found.steady and found.roving_c == pytest.approx(97.0, abs=0.05)
    assert following.rover.rows() == pytest.approx(np.array([[0, 0, 97.0, 100.0]]), abs=0.05)
    assert following.rover.unsteady() == []


def test_a_point_that_keeps_moving_is_told():
    following = Following()
    # three times what counts as steady, up to the end of the hold
    assert following.hold_point(0, lambda n: 9000 + round(3 * STEADY_C * 100 * n / 150)) == []
    (sentence,) = following.rover.unsteady()
    assert sentence.startswith("Point 1 still moved by +0.6 °C in 15 s")
    assert len(following.rover.rows()) == 1


def test_no_next_stage_when_the_hold_is_about_to_end():
    # it would arrive in the wait for the next point, and skip it
    in_time, too_late = Following(), Following()
    # 0.1 degC a second up to this tick: two windows agree within 0.2 degC 22 s after it
    assert in_time.hold_point(0, lambda n: 9000 + min(n, MEASURE_S * 10 - 350)) != []
    assert too_late.hold_point(0, lambda n: 9000 + min(n, MEASURE_S * 10 - 300)) == []
    assert too_late.rover.found[0].steady and too_late.rover.unsteady() == []


def test_a_lost_reading_begins_the_mean_anew():
    from emberbed_fw.units import NO_READING_CDEG

    following = Following()
    wishes = following.hold_point(0, lambda n: NO_READING_CDEG if n == 200 else 9700)
    assert wishes[0][0] > 200 + 300
    assert not Following().hold_point(0, lambda _n: NO_READING_CDEG)


def test_a_run_that_goes_on_keeps_what_is_measured():
    following = Following()
    following.hold_point(0, lambda _n: 9700)
    following.rover.turn_over(2)
    # it goes on in the same hold: the point is there already
    assert following.see(stage_of(0) + 1, 400, 9100)
    assert following.rover.found[0] == Measured(97.0, 100.0, 0.0)


def test_what_was_measured_is_a_file_that_can_be_read_again(tmp_path):
    rows = np.array([(x, y, 97.126 - y / 10, 100.0) for x, y in POINTS])
    (tmp_path / "points.csv").write_text(as_table(rows), encoding="utf-8")
    read = read_survey(tmp_path / "points.csv")
    again = checked_survey("run 1", [""] * 9, rows)
    assert read.board_c == pytest.approx(again.board_c, abs=0.006)
    with pytest.raises(TableMistake, match="run 1: there are 4 positions and 9 are needed"):
        checked_survey("run 1", [""] * 4, rows[:4])
    rows[2, 2] = 10.0
    with pytest.raises(TableMistake, match="run 1, point 3: temperature_c is 10 where"):
        checked_survey("run 1", [f"run 1, point {n + 1}" for n in range(9)], rows)


# whole runs: the real firmware on a gridded board, over the real link

ASKED = ("survey", "--device", "virtual", "--board", "180,120")
QUICK = ("--press", "--speed", "max", "--engine", "cpython")


@pytest.fixture(scope="module")
def guided(tmp_path_factory):
    """A survey of a heater whose emitter at low x gives 70 %; its answer and its folder."""
    folder = tmp_path_factory.mktemp("guided")
    files = ("--out", "points.csv", "--picture", "map.svg", "--store", "runs.sqlite")
    command = [sys.executable, "-m", "emberbed.cli", *ASKED, *QUICK, "--emitters", "0.7,1,1"]
    zones = [f"--zone={x_mm},60,73.333,150" for x_mm in (16.667, 90, 163.333)]
    words = [*command, *zones, *files, "--json"]
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout), folder


def test_a_guided_survey_finds_the_weak_side(guided):
    answer, _folder = guided
    assert (answer["weakest"]["x_mm"], answer["weakest"]["y_mm"]) == (15, 60)
    outputs = [zone["output"] for zone in answer["zones"]]
    # emitters side by side see the board alike: 0.7, 1 and 1 of a mean of 0.9
    assert outputs == pytest.approx([0.78, 1.11, 1.11], abs=0.12)
    assert answer["trimmed_spread_c"] < answer["spread_c"] - 2
    assert answer["unsteady"] == [] and answer["measure_again"] is None
    assert answer["chip_here"]["x_mm"] > 100


def test_its_record_is_a_run_as_any_other(guided):
    answer, folder = guided
    with RunStore.open(folder / "runs.sqlite") as store:
        run = store.run(answer["run"])
        assert (run.state, run.profile_name) == ("finished", "Survey at 100 °C")
        told = [event.sentence for event in store.events(answer["run"])]
    assert sum("Move couple roving to point" in sentence for sentence in told) >= 9
    assert sum(sentence.startswith("Next stage now, from a script") for sentence in told) == 9
    assert (folder / "map.svg").read_text(encoding="utf-8").startswith("<svg")


def test_its_points_give_the_same_map_from_their_file(guided, emberbed):
    answer, folder = guided
    again = json.loads(emberbed("survey", "--from", folder / "points.csv", "--json").out)
    for one, other in zip(answer["positions"], again["positions"], strict=True):
        assert other["temperature_c"] == pytest.approx(one["temperature_c"], abs=0.02)


@pytest.mark.skipif(sys.platform == "win32", reason="SIGINT to a child needs POSIX")
def test_a_survey_that_is_stopped_has_no_map_and_a_cooled_run(tmp_path):
    command = [sys.executable, "-u", "-m", "emberbed.cli", *ASKED, *QUICK, "--store", "s.sqlite"]
    with subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        said = []
        for line in child.stdout:
            said.append(line)
            if "Move couple roving to point 2" in line and "you are needed" not in line:
                os.kill(child.pid, signal.SIGINT)
                break
        said += child.stdout.readlines()
        assert child.wait(timeout=120) == 4
    assert "Stopped" in "".join(said) and "positions at a steady" not in "".join(said)
    with RunStore.open(tmp_path / "s.sqlite") as store:
        assert store.run(1).state == "stopped"
        assert list(store.records(1))[-1].state == rs.STOPPED


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "Nothing to survey: name a file with --from, or let a run ask for each point"),
        (("--from", "s.csv", "--device", "virtual"), "--from and --device are two sources"),
        (("--from", "s.csv", "--hold", "90"), "--hold belongs to --device: leave it out"),
        (("--device", "virtual"), "A guided survey needs the board's size: add --board, such as"),
        ((*ASKED[1:], "--hold", "50"), "--hold 50 is out of range: give 60 to"),
        ((*ASKED[1:], "--hold", "nan"), "--hold nan is out of range"),
        ((*ASKED[1:], "--alloy", "tin"), "--alloy or --laminate: "),
        ((*ASKED[1:], "--chip", "100"), "--chip 100 does not fit between the positions: give up"),
        ((*ASKED[1:], "--zone", "1,2,3"), "--zone 1,2,3 cannot be read"),
        ((*ASKED[1:], "--out", "no/points.csv"), "no"),
        ((*ASKED[1:], "--press", "--speed", "max", "--emitters", "9"), "Emitters '9' cannot be"),
        ((*ASKED[1:], "--press", "--speed", "max", "--roving", "x"), "--roving x is no couple on"),
        ((*ASKED[1:],), "Nobody could hold the virtual device's button"),
        (("--device", "virtual", "--board", "40,40"), "--board 40,40: nine points need a board"),
    ],
)  # fmt: skip
def test_a_survey_that_cannot_be_is_refused_before_heat(refused, words, sentence):
    assert refused("survey", *words).startswith(sentence)
    with RunStore.open() as store:
        assert store.runs() == []
