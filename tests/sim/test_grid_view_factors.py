"""View factors of cells and emitters that lie anywhere, against published tables and their laws."""

import numpy as np
import pytest

from emberbed_sim.plant.view_factors import cell_view_factors, coaxial_view_factor

UNIT = (0.0, 1.0, 0.0, 1.0)


def one_cell(face: tuple[float, ...], cell: tuple[float, ...], gap: float = 1.0) -> float:
    return float(cell_view_factors(face, cell[:2], cell[2:], gap)[0, 0])


# Howell's catalogue C-11 / Incropera table 13.2, aligned equal rectangles, sides over gap
@pytest.mark.parametrize(
    ("length", "width", "factor"),
    [
        (0.1, 0.1, 0.003162),
        (0.4, 1.0, 0.095539),
        (1, 1, 0.199825),
        (1, 2, 0.285875),
        (2, 4, 0.508989),
        (5, 5, 0.690245),
        (10, 10, 0.826995),
        (100, 100, 0.980417),
    ],
)
def test_one_cell_over_an_equal_emitter(length: float, width: float, factor: float) -> None:
    face = (0.0, length, 0.0, width)
    assert one_cell(face, face) == pytest.approx(factor, abs=2e-6)


def test_cells_beside_the_emitter_follow_from_the_tables() -> None:
    # View-factor algebra (Incropera 13.1) on the same table: 2 F(2x1) = 2 F(1x1) + 2 F(beside),
    # 4 F(2x2) = 4 F(1x1) + 8 F(beside) + 4 F(across the corner)
    beside = 0.285875 - 0.199825
    corner = 0.415253 - 0.199825 - 2 * beside
    assert one_cell(UNIT, (1.0, 2.0, 0.0, 1.0)) == pytest.approx(beside, abs=2e-6)
    assert one_cell(UNIT, (0.0, 1.0, -1.0, 0.0)) == pytest.approx(beside, abs=2e-6)
    assert one_cell(UNIT, (1.0, 2.0, 1.0, 2.0)) == pytest.approx(corner, abs=2e-6)


def test_the_unit_cube_closes() -> None:
    # 1.000001 from the tables' digits: the far wall, and four side walls of 0.200044 each
    # (Howell C-14 / Incropera table 13.2, perpendicular squares with a common edge)
    assert one_cell(UNIT, UNIT) + 4 * 0.200044 == pytest.approx(1.0, abs=2e-6)


def test_the_cells_of_an_endless_plane_see_everything() -> None:
    # closure of an enclosure: theory
    lines = [-1e5, -3.0, -0.5, 0.0, 0.2, 4.0, 1e5]
    seen = cell_view_factors((-1.0, 2.0, 0.0, 1.5), lines, lines, 0.7)
    assert seen.min() > 0
    assert seen.sum() == pytest.approx(1.0, abs=1e-4)


def test_cells_add_up_to_their_board() -> None:
    # additivity: theory; the sum is the closed form of the whole rectangle
    cells = cell_view_factors(
        (-110.0, 110.0, -75.0, 75.0), np.linspace(-90, 90, 25), np.linspace(-60, 60, 13), 40.0
    )
    assert cells.shape == (12, 24)
    assert cells.sum() == pytest.approx(coaxial_view_factor((220, 150), (180, 120), 40), rel=1e-12)
    assert cells == pytest.approx(cells[::-1, ::-1], rel=1e-9)  # centred: symmetric


def test_each_cell_is_where_it_belongs() -> None:
    # rows run along y, columns along x: every cell alone gives the same
    face, x_lines, y_lines = (-1.0, 0.5, 0.0, 2.0), [-2.0, 0.0, 1.0, 1.5], [0.5, 1.0, 3.0]
    cells = cell_view_factors(face, x_lines, y_lines, 0.9)
    for row in range(2):
        for column in range(3):
            alone = (*x_lines[column : column + 2], *y_lines[row : row + 2])
            assert cells[row, column] == pytest.approx(one_cell(face, alone, 0.9), rel=1e-12)


def test_rectangles_anywhere_are_reciprocal() -> None:
    # A1 F12 = A2 F21: theory
    one, other = (0.0, 3.0, 0.0, 1.0), (2.0, 7.0, -4.0, 0.5)
    there, back = 3.0 * one_cell(one, other, 0.8), 22.5 * one_cell(other, one, 0.8)
    assert there == pytest.approx(back, rel=1e-10)


def test_rays_find_the_same_share() -> None:
    # Monte Carlo: diffuse rays from an emitter that lies beside most of the cell
    random = np.random.default_rng(4)
    count = 400_000
    x, y = random.uniform(0, 2, count), random.uniform(0, 1, count)
    sine2, angle = random.uniform(size=count), random.uniform(0, 2 * np.pi, count)
    reach = 0.6 * np.sqrt(sine2 / (1 - sine2))  # Lambert's law: sin^2 is uniform
    x, y = x + reach * np.cos(angle), y + reach * np.sin(angle)
    hit = ((x > 1.5) & (x < 4.0) & (y > 0.5) & (y < 2.0)).mean()
    exact = one_cell((0.0, 2.0, 0.0, 1.0), (1.5, 4.0, 0.5, 2.0), 0.6)
    assert hit == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / count))
