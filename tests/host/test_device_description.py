"""The device description as the host reads it: who is fitted, and under which name."""

import pytest

from emberbed.device_description import decode_settings
from emberbed_fw.settings import CONVERTER_ABSENT, CONVERTER_MAX31855K, CONVERTER_THERMISTOR
from tests.support.plans import bench_settings


def fitted(*names):
    rows = [(name, CONVERTER_MAX31855K, 20000, 0, 4096) for name in names]
    rows.insert(1, ("left_over", CONVERTER_ABSENT, 0, 0, 0))
    return decode_settings(bench_settings(channels=rows)).fitted_names()


def test_fitted_channels_keep_their_numbers():
    assert fitted("top_near_chip", "edge") == {0: "top_near_chip", 2: "edge"}


def test_a_thermistor_is_shown_and_no_profile_can_use_it():
    rows = [
        ("edge", CONVERTER_MAX31855K, 20000, 0, 4096),
        ("ssr_heatsink", CONVERTER_THERMISTOR, 8000, 0, 4096, 1),
    ]
    description = decode_settings(bench_settings(channels=rows))
    assert description.fitted_names() == {0: "edge", 1: "ssr_heatsink"}
    assert description.channel_names()[:2] == ["edge", ""]
    assert description.channels[1].options == 1


def test_a_fitted_channel_without_a_name_is_not_forgotten():
    assert fitted("top_near_chip", "") == {0: "top_near_chip", 2: "channel2"}


def test_two_channels_of_one_name_are_told_apart():
    assert fitted("edge", "edge") == {0: "edge", 2: "edge_2"}


@pytest.mark.parametrize("name", ["ed\x1b[2Jge", "ed\x07\x1b[2Jge"])
def test_a_name_moves_no_cursor(name):
    assert fitted(name) == {0: "ed[2Jge"}


@pytest.mark.parametrize("change", [0, 1, 40, -1])
def test_a_damaged_description_is_refused(change):
    block = bytearray(bench_settings())
    block[change] ^= 1
    with pytest.raises(ValueError):
        decode_settings(bytes(block))
