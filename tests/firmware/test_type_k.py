"""The thermocouple correction against ITS-90, by two libraries that are not ours."""

import pytest
import thermocouple_its90
import thermocouples

from emberbed_fw import converters, type_k
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.settings import CONVERTER_MAX31855K
from emberbed_fw.units import NO_READING_CDEG

CHIP_MV_PER_C = 0.041276  # MAX31855 datasheet, page 8

OTHER_K = thermocouples.get_thermocouple("K")


class Its90:
    """The reference function and its exact inversion."""

    mv = staticmethod(thermocouple_its90.TypeK.emf)
    celsius = staticmethod(thermocouple_its90.TypeK.temperature)


class Polynomials:
    """The reference function and NIST's inverse polynomials, which are 0.05 degC wrong at most."""

    @staticmethod
    def mv(celsius):
        return OTHER_K.temp_to_volt(celsius) * 1000

    @staticmethod
    def celsius(mv):
        return OTHER_K.volt_to_temp(mv / 1000)


LIBRARIES = [
    pytest.param(Its90, id="thermocouple-its90"), pytest.param(Polynomials, id="thermocouples"),
]  # fmt: skip

# Type K EMF in mV, reference junction 0 degC: NIST Monograph 175, rows as printed.
PRINTED = {
    -200: -5.891, -100: -3.554, -50: -1.889, -40: -1.527, -20: -0.778, -10: -0.392, 0: 0.000,
    10: 0.397, 20: 0.798, 25: 1.000, 30: 1.203, 40: 1.612, 50: 2.023, 60: 2.436, 80: 3.267,
    100: 4.096, 120: 4.920, 150: 6.138, 180: 7.340, 183: 7.460, 200: 8.138, 217: 8.819,
    220: 8.940, 227: 9.222, 240: 9.747, 245: 9.950, 250: 10.153, 260: 10.561, 300: 12.209,
    350: 14.293, 400: 16.397, 500: 20.644, 600: 24.905, 700: 29.129, 800: 33.275, 900: 37.326,
    1000: 41.276, 1100: 45.119, 1200: 48.838, 1300: 52.410, 1370: 54.819,
}  # fmt: skip

# What the linear chip says, cold junction 25 degC: true degC, apparent degC. Computed from NIST
# Monograph 175 and the datasheet's 41.276 uV/degC, rounded to 0.1.
APPARENT = [
    (0, 0.8), (50, 49.8), (100, 100.0), (150, 149.5), (183, 181.5), (200, 197.9), (217, 214.4),
    (245, 241.8), (250, 246.8), (260, 256.6), (300, 296.6), (400, 398.0),
]  # fmt: skip

COLD_STEPS_C = [-10.0, 0.0, 12.5, 25.0, 36.5625, 48.0, 60.0]


def chip_and_truth(library, cold_c, low_c, high_c, every):
    """Yield what the chip sends, in its own steps, and the true degC that this stands for.

    Going from the chip's numbers back to the true temperature takes its quantisation out.
    """
    cold_mv = library.mv(cold_c)
    first, last = (
        round((cold_c + (library.mv(hot_c) - cold_mv) / CHIP_MV_PER_C) * 4)
        for hot_c in (low_c, high_c)
    )
    for quarters in range(first, last + 1, every):
        yield quarters, library.celsius((quarters / 4 - cold_c) * CHIP_MV_PER_C + cold_mv)


def worst_error(library, cold_c, low_c, high_c, every):
    return max(
        abs(type_k.correct_linear(quarters, round(cold_c * 16)) / 100 - true_c)
        for quarters, true_c in chip_and_truth(library, cold_c, low_c, high_c, every)
    )


@pytest.mark.parametrize("library", LIBRARIES)
@pytest.mark.parametrize("cold_c", COLD_STEPS_C)
def test_correction_is_within_0_15_over_the_working_range(library, cold_c):
    assert worst_error(library, cold_c, 0, 400, every=1) <= 0.15


@pytest.mark.parametrize("library", LIBRARIES)
@pytest.mark.parametrize("cold_c", COLD_STEPS_C)
def test_correction_stays_good_far_outside_the_working_range(library, cold_c):
    assert worst_error(library, cold_c, -50, 1000, every=7) <= 0.10


