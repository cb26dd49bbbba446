"""The mutation harness itself: it makes the mistakes it says, and a trial tells what tests notice.

All mutants of all modules take many minutes: `python -m tests.mutation`. Here, in seconds: the list
of equivalent ones is not stale, and the guard's shortest questions are held by their tests.
"""

import subprocess
import sys

import pytest

from tests.mutation.__main__ import FIRMWARE, TESTS, explained, files_of
from tests.mutation.mutants import mutants

SOURCE = '''
"""Text."""
LIMIT = 5


class Judge:
    def hot(self, cdeg):
        if not cdeg <= LIMIT and self.on:
            self.count += 1
            self.told = True
        return min(cdeg, 0) << 2
'''
NAMES = [
    "module: 5 -> 6 #1",
    "Judge.hot: if not cdeg <= LIMIT and self.on -> if True #1",
    "Judge.hot: if not cdeg <= LIMIT and self.on -> if False #1",
    "Judge.hot: self.count += 1 -> pass #1",
    "Judge.hot: self.told = True -> pass #1",
    "Judge.hot: not cdeg <= LIMIT and self.on -> not cdeg <= LIMIT or self.on #1",
    "Judge.hot: not cdeg <= LIMIT -> cdeg <= LIMIT #1",
    "Judge.hot: cdeg <= LIMIT -> cdeg < LIMIT #1",
    "Judge.hot: self.count += 1 -> self.count -= 1 #1",
    "Judge.hot: 1 -> 2 #1",
    "Judge.hot: True -> False #1",
    "Judge.hot: min(cdeg, 0) << 2 -> min(cdeg, 0) >> 2 #1",
    "Judge.hot: min(cdeg, 0) -> max(cdeg, 0) #1",
    "Judge.hot: 0 -> 1 #1",
    "Judge.hot: 2 -> 3 #1",
]


def test_every_kind_of_mistake_is_made_once_and_alone():
    assert sorted(mutant.name for mutant in mutants(SOURCE)) == sorted(NAMES)


def test_names_are_all_different():
    source = (FIRMWARE / "doubts.py").read_text(encoding="utf-8")
    names = [mutant.name for mutant in mutants(source)]
    assert len(set(names)) == len(names) > 150


def test_a_mutant_is_compiled_and_does_something_else():
    for mutant in mutants("def double(x):\n    return x * 2\n"):
        made = {}
        exec(compile(mutant.tree, "mutant", "exec"), made)
        assert made["double"](7) != 14, mutant.name


@pytest.mark.parametrize("module", TESTS)
def test_every_equivalent_mutant_exists_and_every_module_has_tests(module):
    source = (FIRMWARE / f"{module}.py").read_text(encoding="utf-8")
    names = {mutant.name for mutant in mutants(source)}
    assert set(explained().get(module, {})) <= names
    assert all(explained().get(module, {"": "a reason"}).values())
    assert files_of([module])[module]


def test_a_trial_tells_a_mistake_from_none():
    """In a process of its own: this one has the modules in memory already."""
    lines = [
        "import ast",
        "from tests.mutation.__main__ import FIRMWARE, unchanged",
        "from tests.mutation.mutants import mutants",
        "from tests.mutation.trial import try_all, ROOT",
        "source = (FIRMWARE / 'guard_rules.py').read_text()",
        "late = [m for m in mutants(source) if m.name.startswith('tick_')]",
        "jobs = [*unchanged(['guard_rules']), *[('guard_rules', m) for m in late]]",
        "tests = {'guard_rules': [str(ROOT / 'tests/firmware/test_guard.py')]}",
        "print(*[f'{m.name}={end}' for _, m, end in try_all(jobs, tests, 1)], sep='; ')",
    ]
    told = subprocess.run(
        [sys.executable, "-c", "\n".join(lines)], capture_output=True, text=True, timeout=300,
        cwd=FIRMWARE.parents[1], check=True,
    ).stdout  # fmt: skip
    ends = dict(one.rsplit("=", 1) for one in told.strip().split("; "))
    assert ends.pop("unchanged") == "survived"
    assert set(ends.values()) == {"killed"} and len(ends) >= 4
