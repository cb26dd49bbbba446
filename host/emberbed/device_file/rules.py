"""What must fit together in a device description beside its pins: converters, names, senses.

Takes data whose shape is right; gives (location, sentence) for every mistake.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any

from emberbed.device_file.shape import Found
from emberbed.plain_text import printable
from emberbed_fw.safety_limits import HARD_CEILING_CDEG
from emberbed_fw.settings import (
    CONVERTER_MAX31856,
    CONVERTER_NAMES,
    CONVERTER_THERMISTOR,
    MOST_THERMISTOR_CDEG,
    NAME_BYTES,
)

THERMISTOR = CONVERTER_NAMES[CONVERTER_THERMISTOR]
FINE = CONVERTER_NAMES[CONVERTER_MAX31856]
ONLY_FINE = ("couple", "average", "mains_hz")
_NAME = re.compile(f"[A-Za-z][A-Za-z0-9_-]{{0,{NAME_BYTES - 1}}}")  # as profiles name sensors


def rule_mistakes(data: Mapping[str, Any]) -> Iterator[Found]:
    """Yield what does not fit together."""
    names: dict[str, int] = {}
    for number, channel in enumerate(data["channels"]):
        at = ("channels", number)
        for key, said in _channel_mistakes(channel):
            yield (*at, key), said
        name = channel["name"]
        if name in names:
            yield (
                (*at, "name"),
                f'"{printable(name)}" is channel {names[name] + 1} already; give '
                "each channel a name of its own",
            )
        names.setdefault(name, number)
    if data.get("link") == "uart" and "uart" not in data:
        yield ("link",), 'link is "uart"; write the table [uart] with tx and rx'
    if "uart" in data and data.get("link") != "uart":
        yield ("uart",), 'the table [uart] is written, and link is not "uart"; write link = "uart"'
    if "sense_kind" in data["contactor"] and "sense" not in data["contactor"]:
        yield ("contactor", "sense_kind"), "sense_kind is written without sense; write its pin too"
    if data.get("hold_c") and not _can_hold(data):
        yield (
            ("hold_c",),
            f"hold_c is {data['hold_c']:g}, above what the first couple on the board may read; "
            "lower it, or raise that channel's highest_c",
        )


def _can_hold(data: Mapping[str, Any]) -> bool:
    for channel in data["channels"]:
        if channel["converter"] != THERMISTOR and channel["highest_c"] * 100 <= HARD_CEILING_CDEG:
            return data["hold_c"] < channel["highest_c"]
    return False


def _channel_mistakes(channel: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    converter, name = channel["converter"], channel["name"]
    if not _NAME.fullmatch(name):
        yield (
            "name",
            f'"{printable(name)}" is no name; write a letter, then letters, digits, _ or -, at most'
            f" {NAME_BYTES} in all",
        )
    pin, other = ("adc", "cs") if converter == THERMISTOR else ("cs", "adc")
    if pin not in channel:
        yield "converter", f"a {converter} needs {pin}; write the pin it is at"
    if other in channel:
        yield other, f"a {converter} has no {other}; leave it out"
    for key in (*ONLY_FINE, "b_k"):
        owner = THERMISTOR if key == "b_k" else FINE
        if key in channel and converter != owner:
            yield key, f"a {converter} has no {key}; leave it out, or write a {owner}"
    if converter == THERMISTOR and channel["highest_c"] * 100 > MOST_THERMISTOR_CDEG:
        yield (
            "highest_c",
            f"highest_c is {channel['highest_c']:g}; a thermistor is read up to "
            f"{MOST_THERMISTOR_CDEG / 100:g} °C, write at most that",
        )
