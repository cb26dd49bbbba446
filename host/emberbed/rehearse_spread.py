"""How far a rehearsal may be off because the heater is known only so well.

Takes runs on the identified heater and on others drawn from the fit's uncertainty (with the
rehearsal's own seed), gives where the control sensor lies second by second and how the runs end.
What no step test tells (another board, a draught) is not in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from emberbed.report import display

HEATERS = 12  # the identified one and those drawn beside it


@dataclass(frozen=True)
class OneRun:
    """What counts of one run: control sensor in °C per second, NaN where there is none."""

    state: str
    control_c: np.ndarray
    peak_from_below_c: float  # before any hot air
    seconds: float
    stage_begins_s: dict[int, float]


@dataclass(frozen=True)
class Spread:
    """Runs on heaters that are as likely as the one of the file, that one among them."""

    runs: Sequence[OneRun]
    seed: int

    @property
    def finished(self) -> int:
        return sum(run.state == "finished" for run in self.runs)

    def band_c(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return seconds, lowest and highest control reading.

        A run that has ended counts with its last reading: a board that may be handled.
        """
        longest = max(len(run.control_c) for run in self.runs)
        table = np.array(
            [np.pad(run.control_c, (0, longest - len(run.control_c)), "edge") for run in self.runs]
        )
        read = np.isfinite(table)
        low = np.where(read, table, np.inf).min(axis=0)
        high = np.where(read, table, -np.inf).max(axis=0)
        nobody = ~read.any(axis=0)
        low[nobody] = high[nobody] = np.nan
        return np.arange(longest, dtype=float), low, high

    def peaks_c(self) -> tuple[float | None, float | None]:
        """Return the lowest and the highest peak of the control sensor."""
        peaks = [float(np.nanmax(run.control_c)) for run in self.runs if _is_read(run)]
        return (min(peaks), max(peaks)) if peaks else (None, None)

    def peaks_from_below_c(self) -> tuple[float, float]:
        """Return the same before any hot air."""
        peaks = [run.peak_from_below_c for run in self.runs]
        return min(peaks), max(peaks)

    def lasts_s(self) -> tuple[float, float]:
        """Return the shortest and the longest run."""
        lengths = [run.seconds for run in self.runs]
        return min(lengths), max(lengths)

    def stage_begins_s(self) -> dict[int, tuple[float, float]]:
        """Return when each stage begins, earliest and latest, of the runs that reach it."""
        begun: dict[int, list[float]] = {}
        for run in self.runs:
            for stage, at_s in run.stage_begins_s.items():
                begun.setdefault(stage, []).append(at_s)
        return {stage: (min(times), max(times)) for stage, times in sorted(begun.items())}


def as_json(spread: Spread) -> dict[str, object]:
    """Return the spread's figures."""
    seconds, low, high = spread.band_c()
    return {
        "heaters": len(spread.runs),
        "seed": spread.seed,
        "finished": spread.finished,
        "control_peak_c": list(spread.peaks_c()),
        "control_peak_from_below_c": list(spread.peaks_from_below_c()),
        "seconds": list(spread.lasts_s()),
        "stage_begins_s": {
            str(stage + 1): list(times) for stage, times in spread.stage_begins_s().items()
        },
        "curve": [
            {"seconds": float(at_s), "low_c": _shown(below), "high_c": _shown(above)}
            for at_s, below, above in zip(seconds, low, high, strict=True)
        ],
    }


def as_lines(spread: Spread, control: str) -> list[str]:
    """Return the spread for a person."""
    lowest_c, highest_c = (display.celsius(peak) for peak in spread.peaks_c())
    low_c, high_c = (display.celsius(peak) for peak in spread.peaks_from_below_c())
    shortest, longest = (display.clock(seconds) for seconds in spread.lasts_s())
    return [
        f"On {len(spread.runs)} heaters as likely as the identified one:",
        f"    {control}: peak {lowest_c} to {highest_c}, from below {low_c} to {high_c}",
        f"    {shortest} to {longest} from arming to cool",
        f"    {spread.finished} of {len(spread.runs)} runs finish",
    ]


def _is_read(run: OneRun) -> bool:
    return bool(np.isfinite(run.control_c).any())


def _shown(celsius: float) -> float | None:
    return round(float(celsius), 2) if np.isfinite(celsius) else None
