"""Make a few modules of the firmware's many for a board, with names of one or two letters.

A module takes about 300 bytes of a board's heap besides its code, and every name that MicroPython
has not got by itself takes its letters and 7 bytes more, once. What the port's own file needs goes
into pieces, in the order of imports; files that others call by their name stay beside them, with
the names at their tops as they are, as does a file that only a function imports. CORE loads the
pieces and collects after each: loading leaves 16 bytes a function behind, in gaps between the code
that only small things fit into. The next piece fills them, and the last one, whose gaps stay, is
the smallest. One piece wants some 7 kB more heap, and each beyond three takes 1 kB more.
Attributes have one new name wherever they stand, as nobody can tell whose object stands before a
dot, but those that one module uses are its own; parameters and local variables are their module's
own. Top names and attributes never meet, so they share the same letters.
"""

import ast
import builtins
import io
import itertools
import keyword
import string
from array import array
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from emberbed.firmware_sources import PACKAGE
from emberbed.install.names_used import STATE, Names, Place, Span, read_names

CORE = "core.py"
PIECE = "core%d.py"
PIECE_ENDS = (0.5, 0.8, 1.0)  # of the whole text
STANDS_ALONE = "start_up.py"  # works with versions of other letters, and is called from the prompt
BUILT_IN = (str, bytes, bytearray, memoryview, int, list, tuple, dict, set, array, io.FileIO, type)
# methods of the objects that a board hands over: machine's, select's, the display's
OF_CHIPS = frozenset((
    "any", "atten", "block", "deinit", "drive", "feed", "fill", "flush", "framebuf", "high", "init",
    "invert", "ioctl", "ipoll", "irq", "low", "memory", "mode", "modify", "off", "on", "poll",
    "poweroff", "poweron", "pull", "read", "read_u16", "read_uv", "readinto", "register", "scan",
    "show", "start", "stop", "text", "toggle", "unregister", "value", "write", "write_readinto",
    "writeto", "writevto",
))  # fmt: skip
SHORT_OPERANDS = 60  # names that come first in a module are told in one byte of code, not two

Edit = tuple[Span, bytes]


def link(sources: Mapping[str, bytes], entry: str, kept: Iterable[str] = ()) -> dict[str, bytes]:
    """Return the files for a board: CORE, and those that stay beside it.

    entry: the port's own file; kept: names of the firmware that something else uses.
    """
    files = frozenset(sources)
    names = {file: read_names(file, text, files) for file, text in sources.items()}
    pieces = _in_pieces(_in_order(names, entry), sources)
    letters = _Letters(names, pieces, frozenset(kept))
    texts = {file: letters.renamed(file, sources[file]) for file in sources}
    linked = {
        file: text
        for file, text in texts.items()
        if not any(file in its for its in pieces) and _does_something(text)
    }
    for number, its in enumerate(pieces):
        body = b"\n".join(texts[file] for file in its)
        linked[PIECE % number] = letters.first_lines(number, its).encode() + body
    linked[CORE] = _loader(len(pieces)).encode()
    return linked


def new_names(taken: Iterable[str]) -> Iterator[str]:
    """Yield a, b, .. aa, ab, .. without what is taken and Python's own words."""
    out = set(taken) | set(keyword.kwlist) | set(dir(builtins))
    for length in itertools.count(1):
        for chosen in itertools.product(string.ascii_letters, repeat=length):
            name = "".join(chosen)
            if name not in out:
                yield name


def _does_something(text: bytes) -> bool:
    """Tell whether a file is more than a docstring; an empty one makes its folder a package."""
    body = ast.parse(text).body
    return not body or not all(isinstance(node, ast.Expr) for node in body)


def _in_order(names: Mapping[str, Names], entry: str) -> list[str]:
    """Return what the entry needs, each file after those that it needs itself."""
    order: list[str] = []

    def add(file: str) -> None:
        for each in names[file].imports:
            for needed, _word in each.words:
                if needed not in order:
                    add(needed)
        if file != entry and file not in order:
            order.append(file)

    add(entry)
    return order


def _in_pieces(order: Sequence[str], sources: Mapping[str, bytes]) -> list[list[str]]:
    """Return the files of each piece, in their order."""
    whole = sum(len(sources[file]) for file in order)
    pieces: list[list[str]] = [[] for _end in PIECE_ENDS]
    number = before = 0
    for file in order:
        while before > whole * PIECE_ENDS[number]:
            number += 1
        pieces[number].append(file)
        before += len(sources[file])
    return [files for files in pieces if files]


def _loader(pieces: int) -> str:
    """Return the text of CORE."""
    lines = ["import gc"]
    for number in range(pieces):
        lines += [f"import {PACKAGE}.{_module(PIECE % number)}", "gc.collect()"]
    return "\n".join([*lines, ""])


def _module(file: str) -> str:
    return file.removesuffix(".py")


