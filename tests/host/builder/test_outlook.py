"""Boards on the simulated heater: heat against handbook correlations, trends that must hold."""

from xml.etree import ElementTree

import pytest
from ht import Nu_horizontal_plate_McAdams

from emberbed.builder.asked import BadBoard, board_asked
from emberbed.builder.circuits import CIRCUITS, Supply
from emberbed.profiles.energy import loss_w
from emberbed.profiles.model import Board
from emberbed.profiles.reader import parse_profile
from emberbed.rehearse_board import build, outlook
from emberbed.rehearse_board_lines import as_json, as_lines, feasible, picture_of, profile_lines
from emberbed.report.board_map import board_svg
from tests.host.profiles.profile_texts import GOOD

BANK = (220.0, 150.0)
SUPPLY = Supply(CIRCUITS[16], 230, 0, 1000)


def asked(**change):
    usual = {
        "size": "180,120", "thickness_mm": 1.6, "layers": 8, "copper_percent": 70.0,
        "chip_mm": 27.0, "shields": ["40,30,55,25"], "mass_g": 240.0, "crowded": "usual",
    }  # fmt: skip
    return board_asked(**usual | change)


@pytest.fixture(scope="module")
def usual():
    return outlook(build(asked(), 1000, BANK), 150, 1000)


def test_areal_mass_and_heat_of_the_stack_up():
    # composite rule over FR-4 (1850 kg/m3, 1100 J/kg K) and copper (8960, 385), computed:
    # bare 2.96 kg/m2 and 3256 J/m2K; 8 layers of 35 um at 70 %: 4.35 and 3533
    bare = build(asked(copper_percent=0.0), 1000, BANK).sheet
    full = build(asked(), 1000, BANK).sheet
    assert (bare.areal_mass_kg_m2, bare.areal_heat_j_m2_k) == pytest.approx((2.96, 3256), rel=0.002)
    assert (full.areal_mass_kg_m2, full.areal_heat_j_m2_k) == pytest.approx((4.35, 3533), rel=0.002)


def test_about_4_2_kw_per_m2_hold_150_degrees():
    """Both faces, 150 °C in 25 °C: radiation at 0.91 (wenglor TIF352 p.28), McAdams by `ht`."""
    kelvin, room = 423.15, 298.15
    radiated = 2 * 0.91 * 5.670374419e-8 * (kelvin**4 - room**4)
    # dry air at 361 K: textbook tables, from memory
    conductivity, viscosity, prandtl = 0.0306, 2.18e-5, 0.70
    length = 0.2 / 4  # area over perimeter of a square of 0.2 m
    grashof = 9.80665 * (kelvin - room) / 361 * length**3 / viscosity**2
    films = [
        Nu_horizontal_plate_McAdams(prandtl, grashof, buoyancy=up) * conductivity / length
        for up in (True, False)
    ]
    whole = radiated + sum(films) * (kelvin - room)
    board = Board(mass_g=100, length_mm=200, width_mm=200)
    assert loss_w(board, 150) / 0.04 == pytest.approx(4200)
    assert whole == pytest.approx(4200, rel=0.05)


def test_holding_takes_more_than_the_board_gives_off(usual):
    """A bank beyond the board's edge heats the housing too, more than its face keeps off."""
    lost_w = loss_w(Board(mass_g=240, length_mm=180, width_mm=120), 150)
    assert usual.reached and usual.control_c == pytest.approx(150, abs=1.5)
    assert 1.5 * lost_w < usual.hold_w < 6 * lost_w


def test_the_edge_is_colder_and_shields_and_chip_lag(usual):
    assert usual.coldest[2] < usual.control_c - 3
    x, y, _c = usual.open_coldest
    assert abs(x) > 60 and abs(y) > 30  # a corner
    assert usual.shields_c[0] < usual.control_c and usual.chip_c < usual.control_c
    assert usual.spread_c == pytest.approx(usual.hottest[2] - usual.coldest[2])


def test_no_bead_is_sent_under_a_part(usual):
    for role, spot in [(one["role"], one) for one in as_json(usual, SUPPLY)["thermocouples"]]:
        under = abs(spot["x_mm"] - 55) < 18 and abs(spot["y_mm"] - 25) < 13
        assert role == "neighbour" or not under


def test_copper_evens_a_board(usual):
    bare = outlook(build(asked(copper_percent=5.0, layers=2), 1000, BANK), 150, 1000)
    assert bare.spread_c > 1.3 * usual.spread_c


def test_too_little_power_is_told():
    weak = outlook(build(asked(), 1000, BANK), 150, 120)
    assert not weak.reached and not feasible(weak)
    assert any(
        line.startswith("Not feasible: 120 W bring the board to") for line in as_lines(weak, SUPPLY)
    )
    assert as_json(weak, SUPPLY)["feasible"] is False


def test_a_larger_board_needs_more(usual):
    large = outlook(build(asked(size="260,180", mass_g=520.0), 1000, (300, 220)), 150, 1500)
    assert large.hold_w > 1.2 * usual.hold_w


def test_an_unweighed_board_is_estimated_and_said_so():
    built = build(asked(mass_g=None), 1000, BANK)
    # 4.35 kg/m2 of laminate and copper, 6 kg/m2 of parts (our estimate), chip and shield
    assert built.mass_g == pytest.approx((4.35 + 6) * 21.6 + 5.2 + 3.0, rel=0.02)
    assert not built.weighed
    sparse = build(asked(mass_g=None, crowded="sparse"), 1000, BANK)
    assert sparse.mass_g < built.mass_g


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"mass_g": 50.0}, "--mass 50 is less than the"),
        ({"layers": 40, "copper_percent": 100.0, "thickness_mm": 1.0}, "fill the 1 mm"),
        ({"shields": ["40,30,10,10"]}, "overlap"),
    ],
)
def test_a_board_that_cannot_be(change, said):
    with pytest.raises(BadBoard, match=said):
        build(asked(**change), 1000, BANK)


def test_its_keys_fit_into_a_profile(usual):
    board, chip = profile_lines(usual.built)
    old = "board = { mass_g = 240, length_mm = 180, width_mm = 120 }"
    text = GOOD.replace(old, f"{board.strip()}\n{chip.strip().replace('...', '2.2')}")
    model = parse_profile(text.encode(), "p").model
    assert model.board and model.board.mass_g == 240 and model.chip and model.chip.length_mm == 27


def test_the_map_is_drawn(usual):
    drawn = board_svg(picture_of(usual))
    ElementTree.fromstring(drawn)
    for word in ("chip", "shield 1", "control", "hottest", "coldest"):
        assert word in drawn
