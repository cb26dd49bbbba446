"""Save what I did: the new revision holds what the firmware's record shows, and keeps the rest.

Every run here is one of the real firmware (`hand_run`); what is expected is what the hands did:
the seconds and degrees of the test, counted by hand.
"""

import json
import shutil
import tomllib

import pytest
from typer.testing import CliRunner

from emberbed.cli import app
from emberbed.profiles.limits import TEXTS
from emberbed.profiles.reader import parse_profile
from emberbed.revise.write import NothingToSave, next_name, revision_of
from emberbed.store.run_store import RunStore
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from tests.host.report.hand_run import PROFILE, HandRun, TapeStore, store_hand_run
from tests.support.bench import OPEN_WORD

RAMP, HOLD, WAIT, SOAK_RAMP, SOAK, AIR, COOL = range(1, 8)  # stages of PROFILE
ORIGINAL = tomllib.loads(PROFILE)["stages"]
TICK_S = 0.1


def revision_for(run, **changes):
    """Return the revision of a run; `changes` are of its header."""
    store = TapeStore(run, **changes)
    return revision_of(store, store.run)


def revised(run, **changes):
    """Return (stages of the new profile, the revision)."""
    revision = revision_for(run, **changes)
    assert parse_profile(revision.text.encode(), "new").model.name == revision.name
    return tomllib.loads(revision.text)["stages"], revision


def short(stages):
    """Return each stage as its kind and the number that matters."""
    keys = {"ramp": "to_c", "hold": "for_s", "wait": "longest_s", "hot_air": "longest_s",
            "cool": "below_c"}  # fmt: skip
    return [(stage["kind"], stage[keys[stage["kind"]]]) for stage in stages]


def about(seconds):
    """A touch is taken in a tick, and the tick of the touch that ends it counts or does not."""
    return pytest.approx(seconds, abs=2 * TICK_S)


@pytest.fixture(scope="module")
def session():
    """A person's whole session: held on the way, more time, target up, cut short, marks."""
    run = HandRun().start()
    run.seconds(40).did(ms.HOLD_HERE).seconds(30).did(ms.GO_ON)
    run.until_stage(HOLD).seconds(20).did(ms.EXTEND, 300, ms.BY_PAGE)
    run.until_stage(WAIT).seconds(12).answered()
    run.until_stage(SOAK_RAMP).seconds(20).did(ms.OFFSET, 200).seconds(1).did(ms.OFFSET, 300)
    run.until_stage(SOAK).seconds(33).did(ms.NEXT_STAGE)
    run.until_stage(AIR).seconds(8).answered().seconds(45)
    run.did(ms.MARK).seconds(5).did(ms.MARK).seconds(3).did(ms.MARK)
    return run.finish()


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


def test_what_a_trip_broke_off_stays_as_it_was():
    run = HandRun().start().seconds(40).did(ms.HOLD_HERE).seconds(20).did(ms.GO_ON)
    run.until_stage(WAIT).answered().until_stage(SOAK).seconds(20)
    run.raw[1] = OPEN_WORD
    run.seconds(5)
    assert run.machine.life.verdict == rs.TRIPPED
    stages, revision = revised(run, state="tripped")
    assert short(stages)[2:] == short(ORIGINAL)
    assert len(revision.sentences) == 1


def test_nothing_is_made_of_a_run_without_changes():
    run = HandRun().start().until_stage(WAIT).did(ms.MARK).answered().finish()
    with pytest.raises(NothingToSave) as refused:
        revision_for(run)
    assert str(refused.value) == ("nothing was changed in run 1, its profile can be used as it is")


def test_a_change_that_no_profile_holds_is_told():
    run = HandRun().start().until_stage(WAIT).seconds(3).did(ms.NEXT_STAGE).finish()
    with pytest.raises(NothingToSave, match="a person ends it anyway.*can be used as it is"):
        revision_for(run)


def test_a_run_that_came_to_nothing_makes_no_profile():
    run = HandRun().start().seconds(5).did(ms.COOL_DOWN)
    with pytest.raises(NothingToSave, match="makes no profile of its own: .*cool"):
        revision_for(run.finish())


