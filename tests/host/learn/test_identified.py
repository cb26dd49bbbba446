"""When a heater file lifts the power cap of a heater that nobody identified, and when not."""

from dataclasses import replace

import pytest

from emberbed.bench.prepare import NotReady
from emberbed.bench.with_heater import load_heater, prepare_on
from emberbed.device_description import decode_settings
from emberbed.heater.default_gains import POWER_CAP, Gains
from emberbed.heater.heater_file import LEAST_UNSEEN_PERCENT, parse_heater
from emberbed.heater.heater_writer import with_gains
from emberbed.learn.identified import Identified
from emberbed.profiles.compile import decode_plan
from emberbed.profiles.reader import parse_profile
from emberbed_fw.units import FULL_POWER_Q15
from emberbed_sim.bench_device import bench_settings
from tests.host.learn.boards import profile_text
from tests.host.learn.true_heater import bench_with, true_heater, true_text

BENCH = decode_settings(bench_settings(bench_with(240)))
TUNED = Gains(0.05, 0.0005, 1.0, 1.0, 4, 200)


def socket(watts):
    return replace(BENCH, socket_watts=watts)


def known(unseen=95.0):
    return Identified(true_heater(unseen=unseen), "heater.toml")


@pytest.mark.parametrize(
    ("unseen", "socket_w", "cap"),
    [
        (LEAST_UNSEEN_PERCENT, 2300, 1.0),
        (LEAST_UNSEEN_PERCENT - 0.1, 2300, POWER_CAP),
        (None, 2300, POWER_CAP),
        (95.0, 800, 0.8),  # of 1000 W
        (95.0, 500, POWER_CAP),  # less than the cap: nothing is lifted
        (95.0, 0, POWER_CAP),  # nobody said what the socket gives
    ],
)
def test_the_cap(unseen, socket_w, cap):
    assert known(unseen).power_cap(socket(socket_w)) == pytest.approx(cap)


def test_another_heaters_file_lifts_nothing():
    zones = [replace(BENCH.zones[0], watts=600), *BENCH.zones[1:]]
    other = replace(BENCH, zones=zones)
    assert known().power_cap(other) == POWER_CAP
    assert "1000 W and the device's heater 600 W" in known().notes(other)[1]


def test_the_plan_has_the_files_gains_and_power():
    text = with_gains(true_text(), TUNED, "SIMC")
    heater = Identified(parse_heater(text, "heater.toml"), "heater.toml")
    asked = parse_profile(profile_text(240).encode(), "board.toml")
    prepared, notes = prepare_on(asked, BENCH, heater)
    header = decode_plan(prepared.plan).header
    assert (header["kp0_q8"], header["ki0_q14"]) == (TUNED.kp_q8(), TUNED.ki_q14())
    assert header["cap0_q15"] == FULL_POWER_Q15
    assert "SIMC" in notes[0]


def test_without_a_heater_nothing_changes():
    asked = parse_profile(profile_text(240).encode(), "board.toml")
    prepared, notes = prepare_on(asked, BENCH, None)
    header = decode_plan(prepared.plan).header
    assert header["cap0_q15"] == round(POWER_CAP * FULL_POWER_Q15)
    assert header["kp0_q8"] == Gains().kp_q8()
    assert notes == []


def test_a_file_that_is_no_heater_is_refused(tmp_path):
    path = tmp_path / "board.toml"
    path.write_text(profile_text(240), encoding="utf-8")
    with pytest.raises(NotReady, match="format is"):
        load_heater(path)
