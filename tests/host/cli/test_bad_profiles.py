"""Bad profiles: each mistake one sentence with place, rule and mend; exit 2; nothing sent."""

import json

import pytest

from emberbed.profiles.shipped import shipped_file
from tests.host.link.fake_device import FakeDevice
from tests.host.link.wires import SocketWire

GOOD = shipped_file("label-printer").read_text(encoding="utf-8")


def at(part: str, said: str, lines_on: int = 0) -> str:
    """Return how a sentence begins about the line of the first `part` in GOOD, counted plainly."""
    return f"bad.toml:{GOOD[: GOOD.index(part)].count(chr(10)) + 1 + lines_on}: {said}"


ONE_STAGE = '[[stages]]\nkind = "hold"\nfor_s = 1\n'
TOO_LONG_KIB = len((GOOD + ONE_STAGE * 10_000).encode()) // 1024
HOT_AIR = 'kind = "hot_air"'

# name -> (bytes of the file, the sentences it must get)
BAD_FILES = {
    "unknown key": (
        GOOD.replace("alloy =", 'colour = "red"\nalloy =', 1),
        [at("alloy =", 'the key "colour" is not known here; the keys here are')],
    ),
    "wrong type": (
        GOOD.replace("mass_g = 240", 'mass_g = "heavy"'),
        [at("mass_g", 'board: mass_g = "heavy" is text; write a number from 1 to 5000 g')],
    ),
    "not a number": (
        GOOD.replace("to_c = 87", "to_c = nan", 1),
        [at("to_c = 87", "stage 1 (ramp): to_c = nan is not a number from 25 to 260 °C")],
    ),
    "negative rate": (
        GOOD.replace("rate_c_per_s = 0.3", "rate_c_per_s = -0.3", 1),
        [at("rate_c", "stage 1 (ramp): rate_c_per_s = -0.3: rates have no sign: write 0.3")],
    ),
    "1200 degrees": (
        GOOD.replace("to_c = 125", "to_c = 1200"),
        [at("to_c = 125", "stage 4 (ramp): to_c = 1200 is outside 25 to 260 °C")],
    ),
    "a neighbour without its limit": (
        GOOD.replace('edge = "edge"', 'edge = "neighbour"'),
        [at("edge =", "sensors: edge is a neighbour and does not say the °C it may get")],
    ),
    "a hold that needs nobody": (
        GOOD.replace('needs = ["edge"]', 'needs = ["egde"]'),
        [at("needs =", 'stage 7 (hold): needs names no sensor of this profile with "egde"')],
    ),
    "a stage of an identification": (
        GOOD.replace(HOT_AIR, 'kind = "power"\npercent = 50\nfor_s = 60\nlimit_c = 100'),
        [at(HOT_AIR, "stage 8 (power): a power stage is for identifying a heater", -1)],
    ),
    "hot air that expects something else": (
        GOOD.replace(HOT_AIR, HOT_AIR + '\nexpects = "chip"'),
        [at(HOT_AIR, 'stage 8 (hot_air): expects does not know "chip"; did you mean', 1)],
    ),
    "10,000 stages": (
        GOOD + ONE_STAGE * 10_000,
        [f"bad.toml: the file has {TOO_LONG_KIB} KiB and 10009 stages, and a profile has at most"],
    ),
    "not TOML": ("\x01 = [[[", ["bad.toml:1: this line cannot be read from column 1 on"]),
    "not text": (b"\xff\xfe\x00\x9d" * 100, ["bad.toml:1: the file is not UTF-8 text"]),
    "empty": ("", ["bad.toml: the key name is missing"]),
    "three mistakes at once": (
        GOOD.replace("to_c = 87", "to_c = nan", 1)
        .replace("for_s = 180", 'for_s = "long"')
        .replace("to_c = 125", "to_c = 1200"),
        [
            at("to_c = 87", "stage 1"),
            at("for_s = 180", "stage 2 (hold): for_s"),
            at("to_c = 125", "stage 4"),
        ],
    ),
}
COMMANDS = ("run", "check", "rehearse")


