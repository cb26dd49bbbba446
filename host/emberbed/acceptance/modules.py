"""The firmware's modules by their digests, and what each of them stands on.

A step of acceptance names the modules that it proves; when one of these or anything that it imports
has changed since, the step has to be done again. Files are named as in `firmware_sources`.
"""

import ast
from collections.abc import Iterable, Mapping
from hashlib import sha256

from emberbed.firmware_sources import PACKAGE, Sources

DIGEST_DIGITS = 16  # of SHA-256, hexadecimal: to tell versions apart, not to resist anybody


def digests(sources: Sources) -> dict[str, str]:
    """Return the digest of each module, by its file."""
    return {name: sha256(text).hexdigest()[:DIGEST_DIGITS] for name, text in sources.items()}


def changed(before: Mapping[str, str], now: Mapping[str, str]) -> frozenset[str]:
    """Return the files that are new, gone or different."""
    return frozenset(
        name for name in before.keys() | now.keys() if before.get(name) != now.get(name)
    )


def stands_on(sources: Sources, wanted: Iterable[str]) -> frozenset[str]:
    """Return these files, what they import of the firmware, what that imports, and so on. A name
    that ends with / is every file below that folder."""
    waiting = [
        name
        for want in wanted
        for name in sources
        if name == want or (want.endswith("/") and name.startswith(want))
    ]
    found: set[str] = set()
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += _imports(sources, sources[name])
    return frozenset(found)


def _imports(sources: Sources, text: bytes) -> list[str]:
    names = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == PACKAGE:
            module = (node.module or "").split(".")[1:]
            names.append("/".join(module) + ".py")
            names += ["/".join([*module, alias.name]) + ".py" for alias in node.names]
    return [name for name in names if name in sources]
