"""The device description: packed, opened again, and refused when it reaches past a hard limit."""

import struct
from zlib import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emberbed_fw import safety_limits
from emberbed_fw import settings as layout
from emberbed_fw.settings import Settings, pack_settings, settings_fit
from emberbed_fw.units import CALIBRATION_ONE_Q12, CHANNELS, ZONES
from tests.support.plans import ALL_SENSES, TWO_CHANNELS, bench_settings


def one_channel(
    converter=layout.CONVERTER_MAX31855K, ceiling_cdeg=26000, offset_cdeg=0,
    gain_q12=CALIBRATION_ONE_Q12, options=0, zones=((1000, 3),), **more,
):  # fmt: skip
    channels = [("couple", converter, ceiling_cdeg, offset_cdeg, gain_q12, options)]
    return pack_settings(ALL_SENSES, channels, zones, **more)


def resealed(block, at, octet):
    """Return the block with one byte changed and its CRC made good again."""
    changed = bytearray(block)
    changed[at] = octet
    return bytes(changed[:-4]) + struct.pack("<I", crc32(bytes(changed[:-4])))


def test_block_is_as_long_as_its_table_says():
    assert len(bench_settings()) == layout.SETTINGS_BYTES


def test_opens_as_packed():
    block = pack_settings(
        layout.HAS_HEAT_SENSE | layout.HAS_FAN,
        [
            ("near_chip", layout.CONVERTER_MAX31855K, 20000, -150, 4100),
            ("edge", layout.CONVERTER_MAX31855K, 18000, 75, 4090),
        ],
        [(1200, 4)],
        socket_watts=2300,
        hold_cdeg=11000,
    )
    assert settings_fit(block)
    one = Settings(block)
    assert one.has_input(layout.HAS_FAN) and not one.has_input(layout.HAS_CONTACTOR_SENSE)
    assert one.converter == [1, 1] + [0] * (CHANNELS - 2)
    assert one.ceiling_cdeg[:2] == [20000, 18000]
    assert one.offset_cdeg[:2] == [-150, 75]
    assert one.gain_q12[:2] == [4100, 4090]
    assert one.watts == [1200] + [0] * (ZONES - 1)
    assert one.dwell_ticks[0] == 4
    assert (one.socket_watts, one.hold_cdeg) == ([2300], 11000)
    assert one.block == block
    assert [one.channel_fitted(channel) for channel in range(3)] == [True, True, False]


def test_every_table_has_its_final_width():
    eight = [(f"couple{n}", layout.CONVERTER_MAX31855K, 26000, 0, 4096) for n in range(CHANNELS)]
    block = pack_settings(0, eight, [(900, 2)] * ZONES)
    assert settings_fit(block)
    assert all(Settings(block).channel_fitted(channel) for channel in range(CHANNELS))
    assert Settings(block).watts == [900] * ZONES


def test_long_name_is_cut_to_its_field():
    block = pack_settings(0, [("a" * 40, 1, 26000, 0, 4096)], [])
    assert len(block) == layout.SETTINGS_BYTES and settings_fit(block)


