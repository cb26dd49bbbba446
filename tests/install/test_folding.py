"""The firmware folded for a board: smaller, and the same in every bit."""

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import emberbed.replay
from emberbed.install.folding import fold
from emberbed_fw.known_answer import known_answer
from emberbed_fw.self_sums import self_sums
from tests.support.parts import need_program, need_wasm_module
from tests.support.record_tapes import NAMES, Tape, run_of

PLAY = Path(emberbed.replay.__file__).parent / "player.py"
ANSWERS = """
import sys
sys.path.insert(0, %r)
from emberbed_fw.known_answer import known_answer
from emberbed_fw.self_sums import self_sums
print(known_answer(), self_sums())
"""
EXPECTED = f"{known_answer()} {self_sums()}"


@pytest.fixture(scope="module")
def folded(sources):
    return fold(sources, re.findall(r"\w+", PLAY.read_text()))


@pytest.fixture(scope="module")
def folder(folded, tmp_path_factory):
    root = tmp_path_factory.mktemp("folded")
    for name, text in folded.items():
        path = root / "emberbed_fw" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text)
    return root


def test_constants_become_numbers_everywhere():
    texts = fold(
        kept=["within"],
        sources={
            "low.py": b"BASE = 3\nLIMIT = BASE * 1000 - 4000\nNAMES = ('a',)\nBIG = 1 << 31\n",
            "high.py": b"from emberbed_fw import low\nfrom emberbed_fw.low import BASE, BIG\n\n\n"
            b"def within(cdeg):\n    return low.LIMIT < cdeg < BASE + BIG\n",
        },
    )
    assert texts["high.py"] == (
        b"\nfrom emberbed_fw.low import BIG\n\n\ndef within(cdeg):\n"
        b"    return (-1000) < cdeg < 3 + BIG\n"
    )
    assert texts["low.py"] == b"\n\n\nBIG = 1 << 31\n"


def test_what_tables_are_made_of_is_worked_out_and_left_out():
    """A layout that only makes a format and a length: both stay, the layout goes."""
    source = (
        b"import struct\n\nFIELDS = tuple([('a%d' % n, 'B') for n in range(3)]) + (('b', 'H'),)\n"
        b"FORM = _form(FIELDS)\n".replace(
            b"_form(FIELDS)", b"'<' + ''.join([c for _n, c in FIELDS])"
        )
        + b"SIZE = struct.calcsize(FORM)\nONE, TWO = range(2)\n\n\n"
        b"def packed(a):\n    return struct.pack(FORM, a, ONE, TWO, SIZE, len(FIELDS))\n\n\n"
        b"def unread():\n    return packed(SIZE)\n"
    )
    assert fold({"one.py": source}, ["packed"])["one.py"] == (
        b"import struct\n\n\nFORM = '<BBBH'\n\n\n\n\n"
        b"def packed(a):\n    return struct.pack(FORM, a, 0, 1, 5, 4)\n\n\n\n\n"
    )


def test_what_is_no_constant_stays():
    source = (
        b"COUNT = 1\nOTHER = 2\n\n\ndef step(COUNT):\n    global OTHER\n    OTHER = COUNT\n"
        b"    a, b = COUNT, OTHER\n    return a, b\n"
    )
    assert fold({"one.py": source}, ["step"])["one.py"] == source


def test_only_names_become_numbers(sources, folded):
    """With the constants' names aside, every function is the same statements in the same lines."""
    for name, source in sources.items():
        before, after = _functions(source), _functions(folded[name])
        assert set(after) <= set(before), name
        for place, function in after.items():
            assert _outline(function) == _outline(before[place]), (name, place)


def _functions(source):
    """Return every function by its line and name."""
    nodes = ast.walk(ast.parse(source))
    return {(n.lineno, n.name): n for n in nodes if isinstance(n, ast.FunctionDef)}


def _outline(node):
    """Return kind and line of every statement, but of imports, which may have become shorter."""
    return [
        (type(part), part.lineno)
        for part in ast.walk(node)
        if isinstance(part, ast.stmt) and not isinstance(part, ast.ImportFrom)
    ]


@pytest.mark.parametrize("name", NAMES)
def test_recorded_runs_play_alike_with_the_heap_locked(folder, tmp_path, name):
    """The same tapes that prove the sources the same in all interpreters."""
    tape = Tape(tmp_path / "run.tape", *run_of(name))
    done = subprocess.run(
        [sys.executable, "-m", "micropython_unix", "-X", "heapsize=1M", str(PLAY), str(tape.path)],
        capture_output=True, text=True, timeout=120, env={**os.environ, "MICROPYPATH": str(folder)},
    )  # fmt: skip
    assert re.match(rf"equal \d+ \d+ {len(tape.records)} ", done.stdout), done.stdout + done.stderr


@pytest.mark.parametrize(
    "command", [[sys.executable, "-B"], [sys.executable, "-m", "micropython_unix"]]
)
def test_folded_firmware_gives_the_known_answer(folder, tmp_path, command):
    script = tmp_path / "answers.py"
    script.write_text(ANSWERS % str(folder))
    done = subprocess.run([*command, str(script)], capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == EXPECTED, done.stdout + done.stderr


def test_sums_are_the_same_in_the_32_bit_interpreter(folder, tmp_path, sources):
    node = need_program("node", "apt-get install nodejs")
    module = need_wasm_module()
    script, tape = tmp_path / "answers.py", tmp_path / "none"
    script.write_text(ANSWERS % "/lib")
    tape.write_bytes(b"")
    player = "tests/interpreters/play_wasm.mjs"
    done = subprocess.run(
        [node, player, str(module), str(folder / "emberbed_fw"), str(script), str(tape)],
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert done.stdout.strip() == EXPECTED, done.stdout[-500:]
