"""Read a number as people write it, and say how the file wants it.

Takes a key and what stands in the place of its number: a decimal comma, a unit behind it, a point
without a digit. The key's ending says the unit that is wanted. Gives a mend, or None where no
number can be made out. Also what a number would be if it was meant as Fahrenheit.
"""

import re

_NUMBER = r"(?P<sign>[+-]?)(?P<digits>\d{1,9}\.\d{0,9}|\.\d{1,9}|\d{1,9}(?:,\d{1,9})?)"
_UNIT = r"(?P<unit>[^\W\d_][^\s\d,}\]]{0,11}|°[^\s\d,}\]]{0,11})?"
WRITTEN = re.compile(rf"{_NUMBER}[ \t]{{0,9}}{_UNIT}[ \t]{{0,99}}(?=[,}}\]]|$)")
_DECIMAL_COMMA = re.compile(r"\d+,\d{3}")  # may be thousands as well

SECONDS: dict[str, float] = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), 1.0),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), 60.0),
    **dict.fromkeys(("h", "hour", "hours"), 3600.0),
}
_DEGREES: dict[str, float] = dict.fromkeys(("°c", "c", "degc", "deg", "°", "k", "celsius"), 1.0)
_RATES: dict[str, float] = {
    **dict.fromkeys(("°c/s", "c/s", "k/s"), 1.0),
    **dict.fromkeys(("°c/min", "c/min", "k/min"), 1 / 60),
}
# ending of the key, the unit in words, factors of the units people write; the longest ending first
_WANTED: tuple[tuple[str, str, dict[str, float]], ...] = (
    ("_c_per_s", "°C/s", _RATES),
    ("_s", "seconds", SECONDS),
    ("_c", "°C", _DEGREES),
    ("_mm", "millimetres", {"mm": 1.0, "cm": 10.0, "m": 1000.0}),
    ("_w", "watts", {"w": 1.0, "watt": 1.0, "watts": 1.0, "kw": 1000.0}),
    ("_g", "grams", {"g": 1.0, "gram": 1.0, "grams": 1.0, "kg": 1000.0}),
)


def written_mend(key: str, written: str) -> str | None:
    """Return how to write what stands as `written` after `key`, or None: no number in it."""
    found = WRITTEN.fullmatch(written.strip())
    if found is None:
        return None
    number = float(found["sign"] + found["digits"].replace(",", "."))
    if found["unit"]:
        return _without_unit(key, number, found["unit"])
    if _DECIMAL_COMMA.fullmatch(found["digits"]):
        whole = found["sign"] + found["digits"].replace(",", "")
        return f"write it without the comma: {whole}, or with a decimal point: {number:g}"
    if "," in found["digits"]:
        return f"write the decimal with a point: {number:g}"
    if found["digits"].startswith(".") or found["digits"].endswith("."):
        return f"write a digit on both sides of the point: {number!r}"
    return f"write {number:g}"


def _without_unit(key: str, number: float, unit: str) -> str:
    for ending, words, factors in _WANTED:
        if not key.endswith(ending):
            continue
        if ending == "_c" and unit.casefold() in ("f", "°f", "degf"):
            return f"write °C as a plain number: {celsius(number):.0f}"
        factor = factors.get(unit.casefold())
        value = f": {number * factor:.6g}" if factor else f", without {unit}"
        return f"write {words} as a plain number{value}"
    return f"write a plain number: {number:g}"


def celsius(fahrenheit: float) -> float:
    """Return a temperature in degrees F as degrees C."""
    return (fahrenheit - 32) / 1.8


def fahrenheit_hint(value: float, least_c: float, most_c: float) -> str | None:
    """Return a mend if `value`, taken as degrees F, lies from `least_c` to `most_c`."""
    if least_c <= celsius(value) <= most_c:
        return f"if it is Fahrenheit, write {celsius(value):.0f}"
    return None
