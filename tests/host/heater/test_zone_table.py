"""A heater's zones in its file, in a step test, and in what a device makes of the file."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from emberbed.device_description import decode_settings
from emberbed.heater import zone_report
from emberbed.heater.coupling import ZoneFit
from emberbed.heater.default_gains import Gains
from emberbed.heater.heater_file import HeaterMistakes, parse_heater
from emberbed.heater.heater_writer import heater_text as written
from emberbed.heater.heater_writer import with_gains
from emberbed.heater.step_test import FIRST_ZONE, StepTest
from emberbed.learn.identified import Identified
from emberbed.profiles.zones import Coupling
from emberbed_sim.bench_device import bench_settings
from tests.host.heater.heater_texts import heater_text
from tests.host.heater.true_fit import true_fit
from tests.host.heater.zone_steps import bench

COUPLING = Coupling(("top_near_chip", "edge"), ((1.2, 0.6), (0.5, 1.1)))
TABLE = zone_report.zone_table(ZoneFit(COUPLING, 0.31), [300, 700])
TEXT = """
[zones]
watts = [300, 700]
sensors = ["top_near_chip", "edge"]
rise_k_per_s = [[1.2, 0.6], [0.5, 1.1]]
rms_c = 0.31
"""
DEVICE = decode_settings(bench_settings(bench()))


def test_what_is_written_is_read_and_outlives_new_gains():
    made = datetime(2025, 3, 1, 10, 0, tzinfo=UTC)
    text = written(true_fit("watts"), 1000.0, made, TABLE)
    assert parse_heater(text, "h.toml").zones == TABLE
    tuned = parse_heater(with_gains(text, Gains(), "by hand"), "h.toml")
    assert tuned.zones == TABLE and tuned.gains is not None
    assert TABLE.coupling() == COUPLING


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ("[[1.2, 0.6], [0.5, 1.1]]", "[[1.2, 0.6]]", "not a row for each sensor"),
        ("[[1.2, 0.6], [0.5, 1.1]]", "[[1.2], [0.5]]", "not a row for each sensor"),
        ("1.1]]", "-1.1]]", "at least 0"),
        ("watts = [300, 700]", "watts = [300]", "2 to 4 watts"),
        ('"top_near_chip", "edge"', '"top_near_chip"', "a sensor each"),
        ("rms_c = 0.31\n", "", "zones.rms_c is missing"),
        ("rms_c", "rms", "not known here"),
    ],
)
def test_a_table_changed_by_hand_is_refused(right, wrong, said):
    assert right in TEXT
    with pytest.raises(HeaterMistakes) as told:
        parse_heater(heater_text() + TEXT.replace(right, wrong), "h.toml")
    assert any(
        said in sentence and sentence.startswith("h.toml:") for sentence in told.value.sentences
    )


def identified(text: str) -> Identified:
    return Identified(parse_heater(text, "h.toml"), "h.toml")


def test_a_file_holds_for_the_zones_it_was_measured_on():
    known = identified(heater_text() + TEXT)
    assert known.coupling(DEVICE) == COUPLING
    assert not any("zones" in note for note in known.notes(DEVICE))
    others = replace(DEVICE, zones=[*DEVICE.zones[1::-1], *DEVICE.zones[2:]])
    assert known.coupling(others) is None
    assert "[300, 700] W and the device has zones of [700, 300] W" in known.notes(others)[-1]
    assert "knows nothing of zones" in identified(heater_text()).notes(DEVICE)[-1]


def test_a_step_test_heats_each_zone_alone_twice():
    stages = StepTest(100).on(DEVICE).model.stages
    alone = [stage for stage in stages if getattr(stage, "zone", None) is not None]
    assert [stage.zone for stage in alone] == [0, 1, 0, 1]
    assert [stage.zone for stage in stages[FIRST_ZONE : FIRST_ZONE + 4]] == [0, 1, 0, 1]
    one_zone = replace(DEVICE, zones=[DEVICE.zones[0], *[DEVICE.zones[3]] * 3])
    assert len(StepTest(100).on(one_zone).model.stages) == FIRST_ZONE + 1


def test_the_report_names_shares_and_sharpness():
    lines = zone_report.as_lines(TABLE)
    assert any("zone 0 (top_near_chip) 88%, zone 1 (edge) 124%" in line for line in lines)
    assert zone_report.as_lines(None) == [] and zone_report.as_json(None) == {}
    told = zone_report.as_json(TABLE)["zones"]
    assert told["largest_relative_gain"] == pytest.approx(1.32 / 1.02, abs=0.01)
    crossed = TABLE.model_copy(update={"rise_k_per_s": [[1.0, 0.02], [0.1, 0.03]]})
    assert any("No sensible shares" in line for line in zone_report.as_lines(crossed))
