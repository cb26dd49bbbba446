"""The link's rows between a computer and a device: requests in process, bytes on a wire."""

import struct

import pytest

from emberbed_fw import frames, messages
from emberbed_sim.faults import parse_fault
from emberbed_sim.link_faults import LONGEST_HOLD_S, RequestFaults, WireFaults

STOP = (messages.STOP, b"\x01")


def renew(tick: int) -> tuple[int, bytes]:
    return messages.RENEW, struct.pack("<I", tick)


def ticks_of(requests) -> list[int]:
    return [struct.unpack("<I", body)[0] for kind, body in requests if kind == messages.RENEW]


def carried(fault: str, ticks: int, **also) -> list[list[tuple[int, bytes]]]:
    """Return what arrives tick by tick; `also` holds {"at": tick, "what": request}."""
    link = RequestFaults([parse_fault(fault)], 1)
    arrived = []
    for tick in range(ticks):
        sent = [renew(tick)]
        if also and tick == also["at"]:
            sent.append(also["what"])
        arrived.append(link.carry(sent, tick / 10))
    return arrived


def test_before_and_after_its_time_all_arrives_at_once() -> None:
    for fault in ("frames_repeated@1s:1s", "host_stores_nothing@1s:1s", "link_noise@1s:1s#100"):
        arrived = carried(fault, 40)
        for tick in (*range(10), *range(21, 40)):
            assert arrived[tick] == [renew(tick)]
    arrived = carried("frames_late@1s:1s#5", 40)
    assert [ticks_of(one) for one in arrived[:10]] == [[tick] for tick in range(10)]
    assert ticks_of(arrived[30]) == [30]


def test_late_frames_come_in_their_order_and_none_is_lost() -> None:
    arrived = carried("frames_late@1s:1s#5", 40, at=12, what=STOP)
    assert [ticks_of(one) for one in arrived[10:15]] == [[]] * 5
    assert ticks_of(arrived[15]) == [10]
    assert STOP in arrived[17]
    named = [tick for one in arrived for tick in ticks_of(one)]
    assert sorted(named) == list(range(40))


def test_repeated_frames_are_the_last_ones_and_nothing_new() -> None:
    arrived = carried("frames_repeated@1s:1s", 40, at=12, what=STOP)
    assert [ticks_of(one) for one in arrived[10:20]] == [[9]] * 10
    assert not any(STOP in one for one in arrived)


def test_a_computer_that_stores_nothing_still_asks() -> None:
    arrived = carried("host_stores_nothing@1s:1s", 40, at=12, what=STOP)
    assert [ticks_of(one) for one in arrived[10:20]] == [[9]] * 10
    assert STOP in arrived[12]


def test_noise_takes_renewals_and_delays_requests() -> None:
    arrived = carried("link_noise@0s#50", 1000, at=10, what=STOP)
    assert 420 < sum(bool(ticks_of(one)) for one in arrived) < 580  # binomial: 500 +- 16
    assert sum(STOP in one for one in arrived) == 1
    other = RequestFaults([parse_fault("link_noise@0s#50")], 2)
    assert [ticks_of(one) for one in arrived] != [
        ticks_of(other.carry([renew(tick)], tick / 10)) for tick in range(1000)
    ]
    never = carried("link_noise@0s#100", 50, at=10, what=STOP)
    assert not any(never)


def wire(*faults: str) -> WireFaults:
    return WireFaults([parse_fault(fault) for fault in faults], 1)


def test_a_silent_computer_is_not_heard_and_holds_no_clock() -> None:
    link = wire("host_silent@1s:1s")
    assert link.incoming(b"one", 0.9) == b"one"
    assert link.longest_hold_s(0.9) is None
    assert link.incoming(b"two", 1.0) == b""
    assert link.longest_hold_s(1.0) == 0.0
    assert link.incoming(b"three", 2.0) == b"three"


def test_late_bytes_wait_for_their_tick_or_for_a_stopped_clock() -> None:
    link = wire("frames_late@0s#3")
    assert link.incoming(b"ab", 1.0) == b""
    assert link.incoming(b"c", 1.1) == b""
    assert link.incoming(b"", 1.3) == b"ab"
    assert link.incoming(b"", 1.3, clock_held=True) == b"c"
    assert link.longest_hold_s(1.3) == LONGEST_HOLD_S


def test_repeated_bytes_come_once_a_tick() -> None:
    link = wire("frames_repeated@1s")
    assert link.incoming(b"old", 0.9) == b"old"
    assert [link.incoming(b"new", at_s) for at_s in (1.0, 1.0, 1.1)] == [b"old", b"", b"old"]


def test_a_flood_comes_beside_what_is_sent() -> None:
    link = wire("link_flood@1s#500")
    first = link.incoming(b"frame", 1.0)
    assert first.startswith(b"frame") and len(first) == 505
    assert link.incoming(b"", 1.0) == b""
    assert len(link.incoming(b"", 1.1)) == 500


@pytest.mark.parametrize(("percent", "least", "most"), [(100, 0, 0), (20, 220, 260), (0, 300, 300)])
def test_a_damaged_frame_does_not_pass_the_readers_check(percent, least, most) -> None:
    # CRC-32 finds every single flipped bit: any polynomial with more than one term does
    link = wire(f"link_noise@0s#{percent}") if percent else wire()
    reader = frames.FrameReader()
    whole = 0
    for number in range(300):
        body, frame = bytearray(frames.MAX_BODY), bytearray(frames.MAX_FRAME)
        struct.pack_into(frames.HEADER, body, 0, 1, messages.RENEW, 4, 7, number, 0)
        length = frames.encode_frame(body, frames.HEADER_BYTES + 4, frame)
        for octet in link.outgoing(bytes(frame[:length]), number / 10):
            whole += bool(reader.feed(octet))
    assert least <= whole <= most
