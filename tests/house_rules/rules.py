"""The house's rules as functions: each takes the project's root and gives one line per violation.

RULES names them all; test_rules.py runs each on the real sources and on copies with one violation
put in. Sources are parsed, never imported.
"""

import ast
from functools import cache
from pathlib import Path

FIRMWARE = "firmware_py/emberbed_fw"
HOST = "host/emberbed"
PLANT = "sim/emberbed_sim/plant"

# What the firmware may import from outside itself: MicroPython's core modules.
CORE_MODULES = {"struct", "binascii", "array", "sys", "gc", "micropython"}
# pins, clocks, wires and displays belong to the ports alone
PORT_MODULES = {"machine", "time", "select", "ssd1306"}
START_MODULES = {"os", "hashlib"}  # files belong to what decides at power-up which version runs

# The firmware's floors. A module imports from lower floors, and on its own floor from those that
# stand before it; a file that is not in the table has no place in the house.
LEVELS = (
    # numbers, tables, bytes
    (
        "units", "heap", "integer_math", "glow", "columns", "block_buffer", "trip_codes",
        "safety_limits",
        "run_states", "record", "messages", "frames", "damage_watch", "device_port", "memory_watch",
        "inputs",
    ),
    # meaning
    ("type_k", "thermistor", "settings", "converters", "readings", "plan", "plan_check", "button"),
    # pure decisions
    (
        "knots", "feedforward", "lead", "stage_clock", "sequencer", "pace", "pid", "early_heat",
        "heat_need", "zone_power", "soak_power", "lift_watch", "jump_watch", "stuck_watch",
        "pair_watch", "doubt_count", "heat_model", "heat_balance", "doubts", "guard_rules",
        "self_sums",
    ),
    # the judge, the memory, the life of a run, the hand, the ear, the voice
    (
        "guard", "control", "loaded", "tick_pack", "block_ring", "recorder", "life", "touches",
        "hand", "commands", "signals",
    ),
    # the only file that knows the order
    ("tick",),
    # the edge
    ("snapshot", "replay", "snapshot_parts", "backfill", "block_requests",
     "self_report", "portrait", "link", "stock_hold", "settings_store", "errands", "known_answer",
     "panel_text", "plan_keeper", "panel", "main_loop", "ports.pipe", "ports.inject",
     "drivers.spi_bus", "drivers.max31855", "drivers.max6675", "drivers.max31856", "drivers.ntc",
     "ports.wiring", "ports.wire", "ports.board", "ports.senses", "ports.outputs", "ports.screen",
     "ports.controller", "ports.chip_rp2_pins", "ports.chip_rp2", "ports.chip_esp32",
     "ports.rp2040", "ports.esp32", "ports.bare_board", "ports.rp2040_inject", "ports.esp32_inject",
     "start_up"),
)  # fmt: skip

ANALYSES = ("rehearse", "verify")  # host files of analysis commands
LONGEST_FILE = 300
# put together here, so that this file does not hold them
FORBIDDEN_WORDS = ("TO" + "DO", "FIX" + "ME")
WORDED = {".py", ".md", ".toml", ".mjs", ".js", ".css", ".html", ".yml"}


def sources(root: Path, folder: str) -> list[Path]:
    """Return the Python files below a folder, sorted."""
    return sorted((root / folder).rglob("*.py"))


@cache
def nodes(text: str) -> list[ast.AST]:
    """Return every node of a source text; the same text is parsed once."""
    return list(ast.walk(ast.parse(text)))


def nodes_of(path: Path) -> list[ast.AST]:
    return nodes(path.read_text(encoding="utf-8"))


def imports(path: Path) -> list[tuple[int, str]]:
    """Return (line, dotted module) of every import; `from a import b` counts as a.b."""
    found = []
    for node in nodes_of(path):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            module = "." * node.level + (node.module or "")
            found += [(node.lineno, f"{module}.{alias.name}") for alias in node.names]
    return found


def at(root: Path, path: Path, line: int) -> str:
    return f"{path.relative_to(root).as_posix()}:{line}:"


def firmware_name(root: Path, path: Path) -> str:
    """Return a firmware file's dotted name inside the package, '' for a package's own file."""
    parts = list(path.relative_to(root / FIRMWARE).with_suffix("").parts)
    return "" if parts[-1] == "__init__" else ".".join(parts)


