"""Where reports of acceptance lie: a folder for each device beside the run store.

One JSON and one HTML file for each day and time. The newest good one of a device counts; damaged
ones are passed over, and told by `newest`'s caller if it wants to know.
"""

import os
import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from emberbed.acceptance.page import page
from emberbed.acceptance.report import Report, from_json, to_json
from emberbed.store.database import default_path
from emberbed.store.faults import StoreError

FOLDER = "acceptance"
_UNFIT = re.compile(r"[^A-Za-z0-9_-]")


def folder_of(device: str) -> Path:
    """Return the folder of a device's reports."""
    return default_path().parent / FOLDER / (_UNFIT.sub("_", device) or "_")


def keep(report: Report) -> Path:
    """Write a report, JSON first; return the HTML file. StoreError when it cannot be written."""
    folder = folder_of(report.device)
    stem = re.sub(r"[^0-9T]", "", report.date[:19])
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write(folder / f"{stem}.json", to_json(report))
        _write(folder / f"{stem}.html", page(report))
    except OSError as error:
        raise StoreError(
            f"The report cannot be kept in {folder} ({error.strerror}): make room or mend its"
            " rights, then run the acceptance again"
        ) from None
    return folder / f"{stem}.html"


def newest(device: str) -> Report | None:
    """Return the newest whole report of a device, None for none."""
    return next(reports(device), None)


def reports(device: str) -> Iterator[Report]:
    """Yield the whole reports of a device, the newest first."""
    for path in sorted(folder_of(device).glob("*.json"), reverse=True):
        with suppress(OSError, ValueError):
            yield from_json(path.read_text(encoding="utf-8"))


def _write(path: Path, text: str) -> None:
    """Write a whole file or none."""
    half = path.with_suffix(path.suffix + ".half")
    half.write_text(text, encoding="utf-8", newline="\n")
    os.replace(half, path)
