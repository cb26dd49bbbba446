"""The factor by which a heater needs more or less power than planned: learned, bounded, frozen."""

from types import SimpleNamespace

import pytest

from emberbed_fw import heat_need as module
from emberbed_fw import plan as layout
from emberbed_fw.heat_need import ENOUGH, ONE_Q12, HeatNeed
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.units import FULL_POWER_Q15

RAMP_TICKS = 1000
START, TOP = 2500, 6500  # 4 cdeg a tick
POWER = 20000


def plan_of(kinds=(layout.RAMP, layout.HOLD, layout.RAMP)):
    """Return a plan of equal power throughout; ramps rise by TOP - START each."""
    knot = {"tick": [], "setpoint_cdeg": []}
    level = START
    for kind in kinds:
        rise = TOP - START if kind == layout.RAMP else 0
        knot["tick"] += [0, RAMP_TICKS]
        knot["setpoint_cdeg"] += [level, level + rise]
        level += rise
    stages = len(kinds)
    return SimpleNamespace(
        header={"cap0_q15": FULL_POWER_Q15},
        stage={"kind": list(kinds), "first_knot": [2 * n for n in range(stages)],
               "knots": [2] * stages},
        knot=knot,
        feedforward_q15=[[POWER] * (2 * stages)],
    )  # fmt: skip


class Run:
    """A sequencer's answers, and a board that has what it is given."""

    def __init__(self, plan=None, stage=0, tick=0):
        self.plan = plan or plan_of()
        self.need = HeatNeed(self.plan, 0)
        self.need.reset(START)
        self.stage, self.stage_tick = stage, tick
        self.offset_cdeg, self.off, self.climbing = 0, 0, False
        self.lead = SimpleNamespace(climbs=lambda: self.climbing)

    def kind(self):
        return self.plan.stage["kind"][self.stage]

    def off_plan(self):
        return self.off

    def planned_ahead_q15(self, _zone, _ticks):
        return POWER

    @property
    def setpoint_cdeg(self):
        first, last = self.plan.knot["setpoint_cdeg"][2 * self.stage : 2 * self.stage + 2]
        return first + (last - first) * self.stage_tick // RAMP_TICKS

    def go(self, ticks, times=1.0, behind_cdeg=0, planned=POWER):
        for _ in range(ticks):
            self.need.step(self, planned, round(planned * times), self.setpoint_cdeg - behind_cdeg)
            self.stage_tick += 1
        return self.need.factor_q12

    def enter(self, stage):
        self.stage, self.stage_tick = stage, 0


@pytest.mark.parametrize("times", [0.8, 1.0, 1.15, 1.25])
def test_factor_is_what_was_asked_for_over_what_was_planned(times):
    assert Run().go(RAMP_TICKS, times) == pytest.approx(times * ONE_Q12, rel=0.01)


@pytest.mark.parametrize(("times", "bound_q12"), [(0.4, 3072), (2.0, 5325)])
def test_factor_stays_within_its_bounds(times, bound_q12):
    assert Run().go(RAMP_TICKS, times) == bound_q12


def test_a_board_behind_has_had_too_little_for_where_it_is():
    # by hand: 400 cdeg behind is 100 ticks of this ramp; 900 ticks asked, 800 planned until there
    assert Run().go(900, behind_cdeg=400) == pytest.approx(9 / 8 * ONE_Q12, rel=0.01)


def test_a_board_ahead_has_had_too_much():
    assert Run().go(900, behind_cdeg=-400) == pytest.approx(9 / 10 * ONE_Q12, rel=0.01)


def test_place_in_the_plan_goes_back_with_a_board_that_falls_behind():
    run = Run()
    run.go(500, behind_cdeg=-400)
    assert run.go(400, behind_cdeg=400) == pytest.approx(9 / 8 * ONE_Q12, rel=0.01)


