"""The firmware of a board in a few modules with short names: the same in every bit."""

import ast
import io
import os
import re
import subprocess
import sys
from pathlib import Path
from tokenize import tokenize

import pytest

import emberbed.replay
from emberbed.install.folding import fold
from emberbed.install.linking import (
    BUILT_IN,
    CORE,
    OF_CHIPS,
    PIECE,
    PIECE_ENDS,
    STANDS_ALONE,
    link,
    new_names,
)
from emberbed.install.numbering import number_names
from emberbed.install.version import build_version, texts_for
from emberbed_fw.known_answer import known_answer
from tests.support.parts import need_program, need_wasm_module
from tests.support.record_tapes import NAMES, Tape, run_of

HERE = Path(__file__).parent
PLAYER = "player.py"
PORTS = ("rp2040", "esp32")
LOW = b'''"""Low."""
import struct
LIMIT = struct.calcsize


class Meter:
    STATE = ("level", "_dwell")

    def __init__(self, level):
        self.level = level
        self._dwell = 1

    def step(self, level):
        self._dwell += level
        return self._dwell


def doubled(level):
    return level * 2
'''
HIGH = b'''"""High."""
from emberbed_fw import low
from emberbed_fw.low import doubled


class Finer(low.Meter):
    STATE = low.Meter.STATE + ("_fine",)

    def refine(self, low):
        self._fine = low.level
        return doubled(self._fine)
'''
ENTRY = b'''"""Entry."""
from emberbed_fw.high import Finer


def serve(levels):
    finer = Finer(levels[0])
    given = [finer.step(each) for each in levels]
    return given, finer.refine(finer), [getattr(finer, name) for name in finer.STATE]
'''


SMALL = {"__init__.py": b"", "low.py": LOW, "high.py": HIGH, "entry.py": ENTRY}


def write_package(texts, root):
    for name, its in texts.items():
        path = root / "emberbed_fw" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(its)
    return root


def said_by(root, expression):
    """Return what an expression over the linked entry prints, in an interpreter of its own."""
    script = root / "say.py"
    script.write_text(f"from emberbed_fw import entry\nprint({expression})\n")
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, timeout=60)
    return done.stdout.strip() or done.stderr


def test_modules_become_pieces_and_do_the_same(tmp_path):
    texts = link(SMALL, "entry.py")
    pieces = [PIECE % 0, PIECE % 1]  # two files make no more
    assert sorted(texts) == ["__init__.py", CORE, *pieces, "entry.py"]
    told = said_by(write_package(texts, tmp_path), "entry.serve([3, 4])")
    assert told == "([4, 8], 6, [3, 8, 3])"
    text = b"".join(texts[piece] for piece in pieces)
    names = {word.string for word in tokenize(io.BytesIO(text).readline)}
    assert not names & {"Meter", "Finer", "level", "_dwell", "_fine", "doubled", "refine"}
    assert {"calcsize", "STATE", "__init__", "struct"} <= names


def test_pieces_are_loaded_in_their_order_with_a_collection_after_each(sources):
    texts = texts_for(sources, "rp2040")
    lines = texts[CORE].decode().splitlines()
    names = [f"import emberbed_fw.core{number}" for number in range(len(PIECE_ENDS))]
    assert lines == ["import gc", *(line for name in names for line in (name, "gc.collect()"))]
    sizes = [len(texts[PIECE % number]) for number in range(len(PIECE_ENDS))]
    assert sizes == sorted(sizes, reverse=True), "what loading the last one leaves is least"
    for number in range(len(sizes)):
        needed = re.findall(rb"from emberbed_fw.core(\d) import", texts[PIECE % number])
        assert all(int(other) < number for other in needed)


def test_whoever_stays_beside_the_pieces_lets_them_be_loaded_first(sources):
    texts = texts_for(sources, "rp2040")
    for name, text in texts.items():
        first = text.find(b"from emberbed_fw.core")
        if first >= 0 and not name.startswith("core"):
            assert 0 <= text.find(b"import emberbed_fw.core;") < first, name


def test_kept_names_stay():
    assert b"def doubled(" in link(SMALL, "entry.py", ["doubled"])[PIECE % 0]


