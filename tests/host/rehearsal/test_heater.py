"""A rehearsal on an identified heater: the bench moves as the file says, and the spread is true.

The file's own heater is solved by scipy's solve_ivp from its published meaning
(tests/host/heater/made_heater.py), not by anything that the rehearsal uses.
"""

import json
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from emberbed import rehearse, rehearse_asked, rehearse_spread
from emberbed.bench.prepare import NotReady, load_profile
from emberbed.heater.heater_file import parse_heater
from emberbed.learn.identified import Identified
from emberbed.profiles.reader import parse_profile
from emberbed.rehearse_asked import Asked
from emberbed.rehearse_heater import OnHeater
from emberbed.rehearse_spread import OneRun, Spread
from emberbed_fw.doubts import TOUCHING_PROMPT
from emberbed_sim.plant.thermal import ThermalNetwork
from tests.host.heater.heater_texts import HEAD, heater, heater_text
from tests.host.heater.made_heater import LABEL_PRINTER, solved
from tests.support.profiles import hold_profile

PROFILE = load_profile("label-printer")
NO_WATTS = HEAD.replace("full_power_w = 1000.0\n", "")
GAINS = """
[gains]
rule = "SIMC"
kp_per_k = 0.05
ki_per_k_s = 0.0002
kd_s_per_k = 1.0
setpoint_weight = 1.0
filter_shift = 5
preview_ticks = 300
"""


def on(read, profile_file=PROFILE):
    return OnHeater(profile_file, Identified(read, "h.toml"))


def board_mean_k(heat):
    _emitter, centre, edge, _around, chip = heat._capacities
    stored = centre * heat.centre_k + edge * heat.edge_k + chip * heat.chip_k
    return stored / (centre + edge + chip)


@pytest.mark.parametrize("watts", [1000.0, 400.0])
def test_the_bench_warms_and_cools_as_the_file_says(watts):
    head = HEAD.replace("full_power_w = 1000.0", f"full_power_w = {watts}")
    read = parse_heater(heater_text(head, room_c=23.0), "h.toml")
    heat = on(read).bench().heat()
    assert isinstance(heat, ThermalNetwork)
    assert heat.zone_full_w == (watts,)
    steps = ((240, 0.6), (700, 0.3), (1200, 0.0))
    seconds, drive, celsius = solved(
        LABEL_PRINTER | {"room_c": 23.0, "sensor_lag_s": 0.1}, watts, steps, 1.0
    )
    mean_c = []
    for part in drive:
        mean_c.append(board_mean_k(heat) - 273.15)
        for _tick in range(10):
            heat.step((part * watts,), 0.0)
    assert max(celsius) > 110
    # centre and rim of the bench differ by a few degrees, and T^4 of a mean is not the mean of T^4
    assert np.array(mean_c) == pytest.approx(celsius, abs=1.0)
    assert len(seconds) == 1200


def test_sensor_lag_and_watts_reach_the_bench():
    bench = on(heater(sensor_lag_s=7.0)).bench()
    lags = {(placed.through_s, placed.lag_s) for placed in bench.parameters.sensors}
    assert lags == {(3.5, 3.5)}  # as the fit has it: the board's thickness and the bead alike
    assert bench.parameters.emitter.watts == 1000.0


def test_the_files_gains_run_and_are_said(short_profile, tmp_path):
    records, notes = [], []
    for text in (heater_text(), heater_text() + GAINS):
        (tmp_path / "h.toml").write_text(text, encoding="utf-8")
        bench = on(
            parse_heater(text, "h.toml"), load_profile(str(tmp_path / short_profile))
        ).bench()
        done = rehearse.rehearse(load_profile(str(tmp_path / short_profile)), bench=bench)
        records.append(done.raw_records[:1500])
        notes.append(" ".join(done.about_heater))
    assert records[0] != records[1]
    assert "tune` finds better ones" in notes[0]
    assert "tuned for h.toml (SIMC)" in notes[1]


def test_what_cannot_be_taken_over_is_said():
    # 240 g on 180 x 120 mm are 179 J/K: laminate and copper at 8.26 kJ/m2K, from the bench's table
    said = " ".join(on(heater()).left_out())
    assert "290 J/K (290 to 290); the profile's has about 179 J/K and is another one" in said
    assert "The room of that day (21.0 °C) is not taken over: 23 °C is." in said
    assert "Chip, rim, fan and hot air were not measured" in said
    assert "watts" not in said
    without = parse_heater(heater_text(NO_WATTS), "h.toml")
    said = " ".join(on(without).left_out())
    assert "1000 W are assumed" in said and "cannot be compared" in said
    no_board = "\n".join(
        line for line in hold_profile().splitlines() if not line.startswith("board")
    )
    bare = parse_profile(no_board.encode(), "bare.toml")
    assert "The profile states no board" in " ".join(on(heater(), bare).left_out())


def test_numbers_that_no_data_carried_are_named():
    text = heater_text().replace(
        "sensor_lag_s = { value = 3.0, low = 3.0, high = 3.0, from_data = true }",
        "sensor_lag_s = { value = 3.0, low = 1.0, high = 9.0, from_data = false }",
    )
    said = on(parse_heater(text, "h.toml")).left_out()
    assert said[-1] == "Not carried by the data, but by what is usual: sensor_lag_s."


