"""Wheel and source distribution are complete, and the program runs from the wheel alone."""

import compileall
import json
import os
import shutil
import subprocess
import sys
import zipfile

import pytest

from emberbed_sim import engine
from tests.packaging.conftest import pip_wheel
from tests.support.parts import PROJECT

PACKAGES = {
    "emberbed": PROJECT / "host/emberbed",
    "emberbed_sim": PROJECT / "sim/emberbed_sim",
    "emberbed_fw": PROJECT / "firmware_py/emberbed_fw",
    "emberbed_hil": PROJECT / "hil/emberbed_hil",
}
LONGEST_S = 60


def names_in(wheel):
    with zipfile.ZipFile(wheel) as archive:
        return {name for name in archive.namelist() if ".dist-info/" not in name}


def sources_of(folder):
    """Return every file of a package's folder, as the wheel should hold it."""
    return {
        path.relative_to(folder.parent).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_wheel_holds_all_four_packages_whole_and_nothing_else(wheel):
    wanted = set().union(*(sources_of(folder) for folder in PACKAGES.values()))
    assert names_in(wheel) == wanted | {"emberbed_hil/hazards.toml"}


@pytest.mark.parametrize(
    "name",
    [
        "emberbed_fw/ports/pipe.py",
        "emberbed/profiles/library/label-printer.toml",
        "emberbed/materials/materials.toml",
        "emberbed/docs/safety.md",
        "emberbed/docs/pictures/run-chart.svg",
        "emberbed_hil/hazards.toml",
    ],
)
def test_wheel_holds_what_is_not_imported(wheel, name):
    assert name in names_in(wheel)


def test_wheel_gives_the_command(unpacked_wheel):
    (points,) = unpacked_wheel.glob("*.dist-info/entry_points.txt")
    assert points.read_text().split() == ["[console_scripts]", "emberbed", "=", "emberbed.cli:main"]


def from_wheel(unpacked_wheel, folder, *words):
    """Run Python with the wheel's packages before all others, somewhere else."""
    return subprocess.run(
        [sys.executable, *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(unpacked_wheel)},
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=False,
    )


def test_a_whole_run_from_the_wheel_alone(unpacked_wheel, tmp_path):
    script = "import emberbed, emberbed_sim, emberbed_fw as f; print(emberbed.__file__, f.__file__)"
    where = from_wheel(unpacked_wheel, tmp_path, "-c", script).stdout.split()
    assert len(where) == 2 and all(path.startswith(str(unpacked_wheel)) for path in where)
    run = ["-m", "emberbed.cli", "run", "weather-logger", "--speed", "max", "--press", "--json"]
    ran = from_wheel(unpacked_wheel, tmp_path, *run, "--store", "runs.sqlite")
    assert ran.returncode == 0, ran.stderr
    answer = json.loads(ran.stdout)
    assert answer["state"] == "finished"
    assert (tmp_path / answer["page"]).is_file()


def test_compiled_files_beside_the_firmware_change_nothing(unpacked_wheel, tmp_path, monkeypatch):
    """pip compiles what it installs; the fingerprint is that of the sources."""
    folder = shutil.copytree(unpacked_wheel / "emberbed_fw", tmp_path / "emberbed_fw")
    monkeypatch.setattr(engine, "firmware_folder", lambda: folder)
    before = engine.firmware_digest()
    assert compileall.compile_dir(folder, quiet=2)
    assert list(folder.rglob("*.pyc"))
    assert engine.firmware_digest() == before
    (folder / "units.py").write_text("TICK_MS = 100\n")
    assert engine.firmware_digest() != before


def test_source_distribution_holds_all_a_developer_needs(unpacked_sdist):
    for name in (
        "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "host/start.py",
        "firmware_py/pyrightconfig.json", "hil/README.md", "tests/support/parts.py",
        "tests/interpreters/play_wasm.mjs",
    ):  # fmt: skip
        assert (unpacked_sdist / name).is_file(), name
    ours = sources_of(PROJECT / "tests")
    assert ours <= {f"tests/{name}" for name in sources_below(unpacked_sdist / "tests")}
    for name in (".venv", "node_modules", "typings", ".git"):
        assert not (unpacked_sdist / name).exists(), name


def sources_below(folder):
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_wheel_from_the_source_distribution_is_the_same(sdist, wheel, tmp_path):
    again = pip_wheel(sdist, tmp_path)
    assert names_in(again) == names_in(wheel)
