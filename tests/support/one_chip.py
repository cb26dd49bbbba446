"""One chip of any kind on played pins with its driver; degrees by a reference library."""

import thermocouple_its90

from emberbed_fw import converters
from emberbed_fw import settings as layout
from emberbed_fw.drivers.max6675 import Max6675
from emberbed_fw.drivers.max31855 import Max31855
from emberbed_fw.drivers.max31856 import Max31856
from emberbed_fw.drivers.spi_bus import SpiBus
from emberbed_fw.units import NO_READING_CDEG
from emberbed_sim.plant.chip_max31856 import Max31856Chip
from emberbed_sim.plant.converter import type_k_mv
from emberbed_sim.plant.spi_chip import Felt
from tests.support.spi_pins import bus_of

K_OPTIONS = layout.COUPLE_TYPES.index("K")
TICK_MS = 100
CURVES = {name: getattr(thermocouple_its90, f"Type{name}") for name in layout.COUPLE_TYPES}


def by_library(couple, emf_mv, cold_c):
    """The chip's curve, by a library that is not ours."""
    curve = CURVES[layout.COUPLE_TYPES[couple]]
    return curve.temperature(emf_mv + curve.emf(cold_c))


class OneChip:
    """A driver and its chip, tick by tick."""

    def __init__(self, chip, kind, options=0):
        self.chip, self.kind, self.options = chip, kind, options
        self.spi, self.lines, (self.select,) = bus_of(chip)
        bus = SpiBus(self.spi)
        make = {
            layout.CONVERTER_MAX31855K: lambda: Max31855(bus, self.select),
            layout.CONVERTER_MAX31856: lambda: Max31856(bus, self.select, options),
            layout.CONVERTER_MAX6675: lambda: Max6675(bus, self.select),
        }
        self.driver = make[kind]()
        self.words = bytearray(32)
        self.fresh = False

    def feel(self, hot_c, cold_c=25.0, **faults):
        emf_mv = type_k_mv(hot_c) - type_k_mv(cold_c)
        self.chip.feel(Felt(emf_mv, cold_c, **faults))
        return self

    def tick(self, count=1):
        for _ in range(count):
            self.lines.pass_ms(TICK_MS)
            self.fresh = self.driver.read(self.words, 0)
            assert self.select.level == 1
        return self

    @property
    def halves(self):
        return converters.high_half(self.words, 0), converters.low_half(self.words, 0)

    @property
    def fault(self):
        return converters.find_fault(self.kind, *self.halves)

    @property
    def hot_c(self):
        cdeg = converters.hot_cdeg(self.kind, self.options, *self.halves)
        return None if cdeg == NO_READING_CDEG else cdeg / 100


def fine(options=K_OPTIONS):
    return OneChip(Max31856Chip(by_library), layout.CONVERTER_MAX31856, options)
