"""Lines that move the virtual device's button, in simulated time."""

import time

import pytest

from emberbed_fw.record import PORT_BUTTON
from emberbed_sim.control_channel import TAP_S, ControlChannel


def obeyed(*lines):
    """Return a channel whose lines have all been read."""
    channel = ControlChannel(lines)
    end_s = time.monotonic() + 5
    while not channel._stream_ended.is_set():
        assert time.monotonic() < end_s
    return channel


def test_a_hold_lasts_as_long_as_it_says():
    channel = obeyed("hold 1.5\n")
    assert channel.button(10.0) == PORT_BUTTON
    assert channel.button(11.4) == PORT_BUTTON
    assert channel.button(11.5) == 0


def test_a_tap_is_short():
    channel = obeyed("tap\n")
    assert channel.button(0.0) == PORT_BUTTON
    assert channel.button(TAP_S) == 0


def test_a_tap_does_not_shorten_a_hold():
    channel = obeyed("hold 2", "tap")
    channel.button(0.0)
    assert channel.button(1.9) == PORT_BUTTON


@pytest.mark.parametrize("line", ["", "hold", "hold long", "hold nan", "hold -3", "press 3", "\0"])
def test_anything_else_is_ignored(line):
    assert obeyed(line).button(0.0) == 0


def test_it_has_ended_only_after_the_last_line_was_obeyed():
    channel = obeyed("hold 1")
    assert not channel.ended
    channel.button(0.0)
    assert channel.ended


def test_a_broken_stream_is_an_end_too():
    def broken():
        yield "hold 1"
        raise UnicodeDecodeError("utf-8", b"\xff", 0, 1, "not text")

    channel = obeyed_stream(broken())
    assert channel.button(0.0) == PORT_BUTTON
    assert channel.ended


def obeyed_stream(lines):
    channel = ControlChannel(lines)
    assert channel._stream_ended.wait(5)
    return channel
