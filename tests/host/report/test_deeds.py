"""What people did stands in the table of events: once, with its source, and what was hot then."""

import pytest

from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed.report.deed_kinds import CHANGES
from emberbed.report.deeds import moments_of
from emberbed.report.series import series_of
from emberbed.report.series_chart import flags_of
from emberbed.store.runs import RunEvent
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.plan import ROLE_CHIP_TOP
from tests.host.store.synthetic_run import drawn_record
from tests.support.plans import build_plan, cool, ramp

PLAN = decode_plan(build_plan([ramp(2000, 9000, 700), cool()], role2=ROLE_CHIP_TOP))
FIRST = 100
PRESSED = 110


def run_with(*deeds, ticks=60):
    """Return a run pressed after 1 s; each deed is (tick, fields of its record)."""
    fields = dict(deeds)
    return series_of(
        decode_record(
            drawn_record(
                tick,
                **{"state": rs.RUN if tick >= PRESSED else rs.COLD_PROOF, "channel2_cdeg": 20000,
                   **fields.get(tick, {})},
            )
        )
        for tick in range(FIRST, FIRST + ticks)
    )  # fmt: skip


def event(number, tick, kind, sentence):
    return RunEvent(number, tick, kind, sentence)


def told(series, *events):
    return [(moment.number, moment.sentence) for moment in moments_of(series, PLAN, events)]


def did(touch, source=ms.BY_TERMINAL, **more):
    return {"touch": touch, "touch_source": source, **more}


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        (did(ms.HOLD_HERE), "Hold here, from the terminal."),
        (did(ms.EXTEND, ms.BY_BUTTON), "More time, from the button."),
        (did(ms.OFFSET, ms.BY_PAGE, offset_cdeg=-300), "Target 3 °C down, from the page."),
        (did(ms.MARK, mark=ms.MARK_SOLDER_MOVES), "Marked: solder moves, from the terminal."),
        (
            did(ms.ANSWER, ms.BY_SCRIPT, mark=ms.MARK_FLUX_ON),
            "Answered, marked: flux on, from a script.",
        ),
    ],
)
def test_a_deed_that_no_event_tells_of_gets_its_row(fields, sentence):
    assert told(run_with((130, fields))) == [(None, sentence)]


def test_rows_come_in_order_with_their_times_and_temperatures():
    series = run_with((130, did(ms.HOLD_HERE)), (150, did(ms.GO_ON)))
    events = [event(1, None, "note", "Bench 2."), event(2, 140, "stage", "Stage 1.")]
    moments = moments_of(series, PLAN, events)
    assert [moment.tick for moment in moments] == [None, 130, 140, 150]
    _note, held, stage, _go_on = moments
    assert (held.at_s, held.since_press_s) == (pytest.approx(3.0), pytest.approx(2.0))
    # the drawn run: 25 degC at tick 0, 65 degC in 812 ticks
    assert held.board_c == pytest.approx(25 + 65 * 130 / 812, abs=0.01) and held.chip_c == 200
    assert stage.number == 2 and moments[0].board_c is None


def test_before_the_press_and_outside_of_the_record():
    early, late = moments_of(
        run_with(), PLAN, [event(1, 105, "press", "Hold."), event(2, 900, "note", "Late.")]
    )
    assert early.since_press_s == pytest.approx(-0.5)
    assert late.at_s is None and late.since_press_s is None and late.board_c is None
    never = series_of([decode_record(drawn_record(0, state=rs.COLD_PROOF))])
    (moment,) = moments_of(never, None, [event(1, 0, "press", "Hold.")])
    assert moment.since_press_s is None and moment.at_s == 0


def test_an_event_that_tells_of_a_deed_is_not_told_again():
    series = run_with((130, did(ms.HOLD_HERE, ms.BY_BUTTON)))
    whole = event(1, 130, "touch", "Hold here at 35 °C, from the button.")
    assert told(series, whole) == [(1, whole.sentence)]
    assert told(series, event(1, 130, "touch", "Held.")) == [(1, "Held (from the button).")]


def test_answer_and_mark_of_one_tick_are_two_events_and_no_third():
    series = run_with((130, did(ms.ANSWER, mark=ms.MARK_FLUX_ON)))
    events = [
        event(1, 130, "answer", "Answered, from the terminal."),
        event(2, 130, "mark", "Mark: flux on, from the terminal."),
    ]
    assert told(series, *events) == [(1, events[0].sentence), (2, events[1].sentence)]
    bare = event(1, 130, "answer", "Answered.")
    assert told(series, bare) == [(1, "Answered (marked: flux on, from the terminal).")]


def test_other_events_of_the_tick_do_not_hide_a_deed():
    series = run_with((130, did(ms.NEXT_STAGE)))
    rows = told(series, event(1, 130, "stage", "Stage 2 of 3: hold."))
    assert rows == [(1, "Stage 2 of 3: hold."), (None, "Next stage now, from the terminal.")]


def test_codes_of_a_newer_device_are_told():
    ((_, sentence),) = told(run_with((130, did(31, 9, mark=14))))
    assert sentence.count("does not know") == 3


def test_every_touch_that_a_person_may_ask_for_is_a_change_or_no_change():
    unchanging = {ms.MARK, ms.FAN_NOW, ms.ANSWER}
    assert set(ms.TOUCH_NAMES) == set(CHANGES) | unchanging


def test_flags_are_marks_holds_and_where_the_target_came_to():
    series = run_with(
        (112, did(ms.HOLD_HERE)), (114, did(ms.GO_ON)), (116, did(ms.EXTEND)),
        (120, did(ms.OFFSET, offset_cdeg=100)), (122, did(ms.OFFSET, offset_cdeg=200)),
        (124, did(ms.MARK, mark=ms.MARK_NOTE)), (126, did(ms.LAST_PLATEAU)),
        (128, did(ms.OFFSET, offset_cdeg=0)),
    )  # fmt: skip
    assert [flag.label for flag in flags_of(series)] == [
        "held here", "target +2 °C", "note", "back to hold", "target +0 °C",
    ]  # fmt: skip
    assert [flag.at_s for flag in flags_of(series)][0] == pytest.approx(1.2)
