"""The guides: the tutorial's commands run and say what it shows, recipes and figures are right."""

import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

import emberbed.device_file
from emberbed.device_file.reader import read_device_file
from emberbed.profiles.check import check_profile
from emberbed.profiles.reader import parse_profile
from emberbed_fw import trip_codes
from tests.docs import generated_guides as guides
from tests.docs.make_diagrams import DIAGRAMS, PICTURES
from tests.support.command import environment, finish

DOCS = PICTURES.parent
FENCED = re.compile(r"```(\w+)\n(.*?)```", re.DOTALL)
LONGEST_S = 240
MOST_CDEG = 26000
HEATER_W = 1000


def text_of(name):
    return (DOCS / name).read_text(encoding="utf-8")


def alike(text):
    """Return a text without its numbers: what noise and a quicker firmware may change."""
    return re.sub(r"\d+", "0", text)


def steps_of(name):
    """Yield (commands, lines that they show) in order, writing nothing down."""
    found = FENCED.findall(text_of(name))
    for number, (language, body) in enumerate(found):
        if language == "sh":
            after = found[number + 1] if number + 1 < len(found) else ("", "")
            yield body.splitlines(), after[1].splitlines() if after[0] == "text" else []


def test_every_command_of_the_tutorial_runs_and_says_what_it_shows(tmp_path):
    (profile,) = [body for language, body in FENCED.findall(text_of("tutorial.md"))
                  if language == "toml"]  # fmt: skip
    (tmp_path / "logger-display.toml").write_text(profile, encoding="utf-8")
    more = {"EMBERBED_STORE": str(tmp_path / "runs.sqlite"), "COLUMNS": "200"}
    ran = 0
    for commands, shown in steps_of("tutorial.md"):
        said = ""
        for command in commands:
            words = shlex.split(command, comments=True)
            assert words[0] == "emberbed"
            wanted = re.search(r"# ends with exit code (\d+)", command)
            done = subprocess.run(
                [sys.executable, "-m", "emberbed.cli", *words[1:]],
                cwd=tmp_path, env=environment(**more), capture_output=True, text=True,
                timeout=LONGEST_S, check=False,
            )  # fmt: skip
            assert done.returncode == int(wanted[1] if wanted else 0), (command, done.stderr)
            said += done.stdout + done.stderr
            ran += 1
        told = {alike(line).strip() for line in said.splitlines()}
        assert [line for line in shown if alike(line).strip() not in told] == [], commands
    assert ran >= 10
    assert (tmp_path / "curve.svg").is_file() and (tmp_path / "run.csv").is_file()


def recipes():
    for name in ("cookbook.md", "tutorial.md"):
        for language, body in FENCED.findall(text_of(name)):
            if language == "toml":
                yield pytest.param(body, id=re.findall(r'name = "([^"]+)', body)[0])


@pytest.mark.parametrize("recipe", list(recipes()))
def test_recipe_has_neither_error_nor_warning(recipe):
    parsed = parse_profile(recipe.encode(), "recipe.toml")
    names = list(parsed.model.sensors)
    found = check_profile(parsed, names, [MOST_CDEG] * len(names), HEATER_W)
    assert [one.sentence for one in found if one.severity != "note"] == []


@pytest.mark.parametrize("recipe", list(recipes()))
def test_recipe_runs_to_its_end_in_rehearsal(recipe, tmp_path):
    """The real firmware on the simulated heater; a third sensor lies at the board's edge."""
    path = tmp_path / "recipe.toml"
    path.write_text(recipe, encoding="utf-8")
    names = list(parse_profile(recipe.encode(), "recipe.toml").model.sensors)
    places = ["board_centre", *["board_edge"] * (len(names) - 1)]
    sensors = [f"--sensor={name}:{place}" for name, place in zip(names, places, strict=True)]
    done = finish("rehearse", path, "--json", *sensors)
    assert done.exit_code == 0, done.said
    assert json.loads(done.output)["state"] == "finished"


@pytest.mark.parametrize("file", sorted(guides.EXAMPLES.values()))
def test_every_description_of_the_pin_table_passes_its_check(file):
    path = Path(emberbed.device_file.__file__).with_name(file)
    read = read_device_file(path)
    assert path.stem in ("example", f"example-{read.board}")


def test_pin_table_has_one_name_per_channel_in_all_descriptions():
    names = {
        tuple(row["name"] for row in guides.example(chip)["channels"]) for chip in guides.EXAMPLES
    }
    assert len(names) == 1


@pytest.mark.parametrize("name", DIAGRAMS)
def test_diagram_is_what_its_script_draws(name):
    drawn = (PICTURES / name).read_text(encoding="utf-8")
    assert drawn == DIAGRAMS[name](), "run: python -m tests.docs.make_diagrams"


def test_figures_of_the_hardware_guide_follow_from_their_formulas():
    """Ohm's law and thermal resistance; 1.0 to 1.6 W/A from makers' sheets, the worst is used."""
    told = " ".join(text_of("hardware.md").split())
    room_k = 70 - 40
    for volts, amperes, watts, k_per_w in ((230, "4.3", "7", "4.3"), (120, "8.3", "13", "2.3")):
        current = HEATER_W / volts
        heat = round(current * 1.6)
        assert (f"{current:.1f}", str(heat), f"{room_k / heat:.1f}") == (amperes, watts, k_per_w)
        assert f"{volts} V" in told and f"{amperes} A and {watts} W" in told
        assert re.search(rf"{watts} W need [^,]*{re.escape(k_per_w)} K/W", told)
    assert f"= {(3.3 - 0.7) / 1:.1f} mA" in told


def test_every_trip_has_a_section_with_what_to_do():
    sections = text_of("trips.md").split("\n### ")[1:]
    assert len(sections) == len(trip_codes.TRIPS)
    for section, (code, name, _reaction) in zip(sections, trip_codes.TRIPS, strict=True):
        assert f"`{name}`, number {code}" in section
        assert "- **Do**: " in section and "- **After that**: " in section


@pytest.mark.parametrize("name", ["index", "hardware", "commissioning", "tutorial", "trips"])
def test_cautions_come_before_anything_else(name):
    first = text_of(f"{name}.md").split("\n## ")[0]
    assert re.search(r"^> ", first, re.MULTILINE)
    words = r"mains|burn|fume|thermal cut-out"
    assert len(set(re.findall(words, first.lower()))) >= 2


def test_numbers_in_a_row_are_shortened():
    assert guides.runs([5, 1, 2, 3, 9]) == "1 to 3, 5, 9"
