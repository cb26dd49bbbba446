"""`emberbed rehearse` with its options, in process."""

import json

import pytest


def test_a_map_is_written(emberbed, short_profile, tmp_path):
    said = emberbed("rehearse", short_profile, "--map", "board.svg")
    assert said.exit_code == 0
    assert (tmp_path / "board.svg").read_text(encoding="utf-8").startswith("<svg")
    assert "At the end of the last hold" in said.out


def test_a_heater_file_is_used(emberbed, short_profile, heater_file, tmp_path):
    words = ("--heater", heater_file, "--picture", "curve.svg", "--json")
    said = emberbed("rehearse", short_profile, *words)
    assert said.exit_code == 0 and said.err == ""
    answer = json.loads(said.out)
    assert answer["heater"]["file"] == "h.toml"
    assert answer["spread"]["finished"] == answer["spread"]["heaters"]
    assert "shaded" in (tmp_path / "curve.svg").read_text(encoding="utf-8")


def test_a_plain_rehearsal_has_neither(emberbed, short_profile):
    answer = json.loads(emberbed("rehearse", short_profile, "--json").out)
    assert not {"map", "heater", "spread"} & set(answer)


def test_a_run_that_no_device_would_begin_is_said_so_at_once(emberbed, short_profile):
    said = emberbed("rehearse", short_profile, "--fault", "tc_open@0s", "--json")
    assert said.exit_code == 0
    answer = json.loads(said.out)
    assert answer["state"] == "refused" and answer["energy_j"] == 0
    assert answer["seconds"] < 150  # the press is valid for 2 min: the device's own table
    assert "Refused" in emberbed("rehearse", short_profile, "--fault", "tc_open@0s").out


USUAL = ("--sensor", "top_near_chip:board_centre", "--sensor", "edge:board_edge")


@pytest.mark.parametrize("more", [(), ("--plant", "grid"), ("--heater", "h.toml")])
def test_it_has_the_sensors_that_are_asked_for(emberbed, short_profile, heater_file, more):
    words = (*USUAL, "--sensor", "lid:chip_top", "--sensor", "bank:emitter", "--json", *more)
    peaks_c = json.loads(emberbed("rehearse", short_profile, *words).out)["peaks_c"]
    assert list(peaks_c) == ["top_near_chip", "edge", "lid", "bank"]
    assert peaks_c["bank"] > peaks_c["top_near_chip"] + 50  # emitters are hotter than any board


def test_check_judges_with_the_sensors_that_are_asked_for(emberbed, short_profile):
    assert emberbed("check", short_profile, *USUAL, "--sensor", "lid:chip_top").exit_code == 0
    said = emberbed("check", short_profile, "--sensor", "mine:board_centre")
    assert said.exit_code == 2 and "top_near_chip" in said.out
    # a sensor on an emitter may get hotter than any board: no place for one that controls
    hot = emberbed("check", short_profile, "--sensor", "top_near_chip:emitter", *USUAL[2:])
    assert hot.exit_code == 2


@pytest.mark.parametrize("command", ["check", "rehearse"])
@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("lid", "Sensor 'lid' cannot be read; write NAME:PLACE"),
        ("lid:moon", "Sensor 'lid:moon' cannot be read"),
    ],
)
def test_a_sensor_that_cannot_be_is_refused(refused, short_profile, command, text, sentence):
    assert refused(command, short_profile, "--sensor", text).startswith(sentence)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--plant", "cloud"], "--plant cloud is not known: give one of lumped, grid"),
        (["--plant", "lumped", "--map", "m.svg"], "--map needs the board in two dimensions: add"),
        (["--heater", "h.toml", "--map", "m.svg"], "--heater knows the board as a whole and no"),
        (["--heater", "h.toml", "--plant", "grid"], "--heater knows the board as a whole and no"),
        (["--heater", "none.toml"], "none.toml cannot be read ("),
        (["--heater", "short.toml"], "short.toml: format is None and this program reads 1"),
        (["--map", "no/where.svg"], "no"),
        (["--map", "."], ". cannot be written (it is a folder): name a file with --map"),
        (["--heater", "h.toml", "--fault", "boom@1s"], "Fault 'boom' is not known"),
    ],
)
def test_what_cannot_be_is_refused(refused, short_profile, heater_file, words, sentence):
    assert refused("rehearse", short_profile, *words).startswith(sentence)
