"""The table of what must follow: fault x phase x setup, each cell with exactly one expectation.

Read from expected.toml, whose rows name a fault, phases and setups at once. A cell's expectation:

refused         no heat at all: arming is refused, or the press starts nothing
trip            heat off for good within `off_s` (if not given `within_s`), by one of `trips` within
                `within_s`; RESET counts as one where the device starts anew. `over_k`: and the true
                board never more than this above the highest the plan asks for. `share`: of the
                seeds, where physics leaves no more
bounded         the true board never more than `over_k` above the highest the plan asks for
harmless        the run goes on, nothing above its limit, for the whole window
not_detectable  with `reason` and the `hardware` that answers for it
"""

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import product
from typing import Any

from emberbed_fw import trip_codes
from emberbed_sim.campaign.monitor import ALLOWANCE_K, RULES
from emberbed_sim.campaign.outcomes import LINK_LOST, RESET
from emberbed_sim.campaign.phases import PHASES
from emberbed_sim.campaign.setups import KNOWLEDGE, SENSES, SENSOR_SETS, Setup
from emberbed_sim.faults import KINDS
from emberbed_sim.plant.fault_kind import ON_A_WIRE

REFUSED, TRIP, BOUNDED, HARMLESS, NOT_DETECTABLE = EXPECTATIONS = (
    "refused", "trip", "bounded", "harmless", "not_detectable",
)  # fmt: skip
NEEDS = {
    REFUSED: set(),
    TRIP: {"trips", "within_s"},
    BOUNDED: {"over_k"},
    HARMLESS: set(),
    NOT_DETECTABLE: {"reason", "hardware"},
}
WINDOWS_S = {REFUSED: 25.0, BOUNDED: 240.0, HARMLESS: 40.0, NOT_DETECTABLE: 120.0}
AFTER_WITHIN_S = 5.0  # a trip that comes late is still seen, and told
TRIP_KEYS = {"trips", "within_s", "off_s", "over_k", "resets", "share"}
TRIPS = {name for _code, name, _reaction in trip_codes.TRIPS} | {RESET, LINK_LOST}
USUAL = Setup()
SHARED_KEYS = {
    "faults", "amounts", "part", "length_s", "phases", "sensors", "senses", "knowledge", "expect",
    "window_s", "excused", "lie_s", "limit_k", "why",
}  # fmt: skip


class TableError(ValueError):
    """The table says something impossible; names the row."""


@dataclass(frozen=True)
class Cell:
    """One fault in one phase with one setup, and what must follow."""

    fault: str
    phase: str
    setup: Setup
    expect: str
    window_s: float
    trips: tuple[str, ...] = ()
    within_s: float = 0.0
    off_s: float = 0.0
    over_k: float | None = None
    lie_s: float = 15.0
    limit_k: float = ALLOWANCE_K
    amount: float | None = None
    part: int = 0
    length_s: float | None = None
    excused: tuple[str, ...] = ()
    share: float = 1.0  # of the runs that must be found; below 1 the others are not judged
    resets: bool = False  # and the watchdog must start the device anew
    reason: str = ""
    hardware: str = ""
    why: str = ""  # the row is weaker than one would wish

    @property
    def row(self) -> str:
        """Return the fault with its amount: the row of the evidence that this cell counts in."""
        amount = "" if self.amount is None else f"#{self.amount:g}"
        return f"{self.fault}{amount}" + (f",{self.part}" if self.part else "")

    @property
    def name(self) -> str:
        """Return the name that no other cell has."""
        return f"{self.row} {self.phase} {self.setup}"

    @property
    def expected_words(self) -> str:
        """Return the expectation in words."""
        if self.expect == TRIP:
            share = f"{self.share:.0%} found: " if self.share < 1 else ""
            trips = " or ".join(self.trips)
            return f"{share}heat off within {self.off_s:g} s, {trips} within {self.within_s:g} s"
        if self.expect == BOUNDED:
            return f"board at most {self.over_k:g} K over the target"
        return self.expect.replace("_", " ")


@cache
def cells() -> tuple[Cell, ...]:
    """Return every cell of the committed table. Raises TableError."""
    import tomllib  # not everywhere where cells are run is it there

    text = (files("emberbed_sim.campaign") / "expected.toml").read_text(encoding="utf-8")
    return cells_of(tomllib.loads(text))


def cells_of(table: dict[str, Any]) -> tuple[Cell, ...]:
    """Return the cells of a table. Raises TableError, one sentence."""
    found: dict[str, Cell] = {}
    for row in table["row"]:
        for cell in _cells_of_row(row):
            if cell.name in found:
                raise TableError(f"Cell '{cell.name}' is there twice.")
            found[cell.name] = cell
    return tuple(found.values())


def _cells_of_row(row: dict[str, Any]) -> list[Cell]:
    told = f"Row of {', '.join(row['faults'])} in {', '.join(row['phases'])}"
    expect = row.get("expect")
    if expect not in EXPECTATIONS:
        raise TableError(f"{told}: expect is '{expect}'; give one of {', '.join(EXPECTATIONS)}.")
    own = TRIP_KEYS if expect == TRIP else NEEDS[expect]
    _check_names(told, "key", row, SHARED_KEYS | own)
    if missing := NEEDS[expect] - row.keys():
        raise TableError(f"{told}: {', '.join(sorted(missing))} is missing.")
    _check_names(told, "fault", row["faults"], KINDS)
    if any(KINDS[fault].only == ON_A_WIRE for fault in row["faults"]):
        raise TableError(f"{told}: it needs a wire, which the campaign has not.")
    _check_names(told, "phase", row["phases"], PHASES)
    _check_names(told, "trip", row.get("trips", ()), TRIPS)
    _check_names(told, "rule", row.get("excused", ()), RULES)
    window_s = row.get("window_s") or WINDOWS_S.get(expect) or row["within_s"] + AFTER_WITHIN_S
    return [
        Cell(
            fault, phase, setup, expect, window_s,
            tuple(row.get("trips", ())), row.get("within_s", 0.0),
            row.get("off_s", row.get("within_s", 0.0)), row.get("over_k"),
            row.get("lie_s", _lie_s(row, expect)), row.get("limit_k", ALLOWANCE_K),
            amount, row.get("part", 0), row.get("length_s"),
            tuple(row.get("excused", ())), row.get("share", 1.0), row.get("resets", False),
            row.get("reason", ""), row.get("hardware", ""), row.get("why", ""),
        )
        for fault, amount, phase, setup in product(
            row["faults"], row.get("amounts", [None]), row["phases"], _setups(told, row)
        )
    ]  # fmt: skip


def _lie_s(row: dict[str, Any], expect: str) -> float:
    """Return how long heat may flow on a lying reading: in a trip until it must be off."""
    return row.get("off_s", row["within_s"]) + 1.0 if expect == TRIP else Cell.lie_s


def _setups(told: str, row: dict[str, Any]) -> list[Setup]:
    named = []
    for key, known, usual in (
        ("sensors", SENSOR_SETS, USUAL.sensors),
        ("senses", SENSES, USUAL.senses),
        ("knowledge", KNOWLEDGE, USUAL.knowledge),
    ):
        chosen = row.get(key, [usual])
        _check_names(told, key, chosen, known)
        named.append(chosen)
    return [Setup(*one) for one in product(*named)]


def _check_names(told: str, what: str, names: Any, known: Any) -> None:
    for name in names:
        if name not in known:
            raise TableError(f"{told}: {what} '{name}' is not known.")
