"""MAX31856 at its pins: sixteen registers, as its datasheet has them.

Mode 1 or 3: selected, it takes the clock's level for its idle one (from memory); data changes on
the edge away from it and is taken on the edge back. The first byte is an address, bit 7 set for
writing; the address counts on by itself. Power-up values, conversion times and the rule that the
filter may only change while the chip stands still are from memory; registers, scales and fault bits
are those that two public drivers agree on. `misused` names what a driver did that it must not.
"""

from collections.abc import Callable
from math import floor

from emberbed_sim.plant.converter import type_k_mv
from emberbed_sim.plant.converter_words import FINE_COLD_C, type_k_c
from emberbed_sim.plant.spi_chip import SpiChip

POWER_UP = (0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0x00, 0x00, 0, 0, 0, 0, 0, 0)
CR0, CR1, CJTO, CJTH, LTCBH, SR = 0x00, 0x01, 0x09, 0x0A, 0x0C, 0x0F
COLD_HIGH, COLD_LOW, HOT_HIGH, HOT_LOW = 0x03, 0x04, 0x05, 0x07
AUTO, ONE_SHOT, OPEN_TEST, LATCHES, CLEARS, AT_50_HZ = 0x80, 0x40, 0x30, 0x04, 0x02, 0x01
OPEN, VOLTAGE, HOT_LOW_BIT, HOT_HIGH_BIT, COLD_LOW_BIT, COLD_HIGH_BIT, HOT_RANGE, COLD_RANGE = (
    1 << bit for bit in range(8)
)
WRITE = 0x80
TYPE_K = 3
# ms of a conversion and of each further one averaged, at 60 and 50 Hz
AUTO_MS, ONE_SHOT_MS, FURTHER_MS = (90.0, 110.0), (155.0, 185.0), (33.3, 40.0)
OPEN_TEST_EVERY = 16
# range of each couple in degC by its number in CR1, B E J K N R S T
RANGES_C = (
    (250, 1820), (-200, 1000), (-210, 1200), (-200, 1372),
    (-200, 1300), (-50, 1768), (-50, 1768), (-200, 400),
)  # fmt: skip

Curve = Callable[[int, float, float], float]


def only_type_k(couple: int, emf_mv: float, cold_c: float) -> float:
    """Return degC of a couple by its number, an EMF and the cold end: type K alone is known."""
    if couple != TYPE_K:
        raise ValueError(f"this model has no curve for couple {couple}")
    return type_k_c(emf_mv + type_k_mv(cold_c))


