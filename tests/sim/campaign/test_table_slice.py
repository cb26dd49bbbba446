"""A slice of the table with one seed: each cell is as expected. The whole is the campaign."""

import pytest

from emberbed_sim.campaign.cells import run_cell
from emberbed_sim.campaign.table import cells

EVERY = 16
SEED = 0
SLICE = [cell for cell in cells() if cell.setup.knowledge == "known"][::EVERY]


@pytest.mark.parametrize("cell", SLICE, ids=lambda cell: cell.name)
def test_a_slice_of_the_table_is_as_expected(cell):
    assert run_cell(cell, SEED).miss == ""
