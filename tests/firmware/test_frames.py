"""Frames on the wire: the firmware's COBS and CRC-32 against published vectors and other codecs."""

import binascii
import random
import struct
import zlib

import crcmod.predefined
import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from emberbed_fw import frames
from tests.support.published_frames import CHECK_CRC, CHECK_TEXT, COBS_ONE_BLOCK

crcmod_crc32 = crcmod.predefined.mkPredefinedCrcFun("crc-32")
header = st.tuples(
    st.integers(0, 255), st.integers(0, 255), st.integers(0, 2**32 - 1), st.integers(0, 65535),
    st.integers(0, 2**32 - 1), st.binary(max_size=frames.MAX_PAYLOAD),
)  # fmt: skip


def encode(version=1, kind=66, session=7, sequence=1, tick=3, payload=b""):
    """Return the firmware's frame."""
    body = bytearray(frames.MAX_BODY)
    out = bytearray(b"\xaa" * frames.MAX_FRAME)  # of the frame before
    struct.pack_into(frames.HEADER, body, 0, version, kind, len(payload), session, sequence, tick)
    at = frames.HEADER_BYTES
    body[at : at + len(payload)] = payload
    return bytes(out[: frames.encode_frame(body, at + len(payload), out)])


# Zeros are what framing is about, so they come often.
wire_noise = st.lists(
    st.one_of(st.just(b"\0"), st.binary(max_size=400), header.map(lambda fields: encode(*fields))),
    max_size=8,
)


def feed(reader, octets):
    """Return the bodies that came through whole."""
    return [bytes(reader.body[: reader.length]) for octet in octets if reader.feed(octet)]


def read(octets):
    return feed(frames.FrameReader(), octets)


def body_of(frame):
    """Return the body by codecs that are not ours."""
    plain = cobs.decode(frame[1:-1])
    assert struct.unpack("<I", plain[-4:])[0] == zlib.crc32(plain[:-4])
    return plain[:-4]


def test_crc_is_the_published_one_by_three_implementations():
    assert binascii.crc32(CHECK_TEXT) == CHECK_CRC
    assert zlib.crc32(CHECK_TEXT) == crcmod_crc32(CHECK_TEXT) == CHECK_CRC


@pytest.mark.parametrize(("plain", "stuffed"), COBS_ONE_BLOCK)
def test_cobs_decodes_the_published_vectors(plain, stuffed):
    octets = bytes.fromhex(stuffed)
    out = bytearray(300)
    length = frames.decode_cobs(octets, len(octets), out)
    assert bytes(out[:length]) == bytes.fromhex(plain)


def test_a_full_block_stands_for_no_zero():
    """254 bytes without a zero have the code 255, and no zero after them."""
    stuffed = b"\xff" + bytes(range(1, 255)) + b"\x02\x07"
    out = bytearray(300)
    length = frames.decode_cobs(stuffed, len(stuffed), out)
    assert bytes(out[:length]) == cobs.decode(stuffed) == bytes(range(1, 255)) + b"\x07"


def test_a_reader_begins_empty():
    reader = frames.FrameReader()
    assert (reader.length, reader.damaged, reader._filled) == (0, 0, 0)


@pytest.mark.parametrize("broken", ["00", "05112233", "ff0102", "011100"])
def test_broken_cobs_is_refused_or_no_frame(broken):
    octets = bytes.fromhex(broken)
    with pytest.raises(cobs.DecodeError):
        cobs.decode(octets)
    assert frames.decode_cobs(octets, len(octets), bytearray(300)) == -1


@given(st.binary(max_size=frames.MAX_FRAME))
def test_cobs_decoder_agrees_with_the_library_on_any_bytes(octets):
    out = bytearray(frames.MAX_FRAME)
    length = frames.decode_cobs(octets, len(octets), out)
    try:
        plain = cobs.decode(octets)
    except cobs.DecodeError:
        plain = None
    if octets:  # the library takes no bytes as an empty packet; a reader never asks for that
        assert plain == (None if length < 0 else bytes(out[:length]))


@given(header)
def test_frame_is_what_other_codecs_make_of_it(fields):
    *head, payload = fields
    version, kind, session, sequence, tick = head
    frame = encode(version, kind, session, sequence, tick, payload)
    body = struct.pack("<BBBIHI", version, kind, len(payload), session, sequence, tick) + payload
    whole = body + struct.pack("<I", crcmod_crc32(body))
    assert frame == b"\0" + cobs.encode(whole) + b"\0"
    assert read(frame) == [body]


def test_longest_frame_fills_its_buffers_exactly():
    # one COBS block holds 254 bytes without a zero: Cheshire & Baker 1999
    assert frames.MAX_BODY == 253 < 255 and frames.PROTOCOL_VERSION == 1
    frame = encode(payload=b"\xff" * frames.MAX_PAYLOAD)
    assert len(frame) == frames.MAX_FRAME
    assert read(frame) == [body_of(frame)]


@pytest.mark.parametrize("payload", [b"", b"\0" * 40, bytes(range(100))])
def test_no_single_flipped_bit_gets_a_frame_through(payload):
    good = encode(payload=payload)
    for at in range(len(good)):
        for bit in range(8):
            damaged = bytearray(good)
            damaged[at] ^= 1 << bit
            # a flip inside a delimiter leaves the frame itself whole
            assert read(bytes(damaged)) in ([], [body_of(good)]), (at, bit)
            if 0 < at < len(good) - 1:
                assert read(bytes(damaged)) == [], (at, bit)


