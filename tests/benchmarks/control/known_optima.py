"""Optima that were computed before: they take minutes each, and change only with the plant.

`optima.json` beside this file keeps for each kind and heater the RMSE, and the course in degC at
the end of each step. `known` gives one of them, `compute` finds and keeps one anew.
"""

import json
from dataclasses import astuple, dataclass
from pathlib import Path

import numpy as np

from tests.benchmarks.control.heaters import Mismatch
from tests.benchmarks.control.jobs import Timeline
from tests.benchmarks.control.optima import STEP_S, optimum_of

KEPT = Path(__file__).parent / "optima.json"


@dataclass(frozen=True)
class Best:
    """The optimum of one heater."""

    rmse_c: float
    reading_c: list[float]

    def course_c(self, line: Timeline) -> np.ndarray:
        """Return its readings at the ticks of a timeline."""
        ends_s = STEP_S * np.arange(1, len(self.reading_c) + 1)
        return np.interp(line.seconds, ends_s, self.reading_c)


def known(kind: str, mismatch: Mismatch) -> Best | None:
    """Return what was found before."""
    found = _kept().get(_key(kind, mismatch))
    return None if found is None else Best(**found)


def compute(kind: str, mismatch: Mismatch, line: Timeline) -> Best:
    """Find the optimum of a heater and keep it."""
    found = optimum_of(kind, mismatch, line)
    best = Best(round(found.rmse_c, 4), [round(float(one), 2) for one in found.reading_c])
    kept = {**_kept(), _key(kind, mismatch): vars(best)}
    KEPT.write_text(json.dumps(kept, sort_keys=True) + "\n", encoding="utf-8")
    return best


def _kept() -> dict[str, dict]:
    return json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}


def _key(kind: str, mismatch: Mismatch) -> str:
    return " ".join([kind, *(f"{number:.4f}" for number in astuple(mismatch))])
