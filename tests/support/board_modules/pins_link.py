"""What the stand-ins of `machine`, `time` and `select` share: the way to whoever plays the pins.

Runs in MicroPython. Requests go out as an op letter and its bytes; those that ask get an answer at
once, except `pass_time`, which stands until time may go on. See tests/support/pin_board.py.
"""

import struct
import sys

_out = sys.stdout.buffer
_in = sys.stdin.buffer


class Now:
    """Time, and bytes that have come for the UART, as of the last answer."""

    ms = 0
    received = b""
    pulse = None  # called for each pulse of the fan's tach


def tell(op, octets=b""):
    _out.write(op + octets)


def ask(op, octets, count):
    """Return the `count` bytes of an answer."""
    _out.write(op + octets)
    return _exactly(count)


def _exactly(count):
    octets = b""
    while len(octets) < count:
        more = _in.read(count - len(octets))
        if not more:
            raise SystemExit
        octets += more
    return octets


def pass_time(wait_ms):
    """Let up to so much time pass: less, where something comes for the UART."""
    Now.ms, pulses, count = struct.unpack("<IHH", ask(b"P", struct.pack("<H", wait_ms), 8))
    if count:
        Now.received += _exactly(count)
    for _pulse in range(pulses):
        if Now.pulse is not None:
            Now.pulse(None)
