"""The host: frames of the link, and what a command costs before it does anything."""

import subprocess
import sys
from functools import partial

from emberbed.link.frames import Frame, decode, encode
from emberbed_fw import frames as own
from emberbed_fw import messages as ms
from emberbed_fw.record import FIXED_BYTES
from tests.benchmarks.speed.figures import (
    Figure,
    best_s,
    children_s,
    shown_rate,
    shown_s,
)

TRIPS = 20_000
RECORD = Frame(ms.RECORD, 7, 1, 99, bytes(range(FIXED_BYTES)))
LINE_BYTES_A_S = 11520  # 115200 baud, ten bits a byte
STARTS = 3


def _trips() -> None:
    for _trip in range(TRIPS):
        decode(encode(RECORD)[1:-1])


def _own_trips() -> None:
    """The firmware's codec in CPython: COBS by the byte in Python, the CRC of the library."""
    body, frame = bytearray(own.MAX_BODY), bytearray(own.MAX_FRAME)
    payload = RECORD.payload
    head = (RECORD.version, RECORD.message_type, len(payload), 7, 1, 99)
    for _trip in range(TRIPS // 20):
        own.struct.pack_into(own.HEADER, body, 0, *head)
        body[own.HEADER_BYTES : own.HEADER_BYTES + len(payload)] = payload
        length = own.encode_frame(body, own.HEADER_BYTES + len(payload), frame)
        reader = own.FrameReader()
        for index in range(length):
            reader.feed(frame[index])


def frames() -> list[Figure]:
    """Round trips of a record's frame: packed, stuffed, unstuffed, checked, unpacked."""
    ours_s, own_s = best_s(_trips, _own_trips)
    rate, own_rate = TRIPS / ours_s, TRIPS / 20 / own_s
    line = LINE_BYTES_A_S / len(encode(RECORD))
    what = f"round trips of a record's frame ({len(encode(RECORD))} bytes) in the host"
    return [
        Figure("frames/python", what, shown_rate(rate, "frames"),
               "byte by byte in Python", shown_rate(own_rate, "frames"), rate / own_rate),
        Figure("frames/line", what, shown_rate(rate, "frames"),
               "what 115200 baud carries", shown_rate(line, "frames"), rate / line),
    ]  # fmt: skip


def _cpu_s(*words: str) -> float:
    run = partial(subprocess.run, [sys.executable, *words], capture_output=True, check=True)
    return min(children_s(run) for _start in range(STARTS))


def start_up() -> list[Figure]:
    """A command against an interpreter that loads the same library for commands."""
    library_s = _cpu_s("-c", "import typer.rich_utils, typer.main")
    against = "Python with the library for commands loaded"
    return [
        Figure(
            f"start/{name}", f"a whole start with `{' '.join(words)}`", shown_s(taken_s),
            against, shown_s(library_s), library_s / taken_s,
        )
        for name, words in (
            ("help", ("--help",)),
            ("version", ("--version",)),
            ("check", ("check", "label-printer")),
        )
        for taken_s in [_cpu_s("-m", "emberbed.cli", *words)]
    ]  # fmt: skip
