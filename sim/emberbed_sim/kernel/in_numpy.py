"""The plant's own step with arrays in place of numbers: one entry per bench."""

from types import FunctionType
from typing import Any

import numpy as np

from emberbed_sim.kernel.benches import Benches
from emberbed_sim.plant import thermal
from emberbed_sim.plant.parameters import ZERO_C_K
from emberbed_sim.plant.thermal import LUMPS, SIGMA_W_M2_K4, ThermalNetwork

BLOCK = 512  # benches stepped together, so that their arrays stay in the processor's cache


def _with_arrays(function: Any, **names: object) -> FunctionType:
    """Return the same code where some names mean something else."""
    return FunctionType(
        function.__code__, {**vars(thermal), **names}, argdefs=function.__defaults__
    )


class _Network(ThermalNetwork):
    """The plant, its coefficients arrays."""

    _flows_w = _with_arrays(ThermalNetwork._flows_w, sqrt=np.sqrt)  # type: ignore[assignment]

    def __init__(self, benches: Benches, block: slice, step_s: float) -> None:
        self._capacities = tuple(benches.capacities_j_k[:, block])
        self._couplings = tuple(benches.flows[:, block])  # type: ignore[assignment]
        self._fan_w_k = tuple(benches.fan_w_k[:, block])
        self._upper_m2 = (0.0, 0.0, 0.0)  # no draught
        for lump in LUMPS:
            setattr(self, lump, benches.room_c[block] + ZERO_C_K)
        self.energy_in_j = self.energy_to_room_j = self.energy_from_air_j = 0.0
        self.advance = _with_arrays(ThermalNetwork.step, TICK_S=step_s)


def march(
    benches: Benches, power: np.ndarray, fan: np.ndarray, step_s: float, every: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return beads [sample, bead, plant] and lumps [lump, plant]; courses.march says the rest."""
    shown = np.empty((len(power) // every, len(benches.places), benches.count))
    lumps = np.empty((len(LUMPS), benches.count))
    for start in range(0, benches.count, BLOCK):
        block = slice(start, min(start + BLOCK, benches.count))
        own = power[:, block] if power.ndim > 1 else power
        _march(benches, block, own, fan, step_s, every, shown[..., block], lumps[:, block])
    return shown, lumps


def _march(
    benches: Benches,
    block: slice,
    power: np.ndarray,
    fan: np.ndarray,
    step_s: float,
    every: int,
    shown: np.ndarray,
    lumps: np.ndarray,
) -> None:
    network, full_w = _Network(benches, block, step_s), benches.full_w[block]
    keeps, follows = (one[:, block] for one in benches.bead_steps(step_s))
    contact, stray_ir = benches.contact[:, block], benches.stray_ir[:, block]
    places = [LUMPS[place] for place in benches.places]
    before = np.tile(benches.room_c[block], (len(places), 1))
    bead = before.copy()
    for at, (part, blown) in enumerate(zip(power, fan.tolist(), strict=True), 1):
        network.advance(network, (part * full_w,), blown)
        place_k = np.array([getattr(network, place) for place in places])
        net_kw_m2 = SIGMA_W_M2_K4 * (network.emitter_k**4 - place_k**4) * 1e-3
        around_c = network.surroundings_k - ZERO_C_K
        target = contact * (place_k - ZERO_C_K) + (1 - contact) * around_c + stray_ir * net_kw_m2
        bead = before + (bead - before) * keeps + (target - before) * follows
        before = target
        if at % every == 0:
            shown[at // every - 1] = bead
    lumps[:] = [getattr(network, lump) for lump in LUMPS]
