"""Courses of many lumped benches under a given power, from room temperature, nobody correcting.

`march` is the one entry: machine code where a C compiler is (double precision gives the plant's
own bits, single is for crowds), numpy where none is. No noise, no converters, no hot air.
"""

from dataclasses import dataclass

import numpy as np

from emberbed_sim.kernel import in_c, in_numpy
from emberbed_sim.kernel.benches import Benches
from emberbed_sim.kernel.build import NoCompiler
from emberbed_sim.plant.parameters import TICK_S

PRECISIONS = ("single", "double")


@dataclass(frozen=True)
class Courses:
    """What came of it, and which engine did it."""

    bead_c: np.ndarray  # [sample, bead, plant]
    lumps_k: np.ndarray  # [lump, plant] at the end
    sample_s: float
    engine: str


def march(
    benches: Benches,
    power: np.ndarray,
    fan: np.ndarray | None = None,
    step_s: float = TICK_S,
    every: int = 10,
    precision: str = "double",
    engine: str = "",
) -> Courses:
    """Move all benches on; `power` (0..1 of full) is [step] for all or [step, plant], `fan` [step].

    A sample is taken after `every` steps. `engine` is "c" or "numpy"; if not given, C where it can
    be built. Raises NoCompiler where "c" was asked for and cannot be.
    """
    if precision not in PRECISIONS:
        raise ValueError(f"Precision '{precision}' is not known; take {' or '.join(PRECISIONS)}.")
    if power.shape not in ((len(power),), (len(power), benches.count)):
        raise ValueError(f"Power of shape {power.shape} fits no {benches.count} benches.")
    fan = np.zeros(len(power)) if fan is None else fan
    if engine != "numpy":
        try:
            found = in_c.march(benches, power, fan, step_s, every, precision)
            return Courses(*found, step_s * every, f"C, {precision}")
        except NoCompiler:
            if engine == "c":
                raise
    found = in_numpy.march(benches, power, fan, step_s, every)
    return Courses(*found, step_s * every, "numpy")
