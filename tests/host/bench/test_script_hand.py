"""A script in a person's place: presses, answers, works with hot air, does what it was told to."""

import pytest

from emberbed.bench.acts import parse_act
from emberbed.bench.hands import StopSignal
from emberbed.bench.script_hand import (
    AIR_OFF_S,
    ANSWERS_AFTER_S,
    BLOWS_FOR_S,
    GOES_ON_AFTER_S,
    PRESS_HEARD_S,
    ScriptedHand,
)
from emberbed.bench.wishes import Answer, Stop, Touch
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.units import NONE, TICKS_PER_S
from tests.host.bench import moments
from tests.host.bench.moments import followed


class VirtualBench:
    def __init__(self):
        self.done = []

    def __getattr__(self, name):
        return lambda *amounts: self.done.append((name, *amounts))


def hand_of(*acts):
    bench = VirtualBench()
    return ScriptedHand(bench, StopSignal(), [parse_act(act) for act in acts]), bench.done


def stand(hand, progress, ticks, **changes):
    """Let the hand see `ticks` records of one moment; return [(tick since then, wish)]."""
    record = progress.newest._replace(**changes)
    wishes = []
    for n in range(ticks):
        seen = record._replace(tick=record.tick + n)
        progress.newest = seen
        wishes += [(n, wish) for wish in hand.wishes(seen, progress)]
    progress.newest = record._replace(tick=record.tick + ticks)
    return wishes


def test_it_presses_once_and_again_only_when_that_was_not_heard():
    hand, done = hand_of()
    progress = followed(moments.armed())
    stand(hand, progress, 40, waits_for=rs.WAITS_PRESS)
    assert done == [("hold_button",)]
    stand(hand, progress, PRESS_HEARD_S * TICKS_PER_S, waits_for=rs.WAITS_PRESS)
    assert len(done) == 2


def test_it_does_not_press_unasked():
    hand, done = hand_of()
    for waits_for in (rs.WAITS_NOTHING, rs.WAITS_SENSORS, rs.WAITS_RELEASE):
        stand(hand, followed(moments.armed()), 20, waits_for=waits_for)
    assert done == []


def test_it_takes_the_time_of_the_work_for_each_prompt():
    hand, _done = hand_of()
    progress = followed(moments.flux_wait())
    takes = round(ANSWERS_AFTER_S * TICKS_PER_S)
    assert stand(hand, progress, takes + 5) == [(takes, Answer(moments.FLUX))]
    # still asked: it was not heard, and is answered again after as long
    assert stand(hand, progress, takes) == [(takes - 5, Answer(moments.FLUX))]
    assert stand(hand, progress, 10, prompt=3) == []


def test_it_works_with_hot_air_marks_what_it_sees_and_takes_the_air_away():
    hand, done = hand_of()
    told = stand(hand, followed(moments.air_on()), 900)
    assert done[0] == ("blow", True)
    assert ("blow", False) in done
    marks = [tick for tick, wish in told if wish == Touch(messages.MARK, messages.MARK_NEXT)]
    assert len(marks) == 2  # the solder moves, the chip comes off; the answers mark the rest
    answered = [tick for tick, wish in told if wish == Answer(AIR_AWAY_PROMPT)]
    assert answered[0] == round((BLOWS_FOR_S + AIR_OFF_S) * TICKS_PER_S)
    assert marks == sorted(marks) and marks[-1] < BLOWS_FOR_S * TICKS_PER_S


def test_hot_air_never_lasts_as_long_as_the_stage_allows():
    hand, done = hand_of()
    progress = followed(moments.air_on())
    progress.stage_row()["longest_ticks"] = 300
    told = stand(hand, progress, 300)
    assert [tick for tick, wish in told if isinstance(wish, Answer)] == [210 + 30]
    assert done[-1] == ("blow", False)


def test_a_run_that_ends_under_the_air_leaves_no_air_on():
    hand, done = hand_of()
    stand(hand, followed(moments.air_on()), 5)
    stand(hand, followed(moments.cooling()), 5, prompt=NONE)
    assert done == [("blow", True), ("blow", False)]


def test_it_goes_on_after_a_look_at_what_was_mended():
    hand, _done = hand_of()
    told = stand(hand, followed(moments.cooling()), 150, prompt=GO_ON_PROMPT)
    assert told == [(round(GOES_ON_AFTER_S * TICKS_PER_S), Answer(GO_ON_PROMPT))]


def test_a_stage_that_takes_longer_is_waited_for_but_not_for_ever_what_is_held():
    hand, _done = hand_of()
    progress = followed(moments.stuck())
    assert [wish for _tick, wish in stand(hand, progress, 220)] == [Answer(LONGER_PROMPT)]
    held = followed(moments.held())
    assert stand(hand, held, 400, prompt=LONGER_PROMPT) == []


def test_acts_come_at_their_times_after_the_press():
    hand, done = hand_of("hold_here@3s", "lift@2s#1", "go_on@4s", "air_on@1s", "stop@5s")
    progress = followed(moments.armed())
    assert stand(hand, progress, 50) == []  # not pressed yet
    told = stand(hand, followed(moments.first_ramp()), 60)
    assert told == [
        (30, Touch(messages.HOLD_HERE)),
        (40, Touch(messages.GO_ON)),
        (50, Stop(messages.STOP_BY_PERSON)),
    ]
    assert [one for one in done if one[0] != "hold_button"] == [("blow", True), ("lift", 1)]


def test_acts_go_on_in_the_run_that_goes_on():
    """Times count from the first press of all."""
    hand, _done = hand_of("mark@10s")
    record = followed(moments.first_ramp())
    assert stand(hand, record, 50) == []
    again = followed(moments.armed())
    again.newest = again.newest._replace(tick=record.newest.tick + 30)
    assert [wish for _tick, wish in stand(hand, again, 60)] == [Touch(messages.MARK)]


@pytest.mark.parametrize(
    ("act", "does"),
    [
        ("hold_here@1s", Touch(messages.HOLD_HERE)),
        ("go_on@1s", Touch(messages.GO_ON)),
        ("extend@1s", Touch(messages.EXTEND, 600)),
        ("extend@1s#30", Touch(messages.EXTEND, 300)),
        ("next@1s", Touch(messages.NEXT_STAGE)),
        ("plateau@1s", Touch(messages.LAST_PLATEAU)),
        ("offset@1s#-2.5", Touch(messages.OFFSET, -250)),
        ("cool@1s", Touch(messages.COOL_DOWN)),
        ("mark@1s", Touch(messages.MARK, messages.MARK_NEXT)),
        ("mark@1s#chip_off", Touch(messages.MARK, messages.MARK_CHIP_OFF)),
        ("fan@1s", Touch(messages.FAN_NOW)),
        ("air_on@1s", ("blow", True)),
        ("air_off@1s", ("blow", False)),
        ("lift@1s", ("lift", 0)),
        ("press_down@1s#1", ("press_down", 1)),
        ("board@1s", ("change_board",)),
        ("finger@1s#1", ("finger", 1, 10.0)),
        ("stop@1s", Stop(messages.STOP_BY_PERSON)),
    ],
)
def test_every_act_does_what_its_name_says(act, does):
    hand, done = hand_of(act)
    told = [wish for _tick, wish in stand(hand, followed(moments.first_ramp()), 20)]
    assert told + done == [does]


def test_nobody_is_at_the_keyboard():
    hand, _done = hand_of()
    assert hand.hints(followed(moments.first_ramp())) == []
    assert hand.source == messages.BY_SCRIPT
