"""Bad profiles: each mistake one sentence with place, rule and mend; exit 2; nothing sent."""

import json

import pytest

from emberbed.profiles.shipped import shipped_file
from tests.host.link.fake_device import FakeDevice
from tests.host.link.wires import SocketWire

GOOD = shipped_file("label-printer").read_text(encoding="utf-8")
ONE_STAGE = '[[stages]]\nkind = "hold"\nfor_s = 1\n'

# name -> (bytes of the file, the sentences it must get)
BAD_FILES = {
    "unknown key": (
        GOOD.replace("alloy =", 'colour = "red"\nalloy =', 1),
        ['bad.toml:6: the key "colour" is not known here; the keys here are'],
    ),
    "wrong type": (
        GOOD.replace("mass_g = 240", 'mass_g = "heavy"'),
        ['bad.toml:8: board: mass_g = "heavy" is text; write a number from 1 to 5000 g'],
    ),
    "not a number": (
        GOOD.replace("to_c = 87", "to_c = nan", 1),
        ["bad.toml:18: stage 1 (ramp): to_c = nan is not a number from 25 to 260 °C"],
    ),
    "negative rate": (
        GOOD.replace("rate_c_per_s = 0.3", "rate_c_per_s = -0.3", 1),
        ["bad.toml:19: stage 1 (ramp): rate_c_per_s = -0.3: rates have no sign: write 0.3"],
    ),
    "1200 degrees": (
        GOOD.replace("to_c = 125", "to_c = 1200"),
        ["bad.toml:38: stage 4 (ramp): to_c = 1200 is outside 25 to 260 °C"],
    ),
    "10,000 stages": (
        GOOD + ONE_STAGE * 10_000,
        ["bad.toml: the file has 344 KiB and 10009 stages, and a profile has at most"],
    ),
    "not TOML": ("\x01 = [[[", ["bad.toml:1: this line cannot be read from column 1 on"]),
    "not text": (b"\xff\xfe\x00\x9d" * 100, ["bad.toml:1: the file is not UTF-8 text"]),
    "empty": ("", ["bad.toml: the key name is missing"]),
    "three mistakes at once": (
        GOOD.replace("to_c = 87", "to_c = nan", 1)
        .replace("for_s = 180", 'for_s = "long"')
        .replace("to_c = 125", "to_c = 1200"),
        ["bad.toml:18: stage 1", "bad.toml:24: stage 2 (hold): for_s", "bad.toml:38: stage 4"],
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
    write(tmp_path, GOOD.replace("edge = ", "far_corner = "))
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


def test_a_profile_with_an_error_of_the_check_may_not_run(emberbed, tmp_path):
    write(tmp_path, GOOD.replace("edge = ", "far_corner = "))
    said = emberbed("check", "bad.toml")
    assert said.exit_code == 2
    assert said.out.splitlines()[-1] == "bad.toml may not run: 1 error."
