"""A heater in two zones in `check`, `rehearse` and `run`: chosen like any other, told like any."""

import json

import pytest

from tests.host.cli.refusals import refused
from tests.host.heater.heater_texts import heater_text
from tests.host.heater.test_zone_table import TEXT

TWO = ("--plant", "two-zones")


@pytest.fixture
def zones_file(tmp_path):
    path = tmp_path / "zones.toml"
    path.write_text(heater_text() + TEXT, encoding="utf-8")
    return str(path)


def zone_notes(said):
    findings = [one for one in json.loads(said.out) if "zone" in one["sentence"]]
    return [(one["severity"], one["sentence"]) for one in findings]


def test_check_knows_the_zones_of_the_file(emberbed, zones_file):
    said = emberbed("check", "label-printer", *TWO, "--heater", zones_file, "--json")
    budget, steered = zone_notes(said)
    assert budget[0] == "note" and "the socket gives 2300 W" in budget[1]
    assert "zone 1 follows edge with 124%" in steered[1]


@pytest.mark.parametrize(
    ("circuit", "gives_w"),
    [(("10",), 2300), (("13",), 2990), (("16",), 3680), (("15",), 1440), (("10", "95"), 950)],
)
def test_check_holds_the_zones_against_a_circuit(emberbed, circuit, gives_w):
    """Amperes times volts, 80 % of 15 A at 120 V (NEC 210.20 as quoted): 1440 W."""
    options = [
        word for pair in zip(("--circuit", "--mains"), circuit, strict=False) for word in pair
    ]
    budget, _steered = zone_notes(emberbed("check", "label-printer", *TWO, *options, "--json"))
    assert f"{gives_w} W" in budget[1]
    assert budget[0] == ("warning" if gives_w < 1000 else "note")


def test_a_heater_of_one_zone_is_told_nothing_of_zones(emberbed):
    assert zone_notes(emberbed("check", "label-printer", "--circuit", "10", "--json")) == []


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--circuit", "14"), "--circuit 14 is none of 10, 13, 15, 16 A"),
        (("--circuit", "10", "--mains", "60"), "--mains 60 is outside 90 to 260 V"),
        (("--mains", "230"), "add --circuit"),
        (("--plant", "three"), "--plant three is not known"),
        (("--heater", "none.toml"), "none.toml cannot be read"),
    ],
)
def test_bad_options_of_check(emberbed, options, said):
    assert said in refused(emberbed("check", "label-printer", *options))


def test_bad_plants_of_a_run(emberbed):
    assert "--plant three is not known" in refused(
        emberbed("run", "label-printer", "--plant", "three")
    )
    elsewhere = emberbed("run", "label-printer", "--device", "COM99", *TWO)
    assert "--plant only works on the virtual device" in refused(elsewhere)


def test_a_rehearsal_in_two_zones_by_the_file(emberbed, zones_file, tmp_path):
    words = ("rehearse", "label-printer", *TWO, "--json")
    alike, evened = emberbed(*words), emberbed(*words, "--heater", zones_file)
    assert alike.exit_code == evened.exit_code == 0

    def spread_c(said):
        cells_c = [one for row in json.loads(said.out)["map"]["top_c"] for one in row]
        return max(cells_c) - min(cells_c)

    assert spread_c(evened) < 0.6 * spread_c(alike)
