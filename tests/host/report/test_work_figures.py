"""Figures of the work against curves whose answers are worked out by hand in the comments."""

import numpy as np
import pytest

from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed.report.series import series_of
from emberbed.report.spells import held_spells, hot_air_spells
from emberbed.report.work_figures import seconds_above, spread_c, work_figures
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.plan import ROLE_CHIP_TOP, ROLE_EMITTER, ROLE_NEIGHBOUR, ROLE_PAIR
from emberbed_fw.units import NO_READING_CDEG
from tests.host.report.hand_run import HandRun
from tests.host.store.synthetic_run import tick_record
from tests.support.plans import build_plan, cool, hold, hot_air, ramp

LIQUIDUS_C = 217.0  # the lead-free TL of J-STD-020 table 5-2 (facts.md 1a)


def plan_of(*stages, **header):
    return decode_plan(build_plan([*(stages or (ramp(2000, 9000, 700),)), cool()], **header))


def series(count, **columns):
    """Return a run in one heating stage; a column is a list with one value for each tick."""
    usual = {"state": rs.RUN, "stage": 0}
    return series_of(
        decode_record(
            tick_record(
                tick, **{**usual, **{name: values[tick] for name, values in columns.items()}}
            )
        )
        for tick in range(count)
    )


def deeds(count, *those, **columns):
    """Return a run with deeds; each is (tick, touch, mark)."""
    touch, mark = [0] * count, [0] * count
    for tick, made, marked in those:
        touch[tick], mark[tick] = made, marked
    return series(count, touch=touch, mark=mark, touch_source=[ms.BY_PAGE] * count, **columns)


def cdeg(celsius):
    return [NO_READING_CDEG if c is None else round(c * 100) for c in celsius]


# time above liquidus


def test_a_worked_example_of_time_above_liquidus():
    """Up from 200 degC at 2 degC a second to 245, down again at 3 degC a second.

    By hand: above 217 for (245 - 217) / 2 = 14 s on the way up and (245 - 217) / 3 = 9.333 s on the
    way down, 23.333 s in all. Ticks of 0.1 s: 22.5 s up, 15 s down.
    """
    seconds = np.arange(0, 37.6, 0.1)
    celsius = np.where(seconds <= 22.5, 200 + 2 * seconds, 245 - 3 * (seconds - 22.5))
    assert seconds_above(seconds, celsius, LIQUIDUS_C) == pytest.approx(14 + 28 / 3, abs=1e-6)


def test_crossings_lie_on_the_line_between_two_readings():
    # by hand: 216 -> 218 crosses 217 half way, 0.5 s; 218 -> 214 crosses it after a quarter
    seconds = np.array([0.0, 1.0, 2.0, 3.0])
    assert seconds_above(seconds, np.array([216.0, 218, 218, 214]), 217) == pytest.approx(1.75)
    assert seconds_above(seconds, np.array([217.0, 217, 217, 217]), 217) == 0, "at it is not above"
    assert seconds_above(seconds, np.array([217.0, 218, 217, 216]), 217) == pytest.approx(2.0)


def test_coarse_readings_give_the_time_of_fine_ones():
    """A triangle sampled every second has its crossings where the fine one has them, if the corner
    is sampled: both are the same straight lines."""
    fine, coarse = (np.arange(0, 60.0001, step) for step in (0.1, 1.0))
    times = [
        seconds_above(s, 245 - 2 * np.abs(s - 30), LIQUIDUS_C) for s in (fine, coarse)
    ]  # 28 degC at 2 degC a second, twice
    assert times == [pytest.approx(28), pytest.approx(28)]


def test_what_no_sensor_saw_is_not_counted():
    seconds = np.array([0.0, 0.1, 0.2, 30.0, 30.1])
    assert seconds_above(seconds, np.full(5, 230.0), 217) == pytest.approx(0.3)
    blind = np.array([230.0, np.nan, 230, 230, 230])
    assert seconds_above(seconds, blind, 217) == pytest.approx(0.3), "one doubtful tick is bridged"
    assert seconds_above(seconds, np.full(5, np.nan), 217) == 0
    assert seconds_above(np.empty(0), np.empty(0), 217) == 0


