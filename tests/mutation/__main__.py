"""Mutation testing of the guard and the link: `python -m tests.mutation [MODULE ...]`.

Tries every mutant of the named modules (of all in TESTS without a name), prints those that no test
has noticed and that `equivalent.toml` does not explain, and ends with 1 if there are any.
"""

import argparse
import ast
import os
import sys
import time
import tomllib
from collections import Counter
from itertools import chain
from pathlib import Path

from tests.mutation.mutants import Mutant, mutants
from tests.mutation.trial import KILLED, ROOT, SURVIVED, UNCHANGED, copied_firmware, try_all

FIRMWARE = ROOT / "firmware_py/emberbed_fw"
EQUIVALENT = Path(__file__).with_name("equivalent.toml")
# Which tests look at a module, quickest first: names below tests/, or patterns of several.
GUARD = ["firmware/test_guard*.py"]
WHOLE = ["safety/test_heat_checks.py", "safety/test_sensor_checks.py",
         "safety/test_doubt_checks.py"]  # fmt: skip
TESTS = {
    "guard_rules": GUARD,
    "feedforward": ["firmware/test_feedforward_exact.py", "firmware/test_feedforward_anew.py",
                    "firmware/test_feedforward_replayed.py"],
    "guard": [*GUARD, *WHOLE, "safety/test_switch_checks.py"],
    "doubts": ["firmware/test_doubts*.py", "firmware/test_guard_doubt_count.py",
               "safety/test_doubt_checks.py"],
    "heat_balance": ["firmware/test_heat_balance_exact.py", "firmware/test_heat_balance.py"],
    "heat_model": ["firmware/test_heat_model_exact.py", "firmware/test_heat_model.py"],
    "doubt_count": ["firmware/test_doubt_count.py"],
    "glow": ["firmware/test_glow.py", "firmware/test_small_ints.py"],
    "pair_watch": ["firmware/test_pair_watch.py"],
    "jump_watch": ["firmware/test_jump_watch.py"],
    "stuck_watch": ["firmware/test_stuck_watch.py"],
    "memory_watch": ["firmware/test_memory_watch.py"],
    "lift_watch": ["firmware/test_lift_watch*.py", "firmware/test_lifted_bead.py"],
    "messages": ["firmware/test_wire_numbers.py"],
    "record": ["firmware/test_wire_numbers.py", "firmware/test_recorder_exact.py"],
    "frames": ["firmware/test_frames.py"],
    "damage_watch": ["firmware/test_damage_watch.py"],
    "block_buffer": ["firmware/test_block_buffer.py"],
    "tick_pack": ["firmware/test_tick_pack.py"],
    "block_ring": ["firmware/test_block_ring*.py", "firmware/test_wire_numbers.py"],
    "recorder": ["firmware/test_recorder*.py"],
    "commands": ["firmware/test_command*.py", "firmware/test_arming.py",
                 "firmware/test_errands.py", "firmware/test_feedforward_anew.py"],
    "snapshot_parts": ["firmware/test_snapshot_parts.py"],
    "portrait": ["firmware/test_portrait.py", "firmware/test_link_sessions.py"],
    "self_report": ["firmware/test_self_report.py"],
    "backfill": ["firmware/test_backfill.py"],
    "block_requests": ["firmware/test_block_requests.py", "firmware/test_errands.py"],
    "link": ["firmware/test_link_[!h]*.py", "firmware/test_self_report.py",
             "firmware/test_feedforward_anew.py"],
}  # fmt: skip


def explained() -> dict[str, dict[str, str]]:
    """Return module -> mutant -> why no test can notice it."""
    table = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8"))
    return {module: {row["mutant"]: row["why"] for row in rows} for module, rows in table.items()}


def jobs_of(modules: list[str], firmware: Path):
    """Yield (module, mutant) of every mutant that is not known to be equivalent."""
    known = explained()
    for module in modules:
        for mutant in mutants((firmware / f"{module}.py").read_text(encoding="utf-8")):
            if mutant.name not in known.get(module, {}):
                yield module, mutant


def unchanged(modules: list[str], firmware: Path = FIRMWARE):
    """Yield (module, the module as it is): what no test may kill."""
    for module in modules:
        source = (firmware / f"{module}.py").read_text(encoding="utf-8")
        yield module, Mutant(UNCHANGED, 0, ast.parse(source))


def files_of(modules: list[str]) -> dict[str, list[str]]:
    """Return module -> the files of tests that look at it and exist."""
    tests = ROOT / "tests"
    return {
        module: [str(file) for name in TESTS[module] for file in sorted(tests.glob(name))]
        for module in modules
    }


def try_modules(modules: list[str], at_once: int) -> tuple[Counter, list[tuple[str, str]]]:
    """Return (how many were KILLED and SURVIVED by module, the survivors)."""
    ends: Counter = Counter()
    left = []
    files = files_of(modules)
    with copied_firmware() as firmware:
        jobs = chain(unchanged(modules, firmware), jobs_of(modules, firmware))
        for module, mutant, end in try_all(jobs, files, at_once):
            if mutant.name == UNCHANGED:
                if end != SURVIVED:
                    raise SystemExit(f"{module}: its tests fail as it is; mend them first")
                continue
            ends[module, end] += 1
            if end == SURVIVED:
                left.append((module, mutant.name))
                print(f"{module}.py:{mutant.line}: {mutant.name}", flush=True)
    return ends, left


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("modules", nargs="*", metavar="MODULE", help=", ".join(TESTS))
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="trials at once")
    asked = parser.parse_args()
    unknown = sorted(set(asked.modules) - set(TESTS))
    if unknown:
        print(f"no such module: {', '.join(unknown)}; choose from {', '.join(TESTS)}",
              file=sys.stderr)  # fmt: skip
        return 2
    begun = time.monotonic()
    ends, left = try_modules(asked.modules or list(TESTS), asked.jobs)
    known = explained()
    for module in asked.modules or TESTS:
        print(
            f"{module}: {ends[module, KILLED]} killed, {ends[module, SURVIVED]} not noticed,"
            f" {len(known.get(module, {}))} equivalent"
        )
    print(f"{time.monotonic() - begun:.0f} s")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
