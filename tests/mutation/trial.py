"""Put one mutant into a fresh process and let the tests of its module look at it.

The process is forked from one that has the test libraries but none of our code in memory, so that a
trial costs the tests alone. A mutant is killed when a test fails, when it cannot even be imported,
or when it runs for ever.
"""

import contextlib
import importlib.abc
import importlib.util
import os
import signal
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

import hypothesis  # noqa: F401  in memory before the forks, as the next ones
import numpy  # noqa: F401
import pytest
import scipy.constants
import scipy.integrate  # noqa: F401

from tests.mutation.mutants import Mutant

ROOT = Path(__file__).parents[2]
PACKAGE = "emberbed_fw"
LONGEST_S = 120
SURVIVED, KILLED = "survived", "killed"


class Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Finds one module: the mutant."""

    def __init__(self, module: str, tree):
        self.name = f"{PACKAGE}.{module}"
        self.code = compile(tree, f"<mutant of {module}>", "exec")

    def find_spec(self, fullname, path=None, target=None):
        return importlib.util.spec_from_loader(fullname, self) if fullname == self.name else None

    def exec_module(self, module):
        exec(self.code, module.__dict__)


def try_all(
    jobs: Iterable[tuple[str, Mutant]], tests: dict[str, list[str]], at_once: int
) -> Iterator[tuple[str, Mutant, str]]:
    """Yield (module, mutant, SURVIVED or KILLED) as the trials end."""
    assert PACKAGE not in sys.modules, "a mutant would be shadowed by what is in memory"
    running: dict[int, tuple[str, Mutant]] = {}
    for module, mutant in jobs:
        if len(running) >= at_once:
            yield _next_end(running)
        pid = os.fork()
        if pid == 0:
            _be_the_trial(module, mutant, tests[module])
        running[pid] = (module, mutant)
    while running:
        yield _next_end(running)


def _next_end(running):
    pid, status = os.wait()
    module, mutant = running.pop(pid)
    return module, mutant, SURVIVED if status == 0 else KILLED


def _be_the_trial(module: str, mutant: Mutant, tests: list[str]) -> None:
    code = 1
    try:
        signal.alarm(LONGEST_S)  # ends the process: killed
        with open(os.devnull, "w") as nowhere:
            os.dup2(nowhere.fileno(), 1)
            os.dup2(nowhere.fileno(), 2)
        sys.meta_path.insert(0, Changed(module, mutant.tree))
        with contextlib.suppress(BaseException):
            code = int(run_tests(tests))
    finally:
        os._exit(min(code, 255))


def run_tests(tests: list[str]) -> int:
    """Run tests in this process, up to the first that fails; return pytest's exit code."""
    plain = ["-x", "-q", "--no-header", "-p", "no:cacheprovider", "-p", "no:benchmark"]
    plain += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # of what is in memory already
    return pytest.main([*plain, "-o", "addopts=--strict-markers", f"--rootdir={ROOT}", *tests])
