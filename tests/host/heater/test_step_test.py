"""The step test: its profile, its energy, what it does to a simulated board, its rows."""

from dataclasses import replace

import numpy as np
import pytest

from emberbed.device_description import Channel, DeviceDescription
from emberbed.heater import run_rows
from emberbed.heater.csv_reader import TableMistake
from emberbed.heater.step_test import SECOND_HEATING, StepTest, step_test_profile
from emberbed.profiles.check import check_profile, has_errors
from emberbed.profiles.compile import compile_plan
from emberbed.profiles.reader import ProfileMistakes, parse_profile
from emberbed.records import decode_record
from emberbed.store.run_store import RunStore
from emberbed_fw import run_states as rs
from emberbed_fw.units import NO_READING_CDEG
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters
from tests.host.profiles.profile_texts import CEILINGS_CDEG, NAMES
from tests.host.store.synthetic_run import PLAN, drawn_record, facts


@pytest.fixture
def store_of_runs(tmp_path):
    """Return a store and the number of a run in it whose records all are of its first stage."""
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        run_id = store.begin_run(facts(plan=PLAN))
        store.append(run_id, [drawn_record(tick) for tick in range(10)])
        yield store, run_id


BOARD = ("SAC305", "FR-4 Tg 150")


def test_it_is_a_profile_like_any_other():
    test = step_test_profile(110, NAMES, 50, *BOARD)
    assert parse_profile(test.text.encode(), "again").model == test.model
    assert not has_errors(check_profile(test, NAMES, CEILINGS_CDEG, 1000))
    *steps, cool = test.model.stages
    assert [stage.percent for stage in steps] == [50, 0, 25, 0]
    assert [stage.limit_c for stage in steps] == [110, 135, 110, 135]
    assert cool.fan == "never"
    assert steps[SECOND_HEATING].percent > 0 == steps[SECOND_HEATING - 1].percent


@pytest.mark.parametrize("percent", [10, 33, 50, 60])
def test_its_energy_is_limited(percent):
    """No first step is more than 3 min of full power, our choice, nor longer than 6 min."""
    first = step_test_profile(110, NAMES, percent, *BOARD).model.stages[0]
    assert first.for_s <= 360
    assert first.for_s * percent / 100 <= 180


@pytest.mark.parametrize(
    ("limit_c", "percent", "said"),
    [
        (59, 50, "59 °C is outside 60 to 235"),
        (236, 50, "236 °C is outside"),
        (float("nan"), 50, "nan °C is outside"),
        (110, 61, "61 % of full power is outside 10 to 60"),
        (110, 9, "9 % of full power"),
    ],
)
def test_what_cannot_be_is_one_sentence(limit_c, percent, said):
    with pytest.raises(ProfileMistakes) as told:
        step_test_profile(limit_c, NAMES, percent, *BOARD)
    (sentence,) = told.value.sentences
    assert said in sentence


def test_a_sensor_on_the_heater_does_not_control():
    """More than any board may get (260 °C) is allowed only there."""
    channels = [
        Channel("rod", "MAX31855", 60000, 0, 4096),
        Channel("top", "MAX31855", 20000, 0, 4096),
        Channel("edge", "MAX31855", 20000, 0, 4096),
    ]
    device = DeviceDescription(channels, [], True, True, True, True)
    sensors = StepTest(110, 50, *BOARD).on(device).model.sensors
    assert {name: one.role for name, one in sensors.items()} == {
        "top": "control", "edge": "edge", "rod": "emitter",
    }  # fmt: skip


@pytest.mark.parametrize("mass_g", [60, 240])
def test_the_board_stays_below_limit_and_stored_heat(mass_g):
    """Run by the firmware on the simulated bench, judged by the true board, not by its sensors."""
    bench = BenchParameters()
    bench = replace(bench, board=replace(bench.board, mass_g=float(mass_g)))
    plan = compile_plan(step_test_profile(110, NAMES, 60, *BOARD).model, NAMES, CEILINGS_CDEG)
    loop = ClosedLoop(bench_settings(bench), plan, SimulatedHeater(bench, 2, ()))
    hottest_c = 0.0
    records = []
    for raw in loop.run():
        records.append(raw)
        hottest_c = max(hottest_c, loop.heater.truth.board_centre_c)
    assert decode_record(records[-1]).state == rs.FINISHED
    assert 100 < hottest_c < 135


def test_the_rows_of_a_run():
    """Rows of 2 s, by hand: on for half of the time, then off; a reading lost is no row of 0 °C."""
    seconds = np.arange(0, 20, 0.1)
    driven = np.where(seconds < 9.95, np.arange(200) % 2, 0.0)
    cdeg = 2000 + 100 * seconds
    cdeg[45:95] = NO_READING_CDEG  # nothing is left of the rows at 6 and 8 s
    rows_s, drive, celsius = run_rows.even_rows(seconds, driven, cdeg)
    assert list(rows_s) == [0, 2, 4, 10, 12, 14, 16, 18]
    assert drive == pytest.approx([0.5, 0.5, 0.5, 0, 0, 0, 0, 0], abs=0.06)
    assert celsius == pytest.approx(20 + rows_s, abs=0.5)


def test_a_run_that_was_no_step_test(store_of_runs):
    """A run without a third stage cannot be foretold from its second heating on."""
    store, run_id = store_of_runs
    with pytest.raises(TableMistake, match="has no second heating"):
        run_rows.measured_run(store, run_id)
