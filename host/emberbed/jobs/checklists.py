"""The checklists of a job as data: what is asked before heat, after it, and at the test.

Ours lie in `lists/`; a bench adds items of its own in files of the same names in the folder
`checklists` beside the store. An answer never blocks anything. Raises NotReady: one sentence that
names the file and the mend.
"""

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from emberbed.bench.prepare import NotReady
from emberbed.plain_text import did_you_mean, hidden_characters, printable

BEFORE, AFTER, TEST = "before", "after", "test"
NAMES = (BEFORE, AFTER, TEST)
OWN_FOLDER = "checklists"
ANSWERS = {"yes": "yes", "no": "no", "not_needed": "not needed here"}
MOST_ITEMS = 100
MOST_FILE_BYTES = 256 * 1024
# the keys of an item, each with the most characters that it may have
NEEDED = {"id": 30, "short": 40, "asks": 300}
OTHER = {"why": 300, "source": 120}
_ID = re.compile(r"[a-z][a-z0-9_]*")


@dataclass(frozen=True)
class Item:
    """One question. `short` names it where there is little room; `same_day`: yes counts only on
    the day of the heat; `asked_at_run`: the page asks it before each run; `own`: it comes from the
    bench's own file."""

    id: str
    short: str
    asks: str
    why: str = ""
    source: str = ""
    same_day: bool = False
    asked_at_run: bool = False
    own: bool = False


@dataclass(frozen=True)
class Checklist:
    name: str
    title: str
    items: tuple[Item, ...]

    def item(self, item_id: str) -> Item:
        """Return an item by its id or its short name; NotReady tells the near ones."""
        for item in self.items:
            if item_id.casefold() in (item.id, item.short.casefold()):
                return item
        mend = did_you_mean(item_id, [item.id for item in self.items], "its questions are")
        asked = printable(item_id)
        raise NotReady([f'"{asked}" is no question of the list {self.name}; {mend}'])


def checklists(folder: Path) -> dict[str, Checklist]:
    """Return every list with the items that the bench added; `folder` is that of the store."""
    return {name: _with_own(shipped(name), folder / OWN_FOLDER / f"{name}.toml") for name in NAMES}


@cache
def shipped(name: str) -> Checklist:
    """Return a list as it comes with the program."""
    text = (files("emberbed.jobs") / "lists" / f"{name}.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)
    return Checklist(name, table["title"], tuple(Item(**row) for row in table["item"]))


def _with_own(ours: Checklist, path: Path) -> Checklist:
    try:
        octets = path.read_bytes()
        text = octets.decode("utf-8-sig") if len(octets) <= MOST_FILE_BYTES else None
    except FileNotFoundError:
        return ours
    except OSError as error:
        raise _mistake(path, f"it cannot be read ({error.strerror}); mend it or move it") from None
    except UnicodeDecodeError:
        raise _mistake(path, "it is no UTF-8 text; save it as that") from None
    if text is None:
        raise _mistake(path, f"it has over {MOST_FILE_BYTES // 1024} KiB; shorten it")
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise _mistake(path, f"it is no TOML ({printable(error)}); mend it") from None
    items = tuple(_items(table, path, {item.id for item in ours.items}))
    return replace(ours, items=ours.items + items)


def _items(table: dict[str, Any], path: Path, taken: set[str]) -> Iterator[Item]:
    rows = table.get("item", [])
    if set(table) - {"item", "title"} or not isinstance(rows, list):
        raise _mistake(path, "it holds tables [[item]] and nothing else")
    if len(rows) > MOST_ITEMS:
        raise _mistake(path, f"it has {len(rows)} items; {MOST_ITEMS} are the most")
    for number, row in enumerate(rows, 1):
        item = _item(row, path, f"item {number}")
        if item.id in taken:
            raise _mistake(path, f'item {number}: the id "{item.id}" is taken; choose another')
        taken.add(item.id)
        yield item


def _item(row: Any, path: Path, place: str) -> Item:
    if not isinstance(row, dict):
        raise _mistake(path, f"{place} is no table; write it below [[item]]")
    most = NEEDED | OTHER
    for key, value in row.items():
        if key == "same_day":
            if not isinstance(value, bool):
                raise _mistake(path, f"{place}: same_day is true or false")
            continue
        if key not in most:
            mend = did_you_mean(key, [*most, "same_day"], "the keys are")
            raise _mistake(path, f"{place}: {printable(key)} is no key; {mend}")
        text = isinstance(value, str) and value.strip()
        if not text or len(value) > most[key] or hidden_characters(value):
            raise _mistake(path, f"{place}: {key} is 1 to {most[key]} characters of plain text")
    for key in NEEDED:
        if key not in row:
            raise _mistake(path, f'{place} lacks {key}; add {key} = "..."')
    if not _ID.fullmatch(row["id"]):
        raise _mistake(path, f"{place}: id is small letters, digits and _, such as fuse_back")
    return Item(**row, own=True)


def _mistake(path: Path, what: str) -> NotReady:
    return NotReady([f"{path}: {what}"])
