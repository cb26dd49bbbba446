"""One controller on a table, with the gains that a test gives it."""

from emberbed_fw.pid import Pid
from emberbed_fw.units import FULL_POWER_Q15


def controller(kp_q8=0, ki_q14=0, kd_q4=0, weight_q8=256, cap_q15=FULL_POWER_Q15, shift=0, at=0):
    header = {
        "kp0_q8": kp_q8, "ki0_q14": ki_q14, "kd0_q4": kd_q4, "weight0_q8": weight_q8,
        "cap0_q15": cap_q15, "filter0_shift": shift,
    }  # fmt: skip
    one = Pid(header, 0)
    one.reset(at)
    return one


def step(
    one, setpoint=0, measured=0, slope=0, feedforward=0, delivered=True,
    least=0, most=FULL_POWER_Q15,
):  # fmt: skip
    one.step(setpoint, slope, measured, feedforward, delivered, least, most)
    return one.demand_q15
