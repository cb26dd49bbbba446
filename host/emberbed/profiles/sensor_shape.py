"""Rules about the table of sensors: which keys a role needs, which it has no use for, what names
what.

Works on bare tables as whole_rules does; a role that is itself a mistake is None. Gives (location,
text) pairs.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from emberbed.plain_text import did_you_mean, printable
from emberbed.profiles.limits import HARD_CEILING_C, PAUSE_BELOW_LIMIT_C

_Found = Iterator[tuple[tuple[str | int, ...], str]]
_Tables = Mapping[str, Mapping[str, Any]]
# key -> the roles it belongs to
ROLES_OF = {
    "pause_c": ("neighbour",),
    "partner": ("pair",),
    "part": ("neighbour",),
}
STEERS = ("control", "edge", "pair")  # on the board, and no single part
# role -> (the key it cannot do without, what that is, how to write it)
NEEDED = {
    "neighbour": ("limit_c", "the °C it may get", "limit_c = 85"),
    "pair": ("partner", "the sensor it lies beside", 'partner = "top_near_chip"'),
}


def sensor_mistakes(sensors: _Tables) -> _Found:
    """Yield every mistake between the sensors, and between the keys of one."""
    yield from _control_mistakes(sensors)
    yield from _zone_mistakes(sensors)
    for name, sensor in sensors.items():
        yield from _key_mistakes(name, sensor)
        partner = sensor.get("partner")
        if isinstance(partner, str) and sensor.get("role") == "pair":
            others = {other: table for other, table in sensors.items() if other != name}
            yield from unknown_names(("sensors", name, "partner"), [partner], others)


def unknown_names(where: tuple[str | int, ...], names: Any, known: _Tables) -> _Found:
    """Yield a mistake for each of `names` that is no sensor of the profile."""
    for index, name in enumerate(names if isinstance(names, list) else []):
        if isinstance(name, str) and name not in known:
            mend = did_you_mean(name, known, "write one of") if known else "leave it out"
            key = where[-1]
            place = (*where, index) if key == "needs" else where
            yield place, f'{key} names no sensor of this profile with "{printable(name)}"; {mend}'


def _control_mistakes(sensors: _Tables) -> _Found:
    roles = [sensor.get("role") for sensor in sensors.values()]
    controls = [name for name, sensor in sensors.items() if sensor.get("role") == "control"]
    if not controls and None not in roles:
        yield ("sensors",), 'no sensor has the role "control"; give it to exactly one'
    for name in controls[1:]:
        yield (
            ("sensors", name),
            f'only one sensor may have the role "control" and "{controls[0]}" has it already;'
            ' write another role such as "edge"',
        )


def _zone_mistakes(sensors: _Tables) -> _Found:
    """The control sensor steers zone 0, every other zone one sensor on the board at most."""
    steers: dict[int, str] = {}
    for name, sensor in sensors.items():
        zone, role = sensor.get("zone"), sensor.get("role")
        if not isinstance(zone, int) or isinstance(zone, bool) or role is None:
            continue
        place = ("sensors", name, "zone")
        if role not in STEERS:
            yield (
                place,
                f"a sensor with the role {role} steers no zone; leave zone out, or write the role"
                f" {' or '.join(STEERS)}",
            )
        elif (zone == 0) != (role == "control"):
            yield (
                place,
                f"zone = {zone} and the role {role} do not fit: the control sensor steers zone 0,"
                " others a later one; write another number, or leave zone out",
            )
        elif zone in steers:
            yield (
                place,
                f'zone {zone} follows "{printable(steers[zone])}" already; write another zone, or'
                " leave it out",
            )
        else:
            steers[zone] = name


def _key_mistakes(name: str, sensor: Mapping[str, Any]) -> _Found:
    role = sensor.get("role")
    if role is None:
        return
    key, what, example = NEEDED.get(role, (None, "", ""))
    if key and sensor.get(key) is None:
        yield (
            ("sensors", name),
            f"{printable(name)} is a {role} and does not say {what}; write"
            f' {printable(name)} = {{ role = "{role}", {example} }}',
        )
    for key, roles in ROLES_OF.items():
        if sensor.get(key) is not None and role not in roles:
            yield (
                ("sensors", name, key),
                f"a sensor with the role {role} has no {key}; leave it out, or write the role"
                f" {' or '.join(roles)}",
            )
    limit_c, pause_c = _number(sensor.get("limit_c")), _number(sensor.get("pause_c"))
    if role == "neighbour" and limit_c is not None and pause_c is not None and pause_c >= limit_c:
        yield (
            ("sensors", name, "pause_c"),
            f"pause_c = {pause_c:g} is not below limit_c = {limit_c:g}, so the run trips before it"
            f" pauses; write {limit_c - PAUSE_BELOW_LIMIT_C:g} or leave it out",
        )


def _number(value: Any) -> float | None:
    """Return a number of the file that may be one; None for anything else."""
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return value if is_number and abs(value) <= HARD_CEILING_C else None
