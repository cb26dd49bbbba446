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