def test_truncated_frame_is_dropped_and_counted():
    good = encode(payload=bytes(range(1, 60)))
    for length in range(2, len(good) - 1):
        reader = frames.FrameReader()
        assert feed(reader, good[:length] + b"\0") == []
        assert reader.damaged == 1
        assert len(feed(reader, good)) == 1, "in step again after the next delimiter"


def test_glued_frames_cost_themselves_and_nothing_else():
    first, second, third = (encode(sequence=number) for number in (1, 2, 3))
    reader = frames.FrameReader()
    # the delimiters between the first two are lost
    got = feed(reader, first[:-1] + second[1:] + third)
    assert got == [body_of(third)]
    assert reader.damaged == 1


def test_leading_delimiter_makes_noise_before_a_frame_cost_nothing():
    good = encode(payload=b"still here")
    assert read(b"\x13\x37noise" + good) == [body_of(good)]


def test_one_shared_delimiter_is_enough():
    first, second = encode(sequence=1), encode(sequence=2)
    assert read(first + second[1:]) == [body_of(first), body_of(second)]


def test_empty_frames_are_not_damage():
    reader = frames.FrameReader()
    assert feed(reader, b"\0" * 20) == []
    assert reader.damaged == 0


def test_length_in_the_header_must_fit():
    good = bytearray(body_of(encode(payload=b"abc")))
    good[2] = 2
    whole = bytes(good) + struct.pack("<I", zlib.crc32(bytes(good)))
    reader = frames.FrameReader()
    assert feed(reader, b"\0" + cobs.encode(whole) + b"\0") == []
    assert reader.damaged == 1


@pytest.mark.parametrize("length", [0, 1, 12])
def test_body_shorter_than_a_header_is_dropped(length):
    body = bytes(range(1, length + 1))
    whole = body + struct.pack("<I", zlib.crc32(body))
    assert read(b"\0" + cobs.encode(whole) + b"\0") == []


def test_damage_costs_at_most_two_frames_and_never_gives_a_wrong_one():
    # reliability notes 3.3: 5 frames in a stream, one damage each, worst loss two
    chance = random.Random(20)
    for _ in range(2000):
        sent = [
            encode(sequence=n, payload=chance.randbytes(chance.randrange(40))) for n in range(5)
        ]
        stream = bytearray(b"".join(sent))
        at = chance.randrange(len(stream))
        damage = chance.randrange(4)
        if damage == 0:
            stream[at] ^= 1 << chance.randrange(8)
        elif damage == 1:
            stream[at : at + 5] = chance.randbytes(min(5, len(stream) - at))
        elif damage == 2:
            del stream[at : at + chance.randrange(1, 5)]
        else:
            stream[at:at] = chance.randbytes(chance.randrange(1, 5))
        got = read(bytes(stream))
        bodies = [body_of(frame) for frame in sent]
        assert all(body in bodies for body in got)
        assert len(got) >= 3


@given(wire_noise)
def test_garbage_never_overflows_a_buffer_and_never_raises(parts):
    reader = frames.FrameReader()
    kept = len(reader._frame), len(reader.body)
    for body in feed(reader, b"".join(parts)):
        assert frames.HEADER_BYTES <= len(body) <= frames.HEADER_BYTES + frames.MAX_PAYLOAD
    assert (len(reader._frame), len(reader.body)) == kept
    good = encode(payload=b"after all that")
    assert feed(reader, b"\0" + good) == [body_of(good)]


def test_endless_frame_is_one_damaged_frame():
    reader = frames.FrameReader()
    assert feed(reader, b"\x55" * 100000) == []
    assert reader.damaged == 0, "it has not ended yet"
    assert feed(reader, b"\0") == []
    assert reader.damaged == 1
    good = encode(payload=b"and forgotten")
    assert feed(reader, good) == [body_of(good)]


def whole_body(length):
    """Return a body that says its own length and has a right CRC, without a zero in it."""
    body = bytes([1, 66, length - frames.HEADER_BYTES & 0xFF]) + b"\x55" * (length - 3)
    return body + struct.pack("<I", zlib.crc32(body))


def test_frame_that_fills_the_buffer_holds_more_than_the_longest_body():
    """Whatever comes after it is left out: what is left out must not make a frame whole."""
    longest = frames.HEADER_BYTES + frames.MAX_PAYLOAD
    assert len(read(b"\0" + cobs.encode(whole_body(longest)) + b"\0")) == 1
    # 256 octets of COBS hold at least 254: a block of 254 without a zero, and an empty one
    fullest = cobs.decode(b"\xff" + b"\x55" * 254 + b"\x01")
    assert len(fullest) - frames.CRC_BYTES > longest
    for length in range(longest + 1, longest + 4):
        stuffed = cobs.encode(whole_body(length))
        reader = frames.FrameReader()
        for more in (b"", b"\x55", b"\x55" * 300):
            assert feed(reader, b"\0" + stuffed + more + b"\0") == []
        assert reader.damaged == 3
