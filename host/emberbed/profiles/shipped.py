"""The profiles that come with the program: names and bytes.

They lie in `library/` beside this file and are found wherever the package was installed.
"""

from importlib.resources import files
from importlib.resources.abc import Traversable


def _folder() -> Traversable:
    return files("emberbed.profiles") / "library"


def shipped_names() -> list[str]:
    """Return the names of all shipped profiles, in alphabetical order."""
    names = [entry.name for entry in _folder().iterdir()]
    return sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml"))


def shipped_file(name: str) -> Traversable | None:
    """Return the file of the shipped profile called `name`, or None."""
    return _folder() / f"{name}.toml" if name in shipped_names() else None
