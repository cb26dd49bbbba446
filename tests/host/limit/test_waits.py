"""Power about a wait for a person: nothing of what follows before its end, and planned anew."""

import numpy as np
import pytest

from emberbed.heater.heat_model import HeatModel, at_rest, heater_of
from emberbed.heater.model_parameters import ZERO_C_K
from emberbed.limit.anew import powers_anew, stages_ahead
from emberbed.limit.feedforward import course_of
from emberbed.limit.warmth import WarmthNow
from emberbed_fw import plan as layout
from emberbed_fw.units import FULL_POWER_Q15
from tests.benchmarks.control.ours import heater_file
from tests.benchmarks.control.waits import profile_of
from tests.host.limit.test_feedforward import planned

KIND = "halogen"
HOLD, WAIT, RAMP, NEXT_HOLD = 1, 2, 3, 4  # of the profile of two ramps


@pytest.fixture(scope="module")
def values():
    return heater_file(KIND).values


@pytest.fixture(scope="module")
def course(values):
    return course_of(values, profile_of(KIND), 23.0, 1.0)


@pytest.fixture(scope="module")
def plan(values):
    return planned(values, profile_of(KIND))


def powers_of(plan):
    return [knot["feedforward0_q15"] for knot in plan.knots]


# before heat


def test_nobody_knows_when_a_wait_ends_so_nothing_is_planned_into_it(course):
    """At its end the power is what holds the board; the ramp's own begins with the ramp."""
    line, power = course.line, course.optimum.power
    wait, ramp = (round(line.begins_s[n] / line.step_s) for n in (WAIT, RAMP))
    assert np.ptp(power[ramp - 10 : ramp]) < 0.01
    assert power[ramp] > power[ramp - 1] + 0.1
    assert [piece.stop for piece in line.pieces()] == [ramp, line.steps] and wait < ramp


def test_power_of_the_waits_knot_holds_the_board(course, values):
    """Against the model's own balance at the wait's temperature, with the surroundings by then."""
    (knot,) = course.courses[WAIT]
    heater = heater_of({**values, "room_c": 23.0})
    model = HeatModel(heater, at_rest(heater), 1.0)
    for power in course.optimum.power[: course.line.pieces()[0].stop]:  # of 1 s
        model.step(power)
    before_k = model.warmth.board_k
    for _second in range(20):
        model.step(knot.feedforward0_q15 / FULL_POWER_Q15)
    assert model.warmth.board_k == pytest.approx(before_k, abs=0.3)


def test_reading_runs_on_from_piece_to_piece(course):
    assert np.abs(np.diff(course.optimum.reading_c)).max() < 2  # 1 degC/s in steps of 1 s


# how warm it is


def driven(values, powers, watts=1.0, capacity=1.0):
    """Return what is known after driving another heater than the file's with these powers."""
    truth = heater_of({**values, "room_c": 23.0})
    truth = truth._replace(board_j_k=truth.board_j_k * capacity)
    model = HeatModel(truth, at_rest(truth), 1.0)
    now = WarmthNow(values, 23.0)
    for power in powers:
        model.step(watts * power)
        now.step(power, float(model.warmth.sensor_k) - ZERO_C_K)
    return now, model


def test_known_heater_is_as_warm_as_its_model(values):
    now, model = driven(values, [0.6] * 60 + [0.1] * 200)
    assert now.lack == pytest.approx(0, abs=1e-6)
    assert np.allclose(now.warmth, model.warmth, atol=0.01)


@pytest.mark.parametrize("watts", [0.85, 1.15])
def test_mains_that_differ_are_found_as_power_that_lacks(values, watts):
    powers = [0.6] * 60 + [0.2] * 900
    now, model = driven(values, powers, watts)
    assert now.lack == pytest.approx(0.2 * (watts - 1), abs=0.01)
    assert now.warmth.emitter_k == pytest.approx(model.warmth.emitter_k, abs=8)
    assert now.warmth.sensor_k == pytest.approx(model.warmth.sensor_k, abs=0.5)


def test_warm_board_tells_nothing_of_the_room(values):
    assert WarmthNow(values, 55.0).room_c == values["room_c"]
    assert WarmthNow(values, 31.0).room_c == 31.0


# anew


def run_up(plan, wait_s):
    """Return the power of each second of the first ramp and of a wait at its end."""
    knots = plan.knots_of(0)
    at_s = [knot["tick"] / 10 for knot in knots]
    powers_q15 = [knot["feedforward0_q15"] for knot in knots]
    middles_s = np.arange(round(at_s[-1])) + 0.5
    ramp = np.interp(middles_s, at_s, powers_q15) / FULL_POWER_Q15
    held = powers_of(plan)[plan.stages[WAIT]["first_knot"]] / FULL_POWER_Q15
    return [*ramp, *[held] * round(wait_s)]


def anew(values, plan, wait_s, holding=None):
    """Return the powers after a wait of this length on the file's own heater."""
    powers = run_up(plan, wait_s)
    now, _model = driven(values, powers)
    holding = powers[-1] if holding is None else holding
    known = (values, now.room_c, now.warmth, now.lack, plan, WAIT, holding, powers_of(plan))
    return powers_anew(*known)


def test_only_stages_that_need_nobody_are_planned(plan, values):
    before, after = powers_of(plan), anew(values, plan, 150)
    first = plan.stages[RAMP]["first_knot"]
    assert len(after) == len(before) and after[:first] == before[:first]
    assert after[first:] != before[first:]
    assert all(0 <= power <= plan.header["cap0_q15"] for power in after)


def test_as_long_a_wait_as_planned_gives_about_the_plan_again(plan, values):
    """Hold and wait of the plan are 150 s; what differs is how knots stand for the course."""
    off = np.array(anew(values, plan, 150)) - powers_of(plan)
    assert np.sqrt(np.mean((off / FULL_POWER_Q15) ** 2)) < 0.06


def test_what_the_integral_holds_besides_is_not_given_twice(plan, values):
    """The device holds with a tenth more than the plan's power: its integral goes on with that."""
    wait_q15 = powers_of(plan)[plan.stages[WAIT]["first_knot"]]
    more = anew(values, plan, 150, wait_q15 / FULL_POWER_Q15 + 0.1)
    same = anew(values, plan, 150)
    # at the end of the hold, away from what the cap and zero cut off
    assert same[-1] - more[-1] == pytest.approx(0.1 * FULL_POWER_Q15, abs=2)


def test_stages_ahead_end_where_a_person_is_needed_again(plan):
    assert list(stages_ahead(plan, WAIT)) == [RAMP, NEXT_HOLD]
    assert list(stages_ahead(plan, 0)) == [HOLD]
    assert list(stages_ahead(plan, NEXT_HOLD)) == []
    assert plan.stages[WAIT]["kind"] == layout.WAIT
