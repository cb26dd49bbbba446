"""The shape of a device description file: known keys, the right kind of value, nothing missing.

Takes the bare data of the TOML; gives (location, sentence) for every mistake. What it passes, the
pin rules and the compiler can read without asking again.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from emberbed.device_file.keys import LISTS, NEEDED_TABLES, TABLES, TOP, Key
from emberbed.plain_text import did_you_mean, printable
from emberbed.profiles.whole_rules import Location
from emberbed_fw.units import CHANNELS, ZONES

Found = tuple[Location, str]
MOST_PIN = 48
MOST_OF = {"channels": CHANNELS, "zones": ZONES}


def shape_mistakes(data: Mapping[str, Any]) -> Iterator[Found]:
    """Yield what is wrong with the shape of a whole file."""
    yield from _keys((), data, TOP, [*TABLES, *LISTS])
    for name, keys in TABLES.items():
        table = data.get(name)
        if table is None:
            if name in NEEDED_TABLES:
                yield (), f"the table [{name}] is missing; write it with {_needed(keys)}"
        elif not isinstance(table, dict):
            yield (name,), f'"{name}" must be a table; write [{name}] on a line of its own'
        else:
            yield from _keys((name,), table, keys)
    for name, keys in LISTS.items():
        yield from _list(name, data.get(name), keys)


def _list(name: str, rows: object, keys: Mapping[str, Key]) -> Iterator[Found]:
    if rows is None:
        yield (), f"no [[{name}]] is written; write one for each with {_needed(keys)}"
        return
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        yield (name,), f'"{name}" must be tables; write [[{name}]] before each of them'
        return
    if not 1 <= len(rows) <= MOST_OF[name]:
        yield (name,), f"there are {len(rows)} [[{name}]]; a device has 1 to {MOST_OF[name]}"
        return
    for number, row in enumerate(rows):
        yield from _keys((name, number), row, keys)


def _keys(
    at: Location, table: Mapping[str, Any], keys: Mapping[str, Key], others: list[str] | None = None
) -> Iterator[Found]:
    known = [*keys, *(others or [])]
    for key, value in table.items():
        if key in keys:
            said = _value_mistake(keys[key], value)
            if said:
                yield (*at, key), f"{key} is {_shown(value)}; {said}"
        elif key not in known:
            mend = did_you_mean(key, known, "the keys here are")
            yield (*at, key), f'"{printable(key)}" is not known here; {mend}'
    for key, what in keys.items():
        if what.needed and key not in table:
            yield at, f"{key} is missing; write it: {what.says}"


def _value_mistake(key: Key, value: object) -> str:
    """Return what to write instead, '' for a value that is right."""
    if key.is_flag:
        return "" if isinstance(value, bool) else "write true or false"
    if key.is_text:
        return "" if isinstance(value, str) else "write a text in quotes"
    if isinstance(value, bool):
        return "write " + ("a pin number" if key.use else "a number")
    if key.use:
        whole = isinstance(value, int) and 0 <= value <= MOST_PIN
        return "" if whole else f"write a pin number, 0 to {MOST_PIN}"
    if key.one_of:
        choices = ", ".join(map(str, key.one_of))
        near = did_you_mean(value, map(str, key.one_of), "") if isinstance(value, str) else ""
        if value in key.one_of:
            return ""
        return near if near.startswith("did") else f"write one of {choices}"
    if not isinstance(value, int | float) or not key.least <= value <= key.most:
        return f"write a number from {key.least:g} to {key.most:g}"
    return ""


def _shown(value: object) -> str:
    return f'"{printable(value)}"' if isinstance(value, str) else printable(value)


def _needed(keys: Mapping[str, Key]) -> str:
    return ", ".join(key for key, what in keys.items() if what.needed)
