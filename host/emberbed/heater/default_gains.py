"""Controller numbers for a heater nobody has identified yet: slow and safe rather than quick.

Chosen by rehearsal on the simulated heater over boards of 60, 240 and 300 g: less than 2 degC of
overshoot at the end of a ramp. No source beyond that simulation.
"""

from typing import NamedTuple

from emberbed_fw.units import FULL_POWER_Q15, KD_SHIFT, KI_SHIFT, KP_ONE_Q8, TICKS_PER_S

POWER_CAP = 0.6  # of full power, while the heater is not identified


class Gains(NamedTuple):
    """Gains in bench units: parts of full power per K, per K s, and s per K."""

    kp_per_k: float = 0.1
    ki_per_k_s: float = 0.0003
    kd_s_per_k: float = 2.0
    setpoint_weight: float = 1.0
    filter_shift: int = 5  # the derivative is 2**shift ticks late
    preview_ticks: int = 350  # the plan's slope is taken this far ahead: the emitter's lag

    def kp_q8(self) -> int:
        """Return Kp as the plan holds it: q15 per cdeg, times 256."""
        return round(self.kp_per_k * FULL_POWER_Q15 / 100 * KP_ONE_Q8)

    def ki_q14(self) -> int:
        """Return Ki as the plan holds it: q15 per cdeg and tick, times 16384."""
        return round(self.ki_per_k_s * FULL_POWER_Q15 / 100 / TICKS_PER_S * (1 << KI_SHIFT))

    def kd_q4(self) -> int:
        """Return Kd as the plan holds it: q15 per (cdeg per tick), times 16."""
        return round(self.kd_s_per_k * FULL_POWER_Q15 / 100 * TICKS_PER_S * (1 << KD_SHIFT))
