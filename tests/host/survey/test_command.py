"""`emberbed survey` in process: its words, its JSON, its picture, and what it refuses."""

import json
import xml.etree.ElementTree as ElementTree
from math import cos, pi, sin

import pytest

from tests.host.survey.conftest import X_MM, Y_MM, ZONES

HEAD = "x_mm,y_mm,temperature_c,control_c"
READ = ("survey", "--from", "s.csv")
ZONE_WORDS = [
    f"--zone={one.x_mm:g},{one.y_mm:g},{one.length_mm:g},{one.width_mm:g}" for one in ZONES
]


@pytest.fixture
def written(tmp_path, surveys):
    """Return a function that writes s.csv; the weak corner is at high x, high y."""

    def write(head=HEAD, change=None, keep=9, separator=","):
        rows = [
            [f"{x:g}", f"{y:g}", f"{celsius:.1f}", "150"]
            for x, y, celsius in zip(X_MM, Y_MM, surveys[4].board_c, strict=True)
        ]
        for row, column, text in change or []:
            rows[row][column] = text
        lines = [head, *(separator.join(row) for row in rows[:keep])]
        (tmp_path / "s.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")

    return write


def test_its_lines_name_the_weak_corner_and_the_mend(emberbed, written):
    written()
    said = emberbed(*READ, *ZONE_WORDS, "--board", "180,120")
    assert said.exit_code == 0 and said.err == ""
    assert "the corner at high x and high y (x 70, y 45)" in said.out
    assert "Zone 3: gives 0.8" in said.out
    assert "Put the chip at x -" in said.out
    assert "half a turn" in said.out


def test_without_zones_there_are_no_trims(emberbed, written):
    written("y_mm; x_mm; temperature_c; control_c", separator=";")
    answer = json.loads(emberbed(*READ, "--json").out)
    assert answer["zones"] is None
    assert len(answer["positions"]) == 9


def test_its_json_and_its_picture(emberbed, written, tmp_path):
    written()
    answer = json.loads(emberbed(*READ, *ZONE_WORDS, "--json", "--picture", "map.svg").out)
    assert (answer["weakest"]["x_mm"], answer["weakest"]["y_mm"]) == (70, 45)
    assert answer["zones"][3]["trim"] > 1.1 > answer["zones"][0]["trim"]
    assert answer["trimmed_spread_c"] < answer["spread_c"]
    assert answer["measure_again"] is None
    root = ElementTree.fromstring((tmp_path / "map.svg").read_text(encoding="utf-8"))
    said = ["".join(text.itertext()) for text in root.iter() if text.tag.endswith("}text")]
    assert "put the chip here" in said and "zone 3" in said
    positions = [f"{row['temperature_c']:.1f} °C" for row in answer["positions"]]
    assert set(positions) <= set(said)


def test_zones_that_do_not_fit_the_board_are_doubted(emberbed, written):
    written()
    wrong = [f"--zone={x},{y},30,30" for x, y in ((-70, 0), (-30, 0))]
    assert "check --zone, --gap and --board" in emberbed(*READ, *wrong).out


@pytest.mark.parametrize(
    ("write", "sentence"),
    [
        ({"head": "x,y,temperature_c,control_c"}, "s.csv:1: no column is called x_mm; the first"),
        ({"head": "x_mm,y_mm,control_c,control_c"}, "s.csv:1: no column is called temperature_c"),
        ({"keep": 8}, "s.csv: there are 8 positions and 9 are needed; measure three rows of three"),
        ({"keep": 0}, "s.csv: there are 0 positions and 9 are needed"),
        ({"change": [(4, 2, "hot")]}, 's.csv:6: "hot" is no number under temperature_c'),
        ({"change": [(4, 2, "nan")]}, "s.csv:6: temperature_c is nan"),
        ({"change": [(4, 2, "23")]}, "s.csv:6: temperature_c is 23 where the control sensor reads"),
        ({"change": [(4, 3, "155")]}, "s.csv: control_c goes from 150 to 155; wait until the hold"),
        ({"change": [(0, 3, "40")]}, "s.csv:2: control_c is 40, too cold to tell emitters apart"),
        ({"change": [(1, 0, "-70")]}, "s.csv: x -70, y -45 stands there twice; keep one of the"),
        ({"change": [(1, 0, "9000")]}, "s.csv:3: x 9000, y -45 is off every bench; write milli"),
        ({"change": [(n, 1, f"{n}") for n in range(9)]}, "s.csv: the positions lie on a line or"),
        (
            {
                "change": [
                    (n, axis, f"{60 * wave(2 * pi * n / 9):.3f}")
                    for n in range(9)
                    for axis, wave in ((0, cos), (1, sin))
                ]
            },
            "The positions lie on one curve and span no surface; measure three rows of three",
        ),
        ({"separator": ";"}, "s.csv:2: there are 1 fields under 4 column names"),
    ],
)
def test_what_cannot_be_surveyed_is_refused(refused, written, write, sentence):
    written(**write)
    assert refused(*READ).startswith(sentence)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--zone", "1,2,3"], "--zone 1,2,3 cannot be read: write X,Y,LENGTH,WIDTH in mm"),
        (["--zone", "a,b,c,d"], "--zone a,b,c,d cannot be read"),
        (["--zone", "0,0,0,50"], "--zone 0,0,0,50: length and width must be above 0 mm"),
        (["--zone", "0,0,9000,50"], "--zone 0,0,9000,50 is off every bench: write millimetres"),
        (["--zone", "0,0,90,50"], "--zone is given 1 times: give all 2 to 4 zones of the heater"),
        (["--zone", "0,0,90,50", "--zone", "500,0,90,50"], "--zone 500,0,90,50: zone 1 lies"),
        (["--board", "100,90"], "--board 100,90 is smaller than the positions reach (140 by 90"),
        (["--board", "wide"], "--board wide cannot be read: write LENGTH,WIDTH in mm"),
        (["--gap", "0"], "--gap 0 is out of range: give 1 to 1000 mm"),
        (["--gap", "nan"], "--gap nan is out of range"),
        (["--chip", "120"], "--chip 120 does not fit between the positions: give up to 90 mm"),
        (["--chip", "nan"], "--chip nan does not fit between the positions"),
        (["--picture", "no/map.svg"], "no"),
    ],
)  # fmt: skip
def test_options_that_cannot_be_are_refused(refused, written, words, sentence):
    written()
    assert refused(*READ, *words).startswith(sentence)


def test_a_file_that_is_none_is_refused(refused, tmp_path):
    assert refused(*READ).startswith("s.csv cannot be read (")
    (tmp_path / "s.csv").write_bytes(b"")
    assert refused(*READ).startswith("s.csv: the file is empty; the first line must name")
    (tmp_path / "s.csv").write_bytes(b"x_mm\xff")
    assert refused(*READ) == "s.csv:1: this is not UTF-8 text; save it as CSV"
