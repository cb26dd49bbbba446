"""Many lumped benches as tables of coefficients: [number][plant], all taken from the plant.

The benches' sensors have to sit at the same places. Benches are as wide apart as one likes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp

import numpy as np

from emberbed_sim.plant import couplings
from emberbed_sim.plant.parameters import ZERO_C_K, BenchParameters
from emberbed_sim.plant.thermal import LUMP_OF_PLACE, LUMPS


@dataclass(frozen=True)
class Benches:
    """Coefficients as the plant and its beads have them; `full_w` at the mains as it is."""

    flows: np.ndarray  # [couplings.Flows, plant]
    capacities_j_k: np.ndarray  # [lump, plant]
    fan_w_k: np.ndarray  # [3, plant]
    full_w: np.ndarray  # [plant]
    room_c: np.ndarray  # [plant]
    places: tuple[int, ...]  # bead: number of the lump it sits on
    lag_s: np.ndarray  # [bead, plant]
    contact: np.ndarray
    stray_ir: np.ndarray

    @property
    def count(self) -> int:
        return len(self.full_w)

    def bead_steps(self, step_s: float) -> tuple[np.ndarray, np.ndarray]:
        """Return what a bead keeps, and follows of a ramp, in a step; as Thermocouple has it."""
        steps = step_s / self.lag_s
        keeps = np.vectorize(exp)(-steps)
        return keeps, 1 - (1 - keeps) / steps


def benches_of(benches: Sequence[BenchParameters]) -> Benches:
    """Return the tables of these benches. Raises ValueError where sensors sit elsewhere."""
    first = [placed.where for placed in benches[0].sensors]
    if any([placed.where for placed in one.sensors] != first for one in benches):
        raise ValueError("The benches of a batch differ in where their sensors sit.")
    lumps = [couplings.lumps_of(one) for one in benches]

    def beads(name: str) -> np.ndarray:
        rows = [[getattr(placed, name) for placed in one.sensors] for one in benches]
        return np.array(rows, dtype=float).T

    return Benches(
        flows=np.array([one.flows for one in lumps]).T,
        capacities_j_k=np.array([one.capacities_j_k for one in lumps]).T,
        fan_w_k=np.array([couplings.fan_w_k(one) for one in benches]).T,
        full_w=np.array([one.emitter.watts * one.mains.power_factor for one in benches]),
        room_c=np.array([one.flows.room_k - ZERO_C_K for one in lumps]),
        places=tuple(LUMPS.index(LUMP_OF_PLACE[where]) for where in first),
        lag_s=beads("lag_s"),
        contact=beads("contact"),
        stray_ir=beads("stray_ir"),
    )
