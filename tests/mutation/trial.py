"""Put one mutant into a fresh process and let the tests of its module look at it.

The process is forked from one that has the test libraries but none of our code in memory, so that a
trial costs the tests alone. A mutant is killed when a test fails, when it cannot even be imported,
or when it runs for ever. The tree is never written to, and may be edited meanwhile: the firmware
comes from a copy made before the first trial, and so does what is compiled.
"""

import contextlib
import importlib.abc
import importlib.util
import os
import resource
import shutil
import sys
import tempfile
from collections import deque
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy  # noqa: F401  in memory before the forks, as the next ones
import pytest
import scipy.constants
import scipy.integrate  # noqa: F401
from hypothesis import Phase, settings

from tests.mutation.mutants import Mutant

ROOT = Path(__file__).parents[2]
PACKAGE = "emberbed_fw"
# What a trial may take, of the processor's time (on a busy computer nothing dies of waiting): so
# much, and once the module's tests have run without a mutant, some times what they took.
LONGEST_CPU_S = 30
LEAST_CPU_S, CPU_TIMES = 2, 3
UNCHANGED = "unchanged"  # name of the mutant that is none
KILLERS = 12  # tests that begin a trial: mutants that lie together fall to the same ones
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


@contextlib.contextmanager
def copied_firmware() -> Iterator[Path]:
    """Let all trials import the firmware from a copy of now; yield the copied package."""
    before = sys.pycache_prefix, sys.dont_write_bytecode
    with tempfile.TemporaryDirectory() as name:
        copy = Path(name, "firmware")
        shutil.copytree(ROOT / "firmware_py" / PACKAGE, copy / PACKAGE)
        sys.path.insert(0, str(copy))
        # one trial compiles what all the others read
        sys.pycache_prefix, sys.dont_write_bytecode = str(Path(name, "compiled")), False
        try:
            yield copy / PACKAGE
        finally:
            sys.path.remove(str(copy))
            sys.pycache_prefix, sys.dont_write_bytecode = before


class QuickestFirst:
    """Begins with the tests that have noticed mutants before; tells which one notices this."""

    def __init__(self, first: Iterable[str], told: int):
        self._first = set(first)
        self._told = told

    def pytest_sessionstart(self):
        """Look for examples that fail, but not for the smallest: that costs more than a trial."""
        brief = settings(settings.default, phases=[Phase.explicit, Phase.generate])
        settings.register_profile("trial", brief)
        settings.load_profile("trial")

    def pytest_collection_modifyitems(self, items):
        items.sort(key=lambda item: item.nodeid not in self._first)

    def pytest_runtest_logreport(self, report):
        if report.failed:
            os.write(self._told, f"{report.nodeid}\n".encode())


class Trials:
    """Those that run now, and the tests that ended the ones before, by module."""

    def __init__(self, tests: dict[str, list[str]]):
        self._tests = tests
        self._running: dict[int, tuple[str, Mutant, int]] = {}
        self._killers = {module: deque[str](maxlen=KILLERS) for module in tests}
        self._cpu_s = dict.fromkeys(tests, LONGEST_CPU_S)

    def __len__(self) -> int:
        return len(self._running)

    def begin(self, module: str, mutant: Mutant) -> None:
        heard, told = os.pipe()
        pid = os.fork()
        if pid == 0:
            resource.setrlimit(resource.RLIMIT_CPU, (self._cpu_s[module],) * 2)  # then: killed
            order = QuickestFirst(self._killers[module], told)
            _be_the_trial(module, mutant, self._tests[module], order)
        os.close(told)
        self._running[pid] = (module, mutant, heard)

    def next_end(self) -> tuple[str, Mutant, str]:
        pid, status, used = os.wait4(-1, 0)
        module, mutant, heard = self._running.pop(pid)
        if mutant.name == UNCHANGED:
            self._cpu_s[module] = LEAST_CPU_S + int(CPU_TIMES * (used.ru_utime + used.ru_stime))
        with os.fdopen(heard) as pipe:
            killers = pipe.read().splitlines()
        if killers and killers[0] not in self._killers[module]:
            self._killers[module].append(killers[0])
        return module, mutant, SURVIVED if status == 0 else KILLED


def try_all(
    jobs: Iterable[tuple[str, Mutant]], tests: dict[str, list[str]], at_once: int
) -> Iterator[tuple[str, Mutant, str]]:
    """Yield (module, mutant, SURVIVED or KILLED) as the trials end."""
    assert PACKAGE not in sys.modules, "a mutant would be shadowed by what is in memory"
    trials = Trials(tests)
    for module, mutant in jobs:
        if len(trials) >= at_once:
            yield trials.next_end()
        trials.begin(module, mutant)
    while trials:
        yield trials.next_end()


def _be_the_trial(module: str, mutant: Mutant, tests: list[str], order: QuickestFirst) -> None:
    code = 1
    try:
        with open(os.devnull, "w") as nowhere:
            os.dup2(nowhere.fileno(), 1)
            os.dup2(nowhere.fileno(), 2)
        sys.meta_path.insert(0, Changed(module, mutant.tree))
        with contextlib.suppress(BaseException):
            code = run_tests(tests, order)
    finally:
        os._exit(min(code, 255))


def run_tests(tests: list[str], order: QuickestFirst) -> int:
    """Run tests in this process, up to the first that fails; return pytest's exit code."""
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # loading them costs more than a trial
    plain = ["-x", "-q", "--no-header", "--assert=plain", "-p", "no:cacheprovider"]
    plain += ["-o", "addopts=--strict-markers", f"--rootdir={ROOT}"]
    return int(pytest.main([*plain, *tests], plugins=[order]))
