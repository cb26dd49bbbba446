"""Cells: the same seed gives the same run, forks leave the snapshot alone, misses are named."""

from dataclasses import replace

import pytest

from emberbed_fw.snapshot import take_snapshot
from emberbed_sim.campaign.cells import run_cell
from emberbed_sim.campaign.phases import PHASES, snapshots
from emberbed_sim.campaign.setups import KNOWN, ONE, PAIR, WITH, Setup, draw
from emberbed_sim.campaign.table import cells

USUAL = Setup()


def cell_of(name):
    return next(cell for cell in cells() if cell.name == name)


OPEN = cell_of("tc_open soak edge/with/known")


@pytest.mark.parametrize("setup", [USUAL, Setup(ONE, WITH, KNOWN), Setup(PAIR, WITH, KNOWN)])
def test_a_healthy_run_comes_to_every_phase(setup):
    assert list(snapshots(setup, 1)) and set(snapshots(setup, 1)) == set(PHASES)


def test_the_same_seed_gives_the_same_result():
    assert run_cell(OPEN, 5) == run_cell(OPEN, 5)
    assert run_cell(OPEN, 5) != run_cell(OPEN, 6)


def test_a_seed_draws_the_board_within_its_class():
    declared_g = {"label-printer": 240, "weather-logger": 60, "remove-chip": 240, "place-chip": 240}
    for seed in range(40):
        drawn = draw(USUAL, seed)
        share = drawn.bench.board.mass_g / declared_g[drawn.profile]
        assert 0.7 <= share <= 1.4
        assert 10 <= drawn.bench.surroundings.room_c <= 35
        assert 207 <= drawn.bench.mains.actual_v <= 253


def test_a_cell_leaves_its_snapshot_as_it_was():
    loop = snapshots(USUAL, 0)["soak"]
    before = take_snapshot(loop.machine), loop.heater.truth
    run_cell(OPEN, 0)
    assert (take_snapshot(loop.machine), loop.heater.truth) == before


def test_a_found_fault_is_no_miss():
    result = run_cell(OPEN, 0)
    assert (result.miss, result.found) == ("", "SENSOR_OPEN")
    assert 0 <= result.found_s <= 0.7


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"trips": ("TICK_OVERRUN",)}, "it tripped with SENSOR_OPEN"),
        ({"within_s": 0.1}, "SENSOR_OPEN only after"),
        ({"expect": "harmless"}, "SENSOR_OPEN ended the run"),
        ({"over_k": -50.0}, "K over the target"),
        ({"resets": True}, "the watchdog did not"),
        ({"limit_k": -200.0}, "the monitor saw too_hot"),
    ],
)
def test_what_is_not_as_expected_is_a_miss(change, why):
    assert why in run_cell(replace(OPEN, **change), 0).miss


def test_a_fault_that_nobody_sees_is_a_miss():
    quiet = replace(
        cell_of("tach_dead soak edge/with/known"), expect="trip", trips=("HEAP_LOW",), within_s=1.0
    )
    assert run_cell(quiet, 0).miss.startswith("nothing tripped")


def test_heat_where_arming_should_be_refused_is_a_miss():
    heated = replace(cell_of("tach_dead idle edge/with/known"), expect="refused", window_s=10.0)
    assert run_cell(heated, 0).miss.startswith("it heated")