class Max31856Chip(SpiChip):
    def __init__(self, curve: Curve = only_type_k) -> None:
        super().__init__()
        self._curve = curve
        self.misused: list[str] = []
        self.power_up()

    def power_up(self) -> None:
        """Lose all settings, as after a supply that was away."""
        self.registers: list[int] = list(POWER_UP)
        self._left_ms = 0.0
        self._conversions = 0
        self._open_found = False
        self._idle = 0
        self._bits = 0  # clocked in since selected
        self._shift = 0
        self._address = 0

    def pass_ms(self, elapsed_ms: float) -> None:
        control = self.registers[CR0]
        if not control & (AUTO | ONE_SHOT):
            return
        self._left_ms -= elapsed_ms
        if self._left_ms > 0:
            return
        self._convert()
        if control & ONE_SHOT:
            self.registers[CR0] &= ~ONE_SHOT
        else:
            self._left_ms = self._conversion_ms(AUTO_MS)

    def _conversion_ms(self, of: tuple[float, float]) -> float:
        at = 1 if self.registers[CR0] & AT_50_HZ else 0
        samples = 1 << min(self.registers[CR1] >> 4 & 7, 4)
        return of[at] + (samples - 1) * FURTHER_MS[at]

    def _convert(self) -> None:
        felt, couple = self.felt, self.registers[CR1] & 7
        one_shot = self.registers[CR0] & ONE_SHOT != 0
        if self.registers[CR0] & OPEN_TEST and (
            one_shot or self._conversions % OPEN_TEST_EVERY == 0
        ):
            self._open_found = felt.is_open
        self._conversions += 1
        cold_c = felt.cold_c
        hot_c = cold_c if felt.is_open else self._curve(couple, felt.emf_mv, cold_c)
        hot = min(max(floor(hot_c * 128), -(1 << 18)), (1 << 18) - 1)
        cold = min(max(floor(cold_c * 64), -(1 << 13)), (1 << 13) - 1)
        self._put(LTCBH, hot << 5 & 0xFFFFFF, 3)
        self._put(CJTH, cold << 2 & 0xFFFF, 2)
        self._put_status(self._found(hot_c, cold_c, RANGES_C[couple]))

    def _put(self, first: int, number: int, octets: int) -> None:
        self.registers[first : first + octets] = number.to_bytes(octets, "big")

    def _put_status(self, found: int) -> None:
        latched = self.registers[SR] if self.registers[CR0] & LATCHES else 0
        self.registers[SR] = latched | found

    def _found(self, hot_c: float, cold_c: float, range_c: tuple[int, int]) -> int:
        """Return the status bits of a conversion."""
        felt = self.felt
        found = OPEN if self._open_found else 0
        found |= VOLTAGE if felt.to_ground or felt.to_supply else 0
        found |= 0 if range_c[0] <= hot_c <= range_c[1] else HOT_RANGE
        found |= 0 if FINE_COLD_C[0] <= cold_c <= FINE_COLD_C[1] else COLD_RANGE
        found |= HOT_HIGH_BIT if hot_c > self._limit(HOT_HIGH, 2) / 16 else 0
        found |= HOT_LOW_BIT if hot_c < self._limit(HOT_LOW, 2) / 16 else 0
        found |= COLD_HIGH_BIT if cold_c > self._limit(COLD_HIGH, 1) else 0
        found |= COLD_LOW_BIT if cold_c < self._limit(COLD_LOW, 1) else 0
        return found

    def _limit(self, first: int, octets: int) -> int:
        return int.from_bytes(bytes(self.registers[first : first + octets]), "big", signed=True)

    # the wire

    def _begin(self) -> None:
        self._idle = self._clock
        self._bits = self._shift = 0
        self._address = 0

    def _end(self) -> None:
        if self._bits % 8:
            self.misused.append("let go of within a byte")

    def _rising(self, data_in: int) -> None:
        self._edge(1, data_in)

    def _falling(self, data_in: int) -> None:
        self._edge(0, data_in)

    def _edge(self, level: int, data_in: int) -> None:
        if level != self._idle:
            self._show()
        else:
            self._take(data_in)

    def _show(self) -> None:
        if self._bits >= 8 and not self._address & WRITE:
            octet = self.registers[self._number()]
            self.data_out = octet >> (7 - self._bits % 8) & 1

    def _take(self, data_in: int) -> None:
        self._shift = (self._shift << 1 | data_in) & 0xFF
        self._bits += 1
        if self._bits == 8:
            self._address = self._shift
        elif self._bits % 8 == 0 and self._address & WRITE:
            self._write((self._address + self._bits // 8 - 2) & 0x0F, self._shift)

    def _number(self) -> int:
        """Return the register whose byte goes out next."""
        return (self._address + self._bits // 8 - 1) & 0x0F

    def _write(self, number: int, octet: int) -> None:
        if number > CJTO:
            self.misused.append(f"register {number:02X} is read only")
            return
        before = self.registers[number]
        if number != CR0:
            self.registers[number] = octet
            return
        if before & octet & AUTO and (before ^ octet) & AT_50_HZ:
            self.misused.append("filter changed while it converts")
        self.registers[CR0] = octet & ~CLEARS
        if octet & CLEARS:
            self.registers[SR] = 0
        if octet & ONE_SHOT:
            self._left_ms = self._conversion_ms(ONE_SHOT_MS)
        elif octet & AUTO and not before & AUTO:
            self._conversions = 0
            self._left_ms = self._conversion_ms(AUTO_MS)
