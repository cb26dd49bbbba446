"""Files that commands write for a person: refused before the work, told in one sentence."""

from collections.abc import Mapping
from pathlib import Path

from emberbed.cli_common import fail


def check_places(given: Mapping[str, Path | None]) -> None:
    """Refuse a file (by its option) that cannot be written before the work, not after it."""
    for option, path in given.items():
        if path is None:
            continue
        if path.is_dir():
            fail([f"{path} cannot be written (it is a folder): name a file with {option}"])
        if not path.parent.is_dir():
            fail([f"{path} cannot be written (there is no such folder): mend {option}"])


def write_file(path: Path, text: str) -> None:
    """Write a text file, or say why it cannot be and leave."""
    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        fail([f"{path} cannot be written ({error.strerror}): name another file"])
