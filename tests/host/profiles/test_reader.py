"""Reading profiles: what is right is read whole."""

import re
from importlib.resources import files

from emberbed.profiles.model import Wait
from emberbed.profiles.reader import read_profile
from tests.host.profiles.profile_texts import (
    AIR,
    GOOD,
    SENSOR,
    WAIT,
    changed,
    read,
)

DOCUMENT = files("emberbed") / "docs" / "profiles.md"


def test_a_right_profile_is_read_whole():
    profile = read(GOOD).model
    assert profile.name == "Bench label printer"
    assert profile.control_sensor() == "top_near_chip"
    assert [stage.kind for stage in profile.stages] == ["ramp", "hold", "wait", "ramp", "cool"]
    assert isinstance(profile.stages[2], Wait)
    assert profile.board is not None and profile.board.mass_g == 240
    assert profile.sensors["edge"].role == "edge"


def test_a_mark_in_front_of_utf8_and_windows_line_ends_are_taken():
    text = GOOD.replace("\n", "\r\n")
    assert read("\ufeff" + text).model == read(GOOD).model


def test_what_is_left_out_gets_its_default():
    """Contracts: a hold's band is 5 degC, hot air blows 4 min at most, the fan waits for solder."""
    ramp, hold, wait, air, *_, cool = read(GOOD.replace(WAIT, WAIT + AIR)).model.stages
    assert (ramp.band_c, ramp.hold_back_c, ramp.spread_c, ramp.longest_s) == (3, 8, 10, None)
    assert (hold.band_c, hold.needs, hold.spread_c) == (5, [], 0)
    assert (wait.remind_s, wait.marks) == (30, None)
    assert (air.longest_s, air.start_within_s, air.remind_s, air.tool_w) == (240, 600, 30, 0)
    assert (air.expects, air.prompt) == ("nothing", "Bring the hot air over the chip, then answer")
    assert cool.fan == "when_solid"


def test_a_role_alone_is_short_for_a_table():
    assert read(changed('"edge"', '{ role = "edge" }')).model == read(GOOD).model
    written = """
[sensors.cell]
role = "neighbour"
limit_c = 85
pause_c = 75
[sensors.beside]
role = "pair"
partner = "top_near_chip"
in_jet = true
side = "underside"
shielded = true
"""
    sensors = read(changed(SENSOR + "\n", SENSOR + written)).model.sensors
    assert (sensors["cell"].limit_c, sensors["cell"].pause_c) == (85, 75)
    assert sensors["beside"].partner == "top_near_chip"
    assert sensors["beside"].in_jet and sensors["beside"].shielded
    assert (sensors["beside"].side, sensors["cell"].side) == ("underside", None)


def test_the_sensors_of_the_documents_are_read():
    examples = re.findall(r"```toml\n\[sensors\]\n(.*?)```", DOCUMENT.read_text("utf-8"), re.DOTALL)
    usual = 'top_near_chip = "control"\nedge = "edge"\n'
    sensors, zoned = (read(changed(usual, example)).model.sensors for example in examples)
    assert {one.role for one in sensors.values()} == {"control", "edge", "neighbour", "pair"}
    assert [one.zone for one in zoned.values()] == [None, 1]


def test_a_board_that_nobody_knows_may_be_left_out():
    profile = read(changed("board = { mass_g = 240, length_mm = 180, width_mm = 120 }\n", "")).model
    assert profile.board is None
    unknown = changed('"SAC305"', '"unknown"').replace('"FR-4 Tg 150"', '"unknown"')
    assert (read(unknown).model.alloy, read(unknown).model.laminate) == ("unknown", "unknown")


def test_a_file_is_read_and_remembers_its_path_and_text(tmp_path):
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, encoding="utf-8", newline="\n")
    found = read_profile(path)
    assert (found.path, found.text) == (str(path), GOOD)
