"""Gains as the device holds them: integers with a largest value, a tick, a filtered slope.

Turns a rule's ideal gains into `default_gains.Gains`, says what is left of them after rounding and
whether the plan takes them, and gives the exact frequency response of the firmware's controller.
"""

from math import ceil, log2

import numpy as np

from emberbed.heater.default_gains import Gains
from emberbed.heater.margins import FILTER_N, Loop
from emberbed.heater.process import Process
from emberbed.heater.tuning_rules import Ideal
from emberbed_fw.plan import (
    MAX_FILTER_SHIFT,
    MAX_KD_Q4,
    MAX_KI_Q14,
    MAX_KP_Q8,
    MAX_PREVIEW_TICKS,
)
from emberbed_fw.units import FULL_POWER_Q15, KD_SHIFT, KI_SHIFT, KP_ONE_Q8, TICKS_PER_S

TICK_S = 1 / TICKS_PER_S
NYQUIST_RAD_S = np.pi / TICK_S
WORST_ROUNDING = 0.05  # of a gain; a tenth would move a margin visibly
READING_STEP_C = 0.25  # of the coarsest common converter
MOST_JUMP = 0.2  # of full power, what one such step may do through the derivative
_PER_K = FULL_POWER_Q15 / 100  # q15 per cdeg is parts of full power per K, times this


def device_gains(ideal: Ideal, preview_s: float) -> Gains:
    """Return a rule's gains in bench units; setpoints here are ramps, so their weight is 1."""
    kd = ideal.kc * ideal.td_s
    return Gains(
        ideal.kc,
        ideal.kc / ideal.ti_s,
        kd,
        setpoint_weight=1.0,
        filter_shift=_filter_shift(ideal.td_s / FILTER_N, kd),
        preview_ticks=min(ceil(preview_s / TICK_S), MAX_PREVIEW_TICKS) if kd else 0,
    )


def _filter_shift(filter_s: float, kd: float) -> int:
    """Return the derivative's filter: as wanted, or as slow as the converter's steps ask for."""
    quiet_s = kd * READING_STEP_C / MOST_JUMP
    shift = log2(max(filter_s, quiet_s, TICK_S) / TICK_S)
    return min(ceil(shift - 0.5) if filter_s > quiet_s else ceil(shift), MAX_FILTER_SHIFT)


def held(gains: Gains) -> Gains:
    """Return the gains that are left when the device's integers have rounded them."""
    return gains._replace(
        kp_per_k=gains.kp_q8() / KP_ONE_Q8 / _PER_K,
        ki_per_k_s=gains.ki_q14() / (1 << KI_SHIFT) / _PER_K * TICKS_PER_S,
        kd_s_per_k=gains.kd_q4() / (1 << KD_SHIFT) / _PER_K / TICKS_PER_S,
    )


def refusal(gains: Gains) -> str | None:
    """Return why the device would not take these gains, or None."""
    for name, integer, most in (
        ("Kp", gains.kp_q8(), MAX_KP_Q8),
        ("Ki", gains.ki_q14(), MAX_KI_Q14),
        ("Kd", gains.kd_q4(), MAX_KD_Q4),
    ):
        if integer > most:
            return f"{name} is {integer / most:.1f} times the most the device holds"
    left = held(gains)
    for name, wanted, kept in zip(("Kp", "Ki", "Kd"), gains, left, strict=False):
        if wanted > 0 and abs(kept - wanted) > WORST_ROUNDING * wanted:
            return f"{name} is too small for the device's integers"
    return None


def controller_response(gains: Gains, rad_s: np.ndarray) -> np.ndarray:
    """Return the complex gain of the firmware's controller and its hold, tick by tick."""
    turned = 1j * np.asarray(rad_s, float) * TICK_S
    before = np.exp(-turned)  # one tick earlier
    integral = gains.ki_per_k_s * TICK_S * before / (1 - before)
    new = 0.5 ** max(gains.filter_shift - 1, 0)  # of each of the two filters
    slope = (new / (1 - (1 - new) * before)) ** 2 * (1 - before) / TICK_S
    hold = (1 - before) / turned
    return (gains.kp_per_k + integral + gains.kd_s_per_k * slope) * hold


def device_loop(process: Process, gains: Gains) -> Loop:
    """Return the open loop of a process and the device's controller."""
    return lambda rad_s: process.response(rad_s) * controller_response(gains, rad_s)
