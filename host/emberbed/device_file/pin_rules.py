"""Whether a chip's pins can do what a device description asks of them.

Takes data whose shape is right; gives (location, sentence) for every mistake: a pin that the chip
has not got, that it needs itself, that cannot do what it is for, that has two uses, or that no bus
of the chip has beside the others.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from emberbed.device_file.boards import CHIPS, Bus, Chip
from emberbed.device_file.keys import (
    ANALOGUE,
    DRIVES,
    HEATS,
    LISTS,
    PULLED_UP,
    TABLES,
    Key,
)
from emberbed.device_file.shape import Found
from emberbed.profiles.whole_rules import Location

Pin = tuple[Location, int, Key]


def pins_of(data: Mapping[str, Any]) -> Iterator[Pin]:
    """Yield where each pin is written, its number and its key."""
    for name, keys in TABLES.items():
        yield from _pins_in((name,), data.get(name, {}), keys)
    for name, keys in LISTS.items():
        for number, row in enumerate(data[name]):
            yield from _pins_in((name, number), row, keys)


def _pins_in(at: Location, table: Mapping[str, Any], keys: Mapping[str, Key]) -> Iterator[Pin]:
    for key, what in keys.items():
        if what.use and key in table:
            yield (*at, key), table[key], what


def pin_mistakes(data: Mapping[str, Any]) -> Iterator[Found]:
    """Yield what is wrong with the pins."""
    board = data["board"]
    chip = CHIPS[board]
    first_use: dict[int, str] = {}
    for location, pin, key in pins_of(data):
        name = written(location)
        said = _pin_mistake(chip, board, pin, key)
        if said:
            yield location, said
        elif pin in first_use:
            yield location, f"pin {pin} is {first_use[pin]} already; give {name} a pin of its own"
        first_use.setdefault(pin, name)
    yield from _bus_mistakes(data, chip.spi, "bus", ("sck", "mosi", "miso"), "an SPI")
    yield from _bus_mistakes(data, chip.uart, "uart", ("tx", "rx"), "a UART")
    yield from _bus_mistakes(data, chip.i2c, "display", ("sda", "scl"), "an I2C")


def written(location: Location) -> str:
    """Return a key as a person wrote it: `bus.sck`, `channels 2 cs`."""
    if isinstance(location[1], int):
        return f"{location[0]} {location[1] + 1} {location[2]}"
    return f"{location[0]}.{location[1]}"


def _pin_mistake(chip: Chip, board: str, pin: int, key: Key) -> str:
    if pin not in chip.pins:
        return f"pin {pin}: the {board} has no such pin; choose another one"
    if pin in chip.refused:
        return f"pin {pin} of the {board} {chip.refused[pin]}; choose another one"
    if pin in chip.input_only and key.use in (HEATS, DRIVES, PULLED_UP):
        why = "has no pull-up" if key.use == PULLED_UP else "can only read"
        return f"pin {pin} of the {board} {why}; choose another one"
    if pin in chip.noisy and key.use == HEATS:
        return f"pin {pin} of the {board} gives pulses while the chip starts; choose another one"
    if key.use == ANALOGUE and pin not in chip.analogue:
        choice = ", ".join(map(str, sorted(chip.analogue)))
        return f"pin {pin} of the {board} is no analogue input; choose one of {choice}"
    return ""


def _bus_mistakes(
    data: Mapping[str, Any], buses: tuple[Bus, ...], table: str, keys: tuple[str, ...], kind: str
) -> Iterator[Found]:
    """Pins that no bus of the chip has together; chips with a free choice have no `buses`."""
    if not buses or table not in data:
        return
    pins = [data[table][key] for key in keys]
    for bus in buses:
        sets = (bus.first, bus.second, bus.third)
        if pins[0] in bus.first:
            for key, pin, allowed in zip(keys, pins, sets, strict=False):
                if pin not in allowed:
                    choice = ", ".join(map(str, sorted(allowed)))
                    yield (
                        (table, key),
                        f"pin {pin} cannot be {key} where {keys[0]} is pin {pins[0]}; choose one of"
                        f" {choice}",
                    )
            return
    choice = ", ".join(str(pin) for bus in buses for pin in sorted(bus.first))
    yield (table, keys[0]), f"pin {pins[0]} is no {keys[0]} of {kind}; choose one of {choice}"
