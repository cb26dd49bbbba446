"""The loop and the person: presses offered again, answers, changes, smoke."""

import time

import pytest

from emberbed.bench import run_loop
from emberbed.bench.run_loop import OFFERS
from emberbed.bench.wishes import Answer, Stop, Touch
from emberbed.records import decode_record
from emberbed.report.ending import LEFT
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.trip_codes import WITHHELD_LEASE
from tests.host.bench.fakes import FakeHand
from tests.host.bench.taped import LINK_BROKE, of_state, ticks

# the press


def offers(tape):
    """Return a tape on which the press expires: COLD_PROOF, then LOADED, again and again."""
    cold = decode_record(tape[0])
    raws = []
    for _ in range(OFFERS):
        raws += [cold._replace(state=rs.COLD_PROOF), cold._replace(state=rs.LOADED)]
    return [_packed(one, tape[0], n) for n, one in enumerate(raws)]


def _packed(record, raw, number):
    """Return `raw` with the state and tick of another record."""
    import struct

    from emberbed_fw import record as layout

    octets = bytearray(raw)
    struct.pack_into("<I", octets, 0, record.tick + number)
    octets[layout.INPUT_BYTES] = record.state
    at = layout.INPUT_BYTES + [name for name, _ in layout.OUTPUT_FIELDS].index("withheld")
    octets[at] = record.withheld
    return bytes(octets)


def test_a_press_that_does_not_come_is_offered_again_and_then_given_up(bench, tape):
    ran = bench(offers(tape), batch=1)
    assert ran.device.armed == OFFERS - 1
    assert ran.outcome.exit_code == 2
    assert ran.screen.sentences("arm") == [
        "Nobody held the device's button in 2 min; it is offered again."
    ] * (OFFERS - 1)
    assert "nothing was heated" in ran.screen.sentences("refused")[0]


def test_an_arming_lost_by_a_silent_link_is_not_blamed_on_the_person(bench, tape):
    cold = decode_record(tape[0])
    lost = cold._replace(state=rs.LOADED, withheld=WITHHELD_LEASE)
    ran = bench([tape[0], _packed(lost, tape[0], 1), LINK_BROKE], batch=1)
    assert ran.screen.sentences("arm")[0].startswith("The PC link was silent")


def test_an_arming_that_is_refused_the_second_time_ends_the_run_unheated(bench, tape):
    ran = bench(
        offers(tape)[:2],
        batch=1,
        prepare=lambda device: device.refuses.update({messages.ARM: messages.WRONG_STATE}),
    )
    assert ran.outcome.exit_code == 2
    assert ran.screen.sentences("refused")


# answering


def test_an_answer_goes_to_the_device_and_a_late_one_ends_nothing(bench, tape):
    ran = bench(
        [*tape[:3], LINK_BROKE],
        FakeHand(wishes_at={ticks(tape)[1]: Answer(0)}),
        batch=1,
        prepare=lambda device: device.refuses.update({messages.ACK_PROMPT: messages.WRONG_PROMPT}),
    )
    assert ran.device.acknowledged == [(0, messages.BY_TERMINAL)]
    assert ran.screen.sentences("refusal") == [
        "Not done (answered, from the terminal): That question is gone; look at what the device"
        " asks now, then answer that."
    ]


def test_the_clock_of_the_silence_is_a_steady_one():
    assert run_loop.time is time


# changes


def test_a_change_goes_to_the_device_with_its_source(bench, tape):
    wishes = {ticks(tape)[5]: Touch(messages.OFFSET, 100)}
    ran = bench(tape[:30] + [LINK_BROKE], FakeHand(wishes_at=wishes))
    assert ran.device.touched == [(messages.OFFSET, 100, messages.BY_TERMINAL)]
    assert ran.screen.sentences("refusal") == []


@pytest.mark.parametrize(
    ("touch", "refusal", "told"),
    [
        (Touch(messages.OFFSET, 500), messages.ABOVE_LIMIT,
         "Not done (target moved, from the terminal): That would pass the highest temperature that"
         " was shown before the press; stay below it."),
        (Touch(messages.MARK), messages.NO_RUN,
         "Not done (mark, from the terminal): No run is on to set a mark in; start one first."),
    ],
)  # fmt: skip
def test_a_refused_change_is_told_and_stored_and_changes_nothing(bench, tape, touch, refusal, told):
    ran = bench(
        tape,
        FakeHand(wishes_at={ticks(tape)[5]: touch}),
        prepare=lambda device: device.refuses.update({messages.STAGE_REQUEST: refusal}),
    )
    assert ran.screen.sentences("refusal") == [told]
    assert told in [event.sentence for event in ran.store.events(ran.run_id)]
    assert list(ran.store.raw_records(ran.run_id)) == tape
    assert (ran.outcome.state, ran.outcome.exit_code) == ("finished", 0)


def test_smoke_stops_at_once_and_says_what_to_do(bench, tape):
    at = of_state(tape, rs.RUN) + 5
    ran = bench(tape, FakeHand(wishes_at={ticks(tape)[at]: Stop(messages.STOP_SMOKE)}))
    assert ran.device.stops == [messages.STOP_SMOKE]
    (told,) = ran.screen.sentences("stop")
    assert told.startswith("Smoke: heat off.") and "pull the mains plug" in told


def test_after_smoke_one_ctrl_c_does_nothing_more_and_two_leave(bench, tape):
    at = of_state(tape, rs.RUN) + 5
    hand = FakeHand(
        wishes_at={ticks(tape)[at]: Stop(messages.STOP_SMOKE)},
        stop_from={ticks(tape)[at + 10]: 1, ticks(tape)[at + 30]: 2},
    )
    ran = bench(tape, hand, batch=1)
    assert ran.device.stops == [messages.STOP_SMOKE]
    assert len(ran.screen.sentences(LEFT)) == 1
    assert ran.screen.shown[-1] >= ticks(tape)[at + 30]
