"""A person's own additions to the materials book: a file beside it, never inside.

It lies in the user's configuration folder, or where EMBERBED_MATERIALS says, and has the shelves
and keys of the book's own `materials.toml`. `own_shelves` gives its rows; OwnBookFault is one
sentence with the place in the file and the mend. No file is no fault.
"""

import os
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import platformdirs

from emberbed.materials.rows import SHELVES, BadRow, row_of
from emberbed.plain_text import did_you_mean, hidden_characters, printable

VARIABLE = "EMBERBED_MATERIALS"
MOST_BYTES = 256 * 1024
_Shelves = Mapping[str, Mapping[str, Any]]


class OwnBookFault(Exception):
    """The file cannot be used; the text is one sentence."""


def own_path() -> Path:
    """Return where a person's own additions lie, or would lie."""
    named = os.environ.get(VARIABLE)
    return Path(named) if named else platformdirs.user_config_path("emberbed") / "materials.toml"


def own_shelves(taken: _Shelves) -> _Shelves:
    """Return the rows of the own file by shelf and name; `taken` names cannot be given anew."""
    path = own_path()
    try:
        stat = path.stat()
    except OSError:
        return {shelf: {} for shelf in SHELVES}
    names = tuple((shelf, name) for shelf, rows in taken.items() for name in rows)
    return _read(path, stat.st_mtime_ns, stat.st_size, names)


@lru_cache(maxsize=4)
def _read(path: Path, _changed: int, size: int, taken: tuple[tuple[str, str], ...]) -> _Shelves:
    shown = printable(path, 200)
    if size > MOST_BYTES:
        raise OwnBookFault(f"{shown}: more than {MOST_BYTES // 1024} KiB; shorten it")
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise OwnBookFault(f"{shown} cannot be read ({error.strerror}); mend that") from None
    except (ValueError, RecursionError) as bad:
        where = printable(bad, 120)
        raise OwnBookFault(f"{shown}: this is no TOML ({where}); mend that line") from None
    return {shelf: _rows(shown, shelf, data.get(shelf, {}), taken) for shelf in _known(shown, data)}


def _known(shown: str, data: Mapping[str, Any]) -> list[str]:
    for name in data:
        if name not in SHELVES:
            mend = did_you_mean(name, SHELVES, "a materials file holds")
            raise OwnBookFault(f'{shown}: "{printable(name)}" is not known here; {mend}')
    return list(SHELVES)


def _rows(shown: str, shelf: str, tables: Any, taken: tuple[tuple[str, str], ...]) -> dict:
    if not isinstance(tables, Mapping):
        raise OwnBookFault(f'{shown}: {shelf} is no table; write [{shelf}."a name"]')
    what, rows = SHELVES[shelf].what, {}
    for name, table in tables.items():
        place = f"{shown}: {what} {printable(name)}"
        if not name.strip() or hidden_characters(name) or len(name) > 60:
            raise OwnBookFault(f"{place}: a name has 1 to 60 visible characters; write another")
        if (shelf, name) in taken:
            raise OwnBookFault(
                f"{place}: this name is in the book already; give yours another, such as"
                f' "my {printable(name)}"'
            )
        try:
            rows[name] = row_of(SHELVES[shelf], name, table, own=True)
        except BadRow as bad:
            raise OwnBookFault(f"{place}: {bad}") from None
    return rows
