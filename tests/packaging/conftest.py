"""The distributions, built once for all tests of this folder."""

import subprocess
import sys
import tarfile
import zipfile

import pytest

from tests.support.parts import PROJECT

LONGEST_S = 120


def pip_wheel(source, folder):
    """Build a wheel of `source` with the build backend that is installed here."""
    command = [sys.executable, "-m", "pip", "--disable-pip-version-check", "wheel", "--quiet"]
    _run([*command, "--no-deps", "--no-build-isolation", "-w", str(folder), str(source)])
    (wheel,) = folder.glob("*.whl")
    return wheel


def _run(command, **options):
    ran = subprocess.run(
        command, capture_output=True, text=True, timeout=LONGEST_S, check=False, **options
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr


@pytest.fixture(scope="session")
def wheel(tmp_path_factory):
    return pip_wheel(PROJECT, tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="session")
def unpacked_wheel(wheel, tmp_path_factory):
    folder = tmp_path_factory.mktemp("unpacked")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    return folder


@pytest.fixture(scope="session")
def sdist(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sdist")
    _run([sys.executable, "-m", "hatchling", "build", "-t", "sdist", "-d", folder], cwd=PROJECT)
    (found,) = folder.glob("*.tar.gz")
    return found


@pytest.fixture(scope="session")
def unpacked_sdist(sdist, tmp_path_factory):
    folder = tmp_path_factory.mktemp("source")
    with tarfile.open(sdist) as archive:
        archive.extractall(folder, filter="data")
    (top,) = folder.iterdir()
    return top
