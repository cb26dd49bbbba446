"""The committed table: whole, well formed, and everything impossible refused in a sentence."""

from copy import deepcopy

import pytest

from emberbed_sim.campaign.phases import PHASES
from emberbed_sim.campaign.table import NOT_DETECTABLE, TRIP, TableError, cells, cells_of
from emberbed_sim.faults import KINDS
from emberbed_sim.plant.fault_kind import ON_A_WIRE

ROW = {
    "faults": ["tc_open"],
    "phases": ["ramp", "soak"],
    "expect": "trip",
    "trips": ["SENSOR_OPEN"],
    "within_s": 1.0,
}


def test_every_fault_has_an_expectation_in_every_phase():
    have = {(cell.fault, cell.phase) for cell in cells()}
    wanted = {
        (name, phase) for name, kind in KINDS.items() if kind.only != ON_A_WIRE for phase in PHASES
    }
    assert wanted - have == set()


def test_cells_have_names_of_their_own():
    names = [cell.name for cell in cells()]
    assert len(names) == len(set(names)) > 900


def test_what_cannot_be_detected_has_a_reason_and_hardware_that_answers():
    weak = [cell for cell in cells() if cell.expect == NOT_DETECTABLE]
    assert weak and all(cell.reason and cell.hardware for cell in weak)
    # 24 of them when the table was made: one more must be a decision
    assert len(weak) <= 26


def test_heat_is_off_no_later_than_the_trip():
    assert all(cell.off_s <= cell.within_s for cell in cells() if cell.expect == TRIP)


def test_a_row_makes_a_cell_of_each_phase_and_setup():
    made = cells_of({"row": [{**ROW, "sensors": ["one", "pair"]}]})
    assert [(cell.phase, cell.setup.sensors) for cell in made] == [
        ("ramp", "one"), ("ramp", "pair"), ("soak", "one"), ("soak", "pair"),
    ]  # fmt: skip
    assert {cell.off_s for cell in made} == {1.0}


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"faults": ["tc_opn"]}, "fault 'tc_opn' is not known"),
        ({"faults": ["link_flood"]}, "needs a wire"),
        ({"phases": ["ramp", "lunch"]}, "phase 'lunch' is not known"),
        ({"sensors": ["many"]}, "sensors 'many' is not known"),
        ({"expect": "fine"}, "expect is 'fine'"),
        ({"trips": ["TOO_LATE"]}, "trip 'TOO_LATE' is not known"),
        ({"excused": ["all"]}, "rule 'all' is not known"),
        ({"within": 3}, "key 'within' is not known"),
        ({"expect": "bounded"}, "key 'trips' is not known"),
        ({"phases": ["ramp", "ramp"]}, "is there twice"),
    ],
)
def test_impossible_rows_are_refused(change, sentence):
    row = {**deepcopy(ROW), **change}
    with pytest.raises(TableError, match=sentence):
        cells_of({"row": [row]})


def test_an_expectation_without_its_numbers_is_refused():
    row = {key: value for key, value in ROW.items() if key != "within_s"}
    with pytest.raises(TableError, match="within_s is missing"):
        cells_of({"row": [row]})