@pytest.mark.parametrize("watts", ["0.2", "5000.0"])
def test_watts_that_no_device_drives_are_refused(watts):
    head = HEAD.replace("full_power_w = 1000.0", f"full_power_w = {watts}")
    with pytest.raises(NotReady, match="full_power_w is .*, and a device drives 1 to 3600 W"):
        on(parse_heater(heater_text(head), "h.toml"))


def test_another_board_than_the_identified_one_is_not_asked_about():
    """290 J/K lie on the heater and the profile states about 50: the guard is told of the 290."""
    light = parse_profile(hold_profile(for_s=10, to_c=55).encode(), "light.toml")
    done = rehearse.rehearse(light, bench=on(heater(), light).bench())
    assert done.state == "finished"
    assert TOUCHING_PROMPT not in {record.prompt for record in done.records}


# a board like the one that the file was measured with
LIKE_MEASURED = hold_profile(for_s=10, to_c=80).replace(
    "mass_g = 60, length_mm = 100, width_mm = 70", "mass_g = 260, length_mm = 180, width_mm = 120"
)


@pytest.fixture(scope="module")
def given(tmp_path_factory):
    folder = tmp_path_factory.mktemp("heater")
    (folder / "short.toml").write_text(LIKE_MEASURED, encoding="utf-8")
    (folder / "h.toml").write_text(heater_text(), encoding="utf-8")
    return rehearse_asked.answer(Asked(str(folder / "short.toml"), heater=folder / "h.toml"))


def test_the_spread_is_drawn_from_the_files_uncertainty(given):
    spread = given.spread
    assert len(spread.runs) >= 8 and spread.finished == len(spread.runs)
    seconds, low, high = spread.band_c()
    assert np.all(low <= high) and len(seconds) == len(low)
    first = spread.runs[0].control_c
    assert np.all(low[: len(first)] <= first) and np.all(first <= high[: len(first)])
    # the file knows the board's loss to a factor exp(0.2) and nothing else: boards cool apart, and
    # warm up nearly together
    shortest_s, longest_s = spread.lasts_s()
    assert longest_s - shortest_s > 8
    begun = spread.stage_begins_s()
    assert list(begun) == [0, 1, 2]
    assert begun[1][1] - begun[1][0] < 0.1 * begun[1][1]
    lowest_c, highest_c = spread.peaks_from_below_c()
    assert 77 < lowest_c <= highest_c < 82


def test_its_answer_has_the_figures(given):
    answer = json.loads(json.dumps(rehearse_asked.as_json(given)))
    spread = answer["spread"]
    assert spread["heaters"] == len(given.spread.runs) and spread["seed"] == 1
    assert spread["seconds"] == list(given.spread.lasts_s())
    assert len(spread["curve"]) == len(given.spread.band_c()[0])
    assert set(spread["curve"][0]) == {"seconds", "low_c", "high_c"}
    assert answer["heater"]["percent_fitted"] == 99.5
    assert answer["heater"]["left_out"] == given.on_heater.left_out()
    lines = rehearse_asked.as_lines(given)
    assert lines[-1].startswith("Rehearsed on the heater of ") and "99.5 %" in lines[-1]
    assert any(line.startswith(f"On {len(given.spread.runs)} heaters") for line in lines)


def test_its_picture_has_the_band_behind_the_curve(given):
    svg = rehearse_asked.picture_of(given)
    root = ElementTree.fromstring(svg)
    said = " ".join("".join(text.itertext()) for text in root.iter() if text.tag.endswith("text"))
    assert "shaded: top_near_chip on" in said and "as likely as" in said
    ids = [group.get("id") or "" for group in root.iter() if group.tag.endswith("}g")]
    band = next(n for n, name in enumerate(ids) if name.startswith("FillBetween"))
    curves = [n for n, name in enumerate(ids) if name.startswith("line2d")]
    assert band < max(curves)


def test_the_seed_decides_the_spread(given, tmp_path):
    (tmp_path / "short.toml").write_text(LIKE_MEASURED, encoding="utf-8")
    (tmp_path / "h.toml").write_text(heater_text(), encoding="utf-8")

    def figures(seed):
        asked = Asked(str(tmp_path / "short.toml"), seed, heater=tmp_path / "h.toml")
        return rehearse_asked.as_json(rehearse_asked.answer(asked))["spread"]

    assert figures(1) == rehearse_asked.as_json(given)["spread"]
    assert figures(4)["seconds"] != list(given.spread.lasts_s())


def one_run(control_c, state="finished", begins=None):
    celsius = np.array(control_c, float)
    return OneRun(state, celsius, float(np.nanmax(celsius)), len(celsius) - 1.0, begins or {0: 1.0})


def test_band_of_runs_of_different_lengths():
    spread = Spread([one_run([20, 50, 40]), one_run([20, 30, 60, 45, 40])], 1)
    seconds, low, high = spread.band_c()
    assert seconds.tolist() == [0, 1, 2, 3, 4]
    assert low.tolist() == [20, 30, 40, 40, 40]
    assert high.tolist() == [20, 50, 60, 45, 40]
    assert spread.peaks_c() == (50, 60)
    assert spread.lasts_s() == (2, 4)


def test_a_lost_sensor_leaves_a_gap_and_no_figure():
    spread = Spread([one_run([20, np.nan, 40]), one_run([20, np.nan, 42], "tripped")], 1)
    _seconds, low, _high = spread.band_c()
    assert np.isnan(low[1])
    assert spread.finished == 1
    assert rehearse_spread.as_json(spread)["curve"][1]["low_c"] is None
