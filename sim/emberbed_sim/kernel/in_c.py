"""The lumped plant in C: tables in, tables out; LANES benches stand side by side in a block."""

import ctypes
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from emberbed_sim.kernel.benches import Benches
from emberbed_sim.kernel.build import EXACT, QUICK, library
from emberbed_sim.kernel.equations import flows_in_c
from emberbed_sim.plant.parameters import ZERO_C_K
from emberbed_sim.plant.thermal import LUMPS, SIGMA_W_M2_K4

LANES = {"single": 32, "double": 16}  # measured: more are no faster
REAL = {"single": np.float32, "double": np.float64}
FLOWS_PLACE = "@FLOWS@"


def march(
    benches: Benches,
    power: np.ndarray,
    fan: np.ndarray,
    step_s: float,
    every: int,
    precision: str,
) -> tuple[np.ndarray, np.ndarray]:
    """Return beads [sample, bead, plant] and lumps [lump, plant]; courses.march says the rest.

    Raises NoCompiler.
    """
    run, real, lanes = _built(precision), REAL[precision], LANES[precision]
    blocks = -(-benches.count // lanes)
    beads, plants = len(benches.places), blocks * lanes

    def blocked(table: np.ndarray) -> np.ndarray:
        """Return [..., plant] as [block, ..., lane], the last bench repeated to the end."""
        filled = np.take(table, np.minimum(np.arange(plants), benches.count - 1), axis=-1)
        parts = filled.reshape(*table.shape[:-1], blocks, lanes)
        return np.ascontiguousarray(np.moveaxis(parts, -2, 0), dtype=real)

    heat = benches.capacities_j_k
    heat = 1 / heat if precision == "single" else heat
    coefficients = blocked(
        np.concatenate((benches.flows, heat, benches.fan_w_k, benches.full_w[None]))
    )
    sigma = np.full_like(benches.contact, SIGMA_W_M2_K4 * 1e-3)
    of_bead = (
        *benches.bead_steps(step_s), benches.contact, 1 - benches.contact, benches.stray_ir, sigma
    )  # fmt: skip
    bead_table = blocked(np.stack(of_bead, axis=1))
    states = blocked(np.tile(benches.room_c + ZERO_C_K, (len(LUMPS), 1)))
    shown = blocked(np.tile(benches.room_c, (beads, 2, 1)))
    own = power.ndim > 1
    courses = np.ascontiguousarray(power, dtype=real)
    if own:
        courses = np.ascontiguousarray(_filled(power, plants), dtype=real)
    out = np.empty((len(power) // every, beads, plants), dtype=real)
    run(
        blocks, len(power), every, step_s, courses, own, np.asarray(fan, dtype=real), coefficients,
        beads, np.array(benches.places, dtype=np.int64), bead_table, states, shown, out,
    )  # fmt: skip
    lumps = np.moveaxis(states, 0, 1).reshape(len(LUMPS), plants)
    return out[..., : benches.count], lumps[:, : benches.count]


def _filled(power: np.ndarray, plants: int) -> np.ndarray:
    return np.pad(power, ((0, 0), (0, plants - power.shape[1])), "edge")


@cache
def _built(precision: str) -> Any:
    """Return the function in C, its arguments declared. Raises NoCompiler."""
    text = files("emberbed_sim.kernel").joinpath("lumped.c").read_text(encoding="utf-8")
    options = QUICK if precision == "single" else EXACT
    source = text.replace(FLOWS_PLACE, flows_in_c())
    found = library(source, f"-DLANES={LANES[precision]}", *options).march
    table = np.ctypeslib.ndpointer(REAL[precision], flags="C_CONTIGUOUS")
    places = np.ctypeslib.ndpointer(np.int64, flags="C_CONTIGUOUS")
    scalar = ctypes.c_float if precision == "single" else ctypes.c_double
    long = ctypes.c_long
    found.argtypes = [
        long, long, long, scalar, table, long, table, table, long, places, table, table, table,
        table,
    ]  # fmt: skip
    found.restype = None
    return found
