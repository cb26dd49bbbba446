"""A log for reports of faults: what was asked, what was answered, how it ended. Only on request.

`emberbed --verbose COMMAND` writes it into the user's log folder, `--log FILE` into a file of one's
own; with --verbose every connection is in it too. Four files of at most 1 MiB, the oldest goes
first. Nobody is named in it: the words of a command are left out, the home folder is written as ~,
the names of the person and of the computer as <user> and <computer>. A sentence that refuses
something is in it as it was said. Raises OSError from `begin`.
"""

import getpass
import logging
import platform
import re
import traceback
from contextlib import suppress
from logging.handlers import RotatingFileHandler
from pathlib import Path

import platformdirs

from emberbed import __version__

LOGGER = logging.getLogger("emberbed")
MOST_BYTES = 1024 * 1024
OLDER_FILES = 3
FORM = "%(asctime)s %(process)d %(name)s %(message)s"
LEAST_NAME = 3  # characters; a shorter name would be found inside of words


def usual_path() -> Path:
    """Return the file in the user's log folder."""
    return platformdirs.user_log_path("emberbed") / "emberbed.log"


def begin(path: Path | None, verbose: bool, command: str) -> Path:
    """Log from here on to `path`, or to the usual place; say the command's name, not its words."""
    place = path or usual_path()
    place.parent.mkdir(parents=True, exist_ok=True)
    handler = RotatingFileHandler(
        place, maxBytes=MOST_BYTES, backupCount=OLDER_FILES, encoding="utf-8"
    )
    handler.setFormatter(_Nameless(FORM))
    LOGGER.addHandler(handler)
    LOGGER.setLevel(logging.DEBUG if verbose else logging.INFO)
    LOGGER.propagate = False
    python, system = platform.python_version(), platform.system()
    LOGGER.info("emberbed %s, Python %s, %s: %s", __version__, python, system, command)
    return place


def broke(error: BaseException) -> None:
    """Log a fault of our own: what it was and where, without the words that came with it."""
    frames = traceback.extract_tb(error.__traceback__)
    where = " < ".join(f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in reversed(frames))
    LOGGER.info("broke off: %s at %s", type(error).__name__, where)


class _Nameless(logging.Formatter):
    """Writes no name of a person or a computer."""

    def __init__(self, form: str) -> None:
        super().__init__(form)
        names = {"~": str(Path.home()), "<computer>": platform.node()}
        with suppress(OSError, KeyError, ImportError):  # a system that knows no user
            names["<user>"] = getpass.getuser()
        self._names = {
            written: re.compile(rf"(?<!\w){re.escape(name)}(?!\w)")
            for written, name in names.items()
            if len(name) >= LEAST_NAME
        }

    def format(self, record: logging.LogRecord) -> str:
        line = super().format(record)
        for written, name in self._names.items():
            line = name.sub(lambda _found, written=written: written, line)
        return line
