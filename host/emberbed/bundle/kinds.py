"""What stands in a bundle's JSON, each of its kind: ValueError for anything else."""

import json
from typing import Any

from emberbed.plain_text import hidden_characters, printable

_MOST_NUMBER = 2**63 - 1


def parsed(octets: bytes) -> dict[str, Any]:
    """Return the object that an entry's JSON is."""
    told = json.loads(octets.decode("utf-8"), parse_constant=_refuse)
    if type(told) is not dict:
        raise ValueError("its JSON is no object")
    return told


def number(value: Any, least: int = 0) -> int:
    if type(value) is not int or not least <= value <= _MOST_NUMBER:
        raise ValueError(f"{printable(value, 30)} stands where a number must")
    return value


def text(value: Any) -> str:
    if type(value) is not str or hidden_characters(value):
        raise ValueError("a value is no text that can be shown")
    return value


def octets(value: Any) -> bytes:
    if type(value) is not str:
        raise ValueError(f"{printable(value, 30)} stands where bytes must")
    return bytes.fromhex(value)


def digest(value: Any) -> bytes:
    found = octets(value)
    if len(found) != 32:
        raise ValueError("a fingerprint is cut short")
    return found


def rows(told: dict[str, Any], name: str, width: int, most: int) -> list[list[Any]]:
    """Return a list of lists of one length."""
    found = told[name]
    if type(found) is not list or len(found) > most:
        raise ValueError(f"its {name} are no list, or too long a one")
    if any(type(row) is not list or len(row) != width for row in found):
        raise ValueError(f"its {name} are not rows of {width}")
    return found


def _refuse(constant: str) -> None:
    raise ValueError(f"{constant} is no number")
