"""What a board holds that runs on played pins (ticks_on_pins.py): firmware, description, marker."""

import re
from pathlib import Path
from zlib import crc32

from emberbed.firmware_sources import PACKAGE, Sources
from emberbed.install.linking import link
from emberbed.install.version import build_version, compile_files, texts_for
from emberbed_fw import start_up
from emberbed_fw.ports.wiring import LINK_UART, pack_wiring
from tests.support.plans import bench_settings

BENCH = Path(__file__).with_name("ticks_on_pins.py")
WIRE = "wire"  # what a host says
VERSION = "a"  # where the board's one version lies
KEPT = ("build", "one_turn")  # what the bench calls by name
CALLED = {  # by memory.py and limited.py
    "play", "import_firmware", "make_port", "build", "run", "bead_mk", "Bench", "main", "pins",
}  # fmt: skip
COUPLE = ("bead", 1, 20000, 0, 4096)
PINS = {
    "sck": 2, "mosi": 3, "miso": 4, "tx": 0, "rx": 1, "contactor": 6, "button": 7,
    "contactor_sense": 8, "current_sense": 9,
}  # fmt: skip
ZONE = 10
PLAYED = {role: PINS[role] for role in PINS if role not in ("sck", "mosi", "miso", "tx", "rx")}
PLAYED["zone"] = ZONE


def write_board(
    folder: Path, sources: Sources, port: str, couples: int, state: str = start_up.KEPT
) -> Path:
    """Write what a board with so many couples holds; its version may be NEW."""
    selects = list(range(11, 11 + couples))
    wiring = pack_wiring(port, LINK_UART, 0, 0, 115200, PINS, selects, [ZONE])
    block = bench_settings(has=3, channels=[COUPLE] * couples, zones=[(1000, 2)], hold_cdeg=9000)
    version = build_version(sources, "", port, block, wiring, KEPT)
    version.write_to(folder / VERSION)
    (folder / VERSION / start_up.MANIFEST).write_bytes(version.manifest)
    text = f"{VERSION} {state} 0"
    (folder / start_up.MARKER).write_text(f"{text} {crc32(text.encode()):08x}")
    start = folder / VERSION / PACKAGE / "start_up.mpy"
    (folder / "emberbed_start.mpy").write_bytes(start.read_bytes())
    bench = compile_files({BENCH.name: _bench_of_few_names(sources, port)}, "")
    (folder / BENCH.with_suffix(".mpy").name).write_bytes(bench[BENCH.with_suffix(".mpy").name])
    (folder / WIRE).touch()
    return folder


def _bench_of_few_names(sources: Sources, port: str) -> bytes:
    """Return the bench with the firmware's own letters: its names would fill another pool of them,
    which no board has."""
    linked = b"".join(texts_for(sources, port, KEPT).values())
    told = {word for word in re.findall(r"\w+", linked.decode()) if len(word) > 2}
    return link({BENCH.name: BENCH.read_bytes()}, BENCH.name, told | CALLED)[BENCH.name]
