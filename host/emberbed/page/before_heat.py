"""What a person confirms before heat, and what is remembered of it for each type of board.

The memory is one JSON file beside the run store: when it was last confirmed for this board, and
where the sensors lay. It is a help and never a reason to refuse: a memory that cannot be read or
written is none. What was confirmed becomes an event of the run.
"""

import json
import os
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any

MEMORY = "before-heat.json"
MOST_BOARDS = 500
MOST_NOTE = 200
ITEMS = {
    "batteries": "batteries out",
    "plastics": "plastics off or shielded",
    "sensors": "sensors fixed",
    "flat": "board supported flat",
    "extraction": "fume extraction on",
}


def said_before_heat(note: str) -> tuple[str, str]:
    """Return what was confirmed as an event of the run."""
    where = f" Sensors: {note}" if note else ""
    return ("before_heat", f"Confirmed before heat: {', '.join(ITEMS.values())}.{where}")


def shortened(note: object) -> str:
    """Return a note as it is kept: one line."""
    return " ".join(note.split())[:MOST_NOTE] if isinstance(note, str) else ""


def remembered(folder: Path, board: str) -> dict[str, Any] | None:
    """Return when this type of board was last confirmed, and the note on its sensors."""
    found = _read(folder).get(board)
    return found if isinstance(found, dict) else None


def remember(folder: Path, board: str, note: str) -> None:
    """Keep that it was confirmed now."""
    boards = _read(folder)
    boards.pop(board, None)
    boards[board] = {"at": datetime.now().strftime("%Y-%m-%d %H:%M"), "note": note}
    kept = dict(list(boards.items())[-MOST_BOARDS:])
    with suppress(OSError):
        fresh = folder / f"{MEMORY}.new"
        fresh.write_text(json.dumps(kept, indent=1, ensure_ascii=False), encoding="utf-8")
        os.replace(fresh, folder / MEMORY)


def _read(folder: Path) -> dict[str, Any]:
    try:
        boards = json.loads((folder / MEMORY).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return boards if isinstance(boards, dict) else {}
