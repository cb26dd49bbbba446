"""The hazard table and what is wrong with it: hazards.toml against the firmware and the tests.

`find_faults` is pure: the table, the firmware's limits and trips, the proofs. Each fault is one
sentence that begins with the id it is about.
"""

import ast
import tomllib
from collections.abc import Collection, Iterable, Mapping
from functools import cache
from importlib import import_module
from pathlib import Path

from emberbed_fw.units import TICK_MS

FILE = Path(__file__).with_name("hazards.toml")
TESTS = Path(__file__).parents[1]
PROOFS = ("acts", "in_time", "quiet", "stays")
KINDS = ("design", "protective", "warning")
SEVERITIES = ("burn", "fire", "shock", "damage")
HAZARD_KEYS = {
    "id", "cause", "harm", "when", "severity", "checks", "hardware_backup",
}  # fmt: skip
CHECK_KEYS = {
    "id", "title", "kind", "module", "symbol", "limits", "trips", "must_act_within_ms",
}  # fmt: skip
NOT_RUN = {"skip", "skipif", "xfail"}


@cache
def load() -> dict:
    """Return the table as written; copy it before changing anything."""
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


def ticks_allowed(check_id: str) -> int:
    """Return in how many ticks a check must have acted."""
    (row,) = [row for row in load()["check"] if row["id"] == check_id]
    return row["must_act_within_ms"] // TICK_MS


def collect_proofs(folder: Path = TESTS) -> list[tuple[str, str, str]]:
    """Return (check id, what it proves, test) of every mark on a test that is really run."""
    proofs = []
    for path in sorted(folder.rglob("test_*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                marks = [mark for decorator in node.decorator_list if (mark := _mark(decorator))]
                if not any(name in NOT_RUN for name, _call in marks):
                    proofs += [
                        (*_arguments(call), f"{path.name}::{node.name}")
                        for name, call in marks
                        if name == "check" and call is not None
                    ]
    return proofs


def _mark(decorator: ast.expr) -> tuple[str, ast.Call | None] | None:
    """Return the name and call of a `pytest.mark.NAME(...)` decorator."""
    call = decorator if isinstance(decorator, ast.Call) else None
    named = call.func if call else decorator
    if isinstance(named, ast.Attribute) and ast.unparse(named.value) == "pytest.mark":
        return named.attr, call
    return None


def _arguments(call: ast.Call) -> tuple[str, str]:
    values = [ast.literal_eval(argument) for argument in call.args]
    values += [ast.literal_eval(word.value) for word in call.keywords if word.arg == "proves"]
    return (str(values[0]), str(values[1])) if len(values) == 2 else ("?", "?")


def find_faults(
    table: Mapping,
    limits: Iterable[tuple],
    trips: Collection[str],
    proofs: Iterable[tuple[str, str, str]],
) -> list[str]:
    """Return one sentence per fault; limits as in safety_limits.LIMITS, trips by name."""
    hazards, checks = table.get("hazard", []), table.get("check", [])
    rows = {row[0]: row for row in limits}
    return [
        *_shape(hazards, HAZARD_KEYS, "H"),
        *_shape(checks, CHECK_KEYS, "C"),
        *_links(hazards, checks),
        *_symbols(checks),
        *_limits(hazards, checks, rows),
        *_trips(checks, trips),
        *_proofs(checks, list(proofs)),
    ]


def _shape(entries: list, keys: set[str], letter: str) -> list[str]:
    faults = []
    seen = set()
    for entry in entries:
        name = entry.get("id", "?")
        if set(entry) != keys:
            faults.append(f"{name} has other keys than the rest: {sorted(set(entry) ^ keys)}")
        if not (name.startswith(letter) and name[1:].isdigit()) or name in seen:
            faults.append(f"{name} is no id of its own")
        seen.add(name)
        for key, value in entry.items():
            if value == "":
                faults.append(f"{name} says nothing under {key}")
        if entry.get("kind", KINDS[0]) not in KINDS:
            faults.append(f"{name} is of no known kind")
        if entry.get("severity", SEVERITIES[0]) not in SEVERITIES:
            faults.append(f"{name} is of no known severity")
        if entry.get("must_act_within_ms", 1) <= 0:
            faults.append(f"{name} has no time to act")
    return faults


def _links(hazards: list, checks: list) -> list[str]:
    known = {check["id"] for check in checks}
    cited = {check for hazard in hazards for check in hazard.get("checks", [])}
    faults = [f"{hazard['id']} has no check" for hazard in hazards if not hazard.get("checks")]
    faults += [f"{name} is cited by a hazard and does not exist" for name in sorted(cited - known)]
    return faults + [f"{name} stands against no hazard" for name in sorted(known - cited)]


def _symbols(checks: list) -> list[str]:
    faults = []
    for check in checks:
        try:
            found = import_module(check["module"])
            for part in check["symbol"].split("."):
                found = getattr(found, part)
        except (ImportError, AttributeError, KeyError):
            name = f"{check.get('module')}.{check.get('symbol')}"
            faults.append(f"{check['id']} names {name}, which does not exist")
    return faults


def _limits(hazards: list, checks: list, rows: Mapping[str, tuple]) -> list[str]:
    faults = []
    used = set()
    for check in checks:
        against = {hazard["id"] for hazard in hazards if check["id"] in hazard.get("checks", [])}
        for name, value, unit in check.get("limits", []):
            used.add(name)
            if name not in rows:
                faults.append(f"{check['id']} has the limit {name}, which does not exist")
            elif (value, unit) != (rows[name][1], rows[name][2]):
                theirs = f"{rows[name][1]} {rows[name][2]}"
                faults.append(f"{check['id']} says {name} = {value} {unit}; it is {theirs}")
            elif check["id"] == _only_user(checks, name) and rows[name][4] not in against:
                faults.append(f"{check['id']} has {name}, a limit of {rows[name][4]}")
    faults += [f"{name} is a limit that no check names" for name in sorted(set(rows) - used)]
    known = {hazard["id"] for hazard in hazards}
    return faults + [
        f"{row[4]} is the hazard of {row[0]} and does not exist"
        for row in rows.values()
        if row[4] not in known
    ]


def _only_user(checks: list, name: str) -> str:
    users = [check["id"] for check in checks if name in [row[0] for row in check.get("limits", [])]]
    return users[0] if len(users) == 1 else ""


def _trips(checks: list, trips: Collection[str]) -> list[str]:
    named = {trip for check in checks for trip in check.get("trips", [])}
    faults = [f"{trip} is no trip of the firmware" for trip in sorted(named - set(trips))]
    return faults + [f"{trip} is a trip that no check names" for trip in sorted(set(trips) - named)]


def _proofs(checks: list, proofs: list[tuple[str, str, str]]) -> list[str]:
    known = {check["id"] for check in checks}
    faults = []
    for name, proves, test in proofs:
        if name not in known:
            faults.append(f"{name} is cited by {test} and does not exist")
        if proves not in PROOFS:
            faults.append(f"{name} is proved to be {proves!r} by {test}, which means nothing")
    given = {(name, proves) for name, proves, _test in proofs}
    return faults + [
        f"{name} has no proof that it {proves}"
        for name in sorted(known)
        for proves in PROOFS
        if (name, proves) not in given
    ]