class _Letters:
    """What every name becomes."""

    def __init__(
        self, names: Mapping[str, Names], pieces: Sequence[Sequence[str]], kept: frozenset[str]
    ) -> None:
        self._names = names
        self._core = {file: number for number, files in enumerate(pieces) for file in files}
        self._kept = kept
        self._stays = _staying(names, frozenset(self._core), kept)
        self._dotted = self._shared_attributes()
        self._own = self._own_attributes()
        self._local = {file: self._locals_of(file) for file in names}
        self._top = self._tops()

    def renamed(self, file: str, text: bytes) -> bytes:
        """Return a module's text with its new names, and with its imports as they are now."""
        names = self._names[file]
        if file == STANDS_ALONE:
            return text
        own = self._own[file]
        edits = [(span, own.get(n) or self._dotted.get(n, n)) for span, n in names.dotted]
        edits += [(span, self._local[file].get(n, n)) for span, n in names.local]
        edits += [
            (span, new)
            for span, place in names.places
            if (new := self._top_name(place, file)) is not None
        ]
        edits += self._new_imports(file)
        for (first, count), new in sorted(edits, reverse=True):
            text = text[:first] + new.encode() + text[first + count :]
        return text

    def first_lines(self, number: int, files: Sequence[str]) -> str:
        """Return a piece's imports, before them code that does nothing but name what the piece
        uses most, so that it comes first."""
        often = Counter[str]()
        for file in files:
            names = self._names[file]
            own = self._own[file]
            often.update(own.get(n) or self._dotted.get(n, n) for _span, n in names.dotted)
            often.update(self._top.get(place, place[1]) for _span, place in names.places)
            often.update(n for _span, n in names.local if n not in self._local[file])  # built in
            often.update(self._local[file].get(n, n) for n in names.parameters)
        first = [name for name, _count in often.most_common(SHORT_OPERANDS)]
        places = {place for file in files for _span, place in self._names[file].places}
        imports = self._imports(place for place in places if self._core.get(place[0]) != number)
        return "\n".join([f"lambda a: ({', '.join('a.' + name for name in first)})", *imports, ""])

    def _imports(self, places: Iterable[Place]) -> list[str]:
        """Return the statements that bring top names of other pieces."""
        wanted: dict[int, set[str]] = {}
        for place in places:
            if place[0] in self._core:
                names = wanted.setdefault(self._core[place[0]], set())
                names.add(self._top.get(place, place[1]))
        return [
            f"from {PACKAGE}.{_module(PIECE % number)} import {', '.join(sorted(names))}"
            for number, names in sorted(wanted.items())
        ]

    def _top_name(self, place: Place, file: str) -> str | None:
        """Return what a top name is in `file`; None where the text is to stay."""
        if place[0] in self._core:
            return self._top.get(place, place[1])
        return place[1] if place[0] == file else None

    def _new_imports(self, file: str) -> list[tuple[Span, str]]:
        """Return what becomes of a module's imports from our own modules."""
        names = self._names[file]
        wanted = self._imports(place for _span, place in names.places)
        lines = [f"import {PACKAGE}.{_module(CORE)}", *wanted]
        edits = []
        for each in names.imports:
            outside = [word for needed, word in each.words if needed not in self._core]
            said = [f"from {each.module} import {', '.join(outside)}"] if outside else []
            if file not in self._core and len(outside) < len(each.words):
                said += lines
                lines = []
            edits.append((each.span, "; ".join(said)))
        return edits

    def _shared_attributes(self) -> dict[str, str]:
        users = Counter(n for names in self._names.values() for n in _dotted_in(names))
        often = Counter(n for names in self._names.values() for _span, n in names.dotted)
        ordered = [n for n, _count in often.most_common() if users[n] > 1 and n not in self._stays]
        return dict(zip(ordered, new_names(self._stays), strict=False))

    def _own_attributes(self) -> dict[str, dict[str, str]]:
        """Return what only one module, with those whose classes it extends, puts behind a dot."""
        found: dict[str, dict[str, str]] = {}

        def give(file: str) -> set[str]:
            """Name a module's own; return these and what the modules below its classes have."""
            names = self._names[file]
            below = set().union(*(give(base) for base in sorted(names.bases)))
            wanted = sorted(_dotted_in(names) - self._stays - set(self._dotted))
            free = itertools.islice(new_names(self._stays), len(self._dotted), None)
            found[file] = dict(zip(wanted, (n for n in free if n not in below), strict=False))
            return below | set(found[file].values())

        for file in self._names:
            give(file)
        return found

    def _locals_of(self, file: str) -> dict[str, str]:
        often = Counter(n for _span, n in self._names[file].local if n not in self._stays)
        ordered = [name for name, _count in often.most_common()]
        return dict(zip(ordered, new_names(self._stays), strict=False))

    def _tops(self) -> dict[Place, str]:
        often = Counter(
            place
            for names in self._names.values()
            for _span, place in names.places
            if place[0] in self._core and place[1] not in self._kept | self._names[place[0]].fixed
        )
        most_local = max(len(its) for its in self._local.values())
        free = itertools.islice(new_names(self._stays), most_local, None)
        return dict(zip([place for place, _count in often.most_common()], free, strict=False))


def _dotted_in(names: Names) -> set[str]:
    return {name for _span, name in names.dotted}


def _staying(
    names: Mapping[str, Names], core: frozenset[str], kept: frozenset[str]
) -> frozenset[str]:
    """Return the names that nothing may change."""
    stays = set(kept) | set(dir(builtins)) | OF_CHIPS | {STATE, "__init__"}
    stays.update(*(dir(kind) for kind in BUILT_IN))
    used: set[str] = set()
    defined: set[str] = set()
    for file, module in names.items():
        used |= {n for _s, n in module.dotted} | {n for _s, n in module.local}
        stays |= module.fixed
        defined |= module.defined
        if file not in core:
            stays |= module.top
    alone = names.get(STANDS_ALONE)
    if alone is not None:
        stays |= {n for _s, n in alone.dotted}
    return frozenset(stays | (used - defined))
