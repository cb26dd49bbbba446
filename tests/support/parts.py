"""Parts of the system that a newcomer's machine may lack: node, a browser, another interpreter.

A test that needs one calls `need`. Without the part the test is skipped and says why; where the
environment sets EMBERBED_REQUIRE_ALL=1 (the project's own checks install every part) a missing
part is a failure, so that no test is left out unseen.
"""

import importlib.util
import os
import shutil
from pathlib import Path

import pytest

REQUIRE_ALL = "EMBERBED_REQUIRE_ALL"
WASM_MODULE = "EMBERBED_WASM_MODULE"
PROJECT = Path(__file__).resolve().parents[2]
NPM_FILE = "node_modules/@micropython/micropython-webassembly-pyscript/micropython.mjs"


def need(part_name: str, found: object, reason: str) -> None:
    """Skip the calling test unless `found` is truthy; fail instead where every part is required."""
    if found:
        return
    message = f"{part_name} is not here: {reason}"
    if os.environ.get(REQUIRE_ALL) == "1":
        pytest.fail(f"{message} ({REQUIRE_ALL}=1 asks for every part)", pytrace=False)
    pytest.skip(message)


def need_python_module(name: str, reason: str) -> None:
    """The same for a Python module of another distribution."""
    need(name, importlib.util.find_spec(name), reason)


def need_program(name: str, reason: str) -> str:
    """Return the path of a program on the search path, or skip or fail as `need` does."""
    path = shutil.which(name)
    need(name, path, reason)
    return path or ""


def need_wasm_module() -> Path:
    """Return the file of the 32-bit MicroPython for node, or skip or fail as `need` does."""
    named = os.environ.get(WASM_MODULE)
    path = Path(named) if named else PROJECT / NPM_FILE
    need(
        "the wasm MicroPython",
        path.is_file(),
        "npm install @micropython/micropython-webassembly-pyscript, "
        f"or name its file in {WASM_MODULE}",
    )
    return path
