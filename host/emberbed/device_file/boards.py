"""Which pins the supported controller chips have, and what each may be used for.

Sources: the chips' datasheets and hardware design guidelines, from memory; a board that carries a
chip may use more of its pins for itself. A pin that decides how the chip starts, or that its flash
or its USB uses, is refused for everything.
"""

from collections.abc import Mapping
from dataclasses import dataclass

_Pins = frozenset[int]
START = "decides how the chip starts"
FLASH = "belongs to the chip's flash memory"
USB = "belongs to the chip's USB"
CONSOLE = "belongs to the serial line of the prompt"
NOISY = "gives pulses while the chip starts"


@dataclass(frozen=True)
class Bus:
    """The pins that one hardware bus may have; a chip with a free choice has none of these."""

    first: _Pins  # SPI clock, UART tx, I2C data
    second: _Pins  # SPI data out, UART rx, I2C clock
    third: _Pins = frozenset()  # SPI data in


@dataclass(frozen=True)
class Chip:
    pins: _Pins
    analogue: _Pins
    refused: Mapping[int, str]  # pin -> what it is for
    input_only: _Pins = frozenset()  # these have no pull-up either
    noisy: _Pins = frozenset()  # not for what heats
    spi: tuple[Bus, ...] = ()
    uart: tuple[Bus, ...] = ()
    i2c: tuple[Bus, ...] = ()


def _some(*pins: int | range) -> _Pins:
    return frozenset(
        number for one in pins for number in (one if isinstance(one, range) else (one,))
    )


_RP2 = Chip(
    pins=_some(range(30)),
    analogue=_some(range(26, 30)),
    refused={},  # flash and USB have pins of their own
    spi=(
        Bus(_some(2, 6, 18, 22), _some(3, 7, 19, 23), _some(0, 4, 16, 20)),
        Bus(_some(10, 14, 26), _some(11, 15, 27), _some(8, 12, 24, 28)),
    ),
    uart=(
        Bus(_some(0, 12, 16, 28), _some(1, 13, 17, 29)),
        Bus(_some(4, 8, 20, 24), _some(5, 9, 21, 25)),
    ),
    i2c=(
        Bus(_some(0, 4, 8, 12, 16, 20, 24, 28), _some(1, 5, 9, 13, 17, 21, 25, 29)),
        Bus(_some(2, 6, 10, 14, 18, 22, 26), _some(3, 7, 11, 15, 19, 23, 27)),
    ),
)

CHIPS: Mapping[str, Chip] = {
    "rp2040": _RP2,
    "rp2350": _RP2,
    "esp32": Chip(
        pins=_some(range(20), 21, 22, 23, 25, 26, 27, range(32, 37), 39),
        analogue=_some(32, 33, 34, 35, 36, 39),
        refused={
            **dict.fromkeys((0, 2, 5, 12, 15), START),
            **dict.fromkeys(range(6, 12), FLASH),
            **dict.fromkeys((1, 3), CONSOLE),
        },
        input_only=_some(34, 35, 36, 39),
        noisy=_some(14),
    ),
    "esp32-s3": Chip(
        pins=_some(range(22), range(26, 49)),
        analogue=_some(range(1, 11)),
        refused={
            **dict.fromkeys((0, 3, 45, 46), START),
            **dict.fromkeys(range(26, 38), FLASH),
            **dict.fromkeys((19, 20), USB),
            **dict.fromkeys((43, 44), CONSOLE),
        },
    ),
    "esp32-c3": Chip(
        pins=_some(range(22)),
        analogue=_some(range(5)),
        refused={
            **dict.fromkeys((2, 8, 9), START),
            **dict.fromkeys(range(11, 18), FLASH),
            **dict.fromkeys((18, 19), USB),
            **dict.fromkeys((20, 21), CONSOLE),
        },
    ),
}
