"""The loop of every device, on a port that a test can break."""

import pytest

from emberbed.link.events import read_greeting
from emberbed.link.frames import FrameSplitter
from emberbed.trip_titles import last_start_words
from emberbed_fw import heap, messages, record, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.device_port import END, RESET_WATCHDOG, TICK, WIRE
from emberbed_fw.link import Link
from emberbed_fw.main_loop import start
from emberbed_fw.tick import Machine
from tests.support.alone import armed
from tests.support.bench import Bench
from tests.support.plans import bench_settings, seal
from tests.support.table_port import TablePort
from tests.support.wire import Wire


def hello():
    """Return the bytes of a HELLO."""
    return Wire().frame(messages.HELLO, b"\1\x05\0\0\0")


def run(script, **changes):
    port = TablePort(script)
    port.wire[1] = hello()
    for name, value in changes.items():
        setattr(port, name, value)
    start(port)
    return port


def test_ticks_are_driven_recorded_and_sent():
    port = run([TICK] * 10)
    # the HELLO that came with the first tick is heard after it
    assert [one.tick for one in port.records()] == list(range(2, 11))
    assert port.drives == [(0, 0)] * 11, "ten ticks and the end"
    assert port.owed[-1] == 9


def test_bytes_between_ticks_are_answered_without_a_tick():
    port = run([WIRE, WIRE])
    replies = FrameSplitter().feed(port.sent)
    assert [frame.message_type for frame in replies] == [messages.REPLY]
    assert port.records() == []


def test_the_end_leaves_the_outputs_off():
    port = run([TICK, END])
    assert port.offs == 1 and port.drives[-1] == (0, 0)


def test_exception_in_a_tick_is_a_trip_and_the_record_goes_on():
    port = run([TICK] * 20, break_at={5: OSError("bus")})
    said = port.records()
    assert [one.tick for one in said] == list(range(2, 21)), (
        "no tick is missing and none comes twice"
    )
    assert [one.trip for one in said[:3]] == [trip_codes.NO_TRIP] * 3
    assert {one.trip for one in said[3:]} == {trip_codes.FIRMWARE_ERROR}
    assert port.offs == 2, "at once, and at the end"
    assert said[-1].state == rs.TRIPPED


def test_exception_that_stays_keeps_the_outputs_off_and_the_record_going():
    port = run([TICK] * 30, break_at={turn: ValueError(turn) for turn in range(5, 31)})
    said = port.records()
    assert [one.tick for one in said] == list(range(2, 31))
    assert said[-1].trip == trip_codes.FIRMWARE_ERROR and said[-1].state == rs.COOL
    assert {zones for zones, _outputs in port.drives} == {0}
    assert not any(outputs & record.OUT_CONTACTOR for _zones, outputs in port.drives)


@pytest.mark.parametrize("broken", ["receive", "after_tick"])
def test_exception_outside_the_tick_is_a_trip_too(broken, monkeypatch):
    whole = getattr(Link, broken)
    calls = []

    def sometimes(self, *arguments):
        calls.append(1)
        if len(calls) == 5:
            raise IndexError("a mistake of ours")
        return whole(self, *arguments)

    monkeypatch.setattr(Link, broken, sometimes)
    port = run([TICK] * 10)
    said = port.records()
    assert said[-1].tick >= 9 and said[-1].trip == trip_codes.FIRMWARE_ERROR
    assert port.offs == 2


def test_interrupt_ends_the_device_with_the_outputs_off():
    port = TablePort([TICK] * 10)
    port.break_at = {4: KeyboardInterrupt()}
    with pytest.raises(KeyboardInterrupt):
        start(port)
    assert port.drives[-1] == (0, 0) and port.offs == 1


def test_failure_while_heating_switches_off_in_that_tick():
    bench = Bench().to_run()
    bench.tick(30)
    assert bench.heats and bench.contactor_driven
    bench.machine.fail(bench.machine.tick + 1)
    assert not bench.heats and not bench.contactor_driven
    assert bench.state == rs.COOL and bench.trip == trip_codes.FIRMWARE_ERROR
    bench.tick(100)
    assert bench.state == rs.COOL and not bench.heats


@pytest.mark.parametrize(
    "spoil",
    [
        lambda block: b"",
        lambda block: block[:-1],
        lambda block: block[:20] + bytes([block[20] ^ 1]) + block[21:],
        lambda block: seal(bytes([block[0] + 1]) + block[1:]),
    ],
    ids=["nothing", "cut", "one bit", "other version"],
)
def test_bad_description_is_refused_before_anything_runs(spoil):
    port = TablePort([TICK] * 10, spoil(bench_settings()))
    with pytest.raises(ValueError, match="description"):
        start(port)
    assert port.turns == 0 and port.drives == []


def test_heap_is_locked_from_sample_to_drive_and_never_left_locked(monkeypatch):
    """Large call frames would otherwise go to the heap and could start a collection in a tick."""
    told = []
    monkeypatch.setattr(heap, "lock", lambda: told.append("locked"))
    monkeypatch.setattr(heap, "unlock", lambda: told.append("unlocked"))
    monkeypatch.setattr(heap, "tidy", lambda: told.append("tidy"))
    whole = Machine.sample_to_drive

    def ticked(machine):
        told.append("tick")
        whole(machine)
        if machine.tick == 2:
            raise IndexError("a mistake of ours")

    monkeypatch.setattr(Machine, "sample_to_drive", ticked)
    run([TICK, TICK, WIRE])
    assert told == ["locked", "tick", "unlocked", "tidy"] * 2 + ["tidy"]


def greeting(port):
    replies = [one for one in FrameSplitter().feed(port.sent) if one.message_type == messages.REPLY]
    return read_greeting(replies[0].payload[4:])


def test_a_trip_is_kept_where_a_reset_does_not_reach_it():
    port = run([TICK] * 20, break_at={5: OSError("bus")})
    assert port.keeps == [trip_codes.FIRMWARE_ERROR]


def test_after_a_reset_the_trip_before_it_is_told_until_something_heats():
    port = run([TICK] * 3, kept_before=trip_codes.OVER_TEMPERATURE)
    assert greeting(port).kept_trip == trip_codes.OVER_TEMPERATURE
    assert port.keeps == [], "idling does not deal with it"
    assert last_start_words(greeting(port)) == [
        "before its last start the device had tripped (too hot); nothing heated since"
    ]


def test_a_restart_by_the_watchdog_is_told():
    port = run([TICK] * 3, cause=RESET_WATCHDOG)
    assert greeting(port).reset_cause == RESET_WATCHDOG
    assert "watchdog" in " ".join(last_start_words(greeting(port)))
    assert last_start_words(greeting(run([TICK]))) == []


def test_the_next_proof_with_heat_forgets_the_trip_before_the_reset():
    device = armed()  # at its own button
    device.machine.kept_trip = trip_codes.OVER_TEMPERATURE
    device.tick(5)
    assert device.port.keeps == []
    device.press()
    device.until(rs.HOT_PROOF)
    device.tick()
    assert device.port.keeps == [trip_codes.NO_TRIP]
