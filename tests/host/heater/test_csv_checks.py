"""What no heater could be found in is refused with its place and its mend; good rows pass."""

import numpy as np
import pytest

from emberbed.heater.csv_checks import check_measured, full_drive
from emberbed.heater.csv_reader import TableMistake
from emberbed.heater.step_data import DRIVE, PERCENT, SWITCHED, WATTS
from tests.host.heater.made_heater import measured

SECONDS = np.arange(0, 400, 2.0)
POWER_W = np.where((SECONDS > 20) & (SECONDS < 220), 600.0, 0.0)
# up and down like a first-order heater, read in steps of 0.25 degC as a coarse converter does
RISE = 120 * (1 - np.exp(-np.clip(SECONDS - 20, 0, 200) / 90))
BOARD_C = np.round((22 + RISE * np.exp(-np.clip(SECONDS - 220, 0, None) / 150)) * 4) / 4


def sentence(seconds=SECONDS, drive=POWER_W, celsius=BOARD_C, until_s=None, **changes):
    rows = measured(np.array(seconds), np.array(drive), np.array(celsius))
    with pytest.raises(TableMistake) as told:
        check_measured(rows.__class__(**{**vars(rows), **changes}), until_s)
    return str(told.value)


def changed(column, where, value):
    copy = column.copy()
    copy[where] = value
    return copy


def test_good_rows_pass():
    check_measured(measured(SECONDS, POWER_W, BOARD_C), None)
    check_measured(measured(SECONDS, POWER_W, BOARD_C), 150.0)


def test_a_gap():
    kept = np.r_[0:50, 60:200]
    told = sentence(SECONDS[kept], POWER_W[kept], BOARD_C[kept])
    assert told.startswith("made.csv:52: the time jumps from 98 to 120 s where rows come every 2 s")


def test_a_few_rows_left_out_are_no_gap():
    kept = np.r_[0:50, 52:200]
    check_measured(measured(SECONDS[kept], POWER_W[kept], BOARD_C[kept]), None)


def test_time_that_goes_back():
    told = sentence(seconds=changed(SECONDS, 40, 10.0))
    assert told.startswith("made.csv:42: the time goes from 78 to 10 s; sort the rows by time")


def test_too_few_rows():
    told = sentence(SECONDS[:20], POWER_W[:20], BOARD_C[:20])
    assert told.startswith("made.csv: there are 20 rows and 30 are needed")
    assert "only 10 rows lie before --fit-until 20" in sentence(until_s=20.0)


def test_no_excitation():
    assert sentence(drive=np.full(200, 600.0)).startswith(
        "made.csv: drive stays at 600 in the rows to be fitted, so nothing tells what heat does"
    )
    assert "stays at 0" in sentence(drive=np.zeros(200))
    assert "stays at 0" in sentence(drive=changed(POWER_W, slice(90), 0), until_s=80.0)


def test_a_sensor_off_the_board():
    assert "moves by 1 °C while the heat changes" in sentence(celsius=22 + np.arange(200) % 2)
    assert "moves by 0 °C" in sentence(celsius=np.full(200, 22.0))


@pytest.mark.parametrize("most_c", [60.0, 90.0, 110.0])
def test_a_saturated_sensor(most_c):
    told = sentence(celsius=np.minimum(BOARD_C, most_c))
    assert f"stands at exactly {most_c:g} °C" in told
    first = int(np.argmax(most_c <= BOARD_C))
    assert told.startswith(f"made.csv:{first + 2}:")


@pytest.mark.parametrize("row", [25, 60, 120])
def test_a_reading_that_is_not_renewed(row):
    told = sentence(celsius=np.where(np.arange(200) < row, BOARD_C, BOARD_C[row]))
    assert "right after moving" in told


@pytest.mark.parametrize("step_c", [0.01, 0.0625, 0.25, 1.0])
def test_a_coarse_converter_at_the_top_is_not_stuck(step_c):
    smooth = 22 + RISE * np.exp(-np.clip(SECONDS - 220, 0, None) / 150)
    check_measured(measured(SECONDS, POWER_W, np.round(smooth / step_c) * step_c), None)
    slow = 80 + 40 * np.sin(SECONDS / 200)
    check_measured(measured(SECONDS, POWER_W, np.round(slow / step_c) * step_c), None)


def test_what_nobody_believes():
    assert "temperature_c is 1200" in sentence(celsius=changed(BOARD_C, 70, 1200.0))
    assert "is -270" in sentence(celsius=changed(BOARD_C, 70, -270.0))
    assert "drive is -5; a heater takes 0 or more" in sentence(drive=changed(POWER_W, 3, -5.0))


def test_a_fan():
    told = sentence(fan=(SECONDS >= 300).astype(float))
    assert told == (
        "made.csv:152: the fan blows from 300 s on, and a heater is fitted without one;"
        " use the rows before it with --fit-until 300"
    )
    rows = measured(SECONDS, POWER_W, BOARD_C)
    check_measured(rows.__class__(**{**vars(rows), "fan": SECONDS >= 300}), 300.0)


@pytest.mark.parametrize(
    ("kind", "highest", "watts", "given", "full"),
    [
        (WATTS, 612.0, None, None, 612.0),
        (WATTS, 612.0, 1000.0, None, 1000.0),
        (PERCENT, 60.0, 1000.0, None, 100.0),
        (SWITCHED, 1.0, 1000.0, None, 1.0),
        (DRIVE, 9.0, 300.0, None, 9.0),
        (DRIVE, 9.0, None, 12.0, 12.0),
    ],
)
def test_full_drive(kind, highest, watts, given, full):
    rows = measured(SECONDS, POWER_W / 600 * highest, BOARD_C, kind)
    assert full_drive(rows, watts, given) == full


def test_more_than_full():
    rows = measured(SECONDS, POWER_W, BOARD_C)
    with pytest.raises(TableMistake, match="drive is 600 and full power is 500; .* --watts"):
        full_drive(rows, 500.0, None)
    with pytest.raises(TableMistake, match="--full-drive"):
        full_drive(rows, None, 500.0)
