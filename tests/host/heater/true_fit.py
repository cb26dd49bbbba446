"""A fit that needed no search: made data with the numbers they were made of."""

import numpy as np

from emberbed.heater.candidates import BALANCE, REST, candidates
from emberbed.heater.identify import MOST_STEPS, Fit, Fitted, noise_of
from emberbed.heater.model_parameters import to_fit
from emberbed.heater.step_data import WATTS, grid_step_s, to_grid
from tests.host.heater.made_heater import made


def true_fit(kind, seed=1):
    """Return the Fitted that a perfect search would find."""
    measured, truth, full = made(kind, seed)
    start = REST if kind == "watts" else BALANCE
    first_c = float(measured.temperature_c[0])
    possible = candidates(first_c, measured.kind == WATTS, None)
    candidate = next(one for one in possible if one.start == start).finely()
    values = {"first_board_c": first_c, **truth}
    at = np.array([to_fit(one, values[one.name]) for one in candidate.parameters])
    grid = to_grid(measured, full, grid_step_s(measured, MOST_STEPS))
    predicted = np.interp(
        measured.seconds, grid.seconds, candidate.simulated(at[:, None], grid)[:, 0]
    )
    fit, rows = Fit(candidate, at, grid, noise_of(candidate, at, grid)), len(measured.seconds)
    return Fitted(measured, rows, full, fit, fit, rows, predicted, {start: 0.0})
