"""The trial of gains: it is the firmware, on the identified heater's own equations."""

import numpy as np
import pytest

from emberbed.heater.default_gains import Gains
from emberbed.heater.device_gains import TICK_S
from emberbed.heater.firmware_trial import (
    CannotTry,
    Course,
    Job,
    Situation,
    figures,
    judged,
    made_trial,
)
from emberbed.heater.heat_model import heater_of
from emberbed.heater.rehearse_gains import WATTS, closed_loop, run_job
from emberbed.heater.rehearse_heat import IdentifiedHeat
from emberbed.records import decode_record
from emberbed_fw.pid import Pid
from emberbed_fw.units import FULL_POWER_Q15
from emberbed_sim.plant.nozzle import STILL
from emberbed_sim.plant.parameters import sensor_at
from tests.host.heater.heater_texts import heater
from tests.host.heater.made_heater import LABEL_PRINTER, solved

HERE = Situation({"drive_exponent": 1.0, **LABEL_PRINTER}, 1.0)
SHORT = Job(LABEL_PRINTER["room_c"], (45.0,), (0.15,), 30.0)


def test_the_heat_is_the_identified_heaters():
    """Against solve_ivp on the equations written down apart (made_heater)."""
    heat = IdentifiedHeat(heater_of(HERE.values, WATTS), TICK_S)
    beginning_j = heat.stored_j()
    for tick in range(3000):
        heat.step((0.6 * WATTS if tick < 2000 else 0.0,), 0.0, STILL, 0.0)
    _s, _drive, sensor_c = solved(LABEL_PRINTER, WATTS, ((200, 0.6), (300, 0.0), (301, 0.0)), 1.0)
    # the sensor follows the board by its lag; on this slow coast by lag x slope
    slope = sensor_c[-1] - sensor_c[-2]
    board_c = sensor_c[300] + LABEL_PRINTER["sensor_lag_s"] * slope
    assert heat.felt(sensor_at("bead", "board_centre")).place_c == pytest.approx(board_c, abs=0.1)
    stored_j = heat.stored_j() - beginning_j
    assert stored_j + heat.energy_to_room_j == pytest.approx(heat.energy_in_j)
    assert heat.energy_in_j == pytest.approx(0.6 * WATTS * 200)
    with pytest.raises(ValueError, match="knows no fan"):
        heat.step((0.0,), 1.0, STILL, 0.0)


def test_the_run_is_the_closed_loops():
    """Records of the firmware tell the same powers and setpoints, tick by tick."""
    course = run_job(HERE, SHORT, Gains())
    records = [decode_record(raw) for raw in closed_loop(HERE, SHORT, Gains()).run(5000)]
    staged = [one for one in records if one.asked_cdeg() is not None][: len(course.power)]
    assert course.finished and len(staged) == len(course.power) > 800
    power = [one.demand0_q15 / FULL_POWER_Q15 for one in staged]
    assert course.power == pytest.approx(power, abs=0)
    assert course.setpoint_c == pytest.approx([one.asked_cdeg() / 100 for one in staged], abs=0)


def test_another_rounding_in_the_firmware_is_seen(monkeypatch):
    before = run_job(HERE, SHORT, Gains())
    opened = Pid.__init__

    def coarser(self, header, zone):
        opened(self, header, zone)
        self._kp_q8 = self._kp_q8 >> 6 << 6

    monkeypatch.setattr(Pid, "__init__", coarser)
    assert not np.array_equal(run_job(HERE, SHORT, Gains()).board_c, before.board_c)


def test_more_mains_heats_more():
    low, high = (
        run_job(HERE._replace(mains=mains), SHORT, Gains()).board_c[:600].max()
        for mains in (0.9, 1.1)
    )
    assert high > low


def test_figures_by_hand():
    asked, aims = np.array([30.0, 40.0, 40.0, 40.0]), np.full(4, 40.0)
    board, holds = np.array([28.0, 37.0, 41.0, 40.5]), np.array([False, False, True, True])
    course = Course(asked, aims, board, board * 0, holds, True)
    job = Job(20.0, (40.0,), (2.0,), 90.0)  # 10 s of ramp
    found = judged(course, job)
    assert found[:3] == (2.5, 0.75, 1.0)
    planned_s = 10 + 90
    assert found.cost_c == pytest.approx(6.5 * TICK_S / planned_s + 1.0)
    lost = judged(Course(asked, aims, board, board * 0, holds, False), job)
    assert lost.cost_c == np.inf


def test_what_is_drawn():
    trial = made_trial(heater(), 4, 7)
    assert trial == made_trial(heater(), 4, 7) != made_trial(heater(), 4, 8)
    assert [one.mains for one in trial.situations] == [1.0, 0.9, 1.1, 0.9, 1.1]
    assert trial.situations[0].values == heater().values
    assert trial.job.levels_c == (90.0, 130.0)
    assert trial.situations[1].values["board_lag_s"] != heater().values["board_lag_s"]


def earned():
    return heater().model_copy(
        update={"fit": heater().fit.model_copy(update={"percent_unseen": 95.0})}
    )


def test_a_file_that_has_earned_it_is_tried_as_it_will_run():
    assert not made_trial(heater(), 4, 7).planned
    plain, trial = made_trial(heater(), 4, 7), made_trial(earned(), 4, 7)
    assert trial.planned and trial.situations[0] == plain.situations[0]
    lags = [[one.values["board_lag_s"] for one in found.situations[1:]] for found in (plain, trial)]
    # each board at low and at high mains, 1.25 and 0.8 times what was measured
    ratios = [of_trial / drawn for drawn, of_trial in zip(*lags, strict=True)]
    assert ratios == pytest.approx([1.25, 1.25, 0.8, 0.8])
    assert [one.mains for one in trial.situations[1:]] == [0.9, 1.1, 0.9, 1.1]


def test_a_planned_trial_gives_power_that_no_error_asked_for():
    gains = Gains(0.0, 0.0, 0.0)
    assert not run_job(HERE, SHORT, gains).power.any()
    planned = run_job(HERE, SHORT, gains, made_for=HERE.values)
    assert planned.power.any()
    # its own model's heater: the plan alone leads there
    assert abs(planned.board_c - planned.setpoint_c).max() < 1.5
    heavy = HERE._replace(values={**HERE.values, "board_capacity_s_per_k": 0.2})
    assert (
        figures(made_trial(earned(), 0, 1)._replace(job=SHORT), Gains(), 0).cost_c
        < figures(made_trial(heater(), 0, 1)._replace(job=SHORT), Gains(), 0).cost_c
    )
    assert run_job(heavy, SHORT, gains, made_for=HERE.values).board_c.max() != pytest.approx(
        planned.board_c.max(), abs=0.5
    )


def test_a_heater_that_reaches_nothing():
    with pytest.raises(CannotTry, match="hardly reaches 90 °C"):
        made_trial(heater(surroundings_rise_k=1.0, emitter_share=0.02, board_lag_s=30.0), 2, 1)


def test_same_figures_again():
    trial = made_trial(heater(), 1, 1)._replace(job=SHORT)
    assert figures(trial, Gains(), 1) == figures(trial, Gains(), 1)
    assert figures(trial, Gains(), 1) != figures(trial, Gains(0.05), 1)
