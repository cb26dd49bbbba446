"""The calibrations of all devices: a file of JSON lines in the user's data folder, only added to.

It lies where EMBERBED_CALIBRATIONS points, else beside the run store. A line belongs to a device by
its number and a channel, and counts as long as the device still holds its gain and offset. Raises
StoreError: one sentence with file, line and mend.
"""

import json
import os
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from emberbed.calibration.known import At, Known
from emberbed.calibration.line import Line, Point
from emberbed.device_description import Channel
from emberbed.store.faults import StoreError

VARIABLE = "EMBERBED_CALIBRATIONS"
FILE = "calibrations.jsonl"
MOST_BYTES = 16 * 1024 * 1024


@dataclass(frozen=True)
class Entry:
    """One calibration: `check_k` is how far the corrected reading was off when it was read again
    at the last point, None where nobody looked."""

    when_utc: str
    device: str
    channel: int
    name: str
    points: tuple[Point, ...]
    line: Line
    by: str = ""
    check_k: float | None = None

    def known(self) -> Known:
        """Return what a reading's budget needs of it."""
        points = tuple(At(point.true_c, point.standard_k) for point in self.points)
        residual_k = max(self.line.residual_k, abs(self.check_k or 0.0))
        return Known(self.name, self.when_utc[:10], points, residual_k)

    def stands_on(self, device: str, channel: int, holds: Channel) -> bool:
        """Tell whether it is about this channel, and is what the device holds."""
        held = (holds.offset_cdeg, holds.gain_q12)
        mine = (self.line.offset_cdeg, self.line.gain_q12)
        return (self.device, self.channel, mine) == (device, channel, held)


def default_path() -> Path:
    """Return where the file lies unless it is named."""
    from emberbed.store.database import default_path as store_path

    named = os.environ.get(VARIABLE)
    return Path(named) if named else store_path().parent / FILE


def add(entry: Entry, path: Path | None = None) -> None:
    """Add a line, on the disk when it returns."""
    place = path or default_path()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with place.open("a", encoding="utf-8", newline="\n") as stream:
            stream.write(json.dumps(asdict(entry), ensure_ascii=False) + "\n")
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as error:
        raise StoreError(
            f"{place} cannot be written ({error.strerror}): give yourself the right to write there,"
            f" or point {VARIABLE} elsewhere"
        ) from None


def entries(path: Path | None = None) -> list[Entry]:
    """Return all of them, the oldest first; none where there is no file."""
    place = path or default_path()
    try:
        if place.stat().st_size > MOST_BYTES:
            raise StoreError(f"{place} is over {MOST_BYTES >> 20} MiB: move it aside")
        lines = place.read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        return []
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is no UTF-8 text"
        raise StoreError(f"{place} cannot be read ({why}): mend it or move it aside") from None
    return [_entry(line, f"{place}:{number}") for number, line in enumerate(lines, 1) if line]


def newest(known: Iterable[Entry], device: str, channel: int, holds: Channel) -> Entry | None:
    """Return the newest entry that is what a channel holds now, None for none."""
    found = [entry for entry in known if entry.stands_on(device, channel, holds)]
    return found[-1] if found else None


def _entry(line: str, place: str) -> Entry:
    try:
        told: dict[str, Any] = json.loads(line)
        points = tuple(
            Point(
                str(one["name"]), *(float(one[key]) for key in ("true_c", "read_c", "standard_k"))
            )
            for one in told["points"]
        )
        held = told["line"]
        line_held = Line(int(held["offset_cdeg"]), int(held["gain_q12"]), float(held["residual_k"]))
        check_k = told["check_k"]
        return Entry(
            str(told["when_utc"]), str(told["device"]), int(told["channel"]), str(told["name"]),
            points, line_held, str(told["by"]), None if check_k is None else float(check_k),
        )  # fmt: skip
    except (ValueError, KeyError, TypeError):
        raise StoreError(
            f"{place} is no calibration: take the line out, or move the file aside"
        ) from None
