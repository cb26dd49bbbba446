"""host/start.py: what a newcomer's first command does, and what it says when it cannot."""

import ast
import importlib.util
import os
import subprocess
import sys

import pytest

from tests.support.parts import PROJECT

START = PROJECT / "host/start.py"
FAKE_COMMAND = """#!{python}
import os, sys
print(os.getcwd(), *sys.argv[1:], sep="|")
sys.exit(7)
"""


@pytest.fixture
def start():
    spec = importlib.util.spec_from_file_location("start", START)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def installed(tmp_path, start):
    """Return an environment that looks set up, with a command that only tells what it got."""
    folder = tmp_path / "environment"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", folder], check=True)
    (packages,) = folder.glob("lib/python*/site-packages")
    (packages / "emberbed.py").touch()
    command = folder / "bin/emberbed"
    command.write_text(FAKE_COMMAND.format(python=folder / "bin/python"))
    command.chmod(0o755)
    (folder / start.STAMP).write_text(start.wanted_fingerprint() + "\n")
    return folder


def begin(folder, *words, cwd=None):
    return subprocess.run(
        [sys.executable, START, *words],
        env={**os.environ, "EMBERBED_VENV": str(folder)},
        cwd=cwd,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_an_old_python_can_read_it():
    """Grammar of Python 3.4, the oldest that this parser knows, and no f-string (new in 3.6)."""
    tree = ast.parse(START.read_text(encoding="ascii"), feature_version=(3, 4))
    late = (ast.JoinedStr, ast.AnnAssign, ast.NamedExpr)
    assert not [node for node in ast.walk(tree) if isinstance(node, late)]
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    assert functions and not [node for node in functions if node.returns]


def test_an_old_python_is_named(start, monkeypatch, capsys):
    monkeypatch.setattr(sys, "version_info", (3, 10, 13, "final", 0))
    assert start.main(["run", "label-printer"]) == 2
    said = capsys.readouterr().err
    assert "needs Python 3.11 or newer and this is Python 3.10" in said
    assert said.count("\n") == 1


@pytest.mark.skipif(sys.platform == "win32", reason="the fake command is a script with a #! line")
def test_words_folder_and_exit_code_are_passed_on(installed, tmp_path):
    ran = begin(installed, "run", "my profile.toml", "--speed", "max", cwd=tmp_path)
    assert ran.stdout.split("|") == [str(tmp_path), "run", "my profile.toml", "--speed", "max\n"]
    assert (ran.returncode, ran.stderr) == (7, "")


@pytest.mark.skipif(sys.platform == "win32", reason="the fake command is a script with a #! line")
def test_a_changed_project_file_or_a_missing_extra_installs_again(installed, start, monkeypatch):
    calls = []
    monkeypatch.setattr(start, "make_environment", lambda folder: calls.append("environment"))
    monkeypatch.setattr(start, "install", lambda folder, extras: calls.append(extras))
    start.set_up(str(installed), "")
    assert calls == []
    start.set_up(str(installed), "test")
    assert calls == ["environment", ["test"]]
    start.set_up(str(installed), "test")
    start.set_up(str(installed), "")
    assert len(calls) == 2
    monkeypatch.setattr(start, "wanted_fingerprint", lambda: "another")
    start.set_up(str(installed), "")
    assert calls[2:] == ["environment", ["test"]]  # what was there stays


@pytest.mark.skipif(sys.platform == "win32", reason="the fake command is a script with a #! line")
def test_an_environment_that_lost_its_packages_installs_again(installed, start, monkeypatch):
    calls = []
    monkeypatch.setattr(start, "make_environment", lambda folder: calls.append("environment"))
    monkeypatch.setattr(start, "install", lambda folder, extras: calls.append("install"))
    next(installed.glob("lib/python*/site-packages/emberbed.py")).unlink()
    start.set_up(str(installed), "")
    assert calls == ["environment", "install"]


def test_a_folder_with_other_things_in_it_is_left_alone(tmp_path):
    (tmp_path / "letter.txt").write_text("mine")
    ran = begin(tmp_path, "run", "label-printer")
    assert ran.returncode == 2
    assert "is no virtual environment: name an empty folder in EMBERBED_VENV" in ran.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_debian_is_told_the_exact_line(start, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("EMBERBED_VENV", str(tmp_path / "new"))
    monkeypatch.setitem(sys.modules, "ensurepip", None)  # as Debian leaves it out
    monkeypatch.setattr(os.path, "exists", lambda path, real=os.path.exists: (
        path == "/usr/bin/apt" or real(path)
    ))  # fmt: skip
    assert start.main(["run"]) == 2
    package = f"python{sys.version_info[0]}.{sys.version_info[1]}-venv"
    assert f"    sudo apt install -y {package}\n" in capsys.readouterr().err
    assert not (tmp_path / "new").exists()
