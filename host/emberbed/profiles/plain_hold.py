"""A plain hold without a file: warm up gently, keep one temperature for a time, cool.

`hold_profile` writes the profile's text and reads it as any other, so that it passes the same
checks and the run's record shows it. `parse_duration` reads a time as people write it. Temperatures
in degrees C, times in s.
"""

import re
from collections.abc import Mapping, Sequence
from math import ceil

from emberbed.materials.book import UNKNOWN
from emberbed.plain_text import printable
from emberbed.profiles.limits import HANDLING_C, RANGES
from emberbed.profiles.reader import ProfileFile, ProfileMistakes, parse_profile
from emberbed.profiles.timing import START_CDEG
from emberbed.profiles.written_numbers import SECONDS

RATE_C_PER_S = 0.3  # as gentle as the device's own hold, which knows no board either
LEAST_WARM_UP_S = 240  # faster, and what a cold heater has stored carries a low hold past its level
COOLS_BY_C = 5.0  # at least, so that cooling has somewhere to go
LEAST_C = RANGES["below_c"].least + COOLS_BY_C
FASTEST_C_PER_S = 2.0
LATE_START_S = 240  # a cold heater warms itself first; past the longest time the device asks
_PART = re.compile(r"(\d{1,7}(?:[.,]\d{1,3})?)\s*([^\W\d_]{1,8})\s*", re.ASCII)
_EXAMPLES = "write it such as 30min, 90s or 1h30min"


def hold_profile(
    temperature_c: float,
    for_s: float,
    sensors: Mapping[str, str] | Sequence[str],
    alloy: str = UNKNOWN,
    laminate: str = UNKNOWN,
) -> ProfileFile:
    """Return a profile that holds `temperature_c` for `for_s`.

    sensors: roles by channel names; or names alone, of which the first controls and the others
    watch the edge. Raises ProfileMistakes as a file would.
    """
    roles = sensors if isinstance(sensors, Mapping) else roles_of(sensors)
    spoken = f"Hold {temperature_c:g} °C for {_spoken(for_s)}"
    if temperature_c < LEAST_C:
        raise ProfileMistakes(
            [f"{spoken}: that is no warmer than where cooling ends; hold {LEAST_C:g} °C or more"]
        )
    warm = RANGES["to_c"]
    level_c = temperature_c if warm.least <= temperature_c <= warm.most else warm.most  # told later
    below_c = min(HANDLING_C, level_c - COOLS_BY_C)
    lines = [
        *head_lines(spoken, alloy, laminate, roles),
        *warm_up_lines(temperature_c, level_c),
        "[[stages]]",
        'kind = "hold"',
        f"for_s = {for_s:.12g}",
        "",
        "[[stages]]",
        'kind = "cool"',
        f"below_c = {below_c:g}",
        f"fastest_c_per_s = {FASTEST_C_PER_S:g}",
        "",
    ]
    return parse_profile("\n".join(lines).encode(), spoken)


def warm_up_lines(temperature_c: float, level_c: float) -> list[str]:
    """Return the lines of a gentle ramp to a temperature; `level_c` is what of it can be."""
    way_c = level_c - START_CDEG / 100
    rate_c_per_s = min(RATE_C_PER_S, round(way_c / LEAST_WARM_UP_S, 3))
    longest_s = 2 * way_c / rate_c_per_s + LATE_START_S
    return [
        "[[stages]]",
        'kind = "ramp"',
        f"to_c = {temperature_c:.12g}",
        f"rate_c_per_s = {rate_c_per_s:g}",
        f"longest_s = {ceil(longest_s)}",
        "",
    ]


def head_lines(name: str, alloy: str, laminate: str, roles: Mapping[str, str]) -> list[str]:
    """Return the lines of a profile's text before its stages; `roles` by channel names."""
    return [
        f"name = {quoted(name)}",
        f"alloy = {quoted(alloy)}",
        f"laminate = {quoted(laminate)}",
        "",
        "[sensors]",
        *[f"{quoted(sensor)} = {quoted(role)}" for sensor, role in roles.items()],
        "",
    ]


def parse_duration(text: str) -> float:
    """Return a time written as 30min, 90s or 1h30min in s; ValueError holds one sentence."""
    shown = printable(text, 40)
    if re.fullmatch(r"\s*[\d.,]+\s*", text):
        raise ValueError(f'the time "{shown}" has no unit; {_EXAMPLES}')
    parts = _PART.findall(text)
    if not parts or _PART.sub("", text).strip():
        raise ValueError(f'the time "{shown}" cannot be read; {_EXAMPLES}')
    seconds = 0.0
    for number, unit in parts:
        factor = SECONDS.get(unit.casefold())
        if factor is None:
            raise ValueError(f'the time "{shown}" has the unit {unit}; {_EXAMPLES}')
        seconds += float(number.replace(",", ".")) * factor
    span = RANGES["for_s"]
    if not span.least <= seconds <= span.most:
        raise ValueError(
            f'the time "{shown}" is outside {span.least:g} s to {span.most / 3600:g} h; {_EXAMPLES}'
        )
    return seconds


def roles_of(names: Sequence[str]) -> dict[str, str]:
    """Return roles for bare names: the first controls, the others watch the edge."""
    fitted = [name for name in names if name]
    return {name: "control" if name == fitted[0] else "edge" for name in fitted}


def _spoken(seconds: float) -> str:
    for unit in ("h", "min"):
        if seconds >= SECONDS[unit] and seconds % SECONDS[unit] == 0:
            return f"{seconds / SECONDS[unit]:g} {unit}"
    return f"{seconds:g} s"


def quoted(text: str) -> str:
    """Return a TOML text; what cannot be shown is left out."""
    shown = printable(text, 200)
    return '"' + shown.replace("\\", "\\\\").replace('"', '\\"') + '"'
