"""Rules of the check about sensors: each acts beyond its limit and stays quiet inside it."""

import pytest

from tests.host.profiles.profile_texts import (
    FULL,
    FULL_NAMES,
    GOOD,
    NAMES,
    WITH_AIR,
    changed,
    line_of,
)
from tests.host.profiles.test_check import found, only

CONTROL, EDGE = 'top_near_chip = "control"', 'edge = "edge"'


def controlled_by(more: str, text: str = GOOD) -> str:
    assert CONTROL in text
    return text.replace(CONTROL, f'top_near_chip = {{ role = "control", {more} }}')


def with_sensor(written: str, text: str = GOOD) -> str:
    return text.replace(EDGE, f"{EDGE}\n{written}")


def test_a_control_on_the_underside_must_be_shielded():
    # looks into the emitters and may read high: common practice, no source
    open_eyed = only(controlled_by('side = "underside"'))
    assert open_eyed.severity == "error"
    assert "looks into the emitters and may read high" in open_eyed.sentence
    assert "shielded = true" in open_eyed.sentence
    assert open_eyed.line == line_of(GOOD, CONTROL)
    shielded = only(controlled_by('side = "underside", shielded = true'))
    assert shielded.severity == "note" and "shield" in shielded.sentence
    assert found(controlled_by('side = "top"')) == []
    assert found(changed('"edge"', '{ role = "edge", side = "underside" }')) == []


def test_a_control_in_the_jet_of_hot_air_is_refused():
    # a controller that sees the hot air would cut the bottom heat: common practice, no source
    (finding,) = found(controlled_by("in_jet = true", WITH_AIR))
    assert finding.severity == "error" and "out of the jet" in finding.sentence
    assert found(controlled_by("in_jet = true")) == []  # no hot air, no jet
    assert found(WITH_AIR.replace('"edge"', '{ role = "edge", in_jet = true }')) == []


def test_an_emitter_sensor_is_no_second_sensor_on_the_board():
    text = changed(EDGE, 'rod = { role = "emitter", limit_c = 240 }')
    finding = only(text, channel_names=["top_near_chip", "rod"], ceilings_cdeg=[20000, 90000])
    assert finding.severity == "note" and "two are recommended" in finding.sentence


def test_a_neighbour_that_cannot_stand_the_soak_is_told():
    # 20 degC below the peak of 140 degC: common practice, no source
    cell = 'cell = { role = "neighbour", limit_c = %s }'
    finding = only(with_sensor(cell % 119))
    assert finding.severity == "warning"
    assert "sensors: cell: it may get 119 °C and the peak is 140 °C" in finding.sentence
    assert found(with_sensor(cell % 120)) == []


@pytest.mark.parametrize(
    ("sensor", "severity"),
    [
        (controlled_by("limit_c = 139"), "error"),
        (controlled_by("limit_c = 144"), "warning"),
        (controlled_by("limit_c = 145"), None),
        (with_sensor('chip = { role = "chip_top", limit_c = 139 }'), "warning"),
        (with_sensor('rod = { role = "emitter", limit_c = 50 }'), None),
    ],
)
def test_a_limit_below_the_peak_is_told(sensor, severity):
    findings = found(sensor)
    assert [finding.severity for finding in findings] == ([severity] if severity else [])
    for finding in findings:
        assert "the peak of 140 °C leaves less than 5 °C" in finding.sentence


def test_a_hold_cannot_need_the_heater():
    rod = with_sensor('rod = { role = "emitter", limit_c = 240 }')
    finding = only(rod.replace("for_s = 120", 'for_s = 120\nneeds = ["edge", "rod"]'))
    assert finding.severity == "error" and "rod is on the heater" in finding.sentence
    assert finding.stage == 2
    assert found(changed("for_s = 120", 'for_s = 120\nneeds = ["edge"]')) == []


@pytest.mark.parametrize(
    "edge", ["", '\nedge = { role = "edge", in_jet = true }', '\nedge = { role = "chip_top" }']
)
def test_evenness_takes_two_sensors(edge):
    """Those that tell it are the firmware's: control, edge and pair, out of the jet."""
    alone = changed("\n" + EDGE, edge).replace("for_s = 120", "for_s = 120\nspread_c = 8")
    told = [finding for finding in found(alone) if finding.severity == "warning"]
    assert len(told) == 1 and "takes two sensors" in told[0].sentence
    assert found(changed("for_s = 120", "for_s = 120\nspread_c = 8")) == []
    no_spread = alone.replace("spread_c = 8", "spread_c = 0")
    assert [finding.severity for finding in found(no_spread) if finding.severity != "note"] == []


def test_the_device_may_be_hotter_than_a_neighbour():
    """Its ceilings leave room above the peak for sensors on the board, not for a spared part."""
    text = with_sensor('cell = { role = "neighbour", limit_c = 125 }')
    names = ["top_near_chip", "edge", "cell"]
    assert found(text, channel_names=names, ceilings_cdeg=[20000, 20000, 10000]) == []


FULL_CEILINGS = [26000] * 3 + [90000, 26000, 26000, 0, 0]


def test_every_key_together_is_judged():
    findings = found(FULL, channel_names=FULL_NAMES, ceilings_cdeg=FULL_CEILINGS)
    # its solder is unknown, so solid up to 137 degC, and its ceiling of 125 degC is near that; a
    # leaded package of 2.2 mm and 1604 mm3 is rated for 225 degC by J-STD-020C table 4-1
    assert [(one.severity, one.name) for one in findings] == [
        ("warning", "package at sensor chip limit_c"),
        ("note", "control_place at sensor top_near_chip"),
        ("note", "accepted at accepted 0"),
        ("note", "to_peak"),
    ]
    assert "rated for 225 °C (J-STD-020C table 4-1" in findings[0].sentence
    assert "shield" in findings[1].sentence
    assert only(GOOD, channel_names=NAMES[1:]).severity == "error"


@pytest.mark.parametrize(
    ("role", "ceiling_cdeg", "sits"),
    [("emitter", 26000, "sits on the board"), ("edge", 90000, "sits on an emitter")],
)
def test_a_role_that_the_device_contradicts_is_refused(role, ceiling_cdeg, sits):
    text = changed(EDGE, f'rod = "{role}"')
    findings = found(
        text, channel_names=["top_near_chip", "rod"], ceilings_cdeg=[20000, ceiling_cdeg]
    )
    assert [one.severity for one in findings if sits in one.sentence] == ["error"]
