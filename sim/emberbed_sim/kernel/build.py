"""C sources of this package to a loaded library: the system's own compiler, for this machine.

The library is kept in the user's cache, under a name that follows from source, options, compiler
and machine, so that another of any of them is built anew. Raises NoCompiler where none is there or
it fails; whoever asks then goes the slow way.
"""

import ctypes
import hashlib
import os
import platform
import shutil
import subprocess
import sys
import tempfile
from functools import cache
from pathlib import Path

from platformdirs import user_cache_path

COMPILERS = ("cc", "gcc", "clang")
OPTIONS = ("-O3", "-march=native", "-fPIC", "-fno-math-errno")
# single precision may reorder; double has to give the plant's own bits
QUICK = ("-DQUICK", "-ffast-math")
EXACT = ("-ffp-contract=off",)
BUILDS_WITHIN_S = 60.0


class NoCompiler(RuntimeError):
    """No C compiler here, or it cannot build this; one sentence without its full stop."""


@cache
def compiler() -> str:
    """Return the path of a C compiler, "" where there is none."""
    if sys.platform == "win32":  # other options, other names of libraries
        return ""
    return next((path for path in map(shutil.which, COMPILERS) if path), "")


@cache
def library(source: str, *options: str) -> ctypes.CDLL:
    """Return this C source built with these options. Raises NoCompiler."""
    program = compiler()
    if not program:
        raise NoCompiler("no C compiler is installed here")
    given = "\n".join((source, *OPTIONS, *options, program, platform.node(), platform.platform()))
    name = f"kernel-{hashlib.sha256(given.encode()).hexdigest()[:24]}.so"
    try:
        kept = user_cache_path("emberbed", ensure_exists=True) / name
        if not kept.is_file():
            _build(program, source, options, kept)
        return ctypes.CDLL(str(kept))
    except OSError as error:
        raise NoCompiler(f"what {program} builds cannot be kept or loaded ({error})") from None


def _build(program: str, source: str, options: tuple[str, ...], kept: Path) -> None:
    """Build into a file beside and move it: two that build at once do not meet."""
    with tempfile.TemporaryDirectory(dir=kept.parent) as folder:
        text, part, built = (Path(folder, name) for name in ("kernel.c", "kernel.o", kept.name))
        text.write_text(source, encoding="utf-8")
        _run([program, *OPTIONS, *options, "-c", str(text), "-o", str(part)])
        # linked without the options: with -ffast-math, loading it would take the smallest numbers
        # away from the whole process
        _run([program, "-shared", str(part), "-o", str(built), "-lm"])
        os.replace(built, kept)


def _run(command: list[str]) -> None:
    try:
        ran = subprocess.run(command, capture_output=True, timeout=BUILDS_WITHIN_S, check=False)
    except subprocess.TimeoutExpired:
        raise NoCompiler(f"{command[0]} does not end") from None
    if ran.returncode:
        said = ran.stderr.decode(errors="replace").strip().splitlines()
        raise NoCompiler(f"{command[0]} does not build it ({said[0] if said else 'no word'})")