def test_the_chip_s_own_sensor_speaks_where_there_is_one():
    hot, cold = cdeg([230] * 50), cdeg([130] * 50)
    both = series(50, channel0_cdeg=cold, channel2_cdeg=hot)
    with_top = work_figures(both, plan_of(role2=ROLE_CHIP_TOP), LIQUIDUS_C)
    assert (with_top.chip_channel, with_top.chip_on_top) == (2, True)
    assert with_top.above_liquidus_s == pytest.approx(4.9)
    without = work_figures(both, plan_of(role2=ROLE_NEIGHBOUR), LIQUIDUS_C)
    assert (without.chip_channel, without.chip_on_top) == (0, False)
    assert without.above_liquidus_s == 0
    silent = work_figures(series(50, channel0_cdeg=cold), plan_of(role2=ROLE_CHIP_TOP), LIQUIDUS_C)
    assert (silent.chip_channel, silent.chip_on_top) == (0, False), "a dead sensor tells nothing"
    assert work_figures(both, plan_of(), None).above_liquidus_s is None


# evenness


def test_spread_is_judged_where_the_device_judges_it():
    """Hottest less coldest of control, edge and pair, away from the nozzle (plan.tells_spread)."""
    readings = dict(
        channel0_cdeg=cdeg([100, 101, 102]), channel1_cdeg=cdeg([97, 96, 99]),
        channel2_cdeg=cdeg([200] * 3), channel3_cdeg=cdeg([20] * 3),
    )  # fmt: skip
    run = series(3, **readings)
    assert spread_c(run, plan_of(role2=ROLE_EMITTER, role3=ROLE_NEIGHBOUR)).tolist() == [3, 5, 3]
    assert spread_c(run, plan_of(role2=ROLE_PAIR)).tolist() == [103, 104, 101]
    in_jet = plan_of(role2=ROLE_PAIR, in_jet_channels=1 << 2)
    assert spread_c(run, in_jet).tolist() == [3, 5, 3]
    assert np.isnan(spread_c(run, plan_of(role1=ROLE_NEIGHBOUR))).all(), "one sensor has no spread"
    assert np.isnan(spread_c(run, None)).all()


def test_spread_largest_and_in_each_hold():
    count = 60
    plan = plan_of(ramp(2000, 9000, 700), hold(9000, 20), hold(9000, 20))
    stage = [0] * 20 + [1] * 20 + [2] * 20
    edge = [80.0] * 60
    edge[10], edge[30], edge[45] = 70, 76, 78  # spreads of 20, 14 and 12
    run = series(count, stage=stage, channel0_cdeg=cdeg([90] * 60), channel1_cdeg=cdeg(edge))
    figures = work_figures(run, plan)
    assert (figures.spread_c, figures.spread_at_s) == (20, pytest.approx(1.0))
    assert figures.hold_spreads_c == {1: 14, 2: 12}


def test_spread_while_cooling_is_nobody_s_fault():
    state = [rs.RUN] * 5 + [rs.COOL] * 5
    control, edge = [90] * 10, [88] * 5 + [40] * 5
    run = series(10, state=state, channel0_cdeg=cdeg(control), channel1_cdeg=cdeg(edge))
    assert work_figures(run, plan_of()).spread_c == 2


def test_missing_readings_have_no_spread():
    run = series(3, channel0_cdeg=cdeg([90, None, 90]), channel1_cdeg=cdeg([80, 80, None]))
    spread = spread_c(run, plan_of())
    assert spread[0] == 10 and np.isnan(spread[1:]).all()


# spells


def test_time_in_hot_air_is_the_stage_after_the_nozzle_is_on():
    plan = plan_of(ramp(2000, 9000, 700), hot_air(9000))
    state = [rs.RUN] * 10 + [rs.WAIT] * 10 + [rs.RUN] * 30 + [rs.COOL] * 10
    stage = [0] * 10 + [1] * 40 + [2] * 10
    run = series(60, state=state, stage=stage)
    (spell,) = hot_air_spells(run, plan)
    assert (spell.first, spell.last) == (20, 49)
    assert work_figures(run, plan).hot_air_s == pytest.approx(3.0)


