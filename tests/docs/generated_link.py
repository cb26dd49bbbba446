"""The made parts of data.md and link.md: states, touches, frames, records, as block texts."""

import re
import struct
from collections.abc import Iterator, Sequence

from emberbed import refusal_words, touch_words, words
from emberbed_fw import frames, messages, record
from emberbed_fw import run_states as rs
from tests.docs.md_table import table

# data.md


def csv_states() -> str:
    return table(
        ["word", "meaning"], ((f"`{name}`", words.STATES[name]) for name in rs.STATE_NAMES)
    )


def csv_waits() -> str:
    rows = ((words.wait_name(getattr(rs, name)), said) for name, said in words.WAITS.items())
    return table(["word", "meaning"], ((f"`{name}`", said) for name, said in rows if name))


def csv_touches() -> str:
    names = messages.TOUCH_NAMES.items()
    rows = ((f"`{name}`", touch_words.touch_words(code)) for code, name in names)
    return table(["word", "meaning"], rows)


def csv_marks() -> str:
    marks = range(messages.MARK_NEXT + 1, len(messages.MARK_NAMES))
    rows = ((f"`{messages.MARK_NAMES[mark]}`", touch_words.mark_words(mark)) for mark in marks)
    return table(["word", "meaning"], rows)


# link.md

HEADER_NAMES = ("version", "type", "payload length", "session", "sequence", "newest tick seen")
CODES = {
    "B": "8 bits",
    "H": "16 bits",
    "I": "32 bits",
    "h": "16 bits, signed",
    "i": "32 bits, signed",
}


def frame() -> str:
    codes = frames.HEADER.removeprefix("<")
    assert len(codes) == len(HEADER_NAMES) and struct.calcsize(frames.HEADER) == frames.HEADER_BYTES
    fields = [(name, CODES[code]) for name, code in zip(HEADER_NAMES, codes, strict=True)]
    fields += [("payload", f"0 to {frames.MAX_PAYLOAD} bytes"), ("CRC-32", "32 bits")]
    return table(["field, in this order", "width"], iter(fields))


def message_table() -> str:
    rows = (
        (number, f"`{name}`", "host" if number < messages.REPLY else "device", payload_of(name))
        for number, name in messages.MESSAGE_NAMES.items()
    )
    return table(["type", "message", "sent by", "payload"], rows)


def payload_of(name: str) -> str:
    """Return what the firmware's own table of messages says about one."""
    said = re.sub(r"\n {3,}", " ", messages.__doc__ or "")  # a long row goes on, indented
    for line in said.splitlines():
        named = re.match(r"((?:[A-Z_]+, )*[A-Z_]+)(?: {2,}| |: )(.+)", line)
        if named and name in named[1].split(", "):
            return named[2]
    raise AssertionError(f"messages.py does not say what {name} carries")


def refusals() -> str:
    names = enumerate(messages.REFUSAL_NAMES)
    rows = ((code, f"`{name}`", refusal_words.REFUSALS[name]) for code, name in names)
    return table(["code", "name", "in words"], rows)


def record_table() -> str:
    def rows() -> Iterator[Sequence[object]]:
        at = 0
        read = {name for name, _code in record.INPUT_FIELDS}
        for name, code in record.FIELDS:
            size = struct.calcsize("<" + code)
            yield at, f"`{name}`", CODES.get(code, f"{size} bytes"), "in" if name in read else "out"
            at += size

    return table(["byte", "field", "width", ""], rows())


BLOCKS = {
    "csv states": csv_states,
    "csv waits": csv_waits,
    "csv touches": csv_touches,
    "csv marks": csv_marks,
    "frame": frame,
    "messages": message_table,
    "refusals": refusals,
    "record": record_table,
}
