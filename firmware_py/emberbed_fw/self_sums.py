"""A fixed walk through the arithmetic that every run lives by, and one sum over all it gives.

The same sources give the same sum in every interpreter and on every processor; the host knows it
from its own walk. A difference means damaged code or memory, or an interpreter that counts another
way. Integers below 2**30 only; a few milliseconds on a small controller.
"""

from emberbed_fw.integer_math import divide_round, interpolate
from emberbed_fw.pid import Pid
from emberbed_fw.type_k import correct_linear

MASK = 0xFFFFFF
STEPS = 40
START_CDEG = 2500
GAINS = {
    "kp0_q8": 900, "ki0_q14": 350, "kd0_q4": 700, "weight0_q8": 200, "cap0_q15": 30000,
    "filter0_shift": 3,
}


def add(total, number):
    """Return the sum with one more number in it; below 2**24."""
    return (total * 31 + (number & MASK) + (number >> 24)) & MASK


def couple_sum():
    """Walk a couple from -200 to 1400 degC, cold ends from -20 to 80: the table both ways."""
    total = 1
    for step in range(STEPS):
        total = add(total, correct_linear(step * 160 - 800, step * 40 - 320))
    return total


def control_sum():
    """Walk a controller after a ramp that its board follows too late."""
    total = 1
    pid = Pid(GAINS, 0)
    pid.reset(START_CDEG)
    board_cdeg = START_CDEG
    for step in range(STEPS):
        setpoint_cdeg = interpolate(step, 0, START_CDEG, STEPS, 8800)
        pid.step(setpoint_cdeg, 2500, board_cdeg, 1000, step % 5 != 0, 0, 32768)
        board_cdeg += divide_round(pid.demand_q15, 250) - 20
        total = add(add(total, pid.demand_q15), pid.integral_q14)
    return total


def self_sums():
    """Return both sums, each below 2**24."""
    return couple_sum(), control_sum()
