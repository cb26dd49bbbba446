"""The guided run of `emberbed survey`: a run as any other, followed by whoever takes the means."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import typer
from rich.console import Console

from emberbed.bench.prepare import NotReady
from emberbed.bench.session import RunRequest, RunResult, need_keyboard
from emberbed.bench.virtual import VirtualBench
from emberbed.cli_common import VIRTUAL, told
from emberbed.cli_files import write_file
from emberbed.cli_run import run_asked, tell_result
from emberbed.cli_step_test import OnDevice, bench_for, check_materials
from emberbed.heater.csv_reader import TableMistake
from emberbed.survey.asked import Asked, check_asked
from emberbed.survey.guided import SurveyRun, hold_mistake
from emberbed.survey.points import Point, nine_points
from emberbed.survey.positions import Survey, as_table, checked_survey
from emberbed.survey.rover import Rover

BOARD_G_PER_MM2 = 240 / (180 * 120)  # the usual board of the simulated bench, to scale
SENSORS = ("fixed:board_centre", "roving:board_edge")


@dataclass(frozen=True)
class Wanted:
    """A survey as a person asks for it."""

    hold_c: float
    asked: Asked
    roving: str | None
    alloy: str
    laminate: str
    emitters: str  # of the simulated heater


@dataclass(frozen=True)
class Guided:
    """What a guided survey found; `about` is what a script wants to know of the run."""

    survey: Survey
    doubts: list[str]
    about: dict[str, object]


def guided_survey(wanted: Wanted, where: OnDevice, to: Path | None, json_answer: bool) -> Guided:
    """Run the survey and check what it found; `to` gets the points before anything is judged.

    Leaves with the run's own exit code where it does not finish. Raises TableMistake for what
    cannot be, before heat, or where points are missing after it.
    """
    board_mm = wanted.asked.board_mm
    if board_mm is None:
        raise TableMistake("A guided survey needs the board's size: add --board, such as 180,120")
    points = nine_points(board_mm)
    check_asked(_as_if_measured(points), wanted.asked)
    rover = Rover(points, board_mm, wanted.roving)
    result = _run(wanted, where, rover, board_mm, json_answer)
    rows = rover.rows()
    if to is not None:
        write_file(to, as_table(rows))
    shown = f"run {result.run_id}"
    places = [f"{shown}, point {number + 1}" for number in sorted(rover.found)]
    about: dict[str, object] = {
        "run": result.run_id,
        "limits_exceeded": result.limits_exceeded,
        "page": None if result.page_failed else str(result.page),
        "unsteady": rover.unsteady(),
    }
    return Guided(checked_survey(shown, places, rows), rover.unsteady(), about)


def _as_if_measured(points: list[Point]) -> Survey:
    x_mm, y_mm = np.array(points).T
    return Survey(x_mm, y_mm, np.zeros(len(points)), 0.0)


def _run(
    wanted: Wanted, where: OnDevice, rover: Rover, board_mm: tuple[float, float], json_answer: bool
) -> RunResult:
    asked = SurveyRun(wanted.hold_c, rover.points, wanted.roving, wanted.alloy, wanted.laminate)
    with told():
        mistake = hold_mistake(wanted.hold_c)
        if mistake is not None:
            raise NotReady([mistake])
        check_materials(wanted.alloy, wanted.laminate)
        bench = _on_grid(bench_for(asked, where), board_mm, wanted.emitters, where)
        request = RunRequest(asked, where.device, bench, where.press, None, watcher=rover)
        result = run_asked(request, where.store, Console(stderr=json_answer))
    if not json_answer or result.outcome.exit_code:
        tell_result(result, json_answer)
    if result.outcome.exit_code:
        raise typer.Exit(result.outcome.exit_code)
    return result


def _on_grid(
    bench: VirtualBench | None, board_mm: tuple[float, float], emitters: str, where: OnDevice
) -> VirtualBench | None:
    """Return the bench with its board in two dimensions: only there a couple can rove."""
    if bench is None:
        if emitters:
            raise NotReady(
                [f"--emitters only works on the virtual device: leave it out at {where.device}"]
            )
        return None
    if where.device == VIRTUAL and not where.press:
        need_keyboard()
    length_mm, width_mm = board_mm
    bench = bench.with_board(BOARD_G_PER_MM2 * length_mm * width_mm, length_mm, width_mm)
    return replace(bench, plant="grid", sensors=SENSORS, emitters=emitters)
