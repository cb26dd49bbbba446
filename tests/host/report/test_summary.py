"""Figures of a run against curves whose answers are known without our code."""

import numpy as np
import pytest
from scipy.stats import linregress

from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed.report.slopes import window_slopes
from emberbed.report.summary import summarise
from emberbed_fw import run_states
from emberbed_fw.plan import ROLE_EMITTER
from emberbed_fw.units import NO_READING_CDEG
from tests.host.store.synthetic_run import (
    COOL_TICKS,
    DRAWN_TICKS,
    HOLD_TICKS,
    PLAN,
    RAMP_TICKS,
    WAIT_TICKS,
    drawn_record,
    drawn_run,
    tick_record,
)
from tests.support.plans import build_plan, cool, ramp

DRAWN_PLAN = decode_plan(PLAN)


def course(celsius, channel=0, **fields):
    """Return records whose `channel` reads `celsius`, one entry per tick (None: no reading)."""
    return [
        decode_record(
            tick_record(
                tick,
                state=run_states.RUN,
                stage=0,
                **{
                    f"channel{channel}_cdeg": NO_READING_CDEG if c is None else round(c * 100),
                    **fields,
                },
            )
        )
        for tick, c in enumerate(celsius)
    ]


def one_ramp(**header):
    return decode_plan(build_plan([ramp(2000, 9000, 700), cool()], **header))


def test_the_drawn_run():
    figures = summarise([decode_record(octets) for octets in drawn_run()], DRAWN_PLAN)
    # drawn: 65 C in 81.2 s, and 0.05 C per tick down
    assert figures.largest_ramp_c_per_s == pytest.approx(65 / 81.2, rel=2e-3)
    assert figures.largest_cooling_c_per_s == pytest.approx(0.5, rel=1e-3)
    assert figures.peaks_c == {0: 90.0, 1: 86.0}
    assert figures.duration_s == pytest.approx((DRAWN_TICKS - 1) / 10)
    assert figures.energy_j == (RAMP_TICKS + HOLD_TICKS + WAIT_TICKS) * 37
    assert figures.limits_exceeded == [] and figures.longest_gap_s == 0
    assert [stage.kind for stage in figures.stages] == ["ramp", "hold", "wait", "cool"]
    taken = [stage.taken_s for stage in figures.stages]
    assert taken == pytest.approx([RAMP_TICKS / 10, HOLD_TICKS / 10, WAIT_TICKS / 10,
                                   COOL_TICKS / 10])  # fmt: skip
    assert [stage.planned_s for stage in figures.stages] == [81.2, 60.0, None, None]
    in_band = [stage.in_band_s for stage in figures.stages]
    assert in_band == [None, pytest.approx(60.0), None, None]


@pytest.mark.parametrize("c_per_s", [0.05, 0.8, 2.9, -0.5, -5.9])
def test_the_slope_of_a_straight_line_is_its_rate(c_per_s):
    seconds = np.arange(300) / 10
    middles, slopes = window_slopes(seconds, 200 + c_per_s * seconds)
    assert len(slopes) == 200 and middles[0] == pytest.approx(5.0)
    assert slopes == pytest.approx(np.full(200, c_per_s))


def test_slopes_equal_those_of_scipy():
    # scipy.stats.linregress as the reference; uneven stamps and noise, seeded
    random = np.random.default_rng(7)
    seconds = 80_000 + np.cumsum(random.uniform(0.098, 0.102, 5000))
    celsius = 90 + 30 * np.sin(seconds / 37) + random.normal(0, 0.3, 5000)
    middles, slopes = window_slopes(seconds, celsius)
    assert len(slopes) == 4900
    for first in [*range(0, 4900, 97), 4095, 4096, 4899]:
        window = slice(first, first + 101)
        expected = linregress(seconds[window], celsius[window]).slope
        assert slopes[first] == pytest.approx(expected, rel=1e-8, abs=1e-10)
        assert middles[first] == pytest.approx(seconds[window][[0, -1]].mean())


def test_a_step_is_told_by_its_window():
    # analytic: least squares over T of a step of height d in the middle has slope 1.5 d / T
    seconds = np.arange(201) / 10
    celsius = np.where(seconds < 10, 0.0, 20.0)
    _middles, slopes = window_slopes(seconds, celsius)
    assert slopes.max() == pytest.approx(1.5 * 20 / 10, rel=0.01)


