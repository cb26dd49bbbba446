"""Lines that are hands at the virtual device: its button, its bench, in simulated time."""

import time

import pytest

from emberbed_fw.record import PORT_BUTTON
from emberbed_sim.control_channel import TAP_S, ControlChannel


def obeyed(*lines):
    """Return a channel whose lines have all been read."""
    channel = ControlChannel(lines)
    end_s = time.monotonic() + 30
    while not channel._stream_ended.is_set():
        assert time.monotonic() < end_s
    return channel


class Bench:
    """Notes what hands do; has one sensor."""

    def __init__(self):
        self.done = []

    def blow(self, air_c):
        self.done.append(("blow", air_c))

    def change_board(self):
        self.done.append(("change_board",))

    def finger(self, channel, seconds):
        self._bead("finger", channel, seconds)

    def lift(self, channel):
        self._bead("lift", channel)

    def press(self, channel):
        self._bead("press", channel)

    def place(self, channel, x_mm, y_mm):
        self._bead("place", channel, x_mm, y_mm)

    def _bead(self, what, channel, *more):
        if channel != 0:
            raise ValueError("no such sensor")
        self.done.append((what, channel, *more))


def button(channel, now_s):
    return channel.obey(Bench(), now_s)


def test_a_hold_lasts_as_long_as_it_says():
    channel = obeyed("hold 1.5\n")
    assert button(channel, 10.0) == PORT_BUTTON
    assert button(channel, 11.4) == PORT_BUTTON
    assert button(channel, 11.5) == 0


def test_a_tap_is_short():
    channel = obeyed("tap\n")
    assert button(channel, 0.0) == PORT_BUTTON
    assert button(channel, TAP_S) == 0


def test_a_tap_does_not_shorten_a_hold():
    channel = obeyed("hold 2", "tap")
    button(channel, 0.0)
    assert button(channel, 1.9) == PORT_BUTTON


@pytest.mark.parametrize(
    ("line", "does"),
    [
        ("air on", ("blow", 380)),
        ("air off", ("blow", None)),
        ("board", ("change_board",)),
        ("finger 0 2.5", ("finger", 0, 2.5)),
        ("lift 0", ("lift", 0)),
        ("press 0", ("press", 0)),
        ("place 0 -30 12.5", ("place", 0, -30.0, 12.5)),
    ],
)
def test_hands_reach_the_bench_and_not_the_button(line, does):
    bench = Bench()
    assert obeyed(line).obey(bench, 0.0) == 0
    assert bench.done == [does]


@pytest.mark.parametrize(
    "line",
    [
        "", "hold", "hold long", "hold nan", "hold -3", "hold 1 2", "\0", "air", "air up",
        "board 2", "finger 0", "finger 0 inf", "finger x 1",
        "lift", "lift 1.5", "lift 7", "press seven", "place 0", "place 0 1 up", "place 7 1 1",
    ],
)  # fmt: skip
def test_anything_else_is_ignored(line):
    bench = Bench()
    channel = obeyed(line, "press 0")
    assert channel.obey(bench, 0.0) == 0
    assert bench.done == [("press", 0)]  # what follows a line that was ignored is obeyed
    assert channel.ended


def test_it_has_ended_only_after_the_last_line_was_obeyed():
    channel = obeyed("hold 1")
    assert not channel.ended
    button(channel, 0.0)
    assert channel.ended


def test_a_broken_stream_is_an_end_too():
    def broken():
        yield "hold 1"
        raise UnicodeDecodeError("utf-8", b"\xff", 0, 1, "not text")

    channel = obeyed_stream(broken())
    assert button(channel, 0.0) == PORT_BUTTON
    assert channel.ended


def obeyed_stream(lines):
    channel = ControlChannel(lines)
    assert channel._stream_ended.wait(5)
    return channel
