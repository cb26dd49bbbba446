"""The injection port on a clock that a test turns: which ticks it makes, and from which reading."""

from types import SimpleNamespace

import pytest

from emberbed_fw.device_port import TICK
from emberbed_fw.ports import inject
from emberbed_fw.safety_limits import LATE_TICK_MS
from emberbed_fw.units import TICK_MS
from emberbed_hil.channel import Sample, sample_frame


class Bare:
    """A board without pins whose clock goes on only while the port rests."""

    def __init__(self):
        self.now_ms = 5000
        self.coming = b""
        self.settings_block = self.nonce = self.build_id = self.kept = self.reset_cause = None
        self.feed = self.keep = None

    def read_slot(self, _slot):
        return b""

    def clock_ms(self):
        return self.now_ms

    def read(self, buffer):
        count = min(len(buffer), len(self.coming))
        buffer[:count] = self.coming[:count]
        self.coming = self.coming[count:]
        return count

    def write(self, octets):
        pass

    def rest(self, milliseconds):
        self.now_ms += milliseconds


@pytest.fixture
def board():
    return Bare()


@pytest.fixture
def port(board):
    return inject.InjectPort(board)


def tick(port):
    """Wait for a tick; return what it reads."""
    while port.wait() != TICK:
        pass
    inputs = SimpleNamespace(words=bytearray(32))
    port.sample(inputs)
    return inputs


def lasted_ms(port, count):
    return [tick(port).elapsed_ms for _ in range(count)]


def test_own_clock_makes_a_tick_every_100_ms(port):
    assert lasted_ms(port, 20) == [TICK_MS] * 20


def test_late_tick_is_never_made_up(board, port):
    """contracts: late ticks are never made up; as on the port that has pins."""
    tick(port)
    board.now_ms += 317
    assert lasted_ms(port, 3) == [317, TICK_MS, TICK_MS]


def test_tick_that_is_not_late_keeps_the_beat(board, port):
    tick(port)
    board.now_ms += LATE_TICK_MS - 10
    assert lasted_ms(port, 3) == [LATE_TICK_MS - 10, 2 * TICK_MS - LATE_TICK_MS + 10, TICK_MS]


def test_given_ticks_come_at_once_and_see_the_same(board, port):
    board.coming = sample_frame(Sample(b"\x01" * 32, fresh_channels=3, lasts=3, elapsed_ms=80), 1)
    begun_ms = board.now_ms
    seen = [tick(port) for _ in range(3)]
    assert [(each.elapsed_ms, each.fresh_channels) for each in seen] == [(80, 3)] * 3
    assert {bytes(each.words) for each in seen} == {b"\x01" * 32}
    assert board.now_ms == begun_ms
    tick(port)
    assert board.now_ms >= begun_ms + inject.GIVEN_MS, "the next one waits for a sample"


def test_reading_that_shall_fail_fails_although_the_next_one_is_there(board, port):
    board.coming = sample_frame(Sample(bytes(32), how=inject.FAILS), 1)
    board.coming += sample_frame(Sample(bytes(32)), 2)
    with pytest.raises(OSError):
        tick(port)
    tick(port)
