"""How strong each zone really is, and by what its power should be changed to even the board.

Takes a survey and the zones' rectangles, fits the plate to the positions, gives parts of the mean
and factors on power. Boards conduct differently, so all is worked out for three usual boards and
told as a range.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from emberbed.heater.model_parameters import SIGMA_W_M2_K4, ZERO_C_K
from emberbed.survey.plate import AROUND_K, EMISSIVITY, Plate, Zone
from emberbed.survey.positions import Survey

# conductivity x thickness, W/K: 2 layers of 35 um copper at 50 %, 4 at 50 % and more, 8 at 70 %
SHEETS_W_K = (0.015, 0.045, 0.078)
USUAL = 1
MOST_TRIM = 2.0  # a zone that needs more is broken, not uneven; our choice
RIM_MM = 15.0  # from the outermost positions to the rim, where no board is given
EMITTER_EMISSIVITY = 0.85  # quartz and ceramic 0.85 to 0.92
_FIRST_W_M2 = 3000.0


@dataclass(frozen=True)
class ZoneFound:
    """One zone: its output over the mean of all, and the factor on its power; each with its range
    over the usual boards."""

    zone: Zone
    output: float
    output_range: tuple[float, float]
    trim: float
    trim_range: tuple[float, float]


@dataclass(frozen=True)
class Trims:
    """All zones; spreads of the nine positions now and with the trims."""

    zones: Sequence[ZoneFound]
    spread_c: float
    trimmed_spread_c: float
    rms_c: float  # what the plate leaves over of the positions


@dataclass(frozen=True)
class _OnSheet:
    output: np.ndarray
    trim: np.ndarray
    trimmed_c: np.ndarray
    rms_c: float


def find_trims(
    survey: Survey, zones: Sequence[Zone], gap_mm: float, board_mm: tuple[float, float] | None
) -> Trims:
    """Return the trims; the board (length, width) lies centred under the positions."""
    found = [
        _on_sheet(survey, Plate(board_extent(survey, board_mm), zones, gap_mm, sheet_w_k))
        for sheet_w_k in SHEETS_W_K
    ]
    usual = found[USUAL]
    outputs, trims = (
        np.array([getattr(one, name) for one in found]) for name in ("output", "trim")
    )
    return Trims(
        [
            ZoneFound(
                zone, float(usual.output[n]), _range(outputs[:, n]),
                float(usual.trim[n]), _range(trims[:, n]),
            )
            for n, zone in enumerate(zones)
        ],
        float(np.ptp(survey.board_c)),
        float(np.ptp(usual.trimmed_c)),
        usual.rms_c,
    )  # fmt: skip


def _on_sheet(survey: Survey, plate: Plate) -> _OnSheet:
    zones = len(plate.seen)
    wanted_k = survey.board_c + ZERO_C_K

    def board_k(logs: np.ndarray) -> np.ndarray:
        kelvin = plate.temperatures_k(np.exp(logs))
        return plate.at(kelvin, survey.x_mm, survey.y_mm)

    start = np.full(zones, np.log(_FIRST_W_M2))
    fit = least_squares(lambda logs: board_k(logs) - wanted_k, start)
    emitted = np.exp(fit.x)
    power = _net(plate, emitted)
    left_k = wanted_k - board_k(fit.x)
    mean_k = wanted_k.mean()
    # as even as it gets around the same mean; what the plate does not explain stays as it is
    even = least_squares(
        lambda logs: board_k(logs) + left_k - mean_k,
        fit.x,
        bounds=(fit.x - np.log(MOST_TRIM), fit.x + np.log(MOST_TRIM)),
    )
    trim = np.clip(_net(plate, np.exp(even.x)) / power, 1 / MOST_TRIM, MOST_TRIM)
    trimmed_c = board_k(even.x) + left_k - ZERO_C_K
    rms_c = float(np.sqrt(np.mean(left_k**2)))
    return _OnSheet(power / power.mean(), trim, trimmed_c, rms_c)


def _net(plate: Plate, emitted_w_m2: np.ndarray) -> np.ndarray:
    """Return what the zones' power must make up for: emitted less absorbed, W/m2.

    A zone absorbs what the board and the housing send to it.
    """
    board_k = plate.temperatures_k(emitted_w_m2)
    weight = plate.seen / plate.seen.sum(axis=1, keepdims=True)
    board = EMISSIVITY * SIGMA_W_M2_K4 * (weight @ board_k**4)
    around = SIGMA_W_M2_K4 * AROUND_K**4
    share = plate.share_on_board()
    absorbed = EMITTER_EMISSIVITY * (share * board + (1 - share) * around)
    return np.maximum(emitted_w_m2 - absorbed, 0.02 * emitted_w_m2)


def board_extent(
    survey: Survey, board_mm: tuple[float, float] | None
) -> tuple[float, float, float, float]:
    """Return the board's (x_low, x_high, y_low, y_high), centred under the positions."""
    x_low, x_high, y_low, y_high = survey.extent_mm
    if board_mm is None:
        return x_low - RIM_MM, x_high + RIM_MM, y_low - RIM_MM, y_high + RIM_MM
    (x, y), (length, width) = survey.middle_mm, board_mm
    return x - length / 2, x + length / 2, y - width / 2, y + width / 2


def _range(values: np.ndarray) -> tuple[float, float]:
    return float(values.min()), float(values.max())
