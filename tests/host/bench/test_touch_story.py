"""What hands did, as the run's events tell it: on the firmware itself, fed by hand."""

import pytest

from emberbed.bench.story import Story
from emberbed.profiles.plan_bytes import decode_plan
from emberbed.records import decode_record
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import AIR_HOT_TICKS
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from tests.host.bench import moments
from tests.host.bench.moments import NAMES, PROMPTS
from tests.support.bench import OPEN_WORD


def told_since(bench, before):
    """Return [(kind, sentence)] of the records after the first `before`."""
    story = Story(decode_plan(bench.plan), PROMPTS, NAMES)
    events = []
    for n, raw in enumerate(bench.tape):
        found = story.follow(decode_record(raw), raw)
        events += found if n >= before else []
    return events


def told(bench, does, ticks=1):
    """Return what is told of the ticks in which the bench `does` something."""
    before = len(bench.tape)
    does()
    bench.tick(ticks)
    return told_since(bench, before)


@pytest.mark.parametrize(
    ("source", "words"),
    [
        (messages.BY_TERMINAL, "from the terminal"),
        (messages.BY_PAGE, "from the page"),
        (messages.BY_SCRIPT, "from a script"),
    ],
)
def test_a_change_is_told_with_its_source(source, words):
    bench = moments.second_ramp()
    events = told(bench, lambda: bench.touch(messages.HOLD_HERE, 0, source))
    assert events == [("touch", f"Hold here at 60.0 °C, {words}.")]


def test_a_change_at_the_button_says_so():
    bench = moments.second_ramp()

    def hold_the_button():
        bench.button = True
        bench.tick(12)
        bench.button = False

    events = told(bench, hold_the_button)
    assert events[0] == ("touch", "Cool down now, from the button.")
    assert ("state", "Cooling down, heat is off.") in events


@pytest.mark.parametrize(
    ("moment", "touch", "amount", "sentence"),
    [
        (moments.first_hold, messages.EXTEND, 600, "1:00 min more for this stage"),
        (moments.first_hold, messages.EXTEND, 150, "0:15 min more for this stage"),
        (moments.second_ramp, messages.OFFSET, 300, "Target 3 °C up"),
        (moments.second_ramp, messages.OFFSET, -50, "Target 0.5 °C down"),
        (moments.second_ramp, messages.LAST_PLATEAU, 0, "Back to the last plateau"),
        (moments.second_ramp, messages.NEXT_STAGE, 0, "Next stage now"),
        (moments.held, messages.GO_ON, 0, "Go on"),
        (moments.cooling_waits_for_fan, messages.FAN_NOW, 0, "Fan now, the solder is solid"),
    ],
)
def test_every_change_has_its_sentence(moment, touch, amount, sentence):
    bench = moment()
    events = told(bench, lambda: bench.touch(touch, amount))
    assert events[0] == ("touch", f"{sentence}, from the terminal.")


def test_a_target_moved_back_is_told_as_the_profile_s():
    bench = moments.second_ramp()
    bench.touch(messages.OFFSET, 300)
    events = told(bench, lambda: bench.touch(messages.OFFSET, 0))
    assert events == [("touch", "Target as in the profile, from the terminal.")]


def test_a_mark_is_told_by_its_name():
    bench = moments.air_on()
    events = told(bench, lambda: bench.touch(messages.MARK, messages.MARK_NEXT))
    assert events == [("mark", "Mark: solder moves, from the terminal.")]


def test_an_answer_marks_what_it_stands_for():
    bench = moments.flux_wait()
    events = told(bench, lambda: bench.acknowledge(moments.FLUX), ticks=2)
    assert events[:2] == [
        ("answer", "Answered, from the terminal."), ("mark", "Mark: flux on, from the terminal."),
    ]  # fmt: skip


