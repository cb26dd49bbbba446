"""Save what I did: the new revision holds what the firmware's record shows, and keeps the rest.

Every run here is one of the real firmware (`hand_run`); what is expected is what the hands did:
the seconds and degrees of the test, counted by hand.
"""

import tomllib

import pytest

from emberbed.revise.write import revision_of
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from tests.host.report.hand_run import PROFILE, HandRun, TapeStore
from tests.host.revise.revised import AIR, HOLD, ORIGINAL, SOAK, SOAK_RAMP, WAIT, revised, short

TICK_S = 0.1


def about(seconds):
    """A touch is taken in a tick, and the tick of the touch that ends it counts or does not."""
    return pytest.approx(seconds, abs=2 * TICK_S)


def test_a_whole_session_becomes_a_profile(session):
    stages, revision = revised(session)
    held_at_c = session.held_at_c()
    assert short(stages) == [
        ("ramp", held_at_c), ("hold", about(30)), ("ramp", 80), ("hold", 90), ("wait", 120),
        ("ramp", 133), ("hold", about(33)), ("hot_air", 120), ("cool", 50),
    ]  # fmt: skip
    assert stages[2]["rate_c_per_s"] == 0.6, "a split ramp goes on at its rate"
    assert stages[3]["longest_s"] == 200 + 30, "the longest time keeps its room"
    assert revision.name == "Weather logger, radio chip, revision 2"
    assert revision.kept == []
    assert revision.sentences == [
        f"Stage 1 (ramp): you held {held_at_c:g} °C for 0:30, now a hold of its own.",
        "Stage 2 (hold): 1:30 instead of 1:00, as held, and its longest time with it.",
        "Stage 4 (ramp): to 133 °C instead of 130 °C, as you moved the target by +3 °C.",
        "Stage 5 (hold): 0:33 instead of 1:30, as held.",
    ]


def test_the_new_profile_does_untouched_what_the_person_did(session):
    """The revision is run again, without hands: levels and holds are those of the first run."""
    _stages, revision = revised(session)
    again = HandRun(revision.text).start().finish()
    assert again.machine.life.verdict == rs.FINISHED
    first, second = session.plateaus(), again.plateaus()
    assert list(first) == [pytest.approx(49, abs=1), 80, 133] and len(second) == 3
    for level_c, level_again_c in zip(first, second, strict=True):
        assert level_again_c == pytest.approx(level_c, abs=0.1)
    held, dry_out, soak = first.values()
    held_again, dry_out_again, soak_again = second.values()
    # a hold begins a band before the end of its ramp, 5 degC at 0.6 degC a second
    assert held_again == pytest.approx(held, abs=85)
    assert dry_out_again == pytest.approx(dry_out, abs=85)
    # work takes as long as it takes: 53 s of hot air the first time, 10 s the second
    assert soak_again == pytest.approx(soak - 430, abs=85)


def test_comments_and_all_that_was_not_touched_stay(session):
    _stages, revision = revised(session)
    kept = [line for line in PROFILE.splitlines() if "#" in line or "sensor" in line]
    for line in kept:
        comment = line.partition("#")[2]
        assert comment in revision.text, line
    text = revision.text
    assert text.index("# dry-out") < text.index("to_c = 49") < text.index("# added from run 1")
    assert text.index("# soak") < text.index("to_c = 133                # far below Tg")
    assert text.count("# added from run 1") == 2
    before = text[: text.index("# dry-out")]
    assert before.replace(", revision 2", "") == PROFILE[: PROFILE.index("# dry-out")]


def test_cooling_down_leaves_the_rest_out():
    run = HandRun().start().until_stage(HOLD).seconds(25).did(ms.COOL_DOWN).finish()
    stages, revision = revised(run)
    assert short(stages) == [("ramp", 80), ("hold", about(25)), ("cool", 50)]
    assert revision.sentences[1] == "Stages 3 to 6 are left out: you cooled down in stage 2."
    assert "# soak" not in revision.text and "Apply flux" not in revision.text


def test_a_ramp_that_ended_in_cooling_ends_there():
    run = HandRun().start().until_stage(WAIT).answered().until_stage(SOAK_RAMP)
    run.seconds(30).did(ms.COOL_DOWN)
    reached_c = run.board_c[0]
    stages, revision = revised(run.finish())
    assert short(stages)[3:] == [("ramp", pytest.approx(reached_c, abs=0.4)), ("cool", 50)]
    assert "where you ended it" in revision.sentences[0]


def test_a_ramp_left_for_its_hold_keeps_its_target():
    run = HandRun().start().until_stage(WAIT).answered().until_stage(SOAK_RAMP)
    run.seconds(20).did(ms.NEXT_STAGE).until_stage(AIR).did(ms.OFFSET, -200).finish()
    stages, revision = revised(run)
    assert ("ramp", 130) in short(stages)
    (kept,) = revision.kept
    assert kept.startswith("Stage 4 (ramp) keeps its target: you ended it at")