def test_an_open_run_and_a_strange_header_are_refused(session):
    with pytest.raises(NothingToSave, match="still being recorded"):
        revision_for(session, state="open")
    with pytest.raises(NothingToSave, match="cannot be read by this version"):
        revision_for(session, profile_toml="= no TOML")
    with pytest.raises(NothingToSave, match="cannot be read by this version"):
        revision_for(session, plan=b"")


@pytest.mark.parametrize(
    ("name", "following"),
    [
        ("Logger", "Logger, revision 2"),
        ("Logger, revision 2", "Logger, revision 3"),
        ("Logger, revision 19", "Logger, revision 20"),
        ("Revision 2 of a logger", "Revision 2 of a logger, revision 2"),
        ("x" * 80, "x" * 68 + ", revision 2"),
    ],
)
def test_names_count_up(name, following):
    assert next_name(name) == following and len(following) <= TEXTS["name"]


def test_a_warm_board_still_needs_its_first_ramp():
    """The second board of the day may begin where the first ramp ends."""
    run = HandRun()
    run.board_c = [80.0, 78.0, 80.0]
    stages, _revision = revised(run.start().until_stage(HOLD).did(ms.EXTEND, 300).finish())
    assert short(stages)[:2] == [("ramp", 80), ("hold", 90)]


@pytest.mark.parametrize(
    ("room_c", "why"), [(21.0, "as targets begin at 25 °C"), (28.0, "nothing had been heated")]
)
def test_a_hold_before_anything_was_heated_is_left_out(room_c, why):
    run = HandRun(room_c=room_c).start().did(ms.HOLD_HERE).seconds(20).did(ms.GO_ON)
    stages, revision = revised(run.until_stage(HOLD).did(ms.EXTEND, 300).finish())
    assert short(stages)[:2] == [("ramp", 80), ("hold", 90)]
    assert why in revision.kept[0]


def test_a_text_that_cannot_be_changed_here_is_refused(session):
    strange = PROFILE.replace("[[stages]]", '[["st\\u0061ges"]]')
    assert tomllib.loads(strange)["stages"] == ORIGINAL
    with pytest.raises(NothingToSave, match="cannot be changed here; change it by hand"):
        revision_for(session, profile_toml=strange)


# how the file is written


def inline(profile):
    """Return the profile with its stages as one list of inline tables."""
    head, _, _ = profile.partition("# dry-out")
    head, sensors = head.split("[sensors]")
    rows = [
        "{ " + ", ".join(f"{key} = {json.dumps(value)}" for key, value in stage.items()) + " }"
        for stage in tomllib.loads(profile)["stages"]
    ]
    listed = (
        ",\n".join(f"  {row}" for row in rows[:3])
        + ",  # flux\n"
        + ",\n".join(f"  {row}" for row in rows[3:])
    )
    return f"{head}stages = [\n{listed}\n]\n[sensors]{sensors}"


@pytest.mark.parametrize(
    "written",
    [
        PROFILE.replace("\n", "\r\n"),
        inline(PROFILE),
        PROFILE.replace("[sensors]", "[ sensors ]").replace("[[stages]]", "[[ stages ]]"),
        PROFILE.replace("[[stages]]", '[["stages"]]'),
        PROFILE.rstrip("\n"),
        # a table behind the stages, and a prompt that looks like a header
        "\n".join([*PROFILE.replace("[sensors]\n", "").splitlines()[:5], "", "# dry-out"]).replace(
            'top_near_chip = "control"\n', ""
        )
        + PROFILE[PROFILE.index("\n[[stages]]") :].replace(
            '"Apply flux"', '"""Apply \\\n# flux [[stages]]\\\n"""'
        )
        + '\n[sensors]\ntop_near_chip = "control"\nedge = "edge"\n'
        'chip_top = { role = "chip_top", in_jet = true, limit_c = 245 }\n',
    ],
    ids=["crlf", "inline", "spaces", "quoted", "no last line end", "sensors last"],
)
def test_profiles_written_in_another_way(session, written):
    stages, revision = revised(session, profile_toml=written)
    assert [kind for kind, _number in short(stages)] == [
        "ramp", "hold", "ramp", "hold", "wait", "ramp", "hold", "hot_air", "cool",
    ]  # fmt: skip
    assert ("\r\n" in revision.text) == ("\r\n" in written)
    assert "\n" not in revision.text.replace("\r\n", "") or "\r\n" not in written


