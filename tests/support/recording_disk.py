"""A disk under SQLite that remembers every write, cut, sync and removal, and can lose power.

`recording()` puts it under every SQLite file that this process opens meanwhile, by a virtual file
system in the very library that Python's sqlite3 uses (https://sqlite.org/vfs.html, c3ref/vfs.html
and c3ref/io_methods.html for the structures). Real calls go on to the system's own file system.

`Disk.after(operations, survives)` builds what lies on the disk when power is lost after so many
operations: of each file what was synced, and of the writes since then those that `survives` lets
through, in any order and the last one torn. A file that was never synced may not be there at all.
"""

import _sqlite3
import ctypes
import random
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from ctypes import (
    CFUNCTYPE,
    POINTER,
    Structure,
    byref,
    c_char_p,
    c_int,
    c_int64,
    c_void_p,
    cast,
    string_at,
)
from dataclasses import dataclass, field
from pathlib import Path

from tests.support.parts import need

OK = 0
_WRITE = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int, c_int64)
_TRUNCATE = CFUNCTYPE(c_int, c_void_p, c_int64)
_SYNC = CFUNCTYPE(c_int, c_void_p, c_int)


class _Methods(Structure):
    _fields_ = [
        ("iVersion", c_int), ("xClose", c_void_p), ("xRead", c_void_p), ("xWrite", _WRITE),
        ("xTruncate", _TRUNCATE), ("xSync", _SYNC),
        *((f"rest{number}", c_void_p) for number in range(13)),
    ]  # fmt: skip


class _File(Structure):
    _fields_ = [("methods", POINTER(_Methods))]


class _Vfs(Structure):
    pass


_OPEN = CFUNCTYPE(c_int, POINTER(_Vfs), c_void_p, POINTER(_File), c_int, POINTER(c_int))
_DELETE = CFUNCTYPE(c_int, POINTER(_Vfs), c_char_p, c_int)
_Vfs._fields_ = [
    ("iVersion", c_int), ("szOsFile", c_int), ("mxPathname", c_int), ("pNext", c_void_p),
    ("zName", c_char_p), ("pAppData", c_void_p), ("xOpen", _OPEN), ("xDelete", _DELETE),
    *((f"rest{number}", c_void_p) for number in range(14)),
]  # fmt: skip


@dataclass(frozen=True)
class Operation:
    """`kind` is write, truncate, sync or delete; `at` an offset, or the new length."""

    kind: str
    name: str
    at: int = 0
    octets: bytes = b""


Survives = Callable[[list[Operation]], list[Operation]]


def nothing(_unsynced: list[Operation]) -> list[Operation]:
    return []


def everything(unsynced: list[Operation]) -> list[Operation]:
    return unsynced


def by_chance(seed: object) -> Survives:
    """Return a disk that keeps some of the unsynced writes, in another order, the last one torn."""
    chance = random.Random(str(seed))

    def survives(unsynced: list[Operation]) -> list[Operation]:
        kept = [one for one in unsynced if chance.random() < 0.5]
        chance.shuffle(kept)
        if kept and kept[-1].kind == "write" and chance.random() < 0.5:
            last = kept[-1]
            torn = last.octets[: chance.randrange(len(last.octets) + 1)]
            kept[-1] = Operation("write", last.name, last.at, torn)
        return kept

    return survives


@dataclass
class Disk:
    """What was done to the files, in order."""

    operations: list[Operation] = field(default_factory=list)

    def after(self, count: int, survives: Survives) -> dict[str, bytes]:
        """Return the files by name as they are when power is lost after `count` operations."""
        synced: dict[str, bytes] = {}
        unsynced: dict[str, list[Operation]] = {}
        for one in self.operations[:count]:
            waiting = unsynced.setdefault(one.name, [])
            if one.kind == "sync":
                synced[one.name] = _applied(synced.get(one.name, b""), waiting)
                waiting.clear()
            elif one.kind == "delete":
                synced.pop(one.name, None)
                waiting.clear()
            else:
                waiting.append(one)
        files = dict(synced)
        for name, waiting in unsynced.items():
            kept = survives(list(waiting))
            if kept or name in synced:
                files[name] = _applied(synced.get(name, b""), kept)
        return files


