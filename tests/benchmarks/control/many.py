"""`python -m tests.benchmarks.control.many`: ours on many heaters that nothing was tuned on.

The feasible profile of each kind of emitters, on heaters drawn as the mismatched ones are, with
another seed; their own optima are left out, as each takes minutes. `section` is the control page's.
"""

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import compress

import numpy as np

from tests.benchmarks.control.heaters import EMITTERS, Mismatch, drawn
from tests.benchmarks.control.ours import score_ours
from tests.benchmarks.control.scores import Score

HEATERS, DRAWN_SEED, SEED = 300, 23, 1
STRONG_ENOUGH = 0.8  # of the heat for each gram of board that the profile was drawn for
SOAKED_PERCENT = 99
COLUMNS = ("emitters", "heaters", "RMSE °C p50 / p95", "overshoot °C p50 / p95 / max",
           "soak inside ±2 °C p50 / p5", "soak 99 %", "longer by p95")  # fmt: skip
ABOUT = """
## {count} more heaters

Ours alone, on heaters that nothing was tuned on (their optima would take days). A heater that gives
less than {least:.0f} % of the heat for each gram of board can hardly follow the profile at all; the
second row of each kind leaves those out.
`python -m tests.benchmarks.control.many --heaters {count}` makes this table alone.

"""


def heat_of_nominal(heater: Mismatch) -> float:
    """Return the heat that a gram of board is given, as a share of the nominal heater's."""
    return heater.mains**2 * heater.emissivity / heater.mass


def section(kinds: Sequence[str], count: int = HEATERS) -> str:
    """Return the page's section. Takes some 2 s of a core for each heater and kind."""
    heaters = drawn(count, DRAWN_SEED)
    strong = [heat_of_nominal(heater) >= STRONG_ENOUGH for heater in heaters]
    lines = [f"| {' | '.join(COLUMNS)} |", f"|{' --- |' * len(COLUMNS)}"]
    with ProcessPoolExecutor() as pool:
        for kind in kinds:
            scores = list(pool.map(partial(score_ours, kind, seed=SEED), heaters, chunksize=4))
            lines.append(_row(kind, "all", scores))
            lines.append(_row(kind, "strong enough", list(compress(scores, strong))))
    return ABOUT.format(count=count, least=100 * STRONG_ENOUGH) + "\n".join(lines) + "\n"


def _row(kind: str, which: str, scores: Sequence[Score]) -> str:
    rmse_c, over_c, soak, longer = np.array(scores).T
    soaked = np.mean(soak >= SOAKED_PERCENT)
    return (
        f"| {kind} | {which}: {len(scores)}"
        f" | {np.median(rmse_c):.2f} / {np.percentile(rmse_c, 95):.2f}"
        f" | {np.median(over_c):.1f} / {np.percentile(over_c, 95):.1f} / {over_c.max():.1f}"
        f" | {np.median(soak):.0f} % / {np.percentile(soak, 5):.0f} %"
        f" | of {100 * soaked:.0f} % | {np.percentile(longer, 95):+.1f} % |"
    )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--heaters", type=int, default=HEATERS)
    print(section(EMITTERS, asked.parse_args().heaters))


if __name__ == "__main__":
    main()
