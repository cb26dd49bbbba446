"""How soon a heater would have to be known: full knowledge of it that comes late.

All heaters are driven with one power until they are told apart, and each as well as it can be from
then on. That one power is the best for these very heaters together, so even it knows more than any
controller that learns; no noise and no converter hinders it. What it reaches is about the best that
learning can. On the coarse board; `python -m tests.benchmarks.control.told_late` makes the table.
"""

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
from scipy.optimize import lsq_linear

from emberbed.limit.optimum import SMOOTH_C, Optimum, Wanted, answers_of, best_power
from tests.benchmarks.control.heaters import DRAWN_SEED, MISMATCHED, QUICK_CELLS, Mismatch, drawn
from tests.benchmarks.control.jobs import FEASIBLE, profile_of, timeline
from tests.benchmarks.control.optima import STEP_S, heater_of, wanted_of

AHEAD_STEPS = 100
KIND = "halogen"  # the quickest emitters: least time to learn in, and the wanted ratio is missed
TOLD_S = (10, 20, 30, 40, 60)
ABOUT = """
## How soon a heater would have to be known

The same {count} mismatched heaters with {kind} emitters, driven with one power for all until each
is fully known, and from then on as well as it can be: RMSE against its own optimum. The one power
is the best for these very heaters together, and nothing is noisy: about the best that learning
could reach, if it knew mass, mains, emissivity, room and the sensor's lag after so many seconds of
the profile. `python -m tests.benchmarks.control.told_late` makes this table alone.

"""


def section(heaters: Sequence[Mismatch]) -> str:
    """Return the page's section. Takes some 10 minutes of a core."""
    lines = ["| known after | x optimum p50 / p95 |", "| --- | --- |"]
    with ProcessPoolExecutor() as pool:
        own = list(pool.map(_own_optimum, heaters))
        slopes = list(pool.map(_slopes, heaters, own))
        for told_s in TOLD_S:
            power = common_power(own, slopes, round(told_s / STEP_S))
            rmse_c = list(pool.map(partial(_rmse_c, power), heaters, own))
            ratios = np.array(rmse_c) / [one.rmse_c for one in own]
            p50, p95 = np.percentile(ratios, (50, 95))
            lines.append(f"| {told_s} s | {p50:.2f} / {p95:.2f} |")
    return ABOUT.format(count=len(heaters), kind=KIND) + "\n".join(lines) + "\n"


def common_power(own: Sequence[Optimum], slopes: Sequence[np.ndarray], steps: int) -> np.ndarray:
    """Return the first `steps` of power, the same for all heaters, that leave the least mean square
    of RMSE over its optimum; heaters linearised about their own optima, `slopes` as answers_of. How
    well a heater can be led on from there is looked at over AHEAD_STEPS."""
    seen = [min(steps + AHEAD_STEPS, one.wanted.steps) for one in own]
    ends = np.cumsum([steps, *(cut - steps for cut in seen)])
    rows, sides = [], []
    for one, slope, cut, first, last in zip(own, slopes, seen, ends, ends[1:], strict=False):
        places = np.r_[0:steps, first:last]  # the common power, then this heater's own
        weight = 1 / (one.rmse_c * np.sqrt(one.wanted.steps))
        smooth = SMOOTH_C * np.diff(np.eye(cut), axis=0)
        answers = slope[:cut, :cut]
        matrix = np.zeros((cut + len(smooth), ends[-1]))
        matrix[:, places] = weight * np.vstack([answers, smooth])
        rows.append(matrix)
        side_c = answers @ one.power[:cut] - one.error_c[:cut]
        sides.append(weight * np.append(side_c, np.zeros(len(smooth))))
    return lsq_linear(np.vstack(rows), np.concatenate(sides), (0.0, 1.0)).x[:steps]


def _own_optimum(mismatch: Mismatch) -> Optimum:
    line = timeline(profile_of(FEASIBLE[KIND]), mismatch.room_c)
    return best_power(heater_of(KIND, mismatch, QUICK_CELLS), wanted_of(line))


def _slopes(mismatch: Mismatch, own: Optimum) -> np.ndarray:
    return answers_of(heater_of(KIND, mismatch, QUICK_CELLS), own.power, 1.0)


def _rmse_c(first: np.ndarray, mismatch: Mismatch, own: Optimum) -> float:
    """Return the RMSE of the best course that begins with this power."""
    whole, told = heater_of(KIND, mismatch, QUICK_CELLS), len(first)

    def rest(power: np.ndarray) -> np.ndarray:
        begun = np.repeat(first[:, None], power.shape[1], axis=1)
        return whole(np.vstack([begun, power]))[told:]

    wanted = own.wanted
    asked = Wanted(wanted.step_s, wanted.reading_c[told:], wanted.most_c[told:])
    best = best_power(rest, asked, first=own.power[told:])
    power = np.append(first, best.power)
    return Optimum(wanted, power, whole(power[:, None])[:, 0]).rmse_c


if __name__ == "__main__":
    print(section(drawn(MISMATCHED, DRAWN_SEED)))
