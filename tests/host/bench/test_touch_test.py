"""The touch test: one channel is named when a finger warms it, none or two are not."""

from io import StringIO
from types import SimpleNamespace

import pytest
from rich.console import Console

from emberbed.bench import touch_test
from emberbed.bench.prepare import NotReady
from emberbed.bench.touch_test import ASK, GROUND_TICKS, judge_touch, require_touch, watch_touch
from emberbed.link.events import Damaged, Record
from emberbed.records import decode_record
from emberbed_fw.units import NO_READING_CDEG
from tests.host.store.synthetic_run import tick_record

NAMES = {0: "top_near_chip", 1: "edge", 2: "battery"}
TICKS = 100


def records(*warm, start_cdeg=2300, noise=(0, 25, -25)):
    """Return readings of three channels, each rising to its own last temperature."""
    taken = []
    for tick in range(TICKS):
        share = max(0, tick - GROUND_TICKS) / (TICKS - GROUND_TICKS)
        fields = {
            f"channel{channel}_cdeg": round(
                start_cdeg + (last - start_cdeg) * share + noise[(tick + channel) % 3]
            )
            for channel, last in enumerate(warm)
        }
        taken.append(decode_record(tick_record(tick, **fields)))
    return taken


@pytest.mark.parametrize(
    ("warm", "channel"),
    [
        ((3300, 2300, 2300), 0),
        ((2300, 2300, 2900), 2),
        ((2300, 2340, 2300), None),  # less than a degree
        ((2300, 2300, 2300), None),
        ((3000, 2950, 2300), None),  # two fingers, or a finger across two beads
        ((3000, 2400, 2350), 0),  # the neighbour warms a little: one clearly the most
    ],
)
def test_the_channel_that_a_finger_warms(warm, channel):
    assert judge_touch(records(*warm), list(NAMES)).channel == channel


def test_a_channel_without_readings_is_none():
    taken = [one._replace(channel2_cdeg=NO_READING_CDEG) for one in records(3000, 2300, 9900)]
    touched = judge_touch(taken, list(NAMES))
    assert touched.channel == 0
    assert set(touched.rises_cdeg) == {0, 1}
    nothing = [one._replace(channel0_cdeg=NO_READING_CDEG) for one in records(0)]
    assert judge_touch(nothing, [0]).channel is None
    assert judge_touch([], [0]).channel is None


@pytest.mark.parametrize(
    ("warm", "start_cdeg", "sentence"),
    [
        ((3300, 2300, 2300), 2300, "The finger warmed top_near_chip (channel 0, by 9.9 °C)."),
        ((3000, 2950, 2300), 2300, "More than one sensor got warmer (top_near_chip, edge): touch"),
        ((2300, 2300, 2300), 2300, "No sensor got warmer: touch the bead itself"),
        ((4000, 4000, 4000), 4000, "No sensor got warmer, as the board is as warm as a finger"),
    ],
)
def test_what_it_says(warm, start_cdeg, sentence):
    touched = judge_touch(records(*warm, start_cdeg=start_cdeg), list(NAMES))
    told = touched.sentence(NAMES)
    assert told.startswith(sentence)
    assert told.endswith(".") and ". " not in told


class FakeDevice:
    """Gives records seven at a time, once each has been acknowledged."""

    url = "socket://bench:1"

    def __init__(self, *warm):
        self._raw = [
            tick_record(one.tick, **{f"channel{c}_cdeg": one.channel_cdeg(c) for c in NAMES})
            for one in records(*warm)
        ]
        self.renewed = []

    def poll(self, _timeout_s):
        events, self._raw = self._raw[:7], self._raw[7:]
        return [Damaged(1), *(Record(raw, decode_record(raw).tick, False) for raw in events)]

    def renew(self, tick):
        self.renewed.append(tick)


def test_a_device_is_watched_for_so_many_of_its_seconds():
    device = FakeDevice(3300, 2300, 2300)
    assert watch_touch(device, list(NAMES), 5.0).channel == 0
    assert device.renewed == list(range(50))


def test_a_device_that_sends_nothing_is_told(monkeypatch):
    now = SimpleNamespace(s=0.0)

    def passing():
        now.s += 1.0
        return now.s

    monkeypatch.setattr(touch_test, "time", SimpleNamespace(monotonic=passing))
    with pytest.raises(NotReady, match="sends no readings"):
        watch_touch(FakeDevice(3300, 2300, 2300), list(NAMES), 60.0)


def require(device, virtual=None, scripted=False):
    console = Console(file=StringIO(), width=200)
    description = SimpleNamespace(fitted_names=lambda: NAMES)
    require_touch(device, description, virtual, scripted, console)
    return console.file.getvalue()


def test_before_a_run_it_asks_and_names_the_channel():
    said = require(FakeDevice(2300, 3300, 2300))
    assert said.splitlines()[0] == ASK
    assert "warmed edge" in said.splitlines()[1]


def test_before_a_run_that_nothing_was_touched_is_a_refusal():
    with pytest.raises(NotReady, match="No sensor got warmer"):
        require(FakeDevice(2300, 2300, 2300))


@pytest.mark.parametrize("scripted", [True, False])
def test_a_script_lays_its_own_finger_on_the_virtual_bead(scripted):
    laid = []
    virtual = SimpleNamespace(finger=lambda *where: laid.append(where))
    require(FakeDevice(3300, 2300, 2300), virtual, scripted)
    assert laid == ([(0, 10.0)] if scripted else [])
