"""From points (true, read) to a channel's gain and offset, or the reason why they are nonsense.

`read_c` is the reading without any calibration. The line is weighted least squares, which for two
points is the line through both; its covariance follows from the points' standard uncertainties
(JCGM 100:2008, 5.2 and H.3). Offset and gain are rounded as a device holds them, and the residual
is counted with the rounded ones. Temperatures in °C, differences in K. Raises NotReady.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from emberbed.bench.prepare import NotReady
from emberbed.calibration.fixed_points import BOILING, ICE
from emberbed.device_file.keys import CHANNEL
from emberbed_fw.units import CALIBRATION_ONE_Q12

CDEG_PER_K = 100
GAIN, OFFSET = CHANNEL["gain"], CHANNEL["offset_c"]  # the bounds that a device keeps too
# Common practice, no source. Closer points lever every error up; four steps of the coarsest
# converter (0.25 K) apart from one line, one of the points is not what it is said to be.
LEAST_SPAN_K = 50.0
MOST_RESIDUAL_K = 1.0


@dataclass(frozen=True)
class Point:
    """One known temperature as a channel read it; `standard_k` is of the pair."""

    name: str
    true_c: float
    read_c: float
    standard_k: float


@dataclass(frozen=True)
class Line:
    """true = gain x read + offset, as a device holds it; `residual_k` is the worst point's."""

    offset_cdeg: int
    gain_q12: int
    residual_k: float

    @property
    def gain(self) -> float:
        return self.gain_q12 / CALIBRATION_ONE_Q12

    @property
    def offset_k(self) -> float:
        return self.offset_cdeg / CDEG_PER_K

    def corrected_c(self, read_c: float) -> float:
        return self.gain * read_c + self.offset_k

    def read_of(self, corrected_c: float) -> float:
        """Return what a calibrated reading was before its calibration."""
        return (corrected_c - self.offset_k) / self.gain


def line_through(points: Sequence[Point]) -> Line:
    """Return the calibration, or refuse what cannot be one."""
    _check_points(points)
    offset_k, gain = fit(
        [point.read_c for point in points],
        [point.true_c for point in points],
        [point.standard_k for point in points],
    )
    _check_bounds(offset_k, gain)
    offset_cdeg, gain_q12 = round(offset_k * CDEG_PER_K), round(gain * CALIBRATION_ONE_Q12)
    bare = Line(offset_cdeg, gain_q12, 0.0)
    off_k = [bare.corrected_c(point.read_c) - point.true_c for point in points]
    worst = max(range(len(points)), key=lambda number: abs(off_k[number]))
    if abs(off_k[worst]) > MOST_RESIDUAL_K:
        raise NotReady(
            [
                f"No straight line fits: {points[worst].name} stays {off_k[worst]:+.1f} °C off"
                f" (at most {MOST_RESIDUAL_K:g} °C): measure that point again"
            ]
        )
    return Line(offset_cdeg, gain_q12, abs(off_k[worst]))


def fit(x: Sequence[float], y: Sequence[float], standard: Sequence[float]) -> tuple[float, float]:
    """Return (y at 0, slope) of the least-squares line, weighted by the standard uncertainties."""
    weights = [one**-2 for one in standard]
    middle_x, middle_y = _mean(x, weights), _mean(y, weights)
    slope = sum(
        w * (one - middle_x) * (other - middle_y)
        for w, one, other in zip(weights, x, y, strict=True)
    ) / sum(w * (one - middle_x) ** 2 for w, one in zip(weights, x, strict=True))
    return middle_y - slope * middle_x, slope


def standard_at(x: Sequence[float], standard: Sequence[float], at: float) -> float:
    """Return the standard uncertainty of that line at `at`, far from the points too."""
    weights = [one**-2 for one in standard]
    middle = _mean(x, weights)
    spread = sum(w * (one - middle) ** 2 for w, one in zip(weights, x, strict=True))
    return sqrt(1 / sum(weights) + (at - middle) ** 2 / spread)


def _mean(numbers: Sequence[float], weights: Sequence[float]) -> float:
    return sum(w * one for w, one in zip(weights, numbers, strict=True)) / sum(weights)


def _check_points(points: Sequence[Point]) -> None:
    if len(points) < 2:
        raise NotReady(["A calibration needs two points: measure ice and boiling water"])
    ordered = sorted(points, key=lambda point: point.true_c)
    span_k = ordered[-1].true_c - ordered[0].true_c
    if span_k < LEAST_SPAN_K:
        raise NotReady(
            [
                f"The points are {span_k:g} °C apart: take two at least {LEAST_SPAN_K:g} °C apart,"
                " such as ice and boiling water"
            ]
        )
    for below, above in zip(ordered, ordered[1:], strict=False):
        if above.read_c <= below.read_c:
            raise NotReady([_warmer(below, above)])


def _warmer(below: Point, above: Point) -> str:
    what = f"{below.name} reads {below.read_c:.1f} °C and {above.name} {above.read_c:.1f} °C"
    if (below.name, above.name) == (ICE, BOILING):
        return (
            f"{what}, so ice is the warmer one: the two are mixed up, or the couple's wires are"
            " swapped at its plug; measure both again"
        )
    return f"{what}, but {above.name} is the hotter one: measure both again"


def _check_bounds(offset_k: float, gain: float) -> None:
    if not GAIN.least <= gain <= GAIN.most:
        raise NotReady(
            [
                f"The gain would be {gain:.3f}, outside {GAIN.least:g} to {GAIN.most:g}: no sound"
                " type K couple is so far off; look at its type, its plug and the leads"
            ]
        )
    if not OFFSET.least <= offset_k <= OFFSET.most:
        raise NotReady(
            [
                f"The offset would be {offset_k:+.1f} °C, outside {OFFSET.least:g} to"
                f" {OFFSET.most:g}: look at the converter's plug and what warms it"
            ]
        )