def test_hot_air_is_told_from_the_asking_to_its_end():
    bench = moments.air_asked()
    events = told(bench, lambda: bench.acknowledge(moments.NOZZLE, messages.BY_PAGE), ticks=2)
    assert events == [
        ("answer", "Answered, from the page."),
        ("mark", "Mark: nozzle on, from the page."),
        ("air", "Hot air is on. Answer when it is away: board 80.1 °C."),
    ]
    events = told(bench, lambda: bench.acknowledge(AIR_AWAY_PROMPT), ticks=2)
    assert events[:2] == [
        ("answer", "Answered, from the terminal."), ("mark", "Mark: air away, from the terminal."),
    ]  # fmt: skip


def test_hot_air_is_called_half_a_minute_before_its_longest_time():
    bench = moments.air_on()
    events = told(bench, lambda: bench.tick(2400), ticks=1)
    assert [sentence for kind, sentence in events if kind == "ahead"] == [
        "Hot air: 0:30 min left of its longest time."
    ]


def test_a_request_that_was_refused_is_no_change_of_the_record():
    bench = moments.second_ramp()
    assert told(bench, lambda: bench.touch(messages.OFFSET, 500 + 1)) == []


# beads


def test_a_bead_that_lifts_and_is_pressed_down():
    bench = moments.second_ramp()
    bench.tick(50)

    def lift():
        bench.board_c = [60.0, 30.0]
        bench.tick(15)

    def press():
        bench.board_c = [60.0, 58.0]
        bench.tick(40)

    assert told(bench, lift) == [
        ("lift", "Press the sensor down: edge. Heat is off until it is down.")
    ]
    assert told(bench, press) == [("lifted", "The sensor edge is down again.")]


def test_a_bead_that_stays_up_trips_with_its_name():
    bench = moments.second_ramp()
    bench.tick(50)

    def lift():
        bench.board_c = [60.0, 30.0]
        bench.until(rs.COOL, 200)

    kinds = dict(told(bench, lift))
    assert kinds["trip"].startswith("The bead of the sensor edge has lifted off the board")
    assert kinds["clears"].startswith("Mended within 3 min")
    assert "lifted" not in kinds  # it is not down again


def test_a_grounded_bead_asks_for_tape():
    """contracts.md: a short to ground says that the bead touches metal and wants one layer of
    polyimide tape. MAX31855 datasheet table 3: bit 16 fault, bit 1 short to ground."""
    bench = moments.second_ramp()

    def ground():
        bench.raw[1] = 0x00011902
        bench.until(rs.COOL, 10)

    kinds = dict(told(bench, ground))
    assert kinds["trip"].startswith("The bead of the sensor edge touches metal. Insulate it with")
    assert "one layer of polyimide tape under the bead" in kinds["trip"]


def test_too_hot_from_above_says_take_the_air_away():
    bench = moments.air_on()

    def too_hot():
        bench.board_c = [250.0, 80.0]
        bench.until(rs.COOL, AIR_HOT_TICKS + 10)

    kinds = dict(told(bench, too_hot))
    assert "while hot air was on" in kinds["trip"]
    assert "Take the hot air away" in kinds["trip"]
    assert kinds["clears"] == "It clears at the device below 50 °C: hold the button for a second."


# the end of the cooling


def cooled(bench):
    bench.board_c = [30.0, 30.0]
    bench.until(rs.FINISHED, 3000)


def test_a_cooling_that_was_seen_to_its_end_is_not_doubted():
    bench = moments.cooling()
    kinds = [kind for kind, _ in told(bench, lambda: cooled(bench))]
    assert "state" in kinds and "unproven" not in kinds


def test_a_couple_pulled_out_leaves_the_cooling_unproven():
    bench = moments.cooling()

    def pull():
        bench.board_c = [70.0, 68.0]
        bench.raw[1] = OPEN_WORD
        bench.until(rs.FINISHED, 3000)

    kinds = dict(told(bench, pull))
    assert kinds["state"] == "Finished."
    assert kinds["unproven"] == (
        "Cooling not proven: top_near_chip 69.9 °C, edge no reading. Look first, touch later."
    )
