"""Runs that no revision is made of, and revisions that leave something out."""

import json
import tomllib

import pytest

from emberbed.profiles.limits import TEXTS
from emberbed.revise.write import NothingToSave, next_name
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from tests.host.report.hand_run import PROFILE, HandRun
from tests.host.revise.revised import (
    HOLD,
    ORIGINAL,
    SOAK,
    WAIT,
    revised,
    revision_for,
    short,
)
from tests.support.bench import OPEN_WORD


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