FITTING = {
    "ceiling at the hard limit": dict(ceiling_cdeg=safety_limits.HARD_CEILING_CDEG),
    "ceiling of a couple at an emitter": dict(ceiling_cdeg=safety_limits.EMITTER_CEILING_CDEG),
    "largest offset": dict(offset_cdeg=2000),
    "smallest offset": dict(offset_cdeg=-2000),
    "largest gain": dict(gain_q12=4301),
    "smallest gain": dict(gain_q12=3891),
    "absent channel without a gain": dict(converter=layout.CONVERTER_ABSENT, gain_q12=0),
    "largest zone": dict(zones=((layout.MAX_WATTS, 255),)),
    "no zone": dict(zones=()),
    "every option of a MAX31856": dict(converter=layout.CONVERTER_MAX31856, options=0x67),
    "MAX6675": dict(converter=layout.CONVERTER_MAX6675),
    "hottest heatsink": dict(
        converter=layout.CONVERTER_THERMISTOR, options=1, ceiling_cdeg=layout.MOST_THERMISTOR_CDEG
    ),
    "hottest plain hold": dict(hold_cdeg=layout.MAX_HOLD_CDEG),
    "largest socket a number holds": dict(socket_watts=65535),
}
UNFIT = {
    "ceiling above what an emitter has": dict(ceiling_cdeg=safety_limits.EMITTER_CEILING_CDEG + 1),
    "negative ceiling": dict(ceiling_cdeg=-1),
    "unknown converter": dict(converter=len(layout.CONVERTER_NAMES)),
    "option of a converter that has none": dict(options=1),
    "averaging that lags": dict(converter=layout.CONVERTER_MAX31856, options=3 << 4),
    "unknown option": dict(converter=layout.CONVERTER_MAX31856, options=0x80),
    "unknown thermistor": dict(converter=layout.CONVERTER_THERMISTOR, options=2, ceiling_cdeg=9000),
    "thermistor beyond its table": dict(
        converter=layout.CONVERTER_THERMISTOR, ceiling_cdeg=layout.MOST_THERMISTOR_CDEG + 1
    ),
    "offset too large": dict(offset_cdeg=2001),
    "offset too small": dict(offset_cdeg=-2001),
    "gain too large": dict(gain_q12=4302),
    "gain too small": dict(gain_q12=3890),
    "zone beyond any mains socket": dict(zones=((layout.MAX_WATTS + 1, 3),)),
    "second zone beyond it": dict(zones=((1000, 3), (layout.MAX_WATTS + 1, 3))),
    "plain hold too hot to be done without a PC": dict(hold_cdeg=layout.MAX_HOLD_CDEG + 1),
}


@pytest.mark.parametrize("change", FITTING.values(), ids=FITTING)
def test_fits_up_to_its_limits(change):
    assert settings_fit(one_channel(**change))


@pytest.mark.parametrize("change", UNFIT.values(), ids=UNFIT)
def test_does_not_fit_beyond_its_limits(change):
    assert not settings_fit(one_channel(**change))


def test_other_format_version_does_not_fit():
    assert settings_fit(resealed(bench_settings(), 0, layout.FORMAT_VERSION))
    assert not settings_fit(resealed(bench_settings(), 0, layout.FORMAT_VERSION + 1))


def test_no_single_flipped_bit_fits():
    good = bench_settings(channels=TWO_CHANNELS)
    for at in range(len(good)):
        damaged = bytearray(good)
        damaged[at] ^= 1 << at % 8
        assert not settings_fit(bytes(damaged)), at


@pytest.mark.parametrize("length", [0, 1, 4, layout.SETTINGS_BYTES - 1, layout.SETTINGS_BYTES + 1])
def test_other_length_does_not_fit(length):
    assert not settings_fit((bench_settings() + b"\0")[:length])


@given(st.binary(min_size=layout.SETTINGS_BYTES - 4, max_size=layout.SETTINGS_BYTES - 4))
def test_any_sealed_bytes_are_judged_without_raising(body):
    block = bytes([layout.FORMAT_VERSION]) + body[1:]
    block += struct.pack("<I", crc32(block))
    if settings_fit(block):
        one = Settings(block)
        assert max(one.ceiling_cdeg) <= safety_limits.EMITTER_CEILING_CDEG
        assert max(one.watts) <= layout.MAX_WATTS


@pytest.mark.parametrize(
    ("ceiling_cdeg", "on_emitter"),
    [(safety_limits.HARD_CEILING_CDEG, False), (safety_limits.HARD_CEILING_CDEG + 1, True)],
)
def test_ceiling_says_where_a_couple_sits(ceiling_cdeg, on_emitter):
    one = Settings(one_channel(ceiling_cdeg=ceiling_cdeg))
    assert one.sits_on_emitter(0) is on_emitter
