"""Which device was used last: one small file in the user's state folder, for `--device auto`.

It holds the port and the USB serial number of a device that is listed by the system, nothing else.
EMBERBED_STATE names another folder. A file that cannot be read or written is as good as none: this
is a help, and nothing stands on it.
"""

import json
import os
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

import platformdirs
from serial.tools import list_ports

VARIABLE = "EMBERBED_STATE"
FILE = "last-port.json"
MOST_BYTES = 4096


class LastPort(NamedTuple):
    """`serial_number` is '' where the device tells none: its port names it then."""

    port: str
    serial_number: str


def state_folder() -> Path:
    """Return where the file lies: $EMBERBED_STATE, else the user's state folder."""
    named = os.environ.get(VARIABLE)
    return Path(named) if named else platformdirs.user_state_path("emberbed")


def remember(port: str) -> None:
    """Keep a port as the one used last, if the system lists it."""
    listed = next((one for one in list_ports.comports() if one.device == port), None)
    if listed is None:
        return
    told = LastPort(port, listed.serial_number or "")
    path = state_folder() / FILE
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".new")
        fresh.write_text(json.dumps(told._asdict()), encoding="utf-8")
        os.replace(fresh, path)


def recall() -> LastPort | None:
    """Return the one used last, None where nothing is known."""
    try:
        with (state_folder() / FILE).open("rb") as stream:
            told = json.loads(stream.read(MOST_BYTES))
        return LastPort(str(told["port"]), str(told["serial_number"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None
