"""Which zone warms which sensor, and how much: the coupling matrix of a heater with several zones.

`fit_coupling` takes a step test in which each zone was heated alone too, and fits `zone_model`: how
fast every sensor rises by every zone at full power (K/s). `even_shares` gives the powers that warm
the sensors alike. `sharpness` is the largest entry of the relative
gain array (Bristol 1966): 1 for zones that do not touch one another, without bound for those that
cannot be told apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from scipy.optimize import least_squares

from emberbed.heater import zone_model
from emberbed.profiles.zones import Coupling

MOST_SHARPNESS = 10.0  # beyond, a small error of the matrix turns the shares upside down; from
# memory, a rule of process control: entries above 5 to 10 are hard to decouple
LEAST_RISE = 0.05  # of what the strongest zone does to a sensor: less, and it is broken or far away
NOISE_C = 0.3  # of the model rather than of the couples: lumps where there is a sheet
MOST_ROUNDS = 40
STEP = 1e-4  # of a logarithm, for slopes
SHARES = (0.2, 2.5)  # our choice: beyond, the zones are not there for evening out this board


class CouplingMistake(Exception):
    """The zones cannot be told apart or do not heat; one sentence with the mend."""


@dataclass(frozen=True)
class ZoneSteps:
    """Rows of a step test: times in s, the part of each row in which each zone was on, degrees C.

    It starts at rest; the first sensor is the one that controls.
    """

    seconds: np.ndarray  # [row]
    driven: np.ndarray  # [row, zone], 0..1 until the next row
    celsius: np.ndarray  # [row, sensor]
    sensors: tuple[str, ...]

    @property
    def zones(self) -> int:
        return self.driven.shape[1]

    def alone(self, zone: int) -> bool:
        """Tell whether this zone was ever on without the others."""
        others = np.delete(self.driven, zone, axis=1)
        return bool(((self.driven[:, zone] > 0) & (others.sum(axis=1) == 0)).any())


@dataclass(frozen=True)
class ZoneFit:
    """What was found; `coupling` has the sensor of each zone first."""

    coupling: Coupling
    rms_c: float


def fit_coupling(steps: ZoneSteps) -> ZoneFit:
    """Find the matrix. Raises CouplingMistake."""
    _check_steps(steps)
    sensors, zones = len(steps.sensors), steps.zones
    usual, least, most, spread = zone_model.table(sensors, zones).T
    start = np.log(usual)
    start_c = steps.celsius[:3].mean(axis=0)

    def simulated(logs: np.ndarray) -> np.ndarray:
        numbers = zone_model.opened(logs, sensors, zones)
        return zone_model.simulate(numbers, steps.seconds, steps.driven, start_c)

    def off(logs: np.ndarray) -> np.ndarray:
        left = (simulated(logs[:, None])[..., 0] - steps.celsius).ravel() / NOISE_C
        return np.append(left, (logs - start) / np.log(spread))

    def slopes(logs: np.ndarray) -> np.ndarray:
        moved = logs[:, None] + np.hstack([np.zeros((len(logs), 1)), STEP * np.eye(len(logs))])
        shown = simulated(moved).reshape(-1, len(logs) + 1)
        return np.vstack(
            [(shown[:, 1:] - shown[:, :1]) / STEP / NOISE_C, np.diag(1 / np.log(spread))]
        )

    found = least_squares(
        off, start, slopes,  # type: ignore[arg-type]
        bounds=(np.log(least), np.log(most)), x_scale="jac", ftol=1e-4, max_nfev=MOST_ROUNDS,
    )  # fmt: skip
    rms_c = float(np.sqrt(np.mean((simulated(found.x[:, None])[..., 0] - steps.celsius) ** 2)))
    numbers = zone_model.opened(found.x[:, None], sensors, zones)
    return ZoneFit(_coupling(steps.sensors, numbers.rise[..., 0]), rms_c)


def even_shares(coupling: Coupling, sensors: Sequence[str]) -> tuple[float, ...] | None:
    """Return each zone's part of the power that warms these sensors alike, the first of them as
    fast as equal power in all zones; None where no sensible parts do that. What they lose is left
    to the controllers: it changes over a run, and in a ramp it is the smaller part."""
    rows = [coupling.sensors.index(name) for name in sensors]
    rise = np.array([coupling.rise_k_per_s[row] for row in rows])
    if sharpness(rise) > MOST_SHARPNESS:
        return None
    shares = np.linalg.solve(rise, np.full(len(rise), rise[0].sum()))
    if not (SHARES[0] <= shares.min() and shares.max() <= SHARES[1]):
        return None
    return tuple(round(float(one), 4) for one in shares)


def relative_gains(rise: np.ndarray) -> np.ndarray:
    """Return Bristol's relative gain array: each gain times that of the inverse, transposed."""
    return rise * np.linalg.inv(rise).T


