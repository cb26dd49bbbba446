"""What may be true of a measurement: in what state the heater was at its first row.

A `Candidate` knows which numbers it fits, between which bounds, and turns columns of fit values
into heaters, their first warmth and the residuals against a grid. Nothing is chosen here.
"""

from dataclasses import dataclass, replace

import numpy as np

from emberbed.heater.heat_model import (
    Heater,
    Numbers,
    Warmth,
    at_rest,
    heater_of,
    in_balance,
    simulate,
)
from emberbed.heater.model_parameters import (
    BY_NAME,
    PARAMETERS,
    ZERO_C_K,
    Parameter,
    fit_spread,
    to_fit,
)
from emberbed.heater.step_data import Grid

REST, BALANCE, FREE = "at rest", "in balance", "unknown"
FAR_OFF_K = 1e4  # residual of a simulation that has no end
START_SPREAD_C = 2.0  # of the board's first temperature about the first reading
SEARCH_STEP_S, FINAL_STEP_S = 3.0, 0.5


@dataclass(frozen=True)
class Candidate:
    """Fit space of one first state; `parameters` in order, those of the start last."""

    start: str
    parameters: tuple[Parameter, ...]
    longest_step_s: float = SEARCH_STEP_S

    @property
    def names(self) -> list[str]:
        return [parameter.name for parameter in self.parameters]

    @property
    def least(self) -> np.ndarray:
        return np.array([to_fit(one, one.least) for one in self.parameters])

    @property
    def most(self) -> np.ndarray:
        return np.array([to_fit(one, one.most) for one in self.parameters])

    @property
    def usual(self) -> np.ndarray:
        return np.array([to_fit(one, one.usual) for one in self.parameters])

    @property
    def spread(self) -> np.ndarray:
        return np.array([fit_spread(one) for one in self.parameters])

    @property
    def prior_variance(self) -> np.ndarray:
        """Return what is known before any data: the stated spread, or that it lies in its range."""
        spread = self.spread
        even = (self.most - self.least) / 12**0.5
        return np.where(np.isfinite(spread), spread, even) ** 2

    def finely(self) -> "Candidate":
        """Return the same, computed in fine steps."""
        return replace(self, longest_step_s=FINAL_STEP_S)

    def values(self, fit: np.ndarray) -> dict[str, Numbers]:
        """Return the parameters by name, of one column of fit values or many."""
        return {
            one.name: np.exp(row) if one.logarithmic else row
            for one, row in zip(self.parameters, fit, strict=True)
        }

    def first_warmth(self, heater: Heater, values: dict[str, Numbers]) -> Warmth:
        """Return where everything stands at the first row."""
        if self.start == REST:
            return at_rest(heater)
        board_k = values["first_board_c"] + ZERO_C_K
        if self.start == BALANCE:
            return in_balance(heater, board_k)[0]
        around_k = values["first_surroundings_c"] + ZERO_C_K
        emitter_k = values["first_emitter_c"] + ZERO_C_K
        return Warmth(emitter_k, board_k, around_k, board_k, board_k)

    def simulated(self, fit: np.ndarray, grid: Grid) -> np.ndarray:
        """Return the free simulation in degrees C, from the first row to the grid's end."""
        values = self.values(fit)
        drive_exponent = values.get("drive_exponent", np.ones(fit.shape[1]))
        heater = heater_of({"drive_exponent": drive_exponent, **values})
        warmth = self.first_warmth(heater, values)
        heat = grid.heat(np.asarray(drive_exponent))
        with np.errstate(over="ignore", invalid="ignore"):  # a wild start may run away
            return simulate(heater, warmth, heat, grid.step_s, self.longest_step_s)

    def residuals(self, fit: np.ndarray, grid: Grid) -> np.ndarray:
        """Return simulation less measurement in K, a column per column of `fit`."""
        off = self.simulated(fit, grid) - grid.celsius[:, None]
        with np.errstate(invalid="ignore"):
            return np.where(np.abs(off) < FAR_OFF_K, off, FAR_OFF_K)


def candidates(first_c: float, linear: bool, room_c: float | None) -> list[Candidate]:
    """Return all that may be true of a file whose first reading is `first_c`.

    `linear`: the drive is in proportion to heat; `room_c`: known room temperature, None: fitted.
    """
    room = BY_NAME["room_c"] if room_c is None else _known_room(room_c)
    # a heater that is as cool as a room stands still; a warm one was held or was left a while ago
    starts = (FREE, REST if room.least <= first_c <= room.most else BALANCE)
    kept = [one for one in PARAMETERS if one.name != "room_c"]
    kept = [one for one in kept if not (linear and one.name == "drive_exponent")]
    return [Candidate(start, (*kept, room, *_first_state(start, first_c))) for start in starts]


def _known_room(room_c: float) -> Parameter:
    return BY_NAME["room_c"]._replace(
        least=room_c - 2, most=room_c + 2, usual=room_c, spread=0.5, says="room temperature, given"
    )


def _first_state(start: str, first_c: float) -> list[Parameter]:
    if start == REST:
        return []
    board = Parameter(
        "first_board_c", "degC", first_c - 3, first_c + 3, first_c, START_SPREAD_C, False,
        "board temperature at the first row",
    )  # fmt: skip
    if start == BALANCE:
        return [board]
    # where nobody knows how long it was warm before, nothing is cooler than the room
    usual_c = BY_NAME["room_c"].usual
    over_c = abs(first_c - usual_c)
    coolest_c, middle_c = min(first_c, usual_c) - 10, (first_c + usual_c) / 2
    emitter = Parameter(
        "first_emitter_c", "degC", coolest_c, 1500, first_c + over_c, 50 + 2 * over_c, False,
        "emitter temperature at the first row",
    )  # fmt: skip
    around = Parameter(
        "first_surroundings_c", "degC", coolest_c, max(first_c, usual_c) + 10, middle_c,
        5 + over_c / 2, False, "surroundings at the first row",
    )  # fmt: skip
    return [board, emitter, around]
