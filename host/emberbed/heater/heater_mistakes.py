"""Say each mistake in the shape of a heater file in one plain sentence: line, rule, mend."""

from typing import Any

from pydantic import ValidationError

from emberbed.plain_text import printable
from emberbed.profiles.toml_lines import TomlLines
from emberbed.profiles.value_words import shown as value_shown

MOST_SENTENCES = 20
_KINDS = {  # what the validating library calls a fault, and what should stand there
    "string": "a text in quotes",
    "int": "a whole number",
    "float": "a number",
    "bool": "true or false",
    "datetime": "a date and time",
    "list": "a list",
    "dict": "a table",
    "model": "a table",
}


def sentences_of(errors: ValidationError, text: str, shown: str) -> list[str]:
    """Return a sentence for each error, with its line where that is known."""
    lines = TomlLines(text)
    found = []
    for error in errors.errors(include_url=False):
        line = lines.line_of(tuple(error["loc"]))
        place = f"{shown}:{line}: " if line else f"{shown}: "
        found.append(place + _sentence(error))
    return found[:MOST_SENTENCES]


def _sentence(error: Any) -> str:
    key = ".".join(printable(part) for part in error["loc"])
    kind = error["type"]
    if kind == "missing":
        return f"the key {key} is missing; identify the heater again"
    if kind == "extra_forbidden":
        return f"the key {key} is not known here; take it out"
    if kind == "value_error":
        return f"{key}: {error['ctx']['error']}; identify the heater again"
    written = value_shown(error["input"])
    return f"{key} = {written} is not {_expected(error)}; mend it or identify the heater again"


def _expected(error: Any) -> str:
    limits = error.get("ctx") or {}
    bounds = [
        f"{words} {limits[name]:g}"
        for name, words in (("gt", "above"), ("ge", "at least"), ("lt", "below"), ("le", "at most"))
        if name in limits
    ]
    if bounds:
        return f"a number {' and '.join(bounds)}"
    if error["type"] == "string_pattern_mismatch":
        return "the 64 digits of a SHA-256 digest"
    return _KINDS.get(str(error["type"]).split("_")[0], "what belongs there")
