"""A missing part of the system skips a test at a newcomer's and fails it where all are required."""

import pytest

from tests.support import parts


def test_part_that_is_here_is_fine(monkeypatch):
    for value in ("", "1"):
        monkeypatch.setenv(parts.REQUIRE_ALL, value)
        parts.need("a part", "/usr/bin/part", "install it")


def test_missing_part_skips_with_its_reason(monkeypatch):
    monkeypatch.delenv(parts.REQUIRE_ALL, raising=False)
    with pytest.raises(pytest.skip.Exception, match="a part is not here: install it"):
        parts.need("a part", None, "install it")


def test_missing_part_fails_where_every_part_is_required(monkeypatch):
    monkeypatch.setenv(parts.REQUIRE_ALL, "1")
    with pytest.raises(pytest.fail.Exception, match="a part is not here: install it"):
        parts.need("a part", None, "install it")


def test_missing_module_and_program_are_missing_parts(monkeypatch):
    monkeypatch.setenv(parts.REQUIRE_ALL, "1")
    with pytest.raises(pytest.fail.Exception):
        parts.need_python_module("no_such_module_anywhere", "install it")
    with pytest.raises(pytest.fail.Exception):
        parts.need_program("no-such-program-anywhere", "install it")
    parts.need_python_module("struct", "never")


def test_wasm_module_is_found_by_its_variable(monkeypatch, tmp_path):
    file = tmp_path / "micropython.mjs"
    file.write_text("")
    monkeypatch.setenv(parts.WASM_MODULE, str(file))
    assert parts.need_wasm_module() == file
    monkeypatch.setenv(parts.WASM_MODULE, str(tmp_path / "elsewhere.mjs"))
    monkeypatch.setenv(parts.REQUIRE_ALL, "1")
    with pytest.raises(pytest.fail.Exception, match="npm install"):
        parts.need_wasm_module()