def test_hot_air_without_a_stage_of_its_own_is_told_by_its_marks():
    marks = [(10, ms.MARK, ms.MARK_NOZZLE_ON), (20, ms.MARK, ms.MARK_SOLDER_MOVES),
             (45, ms.MARK, ms.MARK_AIR_AWAY), (50, ms.MARK, ms.MARK_NOZZLE_ON)]  # fmt: skip
    run = deeds(60, *marks)
    figures = work_figures(run, plan_of())
    assert figures.hot_air_s == pytest.approx(3.5)
    assert figures.moves_to_away_s == [pytest.approx(2.5)]
    assert figures.marks == 4 and figures.touches == {}


def test_each_time_the_solder_moves_is_told():
    moves, away = ms.MARK_SOLDER_MOVES, ms.MARK_AIR_AWAY
    run = deeds(80, (5, ms.MARK, moves), (8, ms.MARK, moves), (20, ms.MARK, away),
                (30, ms.MARK, away), (40, ms.MARK, moves), (70, ms.ANSWER, away))  # fmt: skip
    assert work_figures(run, None).moves_to_away_s == [pytest.approx(1.2), pytest.approx(3.0)]


def test_a_question_while_holding_belongs_to_it():
    held, asks = rs.WAITS_HELD, rs.WAITS_ANSWER
    waits = [0] * 5 + [asks] * 5 + [held] * 10 + [asks] * 5 + [held] * 5 + [asks] * 5 + [0] * 5
    run = deeds(40, (10, ms.HOLD_HERE, 0), (30, ms.GO_ON, 0), waits_for=waits)
    (spell,) = held_spells(run)
    assert (spell.first, spell.last, spell.touch) == (10, 29, ms.HOLD_HERE)
    assert work_figures(run, None).held_s == pytest.approx(2.0)


def test_held_again_at_another_place_is_another_spell():
    waits = [0] * 5 + [rs.WAITS_HELD] * 20 + [0] * 5
    run = deeds(30, (5, ms.HOLD_HERE, 0), (15, ms.LAST_PLATEAU, 0), waits_for=waits)
    assert [(s.first, s.last, s.touch) for s in held_spells(run)] == [
        (5, 14, ms.HOLD_HERE), (15, 24, ms.LAST_PLATEAU),
    ]  # fmt: skip


def test_only_changes_are_counted_by_their_source():
    run = deeds(20, (1, ms.HOLD_HERE, 0), (2, ms.GO_ON, 0), (3, ms.ANSWER, 0), (4, ms.FAN_NOW, 0),
                (5, ms.MARK, ms.MARK_NOTE))  # fmt: skip
    assert work_figures(run, None).touches == {ms.BY_PAGE: 2}


def test_the_firmware_s_own_run():
    """The same figures from a run of the firmware; times are those of the hands below."""
    run = HandRun().start().until_stage(3).seconds(12).answered().until_stage(4).seconds(10)
    run.did(ms.HOLD_HERE).seconds(25).did(ms.GO_ON).until_stage(6).seconds(8).answered()
    run.seconds(60).did(ms.MARK).seconds(20).did(ms.MARK).seconds(5).did(ms.MARK).finish()
    figures = work_figures(series_of(run.records()), run.decoded_plan, 183)  # Sn63Pb37
    assert figures.hot_air_s == pytest.approx(85, abs=0.5)
    assert figures.moves_to_away_s == [pytest.approx(25, abs=0.3)]
    assert figures.held_s == pytest.approx(25, abs=0.3)
    assert figures.spread_c == pytest.approx(2, abs=0.3) and set(figures.hold_spreads_c) == {1, 4}
    # the chip's top goes at 20 degC a second to 90 degC above the board's 130: 53 degC up to
    # liquidus take 2.65 s, and from 220 degC it is below it again after 1.85 s
    assert figures.above_liquidus_s == pytest.approx(85 - 2.65 + 1.85, abs=0.4)
    assert (figures.marks, figures.touches) == (5, {ms.BY_TERMINAL: 2})


def test_a_record_of_nothing_has_no_figures():
    figures = work_figures(series_of([]), None)
    assert figures.above_liquidus_s is None and figures.spread_c is None
    assert figures.hot_air == figures.held == []
