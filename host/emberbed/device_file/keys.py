"""Every key of a device description file: where it stands, what it takes, and what for.

One row each, for the checks and for the documents. A pin's `use` says what the chip's pin must be
able to do. Temperatures in °C, times in s.
"""

from dataclasses import dataclass

from emberbed.device_file.boards import CHIPS
from emberbed_fw.safety_limits import EMITTER_CEILING_CDEG
from emberbed_fw.settings import (
    CONVERTER_ABSENT,
    CONVERTER_NAMES,
    COUPLE_TYPES,
    MAX_HOLD_CDEG,
    MAX_WATTS,
    MOST_AVERAGE,
)
from emberbed_fw.thermistor import B_K

HEATS, DRIVES, PULLED_UP, READS, ANALOGUE, BUS = (
    "heats", "drives", "is pulled up", "reads", "is analogue", "is a bus"
)  # fmt: skip
LINKS = ("usb", "uart")
SENSE_KINDS = ("mirror", "voltage")
CONVERTERS = tuple(name for name in CONVERTER_NAMES if name != CONVERTER_NAMES[CONVERTER_ABSENT])
AVERAGES = tuple(1 << shift for shift in range(MOST_AVERAGE + 1))
MAINS_HZ = (50, 60)
BAUDS = (9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600)
DISPLAY_ROWS = (32, 64)


@dataclass(frozen=True)
class Key:
    """What a key takes: a pin with its use, a number in a range, one of some, a text, yes or no."""

    says: str
    use: str = ""
    least: float = 0
    most: float = 0
    one_of: tuple[object, ...] = ()
    is_text: bool = False
    is_flag: bool = False
    needed: bool = False


def _pin(use: str, says: str, needed: bool = True) -> Key:
    return Key(says, use=use, needed=needed)


TOP: dict[str, Key] = {
    "board": Key("the controller's chip", one_of=tuple(CHIPS), needed=True),
    "link": Key("the way to the computer", one_of=LINKS),
    "socket_watts": Key("what the heater's socket gives", least=100, most=MAX_WATTS * 2),
    "hold_c": Key(
        "what the device holds when started at its button alone", most=MAX_HOLD_CDEG / 100
    ),
    "cut_out": Key("an independent manual-reset thermal cut-out is fitted", is_flag=True),
}
TABLES: dict[str, dict[str, Key]] = {
    "bus": {
        "sck": _pin(BUS, "clock of the converters' SPI bus"),
        "mosi": _pin(BUS, "data to the converters; the bus takes the pin even if none listens"),
        "miso": _pin(BUS, "data from the converters"),
    },
    "uart": {
        "tx": _pin(BUS, "from the device"),
        "rx": _pin(BUS, "to the device"),
        "baud": Key("speed of the link", one_of=BAUDS),
    },
    "contactor": {
        "pin": _pin(HEATS, "drives the contactor's coil through a transistor"),
        "sense": _pin(PULLED_UP, "tells whether the contactor is closed", needed=False),
        "sense_kind": Key(
            "a mirror contact to ground, or an isolated voltage sense behind it", one_of=SENSE_KINDS
        ),
    },
    "current_sense": {"pin": _pin(READS, "high while emitter current flows")},
    "fan": {
        "pin": _pin(DRIVES, "drives the fan's switch"),
        "tach": _pin(PULLED_UP, "the fan's tach", needed=False),
    },
    "panel": {
        "button": _pin(PULLED_UP, "button or foot switch to ground"),
        "stop_sense": _pin(PULLED_UP, "a contact of the latching stop, to ground", needed=False),
        "lamp": _pin(DRIVES, "lamp that says hot", needed=False),
        "buzzer": _pin(DRIVES, "active buzzer", needed=False),
    },
    "display": {
        "sda": _pin(BUS, "data of an SSD1306"),
        "scl": _pin(BUS, "its clock"),
        "rows": Key("its height in pixels", one_of=DISPLAY_ROWS),
    },
}
CHANNEL: dict[str, Key] = {
    "name": Key("what profiles call it", is_text=True, needed=True),
    "converter": Key("the converter's chip", one_of=CONVERTERS, needed=True),
    "cs": _pin(DRIVES, "its select pin", needed=False),
    "adc": _pin(ANALOGUE, "analogue input of a thermistor", needed=False),
    "highest_c": Key(
        "the highest reading that is allowed",
        least=20,
        most=EMITTER_CEILING_CDEG / 100,
        needed=True,
    ),
    "couple": Key("type of the couple, of a MAX31856", one_of=tuple(COUPLE_TYPES)),
    "average": Key("conversions averaged, of a MAX31856", one_of=AVERAGES),
    "mains_hz": Key("mains frequency that its filter takes out, of a MAX31856", one_of=MAINS_HZ),
    "b_k": Key("material constant in K, of a thermistor", one_of=B_K),
    "offset_c": Key("added to a calibrated reading", least=-20, most=20),
    "gain": Key("factor of a calibrated reading", least=0.95, most=1.05),
}
ZONE: dict[str, Key] = {
    "pin": _pin(HEATS, "drives the zone's SSR through a transistor"),
    "watts": Key("its emitters' power", least=1, most=MAX_WATTS, needed=True),
    "least_dwell_s": Key("least time between two switchings", least=0.1, most=5),
}
LISTS = {"channels": CHANNEL, "zones": ZONE}
NEEDED_TABLES = ("bus", "contactor", "panel")
