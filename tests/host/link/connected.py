"""A device connected over a real wire."""

import time

import pytest

from emberbed.link.device import Device
from emberbed.link.events import Record
from tests.support.plans import build_plan, cool, hold, ramp

ANSWER_S = 0.1
PLAN = build_plan([ramp(2000, 9000, 900), hold(9000, 600), cool()])


def connect(wire, timeout_s=5.0, **options):
    return Device.connect(wire.url, timeout_s, answer_s=ANSWER_S, **options)


def collect(device, count, timeout_s=5.0):
    """Poll until `count` records are there."""
    events = []
    end_s = time.monotonic() + timeout_s
    while sum(isinstance(event, Record) for event in events) < count:
        assert time.monotonic() < end_s, events[-3:]
        events += device.poll(0.05)
    return events


# pyserial's own way to start its thread is deprecated since Python 3.10
OLD_THREAD = pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")
