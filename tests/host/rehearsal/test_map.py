"""The map of a rehearsed board: the right moment, true spots, a picture with its words."""

import json
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from emberbed import rehearse_asked, rehearse_map
from emberbed.bench.prepare import NotReady
from emberbed.rehearse_asked import Asked
from emberbed.report.board_map import BoardPicture, Outline, Spot, board_svg
from emberbed.report.spot_labels import _common, _outside
from emberbed_fw import run_states as rs

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def given():
    return rehearse_asked.answer(Asked("label-printer", wants_map=True))


@pytest.fixture(scope="module")
def board(given):
    assert given.board_map is not None
    return given.board_map


def texts(svg):
    root = ElementTree.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    return ["".join(text.itertext()) for text in root.iter(f"{SVG}text")]


def test_it_is_the_end_of_the_last_hold(given, board):
    records = given.rehearsal.records
    at = round(board.seconds * 10) - 1
    assert records[at].stage == 6  # the seventh stage is the last hold of the profile
    assert records[at].state in rs.HEATING_STATES
    assert records[at + 1].stage == 7
    assert board.control_reads_c == records[at].channel_cdeg(0) / 100
    assert board.moment == "end of the last hold"


def test_spots_are_the_extremes_of_the_map(board):
    values = board.picture.values
    assert values.shape == (12, 24)
    assert board.hottest[2] == values.max() and board.coldest[2] == values.min()
    for x_mm, y_mm, celsius in (board.hottest, board.coldest):
        column = np.searchsorted(board.picture.x_lines_mm, x_mm) - 1
        row = np.searchsorted(board.picture.y_lines_mm, y_mm) - 1
        assert values[row, column] == celsius


def test_an_even_emitter_under_the_middle_leaves_the_corners_coldest(board):
    # view factors fall towards the rim, and a rim loses more (facts: natural convection of plates)
    assert abs(board.hottest[0]) < 20 and abs(board.hottest[1]) < 20
    assert abs(board.coldest[0]) > 80 and abs(board.coldest[1]) > 50
    # the control sensor sits in between, within the tolerance of a class 2 couple (IEC 60584)
    assert board.coldest[2] < board.control_reads_c < board.hottest[2] + 2.5
    assert board.chip_c < board.hottest[2]


def test_its_lines_say_what_the_spots_see(board):
    lines = rehearse_map.as_lines(board)
    over = board.hottest[2] - board.control_reads_c
    assert lines[0].startswith("At the end of the last hold, ")
    assert f"hottest spot: {board.hottest[2]:.1f} °C ({over:+.1f})" in lines[1]
    assert "coldest spot" in lines[2] and "from the middle" in lines[2]


def test_its_json_is_the_map(given, board):
    answer = json.loads(json.dumps(rehearse_asked.as_json(given)))
    assert np.array(answer["map"]["top_c"]) == pytest.approx(board.picture.values, abs=0.006)
    assert answer["map"]["coldest"]["temperature_c"] == pytest.approx(board.coldest[2], abs=0.006)
    assert answer["state"] == "finished"


def test_its_picture_names_everything(given, board):
    said = texts(rehearse_asked.map_of(given))
    for label in (
        "chip",
        f"hottest {board.hottest[2]:.1f} °C",
        f"coldest {board.coldest[2]:.1f} °C",
        f"top_near_chip {board.control_reads_c:.1f} °C",
        "x, mm",
    ):
        assert label in said, label
    assert any(label.startswith("edge ") for label in said)


def test_a_run_that_trips_early_shows_what_it_reached():
    given = rehearse_asked.answer(Asked("label-printer", faults=["tc_open@100s"], wants_map=True))
    assert given.rehearsal.state == "tripped"
    assert given.board_map.moment == "end of heating"
    # the state at the trip, not after the cooling: 96 s of the ramp
    assert given.board_map.seconds == pytest.approx(100, abs=2)
    assert given.board_map.hottest[2] > 28


def test_a_run_that_never_heats_has_no_map():
    with pytest.raises(NotReady, match="Nothing is heated in this rehearsal"):
        rehearse_asked.answer(Asked("label-printer", faults=["tc_open@0s"], wants_map=True))


def test_a_grid_without_a_map_still_tells_its_spots():
    given = rehearse_asked.answer(Asked("weather-logger", faults=["tc_open@200s"], plant="grid"))
    assert any("hottest spot" in line for line in rehearse_asked.as_lines(given))


def picture(**changes):
    lines = np.linspace(0, 100, 11)
    parts = {
        "x_lines_mm": lines,
        "y_lines_mm": lines[:6],
        "values": np.arange(50.0).reshape(5, 10),
        "outlines": [Outline("zone 0", (5, 95, 5, 45), strong=True)],
        "spots": [],
        "hottest": None,
        "coldest": None,
        "title": "A <b>board</b> & more",
    }
    return BoardPicture(**parts | changes)


def test_a_picture_survives_any_name():
    spots = [Spot("<script>\x1b[2J & $x^2$", 50, 25), Spot("", 0, 0), Spot("x" * 300, 100, 50)]
    said = texts(board_svg(picture(spots=spots)))
    assert "<script>[2J & $x^2$" in said
    assert all(len(label) < 121 for label in said)
    assert "zone 0" in said


def test_labels_of_neighbours_do_not_cover_each_other():
    spots = [Spot("first of two", 50, 25), Spot("second of two", 54, 25)]
    root = ElementTree.fromstring(board_svg(picture(spots=spots)))
    places = {}
    for text in root.iter(f"{SVG}text"):
        label = "".join(text.itertext())
        if label.endswith("of two"):
            translate = text.get("transform", "").split("(")[1].split(")")[0]
            places[label] = [float(number) for number in translate.split()[:2]]
    (x, y), (other_x, other_y) = places.values()
    assert abs(x - other_x) > 55 or abs(y - other_y) > 9


def test_overlap_of_boxes():
    assert _common((0, 2, 0, 2), (1, 3, 1, 3)) == 1
    assert _common((0, 2, 0, 2), (2, 3, 0, 2)) == 0
    assert _outside((-1, 1, 0, 2), (0, 5, 0, 5)) == 2
