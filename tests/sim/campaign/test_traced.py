"""PyPy runs the same firmware and gives the same bits; what is said where it does not run.

The reference is CPython, running the same sources: every record byte and the plant's temperatures
in full precision, tick by tick.
"""

import os
import signal
import stat

import pytest

from emberbed import verify
from emberbed_sim.campaign import traced
from emberbed_sim.campaign.pool import AUTO, CPYTHON, PYPY, PoolError, do, run_all
from emberbed_sim.campaign.same_bits import Case, digest_of
from emberbed_sim.campaign.seeded_bugs import broken, bugs
from emberbed_sim.campaign.table import cells
from emberbed_sim.campaign.traced import Traced, TracedError, find
from emberbed_sim.campaign.work import Task, run_task, spread, tasks_of
from tests.support.command import finish
from tests.support.parts import need
from tests.support.processes import need_posix

SAMPLE = spread(cells(), 6)
SEED = 5


@pytest.fixture(scope="module")
def pypy():
    need("PyPy", find(), "install your system's package pypy3")
    there = Traced(find())
    yield there
    there.close()


@pytest.mark.parametrize("cell", SAMPLE, ids=lambda cell: cell.name)
def test_every_record_and_the_plant_come_out_equal(pypy, cell):
    case = Case(cell, SEED)
    here = digest_of(case)
    assert here.ticks > 5000
    assert pypy.digest(case) == here


@pytest.mark.parametrize("part", ["cells", "pairs", "healthy"])
def test_a_piece_of_work_comes_to_the_same(pypy, part):
    from emberbed_sim.campaign.pairs import pairs

    task = {
        "cells": Task(cells=tuple(cell for cell in SAMPLE if cell.setup == SAMPLE[0].setup)),
        "pairs": Task(pairs=tuple(spread(pairs(), 5)), seed=2),
        "healthy": Task(healthy=(3, 11, 17)),
    }[part]
    expected = run_task(task)
    assert expected and pypy.run(task) == expected


def test_another_firmware_gives_another_digest(tmp_path, pypy):
    """The comparison can fail: one wrong digit of the controller is seen."""
    bug = next(bug for bug in bugs() if bug.name == "only the first sensor is judged")
    for name, content in broken(bug).items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    case = Case(next(cell for cell in cells() if cell.name == "tc_open#1 ramp edge/with/known"), 0)
    other = Traced(find(), tmp_path)
    try:
        assert other.digest(case).sha256 != pypy.digest(case).sha256 == digest_of(case).sha256
    finally:
        other.close()


def test_the_engine_is_named_and_cases_are_compared():
    need("PyPy", find(), "install your system's package pypy3")
    task = Task(cells=(SAMPLE[0],), compare=(Case(SAMPLE[0], SEED),))
    plain, by_pypy = do(task, CPYTHON), do(task, PYPY)
    assert plain.engine.startswith("CPython ") and by_pypy.engine.startswith("PyPy ")
    assert plain.results == by_pypy.results
    assert plain.compared == []
    assert [one.differs for one in by_pypy.compared] == [""]
    traced.of_thread().close()
    del traced._own.traced


def test_cells_to_compare_are_spread_over_the_table():
    tasks = tasks_of(list(cells()), range(4, 6), [], range(0), 5)
    compared = [case for task in tasks for case in task.compare]
    assert len({case.cell.name for case in compared}) == 5
    assert {case.seed for case in compared} == {4}


def test_a_failure_there_is_told_in_a_sentence(pypy):
    with pytest.raises(TracedError, match=r"^PyPy failed \(KeyError: 'lunch'\)$"):
        pypy._ask("lunch", None)


def test_a_pypy_that_dies_is_told_in_a_sentence():
    need("PyPy", find(), "install your system's package pypy3")
    need_posix("has signals")
    there = Traced(find())
    os.kill(there._child.pid, signal.SIGKILL)
    with pytest.raises(TracedError, match="^PyPy ended"):
        there.run(Task(healthy=(1,)))
    there.close()


@pytest.fixture
def without_pypy(tmp_path, monkeypatch):
    """A search path on which there is only a PyPy that is too old."""
    need_posix("runs scripts by their first line")
    old = tmp_path / "pypy3"
    old.write_text("#!/bin/sh\nexit 1\n")
    old.chmod(old.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", str(tmp_path))
    find.cache_clear()
    yield str(tmp_path)
    find.cache_clear()


def test_without_it_plain_python_runs(without_pypy):
    task = Task(cells=(SAMPLE[0],), compare=(Case(SAMPLE[0], SEED),))
    assert do(task, AUTO).engine.startswith("CPython ")
    with pytest.raises(PoolError, match="PyPy is not installed here"):
        list(run_all([task], workers=1, engine=PYPY))


def test_plain_python_is_told_where_it_costs_time(without_pypy, monkeypatch):
    monkeypatch.setattr(verify, "LEAST_TRACED", 1)
    said = []
    asked = verify.Asked(range(1), only="tc_open#1", phase="ramp", workers=1)
    campaign = verify.Campaign(asked)
    campaign.run(said.append)
    assert said == ["PyPy is not installed here: CPython does the work, in several times as long"]
    assert [name.split()[0] for name in campaign.evidence()["engines"]["runs"]] == ["CPython"]


def test_the_command_says_so(without_pypy):
    one = ("verify", "--only", "tc_open", "--phase", "ramp")
    refused = finish(*one, "--engine", "pypy", PATH=without_pypy)
    assert refused.exit_code == 2 and refused.output == ""
    assert refused.errors.startswith("PyPy is not installed here: install it from"), refused
    unknown = finish(*one, "--engine", "steam")
    assert unknown.exit_code == 2
    assert unknown.errors.startswith("--engine steam is not known: give one of auto, cpython, pypy")