def firmware_imports_core_modules_only(root: Path) -> list[str]:
    broken = []
    for path in sources(root, FIRMWARE):
        is_port = path.parent.name == "ports"
        more = PORT_MODULES if is_port else START_MODULES if path.name == "start_up.py" else set()
        allowed = CORE_MODULES | {"emberbed_fw"} | more
        for line, module in imports(path):
            if module.split(".")[0] not in allowed:
                broken.append(f"{at(root, path, line)} imports {module}")
    return broken


def firmware_imports_lower_levels_only(root: Path) -> list[str]:
    order = [name for level in LEVELS for name in level]
    broken = []
    for path in sources(root, FIRMWARE):
        name = firmware_name(root, path)
        if name and name not in order:
            broken.append(f"{at(root, path, 1)} stands on no floor of the house")
            continue
        place = order.index(name) if name else -1
        for line, module in imports(path):
            below = firmware_target(module, order)
            if below and order.index(below) >= place:
                broken.append(f"{at(root, path, line)} imports {below}, which is not below it")
    return broken


def firmware_target(module: str, order: list[str]) -> str:
    """Return which firmware module an import reaches, '' for none."""
    parts = module.split(".")
    if parts[0] != "emberbed_fw":
        return ""
    known = [".".join(parts[1:end]) for end in (3, 2) if ".".join(parts[1:end]) in order]
    return known[0] if known else ""


def firmware_has_integers_only(root: Path) -> list[str]:
    broken = []
    for path in sources(root, FIRMWARE):
        for node in nodes_of(path):
            what = float_in(node)
            if what:
                broken.append(f"{at(root, path, getattr(node, 'lineno', 1))} {what}")
    return broken


def float_in(node: ast.AST) -> str:
    """Return what brings floats into integer code, '' for nothing."""
    if isinstance(node, ast.Constant) and isinstance(node.value, float | complex):
        return f"has the number {node.value}"
    if isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.Div):
        return "divides with /"
    if isinstance(node, ast.Name) and node.id in ("float", "complex"):
        return f"uses {node.id}"
    if isinstance(node, ast.Import) and any(alias.name == "math" for alias in node.names):
        return "imports math"
    if isinstance(node, ast.ImportFrom) and node.module == "math":
        return "imports math"
    return ""


def plant_knows_no_controller(root: Path) -> list[str]:
    """The plant and what it imports: a plant that knows the controller agrees with its mistakes."""
    broken = []
    for path in [*sources(root, PLANT), root / "sim/emberbed_sim/faults.py"]:
        for line, module in imports(path):
            package, *rest = module.split(".")
            ours = package in ("emberbed", "emberbed_fw", "emberbed_hil")
            other_sim = package == "emberbed_sim" and rest[:1] not in (["plant"], ["faults"])
            if ours or other_sim:
                broken.append(f"{at(root, path, line)} imports {module}")
    return broken


def firmware_knows_neither_host_nor_sim(root: Path) -> list[str]:
    return [
        f"{at(root, path, line)} imports {module}"
        for path in sources(root, FIRMWARE)
        for line, module in imports(path)
        if module.split(".")[0] in ("emberbed", "emberbed_sim", "emberbed_hil")
    ]


def host_runs_without_the_simulation(root: Path) -> list[str]:
    """Only rehearsal and proof may import it; a virtual device is a process like any other."""
    return [
        f"{at(root, path, line)} imports {module}"
        for path in sources(root, HOST)
        if not path.name.startswith(ANALYSES)
        for line, module in imports(path)
        if module.split(".")[0] == "emberbed_sim"
    ]


def files_stay_short(root: Path) -> list[str]:
    broken = []
    for folder in ("firmware_py", "host", "sim", "hil"):
        for path in sources(root, folder):
            lines = len(path.read_text(encoding="utf-8").splitlines())
            if lines > LONGEST_FILE:
                broken.append(f"{at(root, path, lines)} more than {LONGEST_FILE} lines")
    return broken


def nothing_is_left_for_later(root: Path) -> list[str]:
    broken = []
    for folder in ("firmware_py", "host", "sim", "hil", "tests"):
        for path in sorted((root / folder).rglob("*")):
            if path.suffix not in WORDED or "node_modules" in path.parts:
                continue
            for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
                broken += [
                    f"{at(root, path, number)} says {word}"
                    for word in FORBIDDEN_WORDS
                    if word in line
                ]
    return broken


RULES = {
    rule.__name__: rule
    for rule in (
        firmware_imports_core_modules_only,
        firmware_imports_lower_levels_only,
        firmware_has_integers_only,
        firmware_knows_neither_host_nor_sim,
        plant_knows_no_controller,
        host_runs_without_the_simulation,
        files_stay_short,
        nothing_is_left_for_later,
    )
}
