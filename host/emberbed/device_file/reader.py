"""Read a device description file, or refuse it with every mistake told at once.

`read_device_file` takes a path, `parse_device_file` bytes; both give the two blocks that a device
is installed with, or raise DeviceFileMistakes, one sentence for each mistake with file, line, rule
and mend. Nothing a file holds makes them raise anything else.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from emberbed.device_file.blocks import compile_settings, compile_wiring
from emberbed.device_file.keys import TABLES
from emberbed.device_file.pin_rules import pin_mistakes
from emberbed.device_file.rules import rule_mistakes
from emberbed.device_file.shape import Found, shape_mistakes
from emberbed.plain_text import printable
from emberbed.profiles.toml_lines import TomlLines

MOST_BYTES = 64 * 1024
MOST_SENTENCES = 50
_WHERE = re.compile(r"\s*\(at line (\d+), column \d+\)$")


class DeviceFileMistakes(ValueError):
    """A description that cannot be used; `sentences` names every mistake."""

    def __init__(self, sentences: list[str]) -> None:
        super().__init__("\n".join(sentences))
        self.sentences = sentences


@dataclass(frozen=True)
class DeviceFile:
    """What a device is installed with: `settings` (emberbed_fw.settings), `wiring`
    (emberbed_fw.ports.wiring), and the chip it is for."""

    board: str
    settings: bytes
    wiring: bytes


def read_device_file(path: str | Path) -> DeviceFile:
    """Read, check and compile a file."""
    shown = printable(path, 200)
    try:
        with Path(path).open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as refused:
        why = getattr(refused, "strerror", None) or "this name cannot be a file name"
        raise DeviceFileMistakes(
            [f"{shown}: not readable ({why}); name a device description file"]
        ) from None
    return parse_device_file(raw, shown)


def parse_device_file(raw: bytes, shown: str) -> DeviceFile:
    """Check and compile a description's bytes; `shown` is what sentences call it."""
    text, data = _read(raw, shown)
    found = list(shape_mistakes(data))
    if not found:
        found = [*pin_mistakes(data), *rule_mistakes(data)]
    if found:
        raise DeviceFileMistakes(_sentences(found, TomlLines(text), shown))
    return DeviceFile(data["board"], compile_settings(data), compile_wiring(data))


def _read(raw: bytes, shown: str) -> tuple[str, Mapping[str, Any]]:
    if len(raw) > MOST_BYTES:
        raise DeviceFileMistakes(
            [f"{shown}: larger than {MOST_BYTES // 1024} KiB; name a device description file"]
        )
    try:
        text = raw.decode("utf-8-sig")
        return text, tomllib.loads(text)
    except UnicodeDecodeError:
        sentence = "this is no UTF-8 text; save it as UTF-8"
    except (tomllib.TOMLDecodeError, RecursionError) as refused:
        said = str(refused)
        line = _WHERE.search(said)
        where = f"{line[1]}: " if line else " "
        said = printable(_WHERE.sub("", said), 120)
        raise DeviceFileMistakes([f"{shown}:{where}this is no TOML ({said}); mend it"]) from None
    raise DeviceFileMistakes([f"{shown}: {sentence}"])


def _sentences(found: list[Found], lines: TomlLines, shown: str) -> list[str]:
    """Return the mistakes in the order of the file, each with its place."""
    placed = sorted(((lines.line_of(at) or 0, _inside(at), said) for at, said in found))
    told = [
        f"{shown}:{line}: {inside}{said}" if line else f"{shown}: {inside}{said}"
        for line, inside, said in placed
    ]
    more = len(told) - MOST_SENTENCES
    if more > 0:
        told[MOST_SENTENCES:] = [f"{shown}: {more} more mistakes follow; mend these first"]
    return told


def _inside(location: tuple[Any, ...]) -> str:
    """Return the table that a location lies in, as sentences begin."""
    if len(location) > 1 and isinstance(location[1], int):
        return f"{location[0]} {location[1] + 1}: "
    return f"[{location[0]}]: " if location and location[0] in TABLES else ""