def test_what_was_learned_goes_on_over_a_hold_into_the_next_ramp():
    run = Run()
    run.go(RAMP_TICKS, 1.2)
    run.enter(1)
    held = run.go(RAMP_TICKS, 1.0)
    assert held == pytest.approx(1.2 * ONE_Q12, rel=0.01), "a hold itself tells nothing"
    run.enter(2)
    # by hand: 1.2 + 1.0 + 1.2 of a stage each asked, 3 planned
    assert run.go(RAMP_TICKS, 1.2) == pytest.approx(3.4 / 3 * ONE_Q12, rel=0.01)


def test_nothing_is_told_before_enough_has_been_planned():
    run = Run()
    ticks = ENOUGH // (POWER >> module.SUM_SHIFT)
    assert run.go(ticks, 1.2) == ONE_Q12
    assert run.go(50, 1.2) > ONE_Q12


def test_nothing_is_told_by_a_plan_that_has_hardly_risen():
    run = Run()
    run.need.reset(TOP)  # the board stands at the ramp's end all the time
    assert run.go(RAMP_TICKS, 1.2) == ONE_Q12


def test_without_planned_power_nothing_is_learned():
    assert Run().go(RAMP_TICKS, planned=0) == ONE_Q12


def test_a_run_that_begins_warm_learns_nothing():
    assert Run(tick=module.COLD_TICKS + 1).go(900, 1.2) == ONE_Q12
    assert Run(stage=2).go(900, 1.2) == ONE_Q12
    assert Run(tick=module.COLD_TICKS).go(900, 1.2) > ONE_Q12


@pytest.mark.parametrize("change", ["off", "offset_cdeg", "climbing"])
def test_a_persons_change_ends_the_learning_and_keeps_the_factor(change):
    run = Run()
    learned = run.go(400, 1.2)
    setattr(run, change, 1)
    assert run.go(1, 0.5) == learned
    setattr(run, change, 0)
    assert run.go(400, 0.5) == learned, "for this run"


@pytest.mark.parametrize("kind", [layout.WAIT, layout.HOT_AIR, layout.POWER])
def test_a_stage_that_a_plan_does_not_time_ends_the_learning(kind):
    run = Run(plan_of((layout.RAMP, kind, layout.RAMP)))
    learned = run.go(RAMP_TICKS, 1.2)
    run.enter(1)
    run.go(10, 0.1)
    run.enter(2)
    assert run.go(RAMP_TICKS, 0.8) == learned


def test_reset_forgets():
    run = Run()
    run.go(RAMP_TICKS, 1.2)
    run.need.stop()
    run.need.early.power_q15 = 1000
    run.need.reset(START)
    assert run.need.corrected(POWER) == POWER
    run.enter(0)
    run.need.reset(START)
    assert run.go(RAMP_TICKS, 0.9) == pytest.approx(0.9 * ONE_Q12, rel=0.01)


def test_corrected_power_is_the_planned_one_times_the_factor():
    need = Run().need
    need.factor_q12 = 4506  # 1.1
    assert need.corrected(10000) == 10000 * 4506 >> 12


def test_early_heat_comes_on_top_up_to_the_cap():
    need = Run().need
    need.early.power_q15 = 5000
    assert need.corrected(10000) == 15000
    assert need.corrected(FULL_POWER_Q15 - 1000) == FULL_POWER_Q15
    need.factor_q12 = 2 * ONE_Q12  # what is beyond the cap anyway stays: the feedback may lower it
    assert need.corrected(FULL_POWER_Q15) == 2 * FULL_POWER_Q15


def test_sums_of_the_longest_run_stay_small_integers():
    """Full power for all of it, the board anywhere; and the largest product."""
    most = layout.MAX_LONGEST_TICKS * (FULL_POWER_Q15 >> module.SUM_SHIFT)
    assert most <= SMALL_INT_MAX
    assert FULL_POWER_Q15 * module.FACTOR_MOST_Q12 <= SMALL_INT_MAX
