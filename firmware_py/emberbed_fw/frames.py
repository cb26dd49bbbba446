"""Frames on the wire: 00 | COBS(header + payload + CRC-32) | 00, in fixed buffers.

Takes bytes as they come and gives whole, undamaged frames; knows no message and opens no port.
CRC-32 is the one of IEEE 802.3 (`binascii.crc32`), COBS as in Cheshire & Baker 1999. A damaged,
truncated or glued frame is counted and dropped; the next delimiter is always a fresh start.
May allocate a few bytes (`crc32` gives a big int on 32-bit): runs after the outputs are set.
"""

import struct
from binascii import crc32

PROTOCOL_VERSION = 1
HEADER = "<BBBIHI"  # version, type, payload length, session, sequence, newest tick
HEADER_BYTES = 13
CRC_BYTES = 4
MAX_PAYLOAD = 236
MAX_BODY = HEADER_BYTES + MAX_PAYLOAD + CRC_BYTES  # 253: one COBS block, overhead one byte
MAX_FRAME = MAX_BODY + 3


def encode_frame(body, length, out):
    """Append the CRC to `body[:length]` (room for 4 more bytes) and put the frame into `out`.

    Returns the frame's length in bytes; `body` and `out` are bytearrays of MAX_BODY, MAX_FRAME.
    """
    struct.pack_into("<I", body, length, crc32(memoryview(body)[:length]))
    out[0] = 0
    code_at = 1  # where the running block's length goes
    write = 2
    for read in range(length + CRC_BYTES):
        octet = body[read]
        if octet == 0:
            out[code_at] = write - code_at
            code_at = write
        else:
            out[write] = octet
        write += 1
    out[code_at] = write - code_at
    out[write] = 0
    return write + 1


def decode_cobs(frame, length, body):
    """Undo COBS on `frame[:length]` (no delimiters) into `body`; returns its length or -1."""
    read = 0
    write = 0
    while read < length:
        code = frame[read]
        stop = read + code
        read += 1
        if code == 0 or stop > length:
            return -1
        while read < stop:
            body[write] = frame[read]
            write += 1
            read += 1
        if code < 255 and read < length:
            body[write] = 0
            write += 1
    return write


class FrameReader:
    """Collects bytes into frames. After `feed` gives True the body is in `body[:length]`,
    CRC checked and cut off, header still on."""

    def __init__(self):
        self._frame = bytearray(MAX_FRAME)
        self._filled = 0
        self.body = bytearray(MAX_FRAME)
        self.length = 0
        self.damaged = 0  # frames dropped since the start

    def feed(self, octet):
        """Take one byte; tell whether it completed an undamaged frame."""
        if octet != 0:
            # what fills the buffer holds more than the longest body: _accept refuses it
            if self._filled < MAX_FRAME:
                self._frame[self._filled] = octet
                self._filled += 1
            return False
        filled = self._filled
        self._filled = 0
        if filled == 0:
            return False
        if not self._accept(filled):
            self.damaged += 1
            return False
        return True

    def _accept(self, filled):
        length = decode_cobs(self._frame, filled, self.body) - CRC_BYTES
        if length < HEADER_BYTES or length > HEADER_BYTES + MAX_PAYLOAD:
            return False
        if struct.unpack_from("<I", self.body, length)[0] != crc32(memoryview(self.body)[:length]):
            return False
        self.length = length
        return self.body[2] == length - HEADER_BYTES