def test_back_to_the_last_plateau_becomes_a_way_back():
    run = HandRun().start().until_stage(WAIT).answered().until_stage(SOAK_RAMP)
    run.seconds(60)
    from_c = run.board_c[0]
    run.did(ms.LAST_PLATEAU).seconds(50).did(ms.GO_ON).finish()
    stages, revision = revised(run)
    way_s = (from_c - 80 - 5) / 2.0  # FALL_C is 2 degC a second; near means 5 degC
    assert short(stages)[3:7] == [
        ("ramp", pytest.approx(from_c, abs=0.2)), ("ramp", 80),
        ("hold", pytest.approx(50 - way_s, abs=1)), ("ramp", 130),
    ]  # fmt: skip
    assert 0 < stages[4]["rate_c_per_s"] <= 0.6
    assert "you went back to 80 °C" in revision.sentences[0]


def test_a_way_back_that_never_arrived_is_left_out():
    run = HandRun().start().until_stage(WAIT).answered().until_stage(SOAK).seconds(10)
    run.did(ms.LAST_PLATEAU).seconds(3).did(ms.GO_ON).seconds(30).did(ms.EXTEND, 600).finish()
    stages, revision = revised(run)
    assert short(stages)[4:6] == [("hold", 150), ("hot_air", 120)]
    assert revision.kept == [
        "Stage 5 (hold): the hold at 80 °C is left out, as the board did not get there."
    ]


def test_a_target_moved_in_a_hold_is_the_ramp_s_new_target():
    run = HandRun().start().until_stage(WAIT).answered().until_stage(SOAK)
    run.seconds(30).did(ms.OFFSET, -400).finish()
    stages, revision = revised(run)
    assert short(stages) == [
        ("ramp", 80), ("hold", 60), ("wait", 120), ("ramp", 126), ("hold", 90), ("hot_air", 120),
        ("cool", 50),
    ]  # fmt: skip
    assert "by -4 °C" in revision.sentences[0]


def test_a_target_moved_after_a_hold_gets_a_ramp_of_its_own():
    run = HandRun().start().until_stage(WAIT).seconds(5).did(ms.OFFSET, 300).seconds(20)
    stages, revision = revised(run.answered().finish())
    assert short(stages) == [
        ("ramp", 80), ("hold", 60), ("ramp", 83), ("wait", 120), ("ramp", 133), ("hold", 90),
        ("hot_air", 120), ("cool", 50),
    ]  # fmt: skip
    assert revision.sentences[0].startswith("Before stage 3: a ramp to 83 °C")


def test_held_in_a_hold_makes_it_longer():
    run = HandRun().start().until_stage(HOLD).seconds(20).did(ms.HOLD_HERE).seconds(40)
    stages, _revision = revised(run.did(ms.GO_ON).finish())
    assert short(stages)[:3] == [("ramp", 80), ("hold", about(60 + 40)), ("wait", 120)]


def test_a_wait_that_took_more_may_take_more():
    run = HandRun().start().until_stage(WAIT).seconds(100)
    for _minute in range(2):
        run.did(ms.EXTEND, 600)
    stages, revision = revised(run.seconds(90).answered().finish())
    assert stages[2]["longest_s"] == pytest.approx(190, abs=1)
    assert revision.sentences == [
        f"Stage 3 (wait): longest_s = {stages[2]['longest_s']}, as it took that long."
    ]


def test_hot_air_that_took_more_may_take_more():
    run = HandRun().start().until_stage(WAIT).answered().until_stage(AIR).seconds(5).answered()
    run.seconds(110).did(ms.EXTEND, 600).seconds(40).did(ms.MARK, ms.MARK_AIR_AWAY)
    stages, _revision = revised(run.finish())
    assert stages[5]["longest_s"] == pytest.approx(150, abs=1)
    assert "start_within_s" not in stages[5], "the answer came in time"


def test_a_hold_ended_before_it_counted_is_left_out():
    run = HandRun().start().until_stage(HOLD).did(ms.NEXT_STAGE)
    stages, revision = revised(run.answered().finish())
    assert short(stages)[:2] == [("ramp", 80), ("wait", 120)]
    assert "Stage 2 (hold) is left out" in revision.sentences[0]


def test_holding_that_nobody_answered_for_ends_with_the_last_answer():
    """Above 110 degC the device asks after 3 min and, 60 s later, goes back by itself: what it did
    alone is not what the person held (safety_limits: HELD_ASK_TICKS, ANSWER_TICKS)."""
    run = HandRun().start().until_stage(WAIT).answered().until_stage(SOAK_RAMP).seconds(65)
    level_c = run.board_c[0]
    assert level_c > 112
    run.did(ms.HOLD_HERE).seconds(180 + 60 + 30).did(ms.GO_ON)
    stages, _revision = revised(run.finish())
    assert short(stages)[3:6] == [
        ("ramp", pytest.approx(level_c, abs=0.2)), ("hold", about(240)), ("ramp", 130),
    ]  # fmt: skip


def test_a_run_that_went_on_after_a_trip_changes_what_it_ran(session):
    """The record of a linked run begins in a later stage; the stages before stay as they are."""
    store = TapeStore(session)
    stages_run = [record.stage for record in store.run_records]
    store.run_records = store.run_records[stages_run.index(SOAK - 1) :]
    revision = revision_of(store, store.run)
    stages = tomllib.loads(revision.text)["stages"]
    assert stages[:4] == ORIGINAL[:4]
    assert short(stages)[4:6] == [("ramp", 133), ("hold", about(33))], "the offset stood from there"
