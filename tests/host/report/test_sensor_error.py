"""By how much a reading may be off, against the figures of the standard and of the datasheet."""

import pytest

from emberbed.device_description import Channel
from emberbed.report.sensor_error import (
    CONVERTERS,
    error_words,
    is_calibrated,
    reading_error_c,
    wire_error_c,
)
from emberbed_fw.settings import CONVERTER_ABSENT, CONVERTER_NAMES, CONVERTER_THERMISTOR
from emberbed_fw.units import CALIBRATION_ONE_Q12


@pytest.mark.parametrize(
    ("celsius", "error_c"),
    # IEC 60584-1, type K, class 2: the greater of 2.5 degC and 0.0075 |t|; they meet at 333 degC
    [(-40, 2.5), (25, 2.5), (250, 2.5), (333, 2.5), (400, 3.0), (1000, 7.5)],
)
def test_the_standard_s_tolerance_of_the_wire(celsius, error_c):
    assert wire_error_c(celsius) == pytest.approx(error_c, abs=0.01)


def test_a_whole_chain_at_reflow():
    """facts.md 7b: class 2 wire 2.5 + converter 2 + cold end at 250 degC, plan for about 4 degC.

    By hand: sqrt(2.5 squared + 2 squared + 2 squared) = sqrt(14.25) = 3.775.
    """
    assert reading_error_c(250, "MAX31855K") == pytest.approx(3.775, abs=0.001)
    assert reading_error_c(250, "something else") is None


def test_every_converter_of_the_firmware_has_its_error():
    assert set(CONVERTERS) == set(CONVERTER_NAMES) - {
        CONVERTER_NAMES[CONVERTER_ABSENT],
        CONVERTER_NAMES[CONVERTER_THERMISTOR],
    }  # a thermistor has no couple
    assert "MAX31855K ±2 °C" in error_words({"MAX31855K"})
    assert "MAX" not in error_words(set())


def test_a_calibrated_input_is_known():
    assert not is_calibrated(Channel("edge", "MAX31855K", 26000, 0, CALIBRATION_ONE_Q12))
    assert is_calibrated(Channel("edge", "MAX31855K", 26000, -40, CALIBRATION_ONE_Q12))
    assert is_calibrated(Channel("edge", "MAX31855K", 26000, 0, CALIBRATION_ONE_Q12 + 9))
