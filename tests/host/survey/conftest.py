"""Surveys made on the gridded plant, whose weak emitters are known; the command in process."""

import numpy as np
import pytest

from emberbed.survey.plate import Zone
from emberbed.survey.positions import Survey
from emberbed_sim.plant.grid_emitters import GridEmitter
from emberbed_sim.plant.grid_parameters import GridBench, GridBoard, Place
from emberbed_sim.plant.grid_plant import GridPlant
from emberbed_sim.plant.parameters import BoardParameters
from tests.host.cli.conftest import emberbed  # noqa: F401  (a fixture)
from tests.host.rehearsal.conftest import refused  # noqa: F401  (a fixture)

MIDDLES_MM = ((-55.0, -38.0), (55.0, -38.0), (-55.0, 38.0), (55.0, 38.0))
ZONES = [Zone(x, y, 105.0, 70.0) for x, y in MIDDLES_MM]
BOARD_MM = (180.0, 120.0)
X_MM, Y_MM = (
    one.ravel() for one in np.meshgrid(np.array([-70.0, 0.0, 70.0]), np.array([-45.0, 0.0, 45.0]))
)
HOLD_TICKS = 9000  # a quarter of an hour
STRENGTHS = [
    (1.0, 1.0, 1.0, 1.0),
    *(tuple(0.8 if n == weak else 1.0 for n in range(4)) for weak in range(4)),
]


def quadrants(strengths, zones=(0, 0, 0, 0), mass_g=240.0):
    """Return a bench with one emitter under each quarter of a scrap board."""
    emitters = tuple(
        GridEmitter("quartz", 250.0, x, y, 105.0, 70.0, zone, strength=strength)
        for (x, y), zone, strength in zip(MIDDLES_MM, zones, strengths, strict=True)
    )
    places = tuple(
        Place(f"p{n}", float(x), float(y)) for n, (x, y) in enumerate(zip(X_MM, Y_MM, strict=True))
    )
    return GridBench(GridBoard(BoardParameters(mass_g, *BOARD_MM)), emitters, places=places)


def held(benches, zone_w):
    """Return the nine places' temperatures in °C after a long hold, a row per bench."""
    plant = GridPlant(benches)
    for _tick in range(HOLD_TICKS):
        plant.step(zone_w)
    return np.array([plant.place_k(f"p{n}") for n in range(9)]).T - 273.15


def survey_of(board_c, control_c=150.0):
    return Survey(X_MM, Y_MM, np.asarray(board_c, float), control_c)


@pytest.fixture(scope="session")
def surveys():
    """Return a survey for each of STRENGTHS."""
    found_c = held([quadrants(strengths) for strengths in STRENGTHS], 330.0)
    return [survey_of(row) for row in found_c]
