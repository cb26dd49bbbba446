"""What can be made to happen at the bench: faults, slips of a hand, the ordinary trouble of a day.

CATALOGUE is data, one row a kind: who acts on it, what it does, what its amount means. A
`FaultEvent` is a row with its times in s, its amount and the channel or zone it happens to. Rows
that happen at once have no length, the others last for good unless row or event says how long.
"""

from collections.abc import Iterable
from dataclasses import InitVar, dataclass, field
from difflib import get_close_matches
from math import inf

from emberbed_sim.plant.fault_kind import FaultKind
from emberbed_sim.plant.fault_rows import HEATER_ROWS, HOT_AIR_C
from emberbed_sim.plant.fault_rows_device import DEVICE_ROWS, LINK_ROWS

__all__ = ["CATALOGUE", "HOT_AIR_C", "KINDS", "FaultEvent", "FaultKind"]

CATALOGUE = (*HEATER_ROWS, *DEVICE_ROWS, *LINK_ROWS)
KINDS = {kind.name: kind for kind in CATALOGUE}


@dataclass(frozen=True)
class FaultEvent:
    """One row of the catalogue with its times in s; `length_s` None means for good."""

    name: str
    onset_s: float
    length_s: float | None = None
    asked_amount: InitVar[float | None] = None  # None = what is usual for the row
    part: int = 0  # the channel or zone that it happens to
    amount: float = field(init=False)

    def __post_init__(self, asked_amount: float | None) -> None:
        if self.name not in KINDS:
            raise ValueError(f"Fault '{self.name}' is not known; {known_faults(self.name)}.")
        kind = KINDS[self.name]
        amount = kind.usual if asked_amount is None else asked_amount
        object.__setattr__(self, "amount", amount)
        if self.length_s is None:
            object.__setattr__(self, "length_s", kind.lasts_s)
        elif kind.at_once:
            raise ValueError(f"Fault {self.name} happens at once; leave its length away.")
        if not 0 <= self.onset_s < inf:
            raise ValueError(f"Fault {self.name} begins at {self.onset_s} s; give 0 s or later.")
        if self.length_s is not None and not 0 < self.length_s < inf:
            raise ValueError(f"Fault {self.name} lasts {self.length_s} s; give more than 0 s.")
        if amount not in kind.amounts:
            raise ValueError(
                f"Fault {self.name} has the amount {amount:g}; {amounts_allowed(kind)}."
            )
        if kind.amount_is_part:
            object.__setattr__(self, "part", int(amount))
        elif self.part not in kind.parts:
            raise ValueError(
                f"Fault {self.name} has the {kind.part or 'channel'} {self.part};"
                f" {parts_allowed(kind)}."
            )

    def active_at(self, elapsed_s: float) -> bool:
        """Tell whether the fault is there at this simulated time in s."""
        if elapsed_s < self.onset_s:
            return False
        return self.length_s is None or elapsed_s < self.onset_s + self.length_s


def known_faults(tried: str = "") -> str:
    """Return how a fault is written, with the name that may have been meant."""
    near = get_close_matches(tried, KINDS, n=1)
    example = f"{near[0] if near else 'tc_open'}@120s"
    return f"write name@time, such as {example}; --fault list names all of them"


def amounts_allowed(kind: FaultKind) -> str:
    """Return which amounts a row takes."""
    if not kind.amount_is:
        return "it takes none: leave '#' away"
    amounts = kind.amounts
    return f"give a whole number from {amounts[0]} to {amounts[-1]} ({kind.amount_is})"


def parts_allowed(kind: FaultKind) -> str:
    """Return which channels or zones a row takes beside its amount."""
    if not kind.part or kind.amount_is_part:
        return "it takes nothing beside its amount: leave ',' away"
    return f"give the {kind.part}, {kind.parts[0]} to {kind.parts[-1]}, after the ','"


def refuse_others(faults: Iterable[FaultEvent], place: str) -> None:
    """Raise ValueError, one sentence, for the first fault that needs another place than this."""
    for event in faults:
        only = KINDS[event.name].only
        if only not in ("", place):
            raise ValueError(
                f"Fault {event.name} cannot be done in the {place}, only in the {only}: leave it"
                " out here."
            )
