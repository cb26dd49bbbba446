"""What a survey finds on plants whose emitters are known."""

import numpy as np
import pytest

from emberbed.survey import report
from emberbed.survey.asked import Asked, find
from emberbed.survey.surface import surface_of
from emberbed.survey.trims import find_trims
from tests.host.survey.conftest import (
    BOARD_MM,
    MIDDLES_MM,
    STRENGTHS,
    X_MM,
    Y_MM,
    ZONES,
    held,
    quadrants,
    survey_of,
)


@pytest.mark.parametrize("weak", range(4))
def test_it_points_at_the_weak_corner(surveys, weak):
    place = surface_of(surveys[1 + weak]).weakest()
    assert place is not None
    x_mm, y_mm = MIDDLES_MM[weak]
    assert (np.sign(place.x_mm), np.sign(place.y_mm)) == (np.sign(x_mm), np.sign(y_mm))
    assert place.celsius < -4


@pytest.mark.parametrize(
    ("weak", "place_mm"),
    [((0, 2), (-70, 0)), ((1, 3), (70, 0)), ((0, 1), (0, -45)), ((2, 3), (0, 45))],
)
def test_a_weak_side_is_called_a_side(surveys, weak, place_mm):
    # two weak quarters: the sum of what each alone does, as far as the field is linear
    even_c = surveys[0].board_c
    both_c = even_c + sum(surveys[1 + one].board_c - even_c for one in weak)
    place = surface_of(survey_of(both_c)).weakest()
    assert place is not None
    assert (place.x_mm, place.y_mm) == place_mm


def test_an_even_heater_is_called_even(surveys):
    assert surface_of(surveys[0]).weakest() is None
    found = find(surveys[0], Asked(40.0, [], 40.0, None))
    assert (found.chip.x_mm, found.chip.y_mm) == pytest.approx((0, 0), abs=1)
    assert any(line.startswith("Even:") for line in report.as_lines(found))


@pytest.mark.parametrize("weak", range(4))
def test_each_zones_output_is_found(surveys, weak):
    # the plate is not the plant: no two faces, no chip, no rim, three guesses of the copper
    trims = find_trims(surveys[1 + weak], ZONES, 40.0, BOARD_MM)
    true = np.array(STRENGTHS[1 + weak])
    assert [one.output for one in trims.zones] == pytest.approx(true / true.mean(), abs=0.03)
    assert trims.rms_c < 1
    low, high = trims.zones[weak].output_range
    assert low <= 0.8 / 0.95 <= high
    assert int(np.argmax([one.trim for one in trims.zones])) == weak


def test_a_board_of_little_copper_gives_the_same_answer():
    row = held([quadrants((1.0, 0.7, 1.0, 1.0), mass_g=90.0)], 260.0)[0]
    trims = find_trims(survey_of(row), ZONES, 40.0, BOARD_MM)
    assert trims.zones[1].output == pytest.approx(0.7 / 0.925, abs=0.06)
    assert min(one.output for one in trims.zones[2:]) > 0.98


def test_the_trims_even_the_board(surveys):
    # four zones on the plant itself, powered as the survey of the weak one says
    weak = STRENGTHS[4]
    trims = find_trims(surveys[4], ZONES, 40.0, BOARD_MM)
    zone_w = np.array([330.0 / 4 * one.trim for one in trims.zones])
    trimmed_c = held([quadrants(weak, (0, 1, 2, 3))], zone_w[None, :])[0]
    even_c = surveys[0].board_c
    assert np.ptp(surveys[4].board_c) > 1.8 * np.ptp(even_c)
    assert np.ptp(trimmed_c) < 1.2 * np.ptp(even_c)
    assert np.ptp(trimmed_c) == pytest.approx(trims.trimmed_spread_c, abs=1.5)
    assert trimmed_c.mean() == pytest.approx(surveys[4].board_c.mean(), abs=4)
    assert surface_of(survey_of(trimmed_c)).weakest() is None


def test_a_chip_is_put_where_the_board_is_flattest():
    # a dome is flattest at its top, which is known here
    found = surface_of(survey_of(150 - 0.004 * (X_MM - 20) ** 2 - 0.006 * (Y_MM + 10) ** 2))
    place = found.chip_place(30.0)
    assert (place.x_mm, place.y_mm) == pytest.approx((20, -10), abs=1)
    # a corner of the square: 15 mm away along both
    assert place.spread_c == pytest.approx(0.004 * 15**2 + 0.006 * 15**2, rel=0.05)


def test_the_chips_neighbourhood_stays_between_the_positions():
    found = surface_of(survey_of(150 - 0.004 * (X_MM - 90) ** 2 - 0.006 * (Y_MM - 90) ** 2))
    place = found.chip_place(40.0)
    assert (place.x_mm, place.y_mm) == (50, 25)


def test_a_chip_sits_away_from_a_weak_corner(surveys):
    place = surface_of(surveys[4]).chip_place(40.0)
    assert place.x_mm < 0 and place.y_mm < 0
    assert place.spread_c < 2


@pytest.mark.parametrize("at", range(9))
def test_a_couple_that_was_not_pressed_down_is_noticed(surveys, at):
    assert surface_of(surveys[0]).rough() is None
    board_c = surveys[0].board_c.copy()
    board_c[at] -= 12.0
    place = surface_of(survey_of(board_c)).rough()
    assert place is not None
    assert (place.x_mm, place.y_mm) == (X_MM[at], Y_MM[at])
    assert place.celsius == pytest.approx(-12, abs=1.5)


def test_noise_of_a_couple_is_no_weak_corner(surveys):
    # 0.5 °C rms: twice a converter's step
    chance = np.random.default_rng(1)
    for _ in range(50):
        noisy = surface_of(survey_of(surveys[0].board_c + chance.normal(0, 0.5, 9)))
        assert noisy.weakest() is None and noisy.rough() is None


def test_a_drifting_control_sensor_is_taken_out(tmp_path, surveys):
    from emberbed.survey.positions import read_survey

    drift_c = np.linspace(-1.2, 1.2, 9)
    rows = [
        f"{x:g},{y:g},{celsius + by:.3f},{150 + by:.3f}"
        for x, y, celsius, by in zip(X_MM, Y_MM, surveys[2].board_c, drift_c, strict=True)
    ]
    (tmp_path / "s.csv").write_text("x_mm,y_mm,temperature_c,control_c\n" + "\n".join(rows))
    read = read_survey(tmp_path / "s.csv")
    assert read.control_c == pytest.approx(150)
    assert read.board_c == pytest.approx(surveys[2].board_c, abs=2e-3)