def test_new_names_are_no_words_of_the_language():
    names = [name for name, _number in zip(new_names(["a"]), range(3000), strict=False)]
    assert names[0] == "b" and len(set(names)) == 3000
    assert not {"as", "if", "in", "is", "or", "id", "a"}.intersection(names)


@pytest.mark.parametrize("port", PORTS)
def test_what_chips_and_the_prompt_call_by_name_is_still_there(sources, port):
    texts = texts_for(sources, port)
    assert texts[STANDS_ALONE] == fold(sources)[STANDS_ALONE]
    assert "def serve(" in texts[f"ports/{port}.py"].decode()
    assert "def serve(" in texts[f"ports/{port}_inject.py"].decode()
    assert "def known_answer(" in texts["known_answer.py"].decode()
    words = set(re.findall(r"\w+", b"".join(texts.values()).decode()))
    assert {"readinto", "write_readinto", "ipoll", "heap_lock", "pack_into", "feed"} <= words


def test_methods_of_a_board_s_objects_are_known(request):
    """Every method in MicroPython's stubs for what the ports hold, against the list here."""
    stubs = sorted(Path(request.config.rootpath).glob("typings*/machine*.pyi"))
    if not stubs:
        pytest.skip("no stubs: see 'Check types and style by hand' in DEVELOPERS.md")
    wanted = {"Pin", "SPI", "I2C", "UART", "ADC", "WDT", "RTC"}
    methods = {
        part.name
        for stub in stubs
        for node in ast.walk(ast.parse(stub.read_text()))
        if isinstance(node, ast.ClassDef) and node.name in wanted
        for part in node.body
        if isinstance(part, ast.FunctionDef) and not part.name.startswith("_")
    }
    ours = firmware_definitions(Path(request.config.rootpath))
    known = OF_CHIPS.union(*(dir(kind) for kind in BUILT_IN))
    assert methods & ours <= known


def firmware_definitions(root):
    """Return every method and attribute name that the firmware gives itself."""
    found = set()
    for path in (root / "firmware_py" / "emberbed_fw").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.FunctionDef):
                found.add(node.name)
            elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
                found.add(node.attr)
    return found


@pytest.fixture(scope="module")
def playing(sources, tmp_path_factory):
    """The firmware numbered and linked around the player of tapes, in a folder."""
    text = (Path(emberbed.replay.__file__).parent / PLAYER).read_bytes()
    whole = {**sources, PLAYER: text}
    texts = link(number_names(fold(whole, re.findall(r"\w+", text.decode())), whole), PLAYER)
    return write_package(texts, tmp_path_factory.mktemp("linked"))


@pytest.mark.parametrize("name", NAMES)
def test_recorded_runs_play_alike_with_the_heap_locked(playing, tmp_path, name):
    """The same tapes that prove the sources the same in all interpreters."""
    tape = Tape(tmp_path / "run.tape", *run_of(name))
    command = [
        sys.executable, "-m", "micropython_unix", "-X", "heapsize=1M",
        str(playing / "emberbed_fw" / PLAYER), str(tape.path),
    ]  # fmt: skip
    environment = {**os.environ, "MICROPYPATH": str(playing)}
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, env=environment)
    assert re.match(rf"equal \d+ \d+ {len(tape.records)} ", done.stdout), done.stdout + done.stderr


@pytest.mark.parametrize("port", PORTS)
def test_compiled_files_give_the_known_answer_in_the_32_bit_interpreter(sources, tmp_path, port):
    node = need_program("node", "install Node.js 18 or later")
    build_version(sources, "", port, b"", b"").write_to(tmp_path)
    script, tape = tmp_path / "answer.py", tmp_path / "none"
    tape.write_bytes(b"")
    script.write_text(
        (HERE / "ticks_on_pins.py").read_text() + "\nplay({})\n"
        "from emberbed_fw.known_answer import known_answer\n"
        f"import emberbed_fw.ports.{port}\nprint(known_answer())\n"
    )
    command = [
        node, "tests/interpreters/play_wasm.mjs", str(need_wasm_module()),
        str(tmp_path / "emberbed_fw"), str(script), str(tape),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.stdout.strip() == str(known_answer()), done.stdout[-500:]