@pytest.mark.parametrize("library", LIBRARIES)
def test_every_cold_junction_step_of_the_chip_is_corrected(library):
    for sixteenths in range(-10 * 16, 60 * 16 + 1):
        assert worst_error(library, sixteenths / 16, 217, 218, every=2) <= 0.15, sixteenths


def test_correction_is_not_a_no_op():
    # without it the chip is 3.4 degC low at 260 degC: the bound above is no accident
    quarters = round(apparent(260) * 4)
    assert abs(type_k.correct_linear(quarters, 25 * 16) - quarters * 25) > 300


def apparent(true_c, cold_c=25.0):
    return cold_c + (Its90.mv(true_c) - Its90.mv(cold_c)) / CHIP_MV_PER_C


@pytest.mark.parametrize(("true_c", "apparent_c"), APPARENT)
def test_published_linearity_rows_are_undone(true_c, apparent_c):
    # the row is rounded to 0.1 degC and then to the chip's 0.25: 0.05 + 0.125, plus our 0.15
    corrected = type_k.correct_linear(round(apparent_c * 4), 25 * 16)
    assert corrected / 100 == pytest.approx(true_c, abs=0.05 + 0.125 + 0.15)


@pytest.mark.parametrize(("celsius", "mv"), PRINTED.items())
def test_table_agrees_with_the_printed_rows(celsius, mv):
    # printed to a microvolt; rows between ours lie on a straight piece
    on_a_row = celsius % 10 == 0
    assert type_k.emf_of_sixteenths(celsius * 16) / 10000 == pytest.approx(
        mv, abs=0.0005 + (0.00006 if on_a_row else 0.002)
    )


@pytest.mark.parametrize("library", LIBRARIES)
def test_every_row_of_the_table_is_the_reference_function(library):
    for row, tenth_uv in enumerate(type_k.EMF_TENTH_UV):
        celsius = (type_k.FIRST_CDEG + row * type_k.STEP_CDEG) / 100
        if celsius > 1372:  # the end of the reference function; the last row only closes the table
            continue
        assert tenth_uv / 10000 == pytest.approx(library.mv(celsius), abs=0.00006), celsius


def test_table_rises_everywhere():
    rows = type_k.EMF_TENTH_UV
    assert all(low < high for low, high in zip(rows, rows[1:], strict=False))


def test_correction_never_falls_as_the_chip_reads_more():
    before = type_k.correct_linear(-190 * 4, 400)
    for quarters in range(-190 * 4, 1330 * 4):
        now = type_k.correct_linear(quarters, 400)
        assert now >= before, quarters
        before = now


@pytest.mark.parametrize(
    ("quarters", "sixteenths"),
    [(-8192, 0), (8191, 0), (8191, -880), (-8192, 2032), (5600, 400), (-900, 400)],
)
def test_outside_the_table_there_is_no_reading(quarters, sixteenths):
    assert type_k.correct_linear(quarters, sixteenths) == NO_READING_CDEG


@pytest.mark.parametrize("cold_bits", [0x000, 0x7FF, 0x800, 0xFFF, 0x190])
def test_no_word_at_all_leaves_the_small_integers(cold_bits):
    for quarters in range(0, 1 << 14, 37):
        cdeg = converters.hot_cdeg(CONVERTER_MAX31855K, 0, quarters << 2, cold_bits << 4)
        assert cdeg == NO_READING_CDEG or -20000 <= cdeg <= 138000


def test_largest_products_stay_below_31_bits():
    widest_step = max(
        high - low for low, high in zip(type_k.EMF_TENTH_UV, type_k.EMF_TENTH_UV[1:], strict=False)
    )
    chip = type_k.MOST_DELTA_SIXTEENTHS * type_k.LINEAR_NV_PER_DEGC + 1600 // 2
    cold = widest_step * type_k.STEP_CDEG * 4
    hot = widest_step * type_k.STEP_CDEG
    assert max(chip, cold, hot) <= SMALL_INT_MAX
    # one sixteenth more than the bound would still not be let through
    assert type_k.correct_linear(type_k.MOST_DELTA_SIXTEENTHS // 4 + 1, 0) == NO_READING_CDEG
