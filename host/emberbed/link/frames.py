"""The wire frame as the host speaks it: 00 | COBS(header + payload + CRC-32) | 00.

Takes and gives bytes, opens no port, knows no message. The numbers (header layout, largest payload)
are the firmware's table; the code is another one on purpose, with the `cobs` and `crcmod` packages,
so that neither side can agree with its own mistakes. A damaged frame is counted and dropped.
"""

import struct
from dataclasses import dataclass

import crcmod.predefined
from cobs import cobs

from emberbed_fw.frames import (
    CRC_BYTES,
    HEADER,
    HEADER_BYTES,
    MAX_FRAME,
    MAX_PAYLOAD,
    PROTOCOL_VERSION,
)

crc32 = crcmod.predefined.mkPredefinedCrcFun("crc-32")

_HEADER = struct.Struct(HEADER)
_CRC = struct.Struct("<I")
_DELIMITER = b"\0"


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame off the wire; `tick` is the newest tick its sender knew."""

    message_type: int
    session: int
    sequence: int
    tick: int
    payload: bytes
    version: int = PROTOCOL_VERSION


def encode(message: Frame) -> bytes:
    """Return the bytes of `message` on the wire; ValueError if its payload is too long."""
    length = len(message.payload)
    if length > MAX_PAYLOAD:
        raise ValueError(f"a frame carries at most {MAX_PAYLOAD} bytes of payload, not {length}")
    body = (
        _HEADER.pack(
            message.version,
            message.message_type,
            length,
            message.session,
            message.sequence,
            message.tick,
        )
        + message.payload
    )
    return _DELIMITER + cobs.encode(body + _CRC.pack(crc32(body))) + _DELIMITER


def decode(stuffed: bytes) -> Frame | None:
    """Return the frame between two delimiters, or None if it is damaged."""
    try:
        body = cobs.decode(stuffed)
    except cobs.DecodeError:
        return None
    length = len(body) - HEADER_BYTES - CRC_BYTES
    if not 0 <= length <= MAX_PAYLOAD:
        return None
    if crc32(body[:-CRC_BYTES]) != _CRC.unpack_from(body, len(body) - CRC_BYTES)[0]:
        return None
    version, message_type, told_length, session, sequence, tick = _HEADER.unpack_from(body)
    if told_length != length:
        return None
    payload = body[HEADER_BYTES:-CRC_BYTES]
    return Frame(message_type, session, sequence, tick, payload, version)


class FrameSplitter:
    """Cuts a stream of bytes into frames; keeps at most one frame's worth of unfinished bytes."""

    def __init__(self) -> None:
        self._unfinished = b""
        self.damaged = 0  # frames dropped since the start

    def feed(self, received: bytes) -> list[Frame]:
        """Take bytes as they came, in any cut; return the frames they completed, in order."""
        pieces = received.split(_DELIMITER)
        pieces[0] = self._unfinished + pieces[0]
        # One byte above the longest frame is enough to know for good that it is none.
        self._unfinished = pieces.pop()[: MAX_FRAME + 1]
        frames = []
        for piece in pieces:
            if not piece:
                continue
            frame = decode(piece)
            if frame is None:
                self.damaged += 1
            else:
                frames.append(frame)
        return frames