# the command


@pytest.fixture
def emberbed(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def run(*words):
        done = CliRunner().invoke(app, [*map(str, words), "--store", "runs.sqlite"])
        assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
        return done

    return run


@pytest.fixture(scope="module")
def session_store(tmp_path_factory, session):
    path = tmp_path_factory.mktemp("store") / "runs.sqlite"
    with RunStore.open(path) as opened:
        store_hand_run(opened, session)
    return path


@pytest.fixture
def stored(tmp_path, session_store):
    """Put the session into the store of this test; return its number."""
    shutil.copy(session_store, tmp_path / "runs.sqlite")
    return 1


def test_the_command_writes_and_tells(emberbed, stored, tmp_path):
    done = emberbed("runs", "revise", stored, "new.toml")
    assert done.exit_code == 0, done.stderr
    lines = done.stdout.splitlines()
    assert len(lines) == 5 and lines[1].startswith("Stage 2 (hold): 1:30 instead of 1:00")
    assert lines[-1] == (
        '"Weather logger, radio chip, revision 2" is written to new.toml;'
        " check it with: emberbed check new.toml"
    )
    assert parse_profile((tmp_path / "new.toml").read_bytes(), "new").model.name.endswith("2")
    again = emberbed("runs", "revise", stored, "new.toml")
    assert again.exit_code == 2
    assert again.stderr.strip() == "new.toml is there already: name a new file"


def test_the_command_as_json(emberbed, stored):
    told = json.loads(emberbed("runs", "revise", "last", "new.toml", "--json").stdout)
    assert told["run"] == stored and told["file"] == "new.toml" and len(told["changed"]) == 4


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("1", "nowhere/new.toml"), "nowhere/new.toml cannot be written"),
        (("9", "new.toml"), "has no run 9"),
        (("1", "."), ". "),
    ],
)
def test_the_command_refuses_in_one_sentence(emberbed, stored, words, said):
    done = emberbed("runs", "revise", *words)
    assert done.exit_code == 2 and said in done.stderr.replace("\\", "/")
    assert len(done.stderr.strip().splitlines()) == 1


def test_the_command_says_that_nothing_was_changed(emberbed, tmp_path):
    run = HandRun().start().seconds(5)
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        store_hand_run(opened, run, end=("stopped", 4))
    done = emberbed("runs", "revise", "1", "new.toml")
    assert done.exit_code == 2 and not (tmp_path / "new.toml").exists()
    assert done.stderr.strip() == (
        "Nothing was changed in run 1, its profile can be used as it is."
    )


def test_show_as_json_tells_what_people_did(emberbed, stored):
    told = json.loads(emberbed("runs", "show", stored, "--json").stdout)
    assert [mark["mark"] for mark in told["marks"]] == [
        "FLUX_ON", "NOZZLE_ON", "SOLDER_MOVES", "CHIP_OFF", "AIR_AWAY",
    ]  # fmt: skip
    touches = [(touch["touch"], touch["stage"], touch["source"]) for touch in told["touches"]]
    assert touches[:3] == [
        ("HOLD_HERE", 1, "TERMINAL"), ("GO_ON", 1, "TERMINAL"), ("EXTEND", 2, "PAGE"),
    ]  # fmt: skip
    assert ("NEXT_STAGE", 5, "TERMINAL") in touches
    assert told["work"]["touches"] == 6 and told["work"]["marks"] == 5
    assert told["linked_to"] is None and told["goes_on_as"] is None
    assert told["ending"][1] == f"Save what you did: emberbed runs revise {stored} NEW.toml"
    assert told["work"]["above_liquidus_sensor"] == "chip_top"