def test_windows_over_a_gap_are_left_out():
    seconds = np.concatenate([np.arange(150), np.arange(400, 550)]) / 10
    celsius = np.where(seconds < 20, 20.0, 90.0)  # 70 C passed unseen: no rate can be told
    middles, slopes = window_slopes(seconds, celsius)
    assert len(slopes) == 2 * 50 and np.abs(slopes).max() < 1e-9
    assert not ((middles > 10) & (middles < 45)).any()


def test_a_few_missing_readings_do_no_harm():
    celsius = [20 + 0.1 * tick for tick in range(200)]
    celsius[50:53] = [None] * 3
    figures = summarise(course(celsius), one_ramp())
    assert figures.largest_ramp_c_per_s == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize(
    ("c_per_s", "told"),
    [(2.95, None), (3.05, "rose by 3.05"), (-5.95, None), (-6.1, "fell by 6.10")],
)
def test_rates_beyond_the_standard_are_told(c_per_s, told):
    # J-STD-020 table 5-2 (facts.md 1a): ramp-up <= 3 C/s, ramp-down <= 6 C/s
    start = 60 if c_per_s > 0 else 160
    records = course([start + c_per_s * tick / 10 for tick in range(150)])
    found = summarise(records, one_ramp(limit0_cdeg=25000), {0: "chip side"}).limits_exceeded
    if told is None:
        assert found == []
    else:
        assert len(found) == 1 and found[0].startswith(f"chip side {told}")
        assert "J-STD-020" in found[0]


def test_the_heater_itself_may_be_fast():
    records = course([20 + 0.9 * tick for tick in range(150)])
    plan = one_ramp(role0=ROLE_EMITTER, limit0_cdeg=30000)
    assert summarise(records, plan).limits_exceeded == []
    assert len(summarise(records, one_ramp(limit0_cdeg=30000)).limits_exceeded) == 1


@pytest.mark.parametrize(("peak_c", "count"), [(110.0, 0), (110.01, 1)])
def test_a_sensor_above_its_limit_is_told(peak_c, count):
    records = course([90] * 30 + [peak_c] + [90] * 30, channel=1)
    found = summarise(records, one_ramp(limit1_cdeg=11000), {1: "edge"}).limits_exceeded
    assert len(found) == count
    if count:
        assert found[0] == "edge reached 110.01 °C at 0:03; its limit in this run was 110.00 °C."


def test_time_in_band_counts_only_inside_and_only_what_was_seen():
    def reading(tick):
        return {"channel0_cdeg": 9000 + (300 if tick % 2 else 301)}  # band of the test plan: 300

    first = RAMP_TICKS
    records = [
        decode_record(drawn_record(tick, **reading(tick)))
        for tick in range(first, first + HOLD_TICKS)
        if not first + 100 <= tick < first + 200
    ]
    figures = summarise(records, DRAWN_PLAN)
    assert figures.stages[1].in_band_s == pytest.approx((HOLD_TICKS - 100) / 2 / 10)
    assert figures.stages[1].taken_s == pytest.approx(HOLD_TICKS / 10)
    assert figures.longest_gap_s == pytest.approx(10.0)


def test_a_late_tick_counts_for_as_long_as_it_took():
    records = [decode_record(drawn_record(tick, elapsed_ms=250)) for tick in range(40)]
    figures = summarise(records, DRAWN_PLAN)
    assert figures.stages[0].taken_s == pytest.approx(40 * 0.25)
    assert figures.duration_s == pytest.approx(39 * 0.25)


def test_ticks_before_the_heating_belong_to_no_stage():
    arming = [decode_record(tick_record(tick, state=run_states.COLD_PROOF, stage=0))
              for tick in range(30)]  # fmt: skip
    assert summarise(arming, DRAWN_PLAN).stages[0].taken_s == 0


@pytest.mark.parametrize("records", [[], course([None, None])])
def test_a_run_without_readings_has_no_figures(records):
    figures = summarise(records, DRAWN_PLAN)
    assert figures.largest_ramp_c_per_s is None and figures.largest_cooling_c_per_s is None
    assert figures.peaks_c == {} and figures.limits_exceeded == []


def test_without_the_header_the_sensors_still_speak():
    figures = summarise(course([20 + 0.1 * tick for tick in range(150)], channel=2), None)
    assert figures.control_channel == 2 and figures.stages == []
    assert figures.largest_ramp_c_per_s == pytest.approx(1.0, rel=1e-6)
