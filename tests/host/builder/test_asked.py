"""A board as it is told on the command line, and every way to tell it wrong."""

import pytest

from emberbed.builder.asked import BadBoard, board_asked
from emberbed.builder.circuits import CIRCUITS, Supply
from emberbed.builder.classes import CLASSES, mass_class

USUAL = {
    "size": "180,120", "thickness_mm": 1.6, "layers": 4, "copper_percent": 50.0, "chip_mm": 27.0,
    "shields": ["40,30,55,25"], "mass_g": None, "crowded": "usual",
}  # fmt: skip


def test_a_right_board():
    board = board_asked(**USUAL)
    assert (board.length_mm, board.width_mm, board.shields[0].x_mm) == (180, 120, 55)
    assert board.area_m2 == pytest.approx(0.0216)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"size": "180"}, '--size "180" is not LENGTH,WIDTH'),
        ({"size": "180,x"}, '--size "180,x" is not LENGTH,WIDTH'),
        ({"size": "180,nan"}, "--size nan is outside 20 to 400 mm"),
        ({"size": "180,10"}, "--size 10 is outside"),
        ({"thickness_mm": 0.1}, "--thickness 0.1 is outside"),
        ({"layers": 0}, "--layers 0 is outside 1 to 40"),
        ({"copper_percent": 101}, "--copper 101 is outside 0 to 100"),
        ({"chip_mm": 61}, "--chip 61 is more than half"),
        ({"chip_mm": 2}, "--chip 2 is outside"),
        ({"shields": ["40,30"]}, '--shield "40,30" is not LENGTH,WIDTH,X,Y'),
        ({"shields": ["40,30,85,0"]}, "reaches over the board's rim"),
        ({"mass_g": 0.5}, "--mass 0.5 is outside"),
        ({"crowded": "full"}, '--parts "full" is none of sparse, usual, dense'),
    ],
)
def test_a_wrong_one_is_told_by_its_option(change, said):
    with pytest.raises(BadBoard) as bad:
        board_asked(**USUAL | change)
    assert said in str(bad.value)


@pytest.mark.parametrize(
    ("amps", "watts"),
    # 13 A x 230 V = 2990 W (homeuse.co.uk fuse ratings); 80 % of 15 A x 120 V = 1440 W (NEC 210.20
    # as quoted); 10 and 16 A at 230 V: 2300 and 3680 W, from memory
    [(10, 2300), (13, 2990), (15, 1440), (16, 3680)],
)
def test_what_a_circuit_gives_for_hours(amps, watts):
    found = CIRCUITS[amps]
    assert found.watts(found.volts) == pytest.approx(watts)


def test_a_tool_on_the_same_circuit_takes_its_watts_first():
    supply = Supply(CIRCUITS[15], 120, 700, 1000)
    assert supply.left_w == pytest.approx(740)
    assert "740 W are left of the heater's 1000 W" in supply.sentence()
    assert Supply(CIRCUITS[15], 120, 2000, 1000).left_w == 0
    assert Supply(CIRCUITS[16], 230, 0, 1000).left_w == 1000


def test_heavier_classes_ramp_more_slowly():
    assert [one.ramp_c_per_s for one in CLASSES] == sorted(
        (one.ramp_c_per_s for one in CLASSES), reverse=True
    )
    assert mass_class(3300).name == "light" and mass_class(1e6).name == "very heavy"
