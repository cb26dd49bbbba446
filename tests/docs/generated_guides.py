"""The made parts of the guides: pins, trips, commands. Each function returns a block's text."""

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import typer.main

import emberbed.device_file
from emberbed import words
from emberbed.cli import app
from emberbed.device_file.boards import CHIPS
from emberbed.device_file.keys import CHANNEL, TABLES, ZONE
from emberbed.device_file.pin_rules import pins_of, written
from emberbed.trip_titles import clearing_words, trip_title
from emberbed_fw import trip_codes
from emberbed_hil.mains_steps import ITEMS
from tests.docs.md_table import table
from tests.safety import hazard_table

EXAMPLES = {
    "RP2040, RP2350": "example.toml",
    "ESP32": "example-esp32.toml",
    "ESP32-S3": "example-esp32-s3.toml",
}
ONLY_SOME = "RP2 chips let a bus have only some of their pins; the check names them"

# hardware.md


def example(name: str) -> Mapping[str, Any]:
    """Return a shipped device description."""
    path = Path(emberbed.device_file.__file__).with_name(EXAMPLES[name])
    return tomllib.loads(path.read_text(encoding="utf-8"))


def pins() -> str:
    """One row per key of a description that is a pin, one column per family of chips."""
    found = {name: dict(_pins_by_key(example(name))) for name in EXAMPLES}
    keys = list(dict.fromkeys(key for pins in found.values() for key in pins))
    rows = (
        (f"`{key}`", _says(key), *(found[name].get(key, "none") for name in EXAMPLES))
        for key in keys
    )
    return table(["in the description", "what it does", *EXAMPLES], rows)


def _pins_by_key(data: Mapping[str, Any]) -> Iterator[tuple[str, int]]:
    for location, pin, _key in pins_of(data):
        yield written(location), pin


def _says(key: str) -> str:
    if key.startswith("channels"):
        _list, number, inner = key.split()
        name = example("ESP32-S3")["channels"][int(number) - 1]["name"]  # the same in all
        return f"{name}: {CHANNEL[inner].says}"
    if key.startswith("zones"):
        return ZONE[key.split()[-1]].says
    outer, inner = key.split(".")
    return TABLES[outer][inner].says


def chip_pins() -> str:
    def rows() -> Iterator[Sequence[object]]:
        for name, chip in CHIPS.items():
            kept: dict[str, list[int]] = {}
            for pin, why in chip.refused.items():
                kept.setdefault(why, []).append(pin)
            said = "; ".join(f"{runs(pins)}: {why}" for why, pins in kept.items())
            more = [f"{runs(chip.input_only)}: only read"] if chip.input_only else []
            more += [f"{runs(chip.noisy)}: nothing that heats"] if chip.noisy else []
            more += [ONLY_SOME] if chip.spi else []
            yield f"`{name}`", said or "none", "; ".join(more) or "none"

    return table(["chip", "refused for everything", "of limited use"], rows())


def runs(numbers: Any) -> str:
    """Return numbers as 1, 4 to 6."""
    parts: list[list[int]] = []
    for number in sorted(numbers):
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    return ", ".join(
        f"{part[0]} to {part[-1]}" if len(part) > 1 else str(part[0]) for part in parts
    )


# trips.md


def trip_pages() -> str:
    return "\n".join(_trip_page(code, name) for code, name, _reaction in trip_codes.TRIPS)


def _trip_page(code: int, name: str) -> str:
    said = words.trip_words(code)
    title = trip_title(code)
    lines = [f"### {title[0].upper()}{title[1:]}", "", said.happened, "", f"- **Do**: {said.mend}"]
    clears = clearing_words(code, trips_of_cause=1)
    lines.append(f"- **After that**: {clears or 'Plug out. Only a repair helps.'}")
    lines.append(f"- In the record `{name}`, number {code}{_in_time(name)}")
    return "\n".join(lines) + "\n"


def _in_time(name: str) -> str:
    """Return the longest that a check of this trip may take, worded."""
    checks = hazard_table.load()["check"]
    allowed = [row["must_act_within_ms"] for row in checks if name in row.get("trips", ())]
    return f"; acts within {max(allowed) / 1000:g} s." if allowed else "."


def withheld() -> str:
    return "".join(f"- {said[0].upper()}{said[1:]}\n" for said in words.WITHHELD.values())


# commissioning.md


def mains_checklist() -> str:
    rows = ((item.number, item.title, item.asked, item.note or "none") for item in ITEMS)
    return table(["step", "about", "asked", "to write down"], rows)


# commands.md


def reference() -> str:
    parts = []
    for path, command in leaf_commands(typer.main.get_command(app), "emberbed"):
        parts.append(_command_page(path, command))
    return "\n".join(parts)


def leaf_commands(command: Any, path: str) -> Iterator[tuple[str, Any]]:
    """Yield every command with its whole name."""
    inner = getattr(command, "commands", None)
    if inner is None:
        yield path, command
        return
    for name, below in inner.items():
        yield from leaf_commands(below, f"{path} {name}")


def _command_page(path: str, command: Any) -> str:
    needed = [
        parameter.name.upper() if parameter.required else f"[{parameter.name.upper()}]"
        for parameter in command.params
        if parameter.param_type_name == "argument"
    ]
    lines = [f"## {path}", "", _one_line(command.help), ""]
    lines += [f"`{' '.join([path, *needed])}`", "", ""]
    rows = [
        (_spelled(parameter), _one_line(parameter.help), _default(parameter))
        for parameter in command.params
        if not getattr(parameter, "hidden", False)
    ]
    listed = table(["option", "what it does", "if left out"], iter(rows)) if rows else ""
    return "\n".join(lines) + listed


def _spelled(parameter: Any) -> str:
    if parameter.param_type_name == "argument":
        return f"`{parameter.name.upper()}`"
    return ", ".join(f"`{name}`" for name in (*parameter.opts, *parameter.secondary_opts))


def _default(parameter: Any) -> str:
    default = parameter.default
    if parameter.required:
        return "needed"
    if default is None or isinstance(default, bool) or default in ((), []) or callable(default):
        return ""
    return f"`{default}`"


def _one_line(text: str | None) -> str:
    return re.sub(r"\s+", " ", text or "").strip()


BLOCKS = {
    "pins": pins,
    "chip pins": chip_pins,
    "trip pages": trip_pages,
    "withheld": withheld,
    "mains checklist": mains_checklist,
    "reference": reference,
}
