"""The host's link against the firmware's own link, in the virtual device as a process."""

import json
import subprocess
import sys

import pytest

from emberbed.link.device import Device, Refused
from emberbed.link.events import Record, Snapshot
from emberbed_fw import messages
from emberbed_fw.settings import settings_fit
from tests.support.plans import build_plan, cool, hold, ramp


@pytest.fixture
def url():
    """Start a virtual device as fast as it will go; its end of input ends it."""
    command = [sys.executable, "-m", "emberbed_sim.virtual_device"]
    with subprocess.Popen(
        [*command, "--speed", "max", "--engine", "cpython"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as process:
        try:
            assert process.stdout
            yield json.loads(process.stdout.readline())["url"]
        finally:
            assert process.stdin
            process.stdin.close()
            process.wait(10)


class Keeper:
    """Keeps every record and answers for it, as the storing loop does."""

    def __init__(self):
        self.ticks = []
        self.device = None

    def __call__(self, events):
        assert all(isinstance(event, (Record, Snapshot)) for event in events), events
        self.ticks += [event.tick for event in events if isinstance(event, Record)]
        if self.device is not None:
            self.device.renew(self.ticks[-1])

    def poll_until(self, count):
        while len(self.ticks) < count:
            events = self.device.poll(5.0)
            assert events, "the device's clock stands still"
            self(events)


def connect(url, keeper, **options):
    keeper.device = Device.connect(url, 5.0, sink=keeper, **options)
    return keeper.device


def test_a_plan_is_taken_and_armed_while_records_flow(url):
    keeper = Keeper()
    with connect(url, keeper) as device:
        assert settings_fit(device.read_settings())
        keeper.poll_until(300)  # each renewed; the next request must still be answered
        with pytest.raises(Refused) as failure:
            device.acknowledge(1)
        assert failure.value.code == messages.WRONG_STATE
        plan = build_plan([ramp(2000, 9000, 900), hold(9000, 600), cool()])
        device.send_plan(plan)
        device.arm(plan)
        device.stop()
        first = keeper.ticks[0]
        assert keeper.ticks == list(range(first, first + len(keeper.ticks)))


def test_a_broken_off_session_goes_on_without_a_gap(url):
    keeper = Keeper()
    with connect(url, keeper) as device:
        keeper.poll_until(100)
    seen = len(keeper.ticks)
    with connect(url, keeper, nonce=device.nonce, first_tick=keeper.ticks[-1] + 1):
        keeper.poll_until(seen + 200)
    first = keeper.ticks[0]
    assert keeper.ticks == list(range(first, first + len(keeper.ticks)))
