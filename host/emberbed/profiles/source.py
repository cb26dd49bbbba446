"""The text of a profile and the way to say where in it something is wrong.

`place(location)` gives the opening of every sentence: file, line, and stage by number and kind.
A stage counts from 1, as people count.
"""

from dataclasses import dataclass, field
from typing import Any

from emberbed.plain_text import printable
from emberbed.profiles.toml_lines import TomlLines
from emberbed.profiles.whole_rules import Location


@dataclass(frozen=True)
class ProfileSource:
    """What was read: `shown` name, text, and the bare data of the TOML."""

    shown: str
    text: str
    data: dict[str, Any] = field(repr=False)
    lines: TomlLines = field(repr=False)

    def line_of(self, location: Location) -> int | None:
        return self.lines.line_of(location)

    def place(self, location: Location = ()) -> str:
        """Return `file:line: stage 2 (ramp): `, as much of it as is known."""
        line = self.line_of(location)
        opening = f"{self.shown}:{line}: " if line else f"{self.shown}: "
        if len(location) > 1 and location[0] == "stages" and isinstance(location[1], int):
            return f"{opening}stage {location[1] + 1}{self._kind(location[1])}: "
        if len(location) > 2 and location[0] == "sensors":
            return f"{opening}sensors: {printable(location[1])}: "
        if len(location) > 1 and location[0] in ("board", "chip", "sensors", "accepted"):
            return f"{opening}{location[0]}: "
        return opening

    def _kind(self, index: int) -> str:
        stage = self.data["stages"][index]
        kind = stage.get("kind") if isinstance(stage, dict) else None
        return f" ({printable(kind, 20)})" if isinstance(kind, str) else ""
