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
from tests.benchmarks.control.heaters import EMITTERS, QUICK_CELLS, Mismatch, drawn
from tests.benchmarks.control.jobs import FEASIBLE, profile_of, timeline
from tests.benchmarks.control.optima import STEP_S, heater_of, wanted_of

HEATERS, DRAWN_SEED = 8, 7  # those of the comparison
TOLD_S = {
    "halogen": (10, 20, 30, 40, 60),
    "quartz": (20, 40, 60, 80, 120),
    "ceramic": (40, 80, 120, 160, 240),
}
ABOUT = """
## How soon a heater would have to be known

The same {count} mismatched heaters, driven with one power for all until each is fully known, and
from then on as well as it can be: RMSE against its own optimum. The one power is the best for these
very heaters together, and nothing is noisy: about the best that learning could reach, if it knew
mass, mains, emissivity, room and the sensor's lag after so many seconds of the profile.
`python -m tests.benchmarks.control.told_late` makes this table alone.

"""


def section(kinds: Sequence[str], heaters: Sequence[Mismatch]) -> str:
    """Return the page's section. Takes some minutes of a core for each kind."""
    lines = ["| emitters | known after | x optimum p50 / p95 |", "| --- | --- | --- |"]
    with ProcessPoolExecutor() as pool:
        for kind in kinds:
            own = list(pool.map(partial(_own_optimum, kind), heaters))
            slopes = list(pool.map(partial(_slopes, kind), heaters, own))
            for told_s in TOLD_S[kind]:
                power = common_power(own, slopes, round(told_s / STEP_S))
                rmse_c = list(pool.map(partial(_rmse_c, kind, power), heaters, own))
                ratios = np.array(rmse_c) / [one.rmse_c for one in own]
                p50, p95 = np.percentile(ratios, (50, 95))
                lines.append(f"| {kind} | {told_s} s | {p50:.2f} / {p95:.2f} |")
    return ABOUT.format(count=len(heaters)) + "\n".join(lines) + "\n"


def common_power(own: Sequence[Optimum], slopes: Sequence[np.ndarray], steps: int) -> np.ndarray:
    """Return the first `steps` of power, the same for all heaters, that leave the least mean square
    of RMSE over its optimum; heaters linearised about their own optima, `slopes` as answers_of."""
    ends = np.cumsum([steps, *(one.wanted.steps - steps for one in own)])
    rows, sides = [], []
    for one, slope, first, last in zip(own, slopes, ends, ends[1:], strict=False):
        places = np.r_[0:steps, first:last]  # the common power, then this heater's own
        weight = 1 / (one.rmse_c * np.sqrt(one.wanted.steps))
        smooth = SMOOTH_C * np.diff(np.eye(len(places)), axis=0)
        matrix = np.zeros((len(slope) + len(smooth), ends[-1]))
        matrix[:, places] = weight * np.vstack([slope, smooth])
        rows.append(matrix)
        sides.append(weight * np.append(slope @ one.power - one.error_c, np.zeros(len(smooth))))
    return lsq_linear(np.vstack(rows), np.concatenate(sides), (0.0, 1.0)).x[:steps]


def _own_optimum(kind: str, mismatch: Mismatch) -> Optimum:
    line = timeline(profile_of(FEASIBLE[kind]), mismatch.room_c)
    return best_power(heater_of(kind, mismatch, QUICK_CELLS), wanted_of(line))


def _slopes(kind: str, mismatch: Mismatch, own: Optimum) -> np.ndarray:
    return answers_of(heater_of(kind, mismatch, QUICK_CELLS), own.power, 1.0)


def _rmse_c(kind: str, first: np.ndarray, mismatch: Mismatch, own: Optimum) -> float:
    """Return the RMSE of the best course that begins with this power."""
    whole, told = heater_of(kind, mismatch, QUICK_CELLS), len(first)

    def rest(power: np.ndarray) -> np.ndarray:
        begun = np.repeat(first[:, None], power.shape[1], axis=1)
        return whole(np.vstack([begun, power]))[told:]

    wanted = own.wanted
    asked = Wanted(wanted.step_s, wanted.reading_c[told:], wanted.most_c[told:])
    best = best_power(rest, asked, first=own.power[told:])
    power = np.append(first, best.power)
    return Optimum(wanted, power, whole(power[:, None])[:, 0]).rmse_c


if __name__ == "__main__":
    print(section(EMITTERS, drawn(HEATERS, DRAWN_SEED)))