def sharpness(rows: Sequence[Sequence[float]] | np.ndarray) -> float:
    """Return the largest relative gain; infinity for a singular matrix."""
    try:
        return float(abs(relative_gains(np.array(rows, float))).max())
    except np.linalg.LinAlgError:
        return float("inf")


def _check_steps(steps: ZoneSteps) -> None:
    for zone in range(steps.zones):
        if not steps.alone(zone):
            raise CouplingMistake(
                f"zone {zone} was never on by itself, so nothing is known of it; make the step test"
                " again, with a higher --limit if the board came too near to it"
            )
    count = len(steps.sensors)
    if count < steps.zones:
        raise CouplingMistake(
            f"the heater has {steps.zones} zones and {count} sensor{'s' * (count != 1)} on the"
            " board, and every zone needs a sensor over it; add one, or wire the zones as one"
        )


def _coupling(sensors: Sequence[str], rise: np.ndarray) -> Coupling:
    """Return the matrix with the zones' own sensors first, or refuse it."""
    zones = rise.shape[1]
    for zone in range(zones):
        if rise[:, zone].max() < LEAST_RISE * rise.max():
            raise CouplingMistake(
                f"zone {zone} warms none of {', '.join(sensors)}: see that its emitters and its SSR"
                " work and that a sensor lies over it, then make the step test again"
            )
    order = _pairing(rise)
    check_told_apart(rise[order[:zones]], [sensors[row] for row in order[:zones]])
    return Coupling(
        tuple(sensors[row] for row in order),
        tuple(tuple(float(f"{one:.5g}") for one in rise[row]) for row in order),
    )


def check_told_apart(rise: np.ndarray, sensors: Sequence[str]) -> None:
    """Refuse zones that warm their sensors so much alike that no power could even them out."""
    if sharpness(rise) <= MOST_SHARPNESS:
        return
    one, other = _most_alike(rise)
    raise CouplingMistake(
        f"zones {one} and {other} cannot be told apart: both warm {sensors[one]} and"
        f" {sensors[other]} in the same proportion; move one of these sensors further over its own"
        " zone, or wire both zones as one"
    )


def _most_alike(rise: np.ndarray) -> tuple[int, int]:
    """Return the two zones whose columns point in the most similar direction."""
    unit = rise / np.linalg.norm(rise, axis=0)
    alike = np.triu(unit.T @ unit, 1)
    one, other = np.unravel_index(int(alike.argmax()), alike.shape)
    return int(one), int(other)


def _pairing(rise: np.ndarray) -> list[int]:
    """Return the sensors in the zones' order, those left over last; the control sensor, which is
    the first, stays zone 0's."""
    sensors, zones = rise.shape
    part = rise / rise.sum(axis=1, keepdims=True)
    others = permutations(range(1, sensors), zones - 1)
    best = max(others, key=lambda rows: sum(part[row, zone] for zone, row in enumerate(rows, 1)))
    chosen = [0, *best]
    return chosen + [row for row in range(sensors) if row not in chosen]
