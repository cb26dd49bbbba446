"""Controller numbers for a heater nobody has identified yet: slow and safe rather than quick.

Chosen by rehearsal on the simulated heater over board masses from 60 to 300 g; common practice for
an unknown plant, no source. `emberbed tune` replaces them once a heater file exists.
"""

from typing import NamedTuple

from emberbed_fw.units import FULL_POWER_Q15, KD_SHIFT, KI_SHIFT, KP_ONE_Q8, TICKS_PER_S

POWER_CAP = 0.6  # of full power, while the heater is not identified


class Gains(NamedTuple):
    """Gains in bench units: parts of full power per K, per K s, and s per K."""

    kp_per_k: float = 0.03
    ki_per_k_s: float = 0.0002
    kd_s_per_k: float = 0.6
    setpoint_weight: float = 0.7
    filter_shift: int = 4  # derivative filter time = 2**shift ticks

    def kp_q8(self) -> int:
        """Return Kp as the plan holds it: q15 per cdeg, times 256."""
        return round(self.kp_per_k * FULL_POWER_Q15 / 100 * KP_ONE_Q8)

    def ki_q14(self) -> int:
        """Return Ki as the plan holds it: q15 per cdeg and tick, times 16384."""
        return round(self.ki_per_k_s * FULL_POWER_Q15 / 100 / TICKS_PER_S * (1 << KI_SHIFT))

    def kd_q4(self) -> int:
        """Return Kd as the plan holds it: q15 per (cdeg per tick), times 16."""
        return round(self.kd_s_per_k * FULL_POWER_Q15 / 100 * TICKS_PER_S * (1 << KD_SHIFT))
