"""The heatsink's thermistor: degrees by its material constant, and what is none."""

import pytest

from emberbed_fw import converters, trip_codes
from emberbed_fw import settings as layout
from emberbed_fw.drivers.ntc import Ntc
from emberbed_fw.thermistor import B_K

# The heatsink's thermistor.


@pytest.mark.parametrize("table", [0, 1])
@pytest.mark.parametrize("celsius", [-5.0, 20.0, 25.0, 60.0, 85.0, 118.0])
def test_thermistor_by_its_material_constant(table, celsius):
    share = 1 / (1 + pow(2.718281828459045, -B_K[table] * (1 / (celsius + 273.15) - 1 / 298.15)))
    adc = type("Adc", (), {"read_u16": staticmethod(lambda: round(65535 * share))})
    words = bytearray(32)
    assert Ntc(adc).read(words, 1)
    high, low = converters.high_half(words, 1), converters.low_half(words, 1)
    kind = layout.CONVERTER_THERMISTOR
    assert converters.find_fault(kind, high, low) == trip_codes.NO_TRIP
    assert converters.hot_cdeg(kind, table, high, low) == pytest.approx(celsius * 100, abs=50)


@pytest.mark.parametrize(
    ("ratio", "fault"),
    [
        (0, trip_codes.SENSOR_SHORT_GROUND), (65535, trip_codes.SENSOR_OPEN),
        (32768, trip_codes.NO_TRIP),
    ],
)  # fmt: skip
def test_thermistor_that_is_shorted_or_off_is_named(ratio, fault):
    adc = type("Adc", (), {"read_u16": staticmethod(lambda: ratio)})
    words = bytearray(32)
    Ntc(adc).read(words, 0)
    high, low = converters.high_half(words, 0), converters.low_half(words, 0)
    assert converters.find_fault(layout.CONVERTER_THERMISTOR, high, low) == fault
