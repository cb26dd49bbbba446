"""Read a profile file, or refuse it with every mistake told at once.

`read_profile` takes a path or the name of a shipped profile; `parse_profile` takes bytes. Both give
a ProfileFile or raise ProfileMistakes, which holds one sentence for each mistake. Nothing a file
holds makes them raise anything else.
"""

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

from emberbed.plain_text import near_names, printable
from emberbed.profiles.mistakes import capped, shape_sentences
from emberbed.profiles.model import Profile
from emberbed.profiles.recipe import BASE, BadRecipe, expand
from emberbed.profiles.shipped import shipped_file, shipped_names
from emberbed.profiles.source import ProfileSource
from emberbed.profiles.toml_lines import TomlLines
from emberbed.profiles.toml_slips import slips
from emberbed_fw.plan import MAX_STAGES

MOST_BYTES = 64 * 1024
_MOST_LOOKED_AT = 8 * 1024 * 1024  # of a file that is refused for its size anyway
_STAGE_HEADER = re.compile(rb"^[ \t]*\[\[[ \t]*stages[ \t]*\]\]", re.MULTILINE)
_WHERE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")


class ProfileMistakes(Exception):
    """A profile that cannot be used; `sentences` names every mistake with its place and mend."""

    def __init__(self, sentences: list[str]) -> None:
        super().__init__("\n".join(sentences))
        self.sentences = sentences


@dataclass(frozen=True)
class ProfileFile:
    """A profile with the text it was read from; `path` is where that text lies."""

    model: Profile
    text: str
    path: str
    source: ProfileSource


def read_profile(path_or_name: str | Path) -> ProfileFile:
    """Read a file, or a shipped profile by its bare name; a file that exists wins."""
    wanted = str(path_or_name)
    shown = printable(wanted, 200) or "(a name without visible letters)"
    try:
        path = Path(wanted)
        if path.is_file():
            return parse_profile(_read_start(path), shown, wanted, path.parent)
        shipped = shipped_file(wanted)
        if shipped is not None:
            return parse_profile(shipped.read_bytes(), f"{wanted}.toml", str(shipped))
        raise ProfileMistakes([_not_a_file(path, wanted, shown)])
    except (OSError, ValueError) as refused:
        why = getattr(refused, "strerror", None) or "this name cannot be a file name"
        raise ProfileMistakes([f"{shown}: not readable ({why}); name a profile file"]) from None


def parse_profile(
    raw: bytes, shown: str, path: str = "", folder: Path | None = None
) -> ProfileFile:
    """Read a profile from bytes; `shown` is what sentences call it.

    folder: where its base may lie; None: only shipped profiles may be one.
    """
    source = _source(raw, shown)
    if BASE in source.data:
        source = _expanded(source, folder)
    profile, sentences = shape_sentences(source)
    if profile is None:
        raise ProfileMistakes(sentences)
    return ProfileFile(profile, source.text, path or shown, source)


def _source(raw: bytes, shown: str) -> ProfileSource:
    text = _text_of(raw, shown)
    return ProfileSource(shown, text, _data_of(text, shown), TomlLines(text))


def _expanded(own: ProfileSource, folder: Path | None) -> ProfileSource:
    """Return a profile together with its base."""

    def find_base(name: str) -> ProfileSource | None:
        beside = folder / f"{name}.toml" if folder else None
        if beside is not None and beside.is_file():
            return _source(_read_start(beside), str(beside.name))
        shipped = shipped_file(name)
        return None if shipped is None else _source(shipped.read_bytes(), f"{name}.toml")

    try:
        return expand(own, find_base)
    except BadRecipe as bad:
        sentences = [own.place(location) + text for location, text in bad.found]
        raise ProfileMistakes(capped(own.shown, sentences)) from None


def _read_start(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(_MOST_LOOKED_AT)


def _not_a_file(path: Path, wanted: str, shown: str) -> str:
    if path.is_dir():
        return f"{shown}: this is a folder; name a profile file in it"
    if path.exists():
        return f"{shown}: this is no ordinary file; name a profile file"
    near = near_names(path.name.removesuffix(".toml"), shipped_names())
    if near:
        return f"{shown}: there is no such file; did you mean the shipped profile {near[0]}?"
    return (
        f"{shown}: there is no such file;"
        f" name a profile file or a shipped profile: {', '.join(shipped_names())}"
    )


def _text_of(raw: bytes, shown: str) -> str:
    if len(raw) > MOST_BYTES:
        stages = len(_STAGE_HEADER.findall(raw))
        size = f"{'over ' if len(raw) == _MOST_LOOKED_AT else ''}{len(raw) // 1024} KiB"
        raise ProfileMistakes(
            [
                f"{shown}: the file has {size} and {stages} stages, and a profile has at most"
                f" {MOST_BYTES // 1024} KiB and {MAX_STAGES} stages; shorten it"
            ]
        )
    try:
        return raw.decode("utf-8-sig")  # some editors put a mark in front of UTF-8
    except UnicodeDecodeError as bad:
        line = raw.count(b"\n", 0, bad.start) + 1
        raise ProfileMistakes(
            [f"{shown}:{line}: the file is not UTF-8 text; save it as UTF-8"]
        ) from None


def _data_of(text: str, shown: str) -> dict:
    try:
        return tomllib.loads(text)
    except RecursionError:
        reason = "brackets nest too deep; a profile nests tables in a list and no deeper"
        raise ProfileMistakes([f"{shown}: {reason}"]) from None
    except ValueError as bad:  # a number with thousands of digits raises the plain one
        raise ProfileMistakes(_toml_sentences(str(bad), text, shown)) from None


def _toml_sentences(fault: str, text: str, shown: str) -> list[str]:
    """Return the known slips; and where the reader stopped before any of them, that place too."""
    where = _WHERE.search(fault)
    if where is None:
        return [f"{shown}: a number has too many digits; write a shorter one"]
    known = slips(text)
    sentences = [f"{shown}:{line}: {slip}" for line, slip in known]
    stopped = int(where[1] or text.count("\n") + 1)
    if not known or stopped < known[0][0]:
        sentences.insert(0, f"{shown}:{stopped}: {_unreadable(where[2])}")
    return capped(shown, sentences)


def _unreadable(column: str | None) -> str:
    if column is None:
        return "the file ends inside a bracket that was opened before; close it"
    return (
        f"this line cannot be read from column {column} on; a line is key = value with texts in"
        " quotes, or [sensors], or [[stages]]; mend it, the rest is read after that"
    )