def write(tmp_path, text):
    octets = text if isinstance(text, bytes) else text.encode("utf-8")
    (tmp_path / "bad.toml").write_bytes(octets)


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("name", BAD_FILES)
def test_each_mistake_is_one_sentence(emberbed, tmp_path, name, command):
    text, expected = BAD_FILES[name]
    write(tmp_path, text)
    said = emberbed(command, "bad.toml")
    assert said.exit_code == 2
    assert said.out == ""
    for sentence in expected:
        assert [line for line in said.lines if line.startswith(sentence)], said.err
    assert len(said.lines) >= len(expected)
    assert all(line.startswith("bad.toml") for line in said.lines)


@pytest.mark.parametrize(
    ("profile", "sentence"),
    [
        ("missing.toml", "missing.toml: there is no such file; name a profile file or a shipped"),
        (".", ".: this is a folder; name a profile file in it"),
        ("lable-printer", "there is no such file; did you mean the shipped profile label-printer?"),
        ("", "without visible letters"),
        ("\x1b[2J", "there is no such file"),
    ],
)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_profile_that_is_not_there(emberbed, command, profile, sentence):
    said = emberbed(command, profile)
    assert said.exit_code == 2
    (line,) = said.lines
    assert sentence in line
    assert "\x1b" not in line


@pytest.mark.parametrize("name", ["not a number", "10,000 stages", "not text"])
def test_nothing_is_sent_and_nothing_stored_for_a_bad_profile(emberbed, tmp_path, name):
    write(tmp_path, BAD_FILES[name][0])
    device = FakeDevice()
    with SocketWire(device) as wire:
        assert emberbed("run", "bad.toml", "--device", wire.url).exit_code == 2
        assert wire.hosts == []
    assert device.seen == []
    assert not (tmp_path / "default.sqlite").exists()


def test_a_profile_that_does_not_fit_the_device_is_not_sent(emberbed, tmp_path, impatient):
    """Read and checked against what the device says of itself; the plan stays here."""
    write(tmp_path, GOOD.replace("top_near_chip = ", "far_corner = "))
    device = FakeDevice()
    with SocketWire(device, turn=lambda: device.ticks(1)) as wire:
        said = emberbed("run", "bad.toml", "--device", wire.url)
    assert said.exit_code == 2
    assert "far_corner" in said.err
    from emberbed_fw import messages

    asked = {kind for kind, _ in device.done}
    assert asked == {messages.HELLO, messages.SETTINGS_READ}


def test_a_check_that_cannot_read_ends_with_the_verdict(emberbed, tmp_path):
    write(tmp_path, BAD_FILES["wrong type"][0])
    assert emberbed("check", "bad.toml").lines[-1] == "bad.toml may not run: 1 error."
    assert "may not run" not in emberbed("run", "bad.toml").err


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_check_as_json_is_json_for_every_mistake(emberbed, tmp_path, name):
    write(tmp_path, BAD_FILES[name][0])
    said = emberbed("check", "bad.toml", "--json")
    assert (said.exit_code, said.err) == (2, "")
    found = json.loads(said.out)
    assert {one["severity"] for one in found} == {"error"}
    for sentence in BAD_FILES[name][1]:
        assert any(one["sentence"].startswith(sentence) for one in found)


def test_a_control_that_sees_the_hot_air_may_not_run(emberbed, tmp_path):
    control = 'top_near_chip = { role = "control", in_jet = true }\n'
    write(tmp_path, GOOD.replace('top_near_chip = "control"', control))
    said = emberbed("check", "bad.toml")
    assert said.exit_code == 2
    assert "out of the jet" in said.out.splitlines()[0]


def test_a_board_that_nobody_knows_may_run(emberbed, tmp_path):
    text = "".join(line for line in GOOD.splitlines(True) if not line.startswith("board ="))
    write(
        tmp_path,
        text.replace('"SAC305"', '"unknown"')
        .replace('"FR-4 Tg 150"', '"unknown"')
        .replace("to_c = 135", "to_c = 120")
        .replace("to_c = 125", "to_c = 110"),
    )
    said = emberbed("check", "bad.toml")
    assert said.exit_code == 0, said.out
    assert "note: bad.toml: nothing is known of the board" in said.out
    assert said.out.splitlines()[-1] == "bad.toml may run: no errors, no warnings."


def test_a_profile_with_an_error_of_the_check_may_not_run(emberbed, tmp_path):
    write(tmp_path, GOOD.replace("top_near_chip = ", "far_corner = "))
    said = emberbed("check", "bad.toml")
    assert said.exit_code == 2
    assert said.out.splitlines()[-1] == "bad.toml may not run: 1 error."
