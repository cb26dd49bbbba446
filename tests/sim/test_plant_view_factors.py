"""View factors against the published tables of radiation textbooks."""

import pytest

from emberbed_sim.plant.view_factors import coaxial_view_factor


# Howell's catalogue C-11 / Incropera table 13.2, aligned equal rectangles (length, width over gap).
@pytest.mark.parametrize(
    ("length", "width", "factor"),
    [
        (0.1, 0.1, 0.003162),
        (0.5, 0.5, 0.068590),
        (0.4, 1.0, 0.095539),
        (1, 1, 0.199825),
        (1, 2, 0.285875),
        (2, 2, 0.415253),
        (2, 4, 0.508989),
        (4, 4, 0.632036),
        (10, 10, 0.826995),
        (100, 100, 0.980417),
    ],
)
def test_equal_rectangles(length: float, width: float, factor: float) -> None:
    found = coaxial_view_factor((length, width), (length, width), 1.0)
    assert found == pytest.approx(factor, abs=2e-6)


def test_unequal_rectangles_are_reciprocal() -> None:
    # reciprocity, A1 F12 = A2 F21: theory
    small, large = (3.0, 2.0), (5.0, 4.0)
    there = 6.0 * coaxial_view_factor(small, large, 1.5)
    back = 20.0 * coaxial_view_factor(large, small, 1.5)
    assert there == pytest.approx(back, rel=1e-9)
    assert coaxial_view_factor(small, large, 1.5) > coaxial_view_factor(small, small, 1.5)


def test_a_patch_sees_a_wide_plane_only() -> None:
    assert coaxial_view_factor((1.0, 1.0), (2000.0, 2000.0), 1.0) == pytest.approx(1.0, abs=1e-4)
