"""Hot air from above: where a hand-held nozzle points, and what its jet then brings.

Takes the simulated time in s and the air's temperature in degC, gives a `Jet`: conductances in W/K
of its air to chip and board centre, and how much of it is over the chip and over the board beside
(0..1 each), for a lumped board; how far from the chip it is, for a gridded one. A wandering nozzle
drifts along a line through chip and control sensor; the seed decides its way, which depends on
nothing else than the time.
"""

from math import exp, pi, sin
from random import Random
from typing import NamedTuple

from emberbed_sim.plant.parameters import CENTRE_SHARE, ZERO_C_K, BenchParameters

BESIDE_MM = 25.0  # from the chip's middle to a control sensor 5-10 mm from its rim
CHIP_REACH_MM = 15.0  # the jet's widths over each; from memory
BESIDE_REACH_MM = 12.0
SLOW_S = (14.0, 26.0)  # periods of a hand's slow drift and of its sway; from memory
SWAY_S = (5.0, 9.0)


class Jet(NamedTuple):
    """What blows on the board in one tick."""

    air_k: float
    chip_w_k: float
    centre_w_k: float
    on_chip: float
    beside: float
    at_mm: float = 0.0  # from the chip's middle towards the control sensor


STILL = Jet(0.0, 0.0, 0.0, 0.0, 0.0)  # no jet at all


class Nozzle:
    """A nozzle in a hand; `jet` tells what it does at a time."""

    def __init__(self, bench: BenchParameters, seed: int) -> None:
        nozzle, chip_m2 = bench.nozzle, bench.chip.area_m2
        around_chip_m2 = bench.board.area_m2 * CENTRE_SHARE - chip_m2
        self._chip_w_k = nozzle.chip_w_m2_k * chip_m2
        self._board_w_k = nozzle.board_w_m2_k * min(nozzle.board_mm2 * 1e-6, around_chip_m2)
        self._drift_mm = nozzle.drift_mm
        hand = Random(f"nozzle {seed}")  # apart from the sensors' noise
        self._sways = [
            (2 * pi / hand.uniform(*period_s), hand.uniform(0, 2 * pi), share)
            for period_s, share in ((SLOW_S, 1.0), (SWAY_S, 0.4))
        ]

    def jet(self, elapsed_s: float, air_c: float, wanders: bool) -> Jet:
        """Return the jet of this air; what misses the chip meets the board."""
        if not wanders:
            return Jet(air_c + ZERO_C_K, self._chip_w_k, self._board_w_k, 1.0, 0.0)
        at_mm = self._drift_mm * sum(
            share * sin(rate * elapsed_s + phase) for rate, phase, share in self._sways
        )
        on_chip = exp(-((at_mm / CHIP_REACH_MM) ** 2))
        beside = exp(-(((at_mm - BESIDE_MM) / BESIDE_REACH_MM) ** 2))
        chip_w_k = self._chip_w_k * on_chip
        board_w_k = self._board_w_k + self._chip_w_k - chip_w_k
        return Jet(air_c + ZERO_C_K, chip_w_k, board_w_k, on_chip, beside, at_mm)
