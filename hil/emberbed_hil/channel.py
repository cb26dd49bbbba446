"""The injection channel as the host speaks it, on the same wire as the link.

Gives SAMPLE and RESET frames as bytes, takes OUTPUTS frames apart. `SharedPort` stands between a
link's session and its port: it hands OUTPUTS to whoever injects, all else to the session, and asks
for a tick whenever the session waits. Layouts are the firmware's own (`ports/inject`).
"""

import struct
from collections.abc import Callable
from typing import NamedTuple

from emberbed.link.frames import Frame, decode, encode
from emberbed.link.transport import Port, open_port
from emberbed_fw.ports import inject

_OUTPUTS = struct.Struct(inject.OUTPUTS_BODY)
_DELIMITER = b"\0"


class Sample(NamedTuple):
    """What the device reads: fresh for `lasts` ticks. `elapsed_ms` 0 leaves the clock to it; else
    it makes those ticks at once. `how`: inject.READS, FAILS, HANGS."""

    words: bytes  # of eight channels, as a port gives them
    port_flags: int = 0
    fresh_channels: int = 0xFF
    lasts: int = 1
    elapsed_ms: int = 0
    how: int = inject.READS


class Outputs(NamedTuple):
    """What one tick drove. Times by the device's own clock, in ms."""

    tick: int
    sequence: int
    zones: int
    bits: int
    read_ms: int
    driven_ms: int
    elapsed_ms: int
    fed: int
    kept: int


def sample_frame(sample: Sample, sequence: int) -> bytes:
    """Return the bytes on the wire that make this the device's next reading."""
    head = struct.pack(
        inject.SAMPLE_HEAD, sample.port_flags, sample.fresh_channels, sample.lasts,
        sample.elapsed_ms, sample.how,
    )  # fmt: skip
    return encode(Frame(inject.SAMPLE, 0, sequence, 0, head + sample.words, inject.VERSION))


def reset_frame() -> bytes:
    """Return the bytes that start the device anew."""
    return encode(Frame(inject.RESET, 0, 0, 0, b"", inject.VERSION))


def elapsed_ms(later_ms: int, earlier_ms: int) -> int:
    """Return the time between two readings of the device's clock, which begins anew in 12 days."""
    return (later_ms - earlier_ms) & inject.CLOCK_MASK


class SharedPort(Port):
    """A port whose injected frames go another way than the link's.

    `on_outputs` is called for each tick that the device has told; `on_idle` when the session would
    wait although nothing has come.
    """

    def __init__(
        self, port: Port, on_outputs: Callable[[Outputs], None], on_idle: Callable[[], None]
    ) -> None:
        self.url = port.url
        self._port = port
        self._on_outputs = on_outputs
        self._on_idle = on_idle
        self._unfinished = b""
        self._came = b""  # and has not been read
        self.overheard: list[bytes] | None = None  # of the link, for a second host on this wire
        self.kept: list[bytes] | None = None  # of what was sent, to be sent again

    @classmethod
    def open(
        cls, url: str, on_outputs: Callable[[Outputs], None], on_idle: Callable[[], None]
    ) -> "SharedPort":
        """Open a port to be shared."""
        return cls(open_port(url), on_outputs, on_idle)

    def read(self, wait_s: float) -> bytes:
        """Return what has come for the link, waiting at most `wait_s` for anything."""
        received, self._came = self._came or self._port.read(0), b""
        if not received:
            self._on_idle()
            received = self._port.read(wait_s)
        return self._sort(received)

    def wait(self, wait_s: float) -> bool:
        """Tell whether anything has come, for the link or not, after at most `wait_s`."""
        self._came = self._came or self._port.read(wait_s)
        return self._came != b""

    def write(self, outgoing: bytes) -> None:
        if self.kept is not None:
            self.kept.append(outgoing)
        self._port.write(outgoing)

    def close(self) -> None:
        self._port.close()

    def _sort(self, received: bytes) -> bytes:
        pieces = (self._unfinished + received).split(_DELIMITER)
        self._unfinished = pieces.pop()
        for_link = b""
        for piece in pieces:
            frame = decode(piece) if piece else None
            if frame is not None and frame.version == inject.VERSION:
                if frame.message_type == inject.OUTPUTS and len(frame.payload) == _OUTPUTS.size:
                    self._on_outputs(Outputs(frame.tick, *_OUTPUTS.unpack(frame.payload)))
            else:
                for_link += piece + _DELIMITER
        if self.overheard is not None and for_link:
            self.overheard.append(for_link)
        return for_link
