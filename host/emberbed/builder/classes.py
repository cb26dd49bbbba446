"""The mass class of a board: how much heat a square metre of it takes up for a degree.

Bounds are our choice, no source: a bare two-layer board takes about 3300 J/m2K (computed from
FR-4 and copper), a usual crowded one two or three times that.
"""

from typing import NamedTuple


class MassClass(NamedTuple):
    """Boards below `below_j_m2_k`; `ramp_c_per_s` is what suits them from below."""

    name: str
    below_j_m2_k: float
    ramp_c_per_s: float


CLASSES = (
    MassClass("light", 5000.0, 0.6),
    MassClass("usual", 9000.0, 0.4),
    MassClass("heavy", 14000.0, 0.3),
    MassClass("very heavy", float("inf"), 0.2),
)


def mass_class(areal_heat_j_m2_k: float) -> MassClass:
    """Return the class of a board."""
    return next(one for one in CLASSES if areal_heat_j_m2_k < one.below_j_m2_k)
