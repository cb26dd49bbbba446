"""The page's seat: what is asked is judged by the run as it then is; nothing presses the button."""

import pytest

from emberbed.bench.watcher import Begun, Hands, Screens
from emberbed.bench.wishes import Answer, Stop, Touch
from emberbed.device_description import decode_settings
from emberbed.page.feed import Feed
from emberbed.page.seat import PageSeat
from emberbed_fw import messages
from tests.host.bench import moments
from tests.host.store.synthetic_run import facts as run_facts


class Virtual:
    """Notes what the simulated hand does."""

    def __init__(self):
        self.moves = []

    def hold_button(self):
        self.moves.append("button")

    def blow(self, on):
        self.moves.append(f"air {on}")


def seated(moment, virtual=None):
    story = moments.story_of(moment())
    feed = Feed()
    seat = PageSeat(feed)
    description = decode_settings(moments.SETTINGS)
    seat.begins(Begun(7, story, run_facts(), description, virtual))
    seat.show(story.progress.newest)
    return seat, story, feed


def wanted(seat, story):
    return seat.wishes(story.progress.newest, story.progress)


def test_an_answer_goes_in_the_pages_name():
    seat, story, _feed = seated(moments.flux_wait)
    seat.answer(moments.FLUX)
    assert wanted(seat, story) == [Answer(moments.FLUX, messages.BY_PAGE)]
    assert wanted(seat, story) == []


def test_an_answer_to_another_question_is_not_given():
    seat, story, feed = seated(moments.flux_wait)
    seat.answer(moments.NOZZLE)
    assert wanted(seat, story) == []
    assert "moved on" in feed.snapshot()["events"][-1]["sentence"]


def test_a_change_is_that_of_the_terminals_key():
    seat, story, _feed = seated(moments.second_ramp)
    seat.change("h", story.progress.newest.stage)
    assert wanted(seat, story) == [Touch(messages.HOLD_HERE, 0, messages.BY_PAGE)]


def test_a_change_meant_for_another_stage_is_not_made():
    seat, story, feed = seated(moments.second_ramp)
    seat.change("n", story.progress.newest.stage - 1)
    assert wanted(seat, story) == []
    assert "moved on" in feed.snapshot()["events"][-1]["sentence"]


def test_stop_and_smoke_are_taken_in_any_stage():
    seat, story, _feed = seated(moments.second_ramp)
    seat.stop()
    seat.change("s", 0)
    assert wanted(seat, story) == [Stop(messages.STOP_BY_PERSON), Stop(messages.STOP_SMOKE)]
    assert seat.stops() == 0  # the record of the cooling goes on


def test_only_the_end_of_the_program_leaves():
    seat, _story, _feed = seated(moments.second_ramp)
    seat.leave()
    assert seat.stops() == 2


def test_the_simulated_hand_goes_through_the_virtual_device():
    virtual = Virtual()
    seat, story, _feed = seated(moments.armed, virtual)
    seat.simulate("press")
    seat.simulate("air")
    seat.simulate("air")
    assert wanted(seat, story) == []  # no request to the device
    assert virtual.moves == ["button", "air True", "air False"]


def test_at_a_real_device_the_simulated_hand_does_nothing():
    seat, story, _feed = seated(moments.armed, None)
    seat.simulate("press")
    assert wanted(seat, story) == []


def test_rows_begin_with_the_press():
    seat, story, feed = seated(moments.armed)
    assert feed.snapshot()["rows"] == 0
    seat, story, feed = seated(moments.first_ramp)
    row = list(feed.rows_from(0))
    assert feed.snapshot()["columns"] == [
        "seconds", "asked_c", "power_percent", "top_near_chip", "edge"
    ]  # fmt: skip
    newest = story.progress.newest
    assert row[0] == pytest.approx(story.seconds_since_press(newest.tick), abs=0.01)
    assert row[3] == pytest.approx(newest.channel_cdeg(0) / 100, abs=0.01)


def test_a_new_run_begins_a_new_curve():
    seat, _story, feed = seated(moments.first_ramp)
    assert feed.snapshot()["rows"] == 1
    seat.turn_over(8)
    assert (feed.snapshot()["rows"], feed.run_id()) == (0, 8)


def test_marks_and_stages_are_pinned_to_the_curve_once():
    seat, story, feed = seated(moments.second_ramp)
    seat.show(story.progress.newest)
    seat.show(story.progress.newest)
    pins = feed.snapshot()["pins"]
    assert [pin["text"] for pin in pins if pin["kind"] == "mark"] == ["flux on"]
    assert [pin["stage"] for pin in pins if pin["kind"] == "stage"] == [story.progress.newest.stage]


def test_terminal_and_page_are_one_hand_with_two_names():
    seat, story, _feed = seated(moments.second_ramp)
    own = PageSeat(Feed())
    own.source = messages.BY_TERMINAL
    hands = Hands(own, seat)
    seat.change("h", story.progress.newest.stage)
    assert hands.source == messages.BY_TERMINAL
    assert hands.wishes(story.progress.newest, story.progress) == [
        Touch(messages.HOLD_HERE, 0, messages.BY_PAGE)
    ]
    seat.leave()
    assert hands.stops() == 2


def test_two_screens_see_the_same():
    (one, story, first), (_two, _story, second) = seated(moments.first_ramp), seated(moments.armed)
    Screens((one,)).tell(story.progress.newest.tick, "stage", "Stage 1 of 7: ramp to 60 °C.")
    assert first.snapshot()["events"][-1]["sentence"].startswith("Stage 1")
    assert second.snapshot()["events"] == []
