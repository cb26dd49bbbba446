"""One bench with a gridded board in C, under a given power; no hot air, no draught.

`march_grid` takes a GridPlant and moves it on; places, maps and energies are then the plant's own.
"""

import ctypes
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from emberbed_sim.kernel.build import QUICK, library
from emberbed_sim.plant.grid_couplings import Couplings, couplings_of
from emberbed_sim.plant.grid_plant import GridPlant
from emberbed_sim.plant.parameters import TICK_S

REAL = {"single": np.float32, "double": np.float64}
# sums of hundreds of terms may be taken in any order in both
WIDE = {"single": QUICK, "double": ("-ffast-math",)}
NUMBERS = ("parts", "columns", "cells", "sources")
SCALARS = 6  # film_at_zero .. room_loss_w_k
TABLES = 13  # heat_inverse .. spread_back


def march_grid(
    plant: GridPlant,
    zone_w: np.ndarray,
    fan: np.ndarray | None = None,
    every: int = 10,
    precision: str = "double",
) -> np.ndarray:
    """Move a plant of one bench on by a tick per row of `zone_w` [tick, zone] (W, as rated).

    Returns its states after every so many ticks, [sample, state]. Raises NoCompiler.
    """
    (bench,) = plant.benches
    real, couplings = REAL[precision], couplings_of(bench)
    kept: list[np.ndarray] = []

    def table(values: np.ndarray) -> ctypes.c_void_p:
        kept.append(np.ascontiguousarray(values, dtype=real))
        return ctypes.c_void_p(kept[-1].ctypes.data)

    held = _bench(plant, couplings, precision, table)
    ticks = len(zone_w)
    source_w = np.asarray(zone_w, dtype=float) @ couplings.zone_shares.T
    state = plant.state[0].astype(real)
    samples = np.empty((ticks // every, plant.layout.size), dtype=real)
    fans = np.zeros(ticks) if fan is None else fan
    refused = _built(precision)(
        ctypes.byref(held), ticks, every, TICK_S, table(source_w), table(fans),
        table(couplings.steady_w_k), table(couplings.fan_w_k),
        ctypes.c_void_p(state.ctypes.data), ctypes.c_void_p(samples.ctypes.data),
    )  # fmt: skip
    if refused:
        raise ValueError("The board has too many cells for the kernel; give it fewer.")
    plant.state[0] = state
    plant.elapsed_ticks += ticks
    return samples


def _bench(plant: GridPlant, given: Couplings, precision: str, table: Any) -> ctypes.Structure:
    layout = plant.layout
    sources = layout.emitters + layout.filaments
    mean = (given.natural_up + given.natural_down) / 2
    lean = (given.natural_up - given.natural_down) / 2
    tables = (
        1 / given.heat_j_k, mean, lean, given.direct_w_k4,
        given.along_w_k, given.across_w_k, given.through_w_k,
        given.contact_w_k, given.contact_w_k.sum(axis=-1), given.contact_w_k.sum(axis=-2),
        given.gather, given.spread.T, given.spread.sum(axis=-1),
    )  # fmt: skip
    scalars = np.concatenate(
        (given.film_at_zero, given.film_per_k, given.exchange_w_k, given.room_k,
         given.room_loss_w_k)
    )  # fmt: skip
    return _kind(precision)(
        (layout.parts, layout.columns, layout.cells, sources),
        tuple(scalars.tolist()),
        tuple(table(one) for one in tables),
    )


@cache
def _kind(precision: str) -> Any:
    """Return the C structure `Bench`."""
    scalar = ctypes.c_float if precision == "single" else ctypes.c_double

    class Bench(ctypes.Structure):
        _fields_ = (
            ("numbers", ctypes.c_long * len(NUMBERS)),
            ("scalars", scalar * SCALARS),
            ("tables", ctypes.c_void_p * TABLES),
        )

    return Bench


@cache
def _built(precision: str) -> Any:
    """Return the function in C, its arguments declared. Raises NoCompiler."""
    source = files("emberbed_sim.kernel").joinpath("grid.c").read_text(encoding="utf-8")
    found = library(source, *WIDE[precision]).grid_march
    scalar = ctypes.c_float if precision == "single" else ctypes.c_double
    table = ctypes.c_void_p
    found.argtypes = [table, ctypes.c_long, ctypes.c_long, scalar, *[table] * 6]
    found.restype = ctypes.c_long
    return found
