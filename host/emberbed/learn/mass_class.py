"""Boards by how much heat they take: a class, and the masses that such a board may have."""

from typing import NamedTuple

from emberbed.profiles.limits import BOARD_J_PER_KG_K

# Bare laminate takes most per kg, plastics, ceramics and metals least; the low figure is what the
# simulated boards' parts have (from memory), the high one is that of the energy estimate.
J_PER_KG_K = (700.0, BOARD_J_PER_KG_K.value)


class MassClass(NamedTuple):
    """Boards that take less than `below_j_per_k`."""

    name: str
    below_j_per_k: float


# our choice: a sensor daughter board, a main board, a power supply or server board
CLASSES = (
    MassClass("light", 130.0),
    MassClass("medium", 230.0),
    MassClass("heavy", float("inf")),
)


def mass_class_of(capacity_j_per_k: float) -> str:
    """Return the class's name."""
    return next(one.name for one in CLASSES if capacity_j_per_k < one.below_j_per_k)


def masses_g(capacity_j_per_k: float) -> tuple[float, float]:
    """Return the least and the most that a board of this heat capacity weighs."""
    low, high = (1000 * capacity_j_per_k / per_kg for per_kg in reversed(J_PER_KG_K))
    return low, high
