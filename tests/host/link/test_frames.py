"""The host's frames against the firmware's, the published codes, and every kind of damage."""

import binascii
import random
import struct
import zlib

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from emberbed.link.frames import Frame, FrameSplitter, crc32, encode
from emberbed_fw import frames as firmware
from tests.host.link.fake_device import fw_decode, fw_encode
from tests.support.published_frames import (
    CHECK_CRC,
    CHECK_TEXT,
    COBS_ONE_BLOCK,
    COBS_TWO_BLOCKS,
)

frames = st.builds(
    Frame,
    message_type=st.integers(0, 255),
    session=st.integers(0, 2**32 - 1),
    sequence=st.integers(0, 65535),
    tick=st.integers(0, 2**32 - 1),
    payload=st.binary(max_size=firmware.MAX_PAYLOAD),
    version=st.integers(0, 255),
)
# Zeros and short lengths are what framing is about, so they come often.
wire_bytes = st.lists(
    st.one_of(st.just(b"\0"), st.binary(max_size=300), frames.map(encode)), max_size=8
).map(b"".join)


def fields(frame):
    """Return a frame in the order of the firmware's header."""
    return (
        frame.version,
        frame.message_type,
        frame.session,
        frame.sequence,
        frame.tick,
        frame.payload,
    )


def test_crc_check_value():
    assert crc32(CHECK_TEXT) == CHECK_CRC
    assert zlib.crc32(CHECK_TEXT) == CHECK_CRC
    assert binascii.crc32(CHECK_TEXT) == CHECK_CRC


@given(st.binary(max_size=300))
def test_crc_equals_two_other_implementations(octets):
    assert crc32(octets) == zlib.crc32(octets) == binascii.crc32(octets)