def _applied(content: bytes, operations: list[Operation]) -> bytes:
    octets = bytearray(content)
    for one in operations:
        if one.kind == "truncate":
            del octets[one.at :]
            continue
        if len(octets) < one.at:
            octets.extend(bytes(one.at - len(octets)))
        octets[one.at : one.at + len(one.octets)] = one.octets
    return bytes(octets)


def _library() -> ctypes.CDLL:
    """Return the library that Python's own sqlite3 module calls."""
    library = ctypes.CDLL(_sqlite3.__file__) if hasattr(_sqlite3, "__file__") else ctypes.CDLL(None)
    reachable = sys.platform == "linux" and hasattr(library, "sqlite3_vfs_find")
    need(
        "a SQLite whose file system can be exchanged", reachable, "use a Linux whose Python has it"
    )
    library.sqlite3_vfs_find.restype = POINTER(_Vfs)
    library.sqlite3_vfs_find.argtypes = [c_char_p]
    library.sqlite3_vfs_register.argtypes = [POINTER(_Vfs), c_int]
    library.sqlite3_vfs_unregister.argtypes = [POINTER(_Vfs)]
    return library


class _Recorder:
    """The virtual file system: everything is passed on, changes of files are remembered."""

    def __init__(self, disk: Disk, system: _Vfs) -> None:
        self._disk = disk
        self._system = system
        self._names: dict[int, str] = {}
        self._methods: dict[int, _Methods] = {}  # ours by the address of the system's
        self._kept: list[object] = []  # callbacks must live as long as SQLite may call them
        self.vfs = _Vfs.from_buffer_copy(system)
        self.vfs.zName = b"recording"
        self.vfs.pNext = None
        self.vfs.xOpen = _OPEN(self._open)
        self.vfs.xDelete = _DELETE(self._delete)

    def _open(self, vfs, name, file, flags, out_flags) -> int:
        code = self._system.xOpen(vfs, name, file, flags, out_flags)
        if code == OK and file.contents.methods and name:
            self._names[cast(file, c_void_p).value or 0] = Path(string_at(name).decode()).name
            file.contents.methods = ctypes.pointer(self._ours(file.contents.methods))
        return code

    def _ours(self, system) -> _Methods:
        address = cast(system, c_void_p).value or 0
        if address not in self._methods:
            theirs = system.contents
            ours = _Methods.from_buffer_copy(theirs)
            write, truncate, sync = theirs.xWrite, theirs.xTruncate, theirs.xSync

            def on_write(file, octets, count, at):
                self._note("write", file, at, string_at(octets, count))
                return write(file, octets, count, at)

            def on_truncate(file, length):
                self._note("truncate", file, length)
                return truncate(file, length)

            def on_sync(file, flags):
                code = sync(file, flags)
                self._note("sync", file)
                return code

            ours.xWrite, ours.xTruncate = _WRITE(on_write), _TRUNCATE(on_truncate)
            ours.xSync = _SYNC(on_sync)
            self._kept += [ours, theirs]
            self._methods[address] = ours
        return self._methods[address]

    def _note(self, kind: str, file: int, at: int = 0, octets: bytes = b"") -> None:
        self._disk.operations.append(Operation(kind, self._names[file], at, octets))

    def _delete(self, vfs, name, sync_folder) -> int:
        code = self._system.xDelete(vfs, name, sync_folder)
        if code == OK:
            self._disk.operations.append(Operation("delete", Path(name.decode()).name))
        return code


@contextmanager
def recording() -> Iterator[Disk]:
    """Give the disk that is under every SQLite file opened in the block."""
    library = _library()
    disk = Disk()
    recorder = _Recorder(disk, library.sqlite3_vfs_find(None).contents)
    assert library.sqlite3_vfs_register(byref(recorder.vfs), 1) == OK
    try:
        yield disk
    finally:
        assert library.sqlite3_vfs_unregister(byref(recorder.vfs)) == OK
