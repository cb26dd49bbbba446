"""Coverage-guided fuzzing of both frame decoders and the block reader; needs atheris.

    python -m tests.fuzz.guided -max_total_time=60

libFuzzer's own options follow. A finding ends it with the bytes that led there: two decoders that
judge differently, a frame that an independent reading does not confirm, or any other exception than
the ValueError by which damaged blocks are refused.
"""

import sys
import zlib

import atheris
from cobs import cobs

with atheris.instrument_imports(include=["emberbed_fw.frames", "emberbed.link"]):
    from emberbed.link.frames import FrameSplitter
    from emberbed.link.packed import read_numbers, unpack
    from emberbed_fw.frames import FrameReader


def try_bytes(octets: bytes) -> None:
    """Feed the same bytes to everything that reads from the wire."""
    stream = octets + b"\0"
    reader, splitter = FrameReader(), FrameSplitter()
    ours = [bytes(reader.body[: reader.length]) for octet in stream if reader.feed(octet)]
    theirs = splitter.feed(stream)
    assert (len(ours), reader.damaged) == (len(theirs), splitter.damaged), "judged differently"
    for body in ours:
        whole = body + zlib.crc32(body).to_bytes(4, "little")
        assert cobs.encode(whole) in octets, "a frame that nobody sent"
    for read in (unpack, read_numbers):
        try:
            read(octets)
        except ValueError:
            continue


def main() -> None:
    atheris.Setup(sys.argv, try_bytes)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
