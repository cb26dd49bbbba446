"""Converter words against the chip's tables, and the couple against ITS-90."""

import math

import pytest
import thermocouple_its90

from emberbed_sim.plant.converter import (
    OPEN_CIRCUIT,
    SHORT_TO_GROUND,
    SHORT_TO_SUPPLY,
    apparent_c,
    bus_bytes,
    convert,
    open_word,
    pack_word,
    type_k_mv,
)

# MAX31855 datasheet (rev 5, page 10): hot bits D31..D18 and cold bits D15..D4, as full words.
WORDS = [
    (1600.00, 25.0, 0, 0x64001900),
    (1600.00, 127.0, 0, 0x64007F00),
    (1000.00, 25.0, 0, 0x3E801900),
    (100.75, 25.0, 0, 0x064C1900),
    (25.00, 25.0, 0, 0x01901900),
    (0.00, 0.0, 0, 0x00000000),
    (-0.25, -0.0625, 0, 0xFFFCFFF0),
    (-1.00, -1.0, 0, 0xFFF0FF00),
    (-250.00, -55.0, 0, 0xF060C900),
    (217.00, 30.5, 0, 0x0D901E80),
    (0.00, 25.0, OPEN_CIRCUIT, 0x00011901),
    (0.00, 25.0, SHORT_TO_GROUND, 0x00011902),
    (0.00, 25.0, SHORT_TO_SUPPLY, 0x00011904),
]
# same page, the cold-junction table: D15..D4
COLD_BITS = [
    (127.0, 0x7F0),
    (100.5625, 0x649),
    (25.0, 0x190),
    (0.0, 0x000),
    (-0.0625, 0xFFF),
    (-1.0, 0xFF0),
    (-20.0, 0xEC0),
    (-55.0, 0xC90),
]
# NIST Monograph 175, type K, mV against 0 degC as printed
EMF_MV = {
    -270: -6.458, -200: -5.891, -100: -3.554, -50: -1.889, -40: -1.527, -20: -0.778, -10: -0.392,
    0: 0.0, 10: 0.397, 20: 0.798, 25: 1.000, 30: 1.203, 40: 1.612, 50: 2.023, 60: 2.436,
    80: 3.267, 100: 4.096, 120: 4.920, 150: 6.138, 180: 7.340, 183: 7.460, 200: 8.138,
    217: 8.819, 220: 8.940, 227: 9.222, 240: 9.747, 245: 9.950, 250: 10.153, 260: 10.561,
    300: 12.209, 350: 14.293, 400: 16.397, 500: 20.644, 600: 24.905, 700: 29.129, 800: 33.275,
    900: 37.326, 1000: 41.276, 1100: 45.119, 1200: 48.838, 1300: 52.410, 1370: 54.819,
    1372: 54.886,
}  # fmt: skip
# what an uncorrected linear chip shows at a cold junction of 25 degC: 25 + (E(t) - E(25)) / 41.276
# uV with the NIST table's EMF, computed apart from the plant
APPARENT_C = {
    0: 0.8, 50: 49.8, 100: 100.0, 150: 149.5, 183: 181.5, 200: 197.9, 217: 214.4, 245: 241.8,
    250: 246.8, 260: 256.6, 300: 296.6, 400: 398.0,
}  # fmt: skip


@pytest.mark.parametrize(("hot_c", "cold_c", "fault_bits", "word"), WORDS)
def test_words_of_the_datasheet(hot_c: float, cold_c: float, fault_bits: int, word: int) -> None:
    assert pack_word(hot_c, cold_c, fault_bits) == word


@pytest.mark.parametrize(("cold_c", "bits"), COLD_BITS)
def test_cold_junction_of_the_datasheet(cold_c: float, bits: int) -> None:
    assert pack_word(0.0, cold_c) >> 4 & 0xFFF == bits


@pytest.mark.parametrize(("junction_c", "emf_mv"), EMF_MV.items())
def test_emf_of_the_nist_table(junction_c: float, emf_mv: float) -> None:
    assert type_k_mv(junction_c) == pytest.approx(emf_mv, abs=0.00051)


def test_emf_of_an_independent_library() -> None:
    for junction_c in (*range(-270, 1373, 7), -0.6, -0.1, 0.1, 0.6):
        assert type_k_mv(junction_c) == pytest.approx(
            thermocouple_its90.TypeK.emf(junction_c), abs=1e-9
        )


@pytest.mark.parametrize(("true_c", "shown_c"), APPARENT_C.items())
def test_the_linear_chip_shows_what_it_would(true_c: float, shown_c: float) -> None:
    assert apparent_c(true_c, 25.0) == pytest.approx(shown_c, abs=0.06)
    assert convert(true_c, 25.0) == pack_word(apparent_c(true_c, 25.0), 25.0)


def test_both_junctions_alike_read_alike() -> None:
    # no EMF without a difference: law of homogeneous circuits
    assert convert(25.0, 25.0) == 0x01901900


def test_steps_round_to_the_nearest() -> None:
    # steps of the datasheet, 0.25 and 0.0625 degC; rounding to the nearest is from memory
    assert pack_word(100.12, 25.03) >> 18 == 400
    assert pack_word(100.13, 25.03) >> 18 == 401
    assert pack_word(100.0, 25.03) >> 4 & 0xFFF == 400
    assert pack_word(100.0, 25.04) >> 4 & 0xFFF == 401


def test_beyond_its_range_the_chip_stays_at_the_end() -> None:
    assert pack_word(9000.0, 900.0) == 0x7FFC7FF0
    assert pack_word(-9000.0, -900.0) == 0x80008000
    assert math.isfinite(apparent_c(5000.0, 25.0))


def test_open_couple_keeps_the_cold_junction() -> None:
    assert open_word(25.0) == 0x00011901  # datasheet page 10: D16 and D0 set


def test_the_bus_clocks_out_the_high_byte_first() -> None:
    # datasheet page 10: D31 is the first bit on the bus
    read = bus_bytes([0x064C1900, 0x00011901])
    assert read == bytes.fromhex("064c1900 00011901") + bytes(24)