@pytest.mark.parametrize(("plain", "stuffed"), [*COBS_ONE_BLOCK, *COBS_TWO_BLOCKS])
def test_published_cobs_examples_hold_on_both_sides(plain, stuffed):
    assert cobs.encode(bytes.fromhex(plain)).hex() == stuffed
    body = bytearray(300)
    length = firmware.decode_cobs(bytes.fromhex(stuffed), len(stuffed) // 2, body)
    assert body[:length].hex() == plain


@given(frames)
def test_the_firmware_reads_what_the_host_writes(frame):
    assert fw_decode(encode(frame)) == ([fields(frame)], 0)


@given(frames)
def test_the_host_reads_what_the_firmware_writes(frame):
    version, message_type, session, sequence, tick, payload = fields(frame)
    stream = fw_encode(message_type, session, sequence, tick, payload, version)
    splitter = FrameSplitter()
    assert splitter.feed(stream) == [frame]
    assert splitter.damaged == 0
    assert stream == encode(frame)


@given(wire_bytes)
def test_both_sides_judge_any_bytes_alike(stream):
    splitter = FrameSplitter()
    accepted = [fields(frame) for frame in splitter.feed(stream)]
    assert (accepted, splitter.damaged) == fw_decode(stream)


@given(st.lists(frames, max_size=4), st.data())
def test_how_the_bytes_are_cut_does_not_matter(sent, data):
    stream = b"".join(encode(frame) for frame in sent)
    splitter = FrameSplitter()
    got = []
    while stream:
        cut = data.draw(st.integers(1, len(stream)))
        got += splitter.feed(stream[:cut])
        stream = stream[cut:]
    assert got == sent


def test_a_payload_too_long_is_refused():
    with pytest.raises(ValueError, match=f"at most {firmware.MAX_PAYLOAD} bytes"):
        encode(Frame(1, 0, 0, 0, bytes(firmware.MAX_PAYLOAD + 1)))


@pytest.mark.parametrize(
    ("told_length", "payload_bytes", "accepted"),
    [
        (10, 10, True),
        (9, 10, False),
        (11, 10, False),
        (*[firmware.MAX_PAYLOAD] * 2, True),
        (*[firmware.MAX_PAYLOAD + 1] * 2, False),
    ],
)
def test_a_length_that_does_not_fit_is_damage_under_a_right_crc(
    told_length, payload_bytes, accepted
):
    body = struct.pack(firmware.HEADER, 1, 66, told_length, 7, 1, 99) + bytes(payload_bytes)
    stream = b"\0" + cobs.encode(body + struct.pack("<I", zlib.crc32(body))) + b"\0"
    splitter = FrameSplitter()
    got = [fields(frame) for frame in splitter.feed(stream)]
    assert (len(got), splitter.damaged) == ((1, 0) if accepted else (0, 1))
    assert (got, splitter.damaged) == fw_decode(stream)


def test_endless_noise_without_delimiter_takes_no_memory_and_costs_one_frame():
    splitter = FrameSplitter()
    for _ in range(1000):
        assert splitter.feed(b"\x55" * 1000) == []
        assert len(splitter._unfinished) <= firmware.MAX_FRAME + 1
    frame = Frame(2, 7, 1, 99, b"\0\1\2")
    assert splitter.feed(encode(frame)) == [frame]
    assert splitter.damaged == 1


@given(st.binary(max_size=40), frames)
def test_noise_before_a_frame_costs_nothing(noise, frame):
    # the leading delimiter ends the noise (reliability of framing: send one before each frame)
    assert FrameSplitter().feed(noise + encode(frame))[-1:] == [frame]


@given(frames, st.data())
def test_a_truncated_frame_glued_to_a_whole_one_costs_only_itself(frame, data):
    stream = encode(frame)
    cut = data.draw(st.integers(2, len(stream) - 2))  # less only its delimiter it would be whole
    splitter = FrameSplitter()
    assert splitter.feed(stream[:cut] + stream) == [frame]
    assert splitter.damaged == 1


def test_every_single_bit_flip_is_found():
    frame = Frame(66, 0x5EED, 7, 1234, bytes(range(40)))
    stream = encode(frame)
    for bit in range(len(stream) * 8):
        damaged = bytearray(stream)
        damaged[bit // 8] ^= 1 << bit % 8
        got = FrameSplitter().feed(bytes(damaged) + b"\0")
        # a flip in a delimiter leaves the frame whole, any other one must drop it
        assert got in ([], [frame])
        if 0 < bit // 8 < len(stream) - 1:
            assert got == []


def flip(stream, chance):
    stream[chance.randrange(len(stream))] ^= 1 << chance.randrange(8)


def overwrite(stream, chance):
    at = chance.randrange(len(stream))
    for octet in range(at, min(len(stream), at + chance.randint(1, 5))):
        stream[octet] = chance.randrange(256)


def delete(stream, chance):
    at = chance.randrange(len(stream))
    del stream[at : at + chance.randint(1, 4)]


def insert(stream, chance):
    at = chance.randrange(len(stream))
    stream[at:at] = bytes(chance.randrange(256) for _ in range(chance.randint(1, 4)))


def force_zero(stream, chance):
    stream[chance.randrange(len(stream))] = 0


@pytest.mark.parametrize("harm", [flip, overwrite, delete, insert, force_zero])
def test_one_damage_lets_no_wrong_frame_in_and_costs_at_most_two(harm):
    # The property COBS promises: a delimiter is a fresh start, a damaged one joins two frames.
    chance = random.Random(harm.__name__)
    worst = 0
    for _ in range(800):
        sent = [
            Frame(66, 0x5EED, number, number, chance.randbytes(chance.randrange(60)))
            for number in range(5)
        ]
        stream = bytearray(b"".join(encode(frame) for frame in sent))
        harm(stream, chance)
        got = FrameSplitter().feed(bytes(stream) + b"\0")
        remaining = iter(sent)
        assert all(frame in remaining for frame in got), "a frame nobody sent, or out of order"
        worst = max(worst, len(sent) - len(got))
    assert 1 <= worst <= 2
