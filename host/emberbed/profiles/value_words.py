"""Say what is wrong with one value of a profile: what the key holds, the rule, the mend.

Takes a key and the value that the file gives it, already found wrong; gives one sentence without
its place.
"""

from typing import Any

from emberbed.materials.book import (
    UNKNOWN,
    UnknownMaterial,
    find_alloy,
    find_flux,
    find_laminate,
    find_neighbour,
)
from emberbed.plain_text import did_you_mean, printable
from emberbed.profiles.limits import (
    DIFFERENCES,
    DRY_OUT_LOW,
    MOST_MARKS,
    RANGES,
    SUPPORT_SOAK,
    TEXTS,
    Range,
)
from emberbed.profiles.model import CHOICES
from emberbed.profiles.written_numbers import WRITTEN, fahrenheit_hint, written_mend
from emberbed_fw.units import CHANNELS

_CAREFUL = f'not known? write "{UNKNOWN}", which is judged with care'
_BOOK = {
    "alloy": find_alloy,
    "laminate": find_laminate,
    "flux": find_flux,
    "part": find_neighbour,
}
_NAMES = {
    "alloy": f"the name of an alloy in quotes ({_CAREFUL})",
    "laminate": f"the name of a laminate in quotes ({_CAREFUL})",
    "flux": f"the name of a flux in quotes ({_CAREFUL})",
    "part": "the name of a neighbour in the materials book, in quotes",
    "partner": "the name of another sensor in quotes",
    "needs": 'a list of sensors of this profile, such as ["edge"]',
    "marks": f'a list of at most {MOST_MARKS} events, such as ["flux_on"]',
    "in_jet": "true or false, without quotes",
    "shielded": "true or false, without quotes",
}
_UNSIGNED = {  # rates that people write with the sign of the way
    "rate_c_per_s": '; cooling is a stage of kind "cool"',
    "fastest_c_per_s": "",
}
WHOLE = ("zone",)  # numbers that count things
TABLES = {
    "board": "a table such as { mass_g = 240, length_mm = 180, width_mm = 120 }",
    "chip": "a table such as { length_mm = 27, width_mm = 27, thickness_mm = 2.2 }",
    "accepted": "a list of tables, each under its own [[accepted]], as check --accept writes it",
    "sensors": f"a table of at most {CHANNELS} sensors, each with its role",
    "stages": "a list of tables, each under its own [[stages]]",
}


def expected(key: str) -> str:
    """Return what `key` holds."""
    if key in RANGES:
        span = RANGES[key]
        return f"a number from {span.least:g} to {span.most:g} {span.unit}".rstrip()
    if key in TEXTS:
        return f"a text in quotes of 1 to {TEXTS[key]} visible characters"
    if key in _NAMES:
        return _NAMES[key]
    if key in CHOICES:
        return f"one of the words {', '.join(CHOICES[key])}, in quotes"
    return TABLES[key]


def value_text(key: str, value: Any) -> str:
    """Return the sentence for a value that `key` must not hold."""
    if key in _BOOK and isinstance(value, str):
        return _unknown_material(key, value)
    if key in RANGES:
        return _number_text(key, value)
    if key in CHOICES and key not in _NAMES and isinstance(value, str):
        return f"{key} does not know {shown(value)}; {choice_mend(key, value)}"
    if key == "marks" and isinstance(value, list) and len(value) > MOST_MARKS:
        return f"marks holds {len(value)} events and at most {MOST_MARKS} fit; drop some"
    if key == "stages" and isinstance(value, dict):
        return "[stages] is one table and stages are a list: write [[stages]], two brackets"
    return f"{key} = {shown(value)} is not {expected(key)}; write one"


def choice_mend(key: str, value: Any) -> str:
    """Return the word that was meant, or all that `key` may hold."""
    return did_you_mean(value if isinstance(value, str) else "", CHOICES[key], "write one of")


def _unknown_material(key: str, name: str) -> str:
    try:
        _BOOK[key](name)
    except UnknownMaterial as unknown:
        return str(unknown) if key == "part" else f"{unknown} ({_CAREFUL})"
    return f"{key} = {shown(name)} is not {expected(key)}; write one"


def _number_text(key: str, value: Any) -> str:
    opening = f"{key} = {shown(value)}"
    if isinstance(value, str):
        return f"{opening} is text; {_unquoted(key, value)}"
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not is_number or value != value:  # only NaN differs from itself; isnan fails on huge ones
        return f"{opening} is not {expected(key)}; write a plain number in that range"
    span = RANGES[key]
    if key in WHOLE and span.least <= value <= span.most:
        return f"{opening} is no whole number; write one of {span.least:g} to {span.most:g}"
    if key in _UNSIGNED and span.least <= -value <= span.most:
        return f"{opening}: rates have no sign: write {-value:g}{_UNSIGNED[key]}"
    outside = f"{opening} is outside {span.least:g} to {span.most:g} {span.unit}".rstrip()
    hint = _fahrenheit(key, value, span)
    if hint:
        return f"{outside}; {hint}"
    over = value > span.most
    why = f" ({span.why})" if span.why_of in ("both", "most" if over else "least") else ""
    return f"{outside}{why}; {_range_mend(key, span, over)}"


def _unquoted(key: str, written: str) -> str:
    mend = written_mend(key, written)
    if mend is None:
        return f"write {expected(key)}, without the quotes"
    found = WRITTEN.fullmatch(written.strip())
    if found and not found["unit"]:
        return f"write it without the quotes: {float(found[0].replace(',', '.')):g}"
    return f"{mend}, without the quotes"


def _fahrenheit(key: str, value: float, span: Range) -> str | None:
    """Return the hint if a temperature (no difference, no rate) makes sense as Fahrenheit."""
    is_temperature = key.endswith("_c") and key not in DIFFERENCES
    if not is_temperature or value <= span.most or value > 1e6:
        return None
    return fahrenheit_hint(value, span.least, min(span.most, SUPPORT_SOAK.value))


def _range_mend(key: str, span: Range, over: bool) -> str:
    if key == "to_c" and over:  # the range's end would ruin the board
        return (
            "write the temperature that the board shall have, from"
            f" {DRY_OUT_LOW.value:g} to {SUPPORT_SOAK.value:g} for most work"
        )
    return f"write {span.most:g} or less" if over else f"write {span.least:g} or more"


def shown(value: Any) -> str:
    """Return a value of the file as a person may see it: short, and no control characters."""
    if isinstance(value, str):
        return f'"{printable(value, 40)}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) >= 10**15:  # Python refuses to write the largest out
        return "a number of more than 15 digits"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, dict):
        return "a table"
    return "a list" if isinstance(value, list) else "a date or time"
