"""What can be made to happen at the bench: faults, slips of a hand, the ordinary trouble of a day.

CATALOGUE is data, one row a kind: who acts on it (the heater or the link; the other side ignores
it), what it does, what its amount means. A `FaultEvent` is a row with its times in s and its
amount; rows that happen at once have no length, the others last for good unless the row or the
event says how long.
"""

from dataclasses import InitVar, dataclass, field
from math import inf
from typing import NamedTuple

from emberbed_sim.plant.parameters import CHANNELS

NO_AMOUNT = range(1)
A_CHANNEL = range(CHANNELS)
CHANNEL = "channel, the first if not given"
HOT_AIR_C = 380  # a usual setting of hand tools for lead-free work; common practice, no source
NOZZLE_C = range(100, 501)


class FaultKind(NamedTuple):
    """One row: name, what acts on it, what it does, what its amount means ("" = takes none)."""

    name: str
    acts_on: str  # heater | link
    does: str
    amount_is: str = ""
    amounts: range = NO_AMOUNT  # whole numbers
    usual: int = 0  # the amount of an event that gives none
    lasts_s: float | None = None  # of an event that gives no length; None = for good
    at_once: bool = False  # a moment, without a length

    @property
    def names_channel(self) -> bool:
        """Tell whether the amount is the channel of a sensor."""
        return self.amounts == A_CHANNEL


CATALOGUE = (
    FaultKind("tc_open", "heater", "a thermocouple breaks and its converter says so",
              CHANNEL, A_CHANNEL),
    FaultKind("ssr_stuck_on", "heater", "the SSR conducts whatever its drive says"),
    FaultKind("host_silent", "link", "the computer goes on running but sends nothing"),
    FaultKind("hot_air", "heater", "hot air from above blows on the chip",
              f"degC of the air, {HOT_AIR_C} if not given", NOZZLE_C, HOT_AIR_C),
    FaultKind("hot_air_wanders", "heater",
              "hot air from above drifts on and off the chip, at times over the sensor beside it",
              f"degC of the air, {HOT_AIR_C} if not given", NOZZLE_C, HOT_AIR_C),
    FaultKind("cold_chip", "heater", "a chip at room temperature is placed on the pads",
              at_once=True),
    FaultKind("draught", "heater", "an extractor draws air over the board's upper face",
              "W/m2K, 10 if not given", range(1, 101), 10),
    FaultKind("bead_touched", "heater", "tweezers touch a bead, for 3 s if no length is given",
              CHANNEL, A_CHANNEL, lasts_s=3.0),
    FaultKind("finger", "heater", "a warm finger lies on a bead, for 10 s if no length is given",
              CHANNEL, A_CHANNEL, lasts_s=10.0),
    FaultKind("tape_creep", "heater", "a bead's tape lets go slowly, over ten minutes",
              CHANNEL, A_CHANNEL),
    FaultKind("bead_lifted", "heater", "a bead lifts off the board, its converter sees nothing",
              CHANNEL, A_CHANNEL),
    FaultKind("bead_grounded", "heater", "a bead touches grounded metal and its converter says so",
              CHANNEL, A_CHANNEL),
    FaultKind("hot_bench", "heater", "emitters and surroundings are hot from the last board",
              "degC of the emitters, 250 if not given", range(30, 601), 250, at_once=True),
)  # fmt: skip
KINDS = {kind.name: kind for kind in CATALOGUE}


@dataclass(frozen=True)
class FaultEvent:
    """One row of the catalogue with its times in s; `length_s` None means for good."""

    name: str
    onset_s: float
    length_s: float | None = None
    asked_amount: InitVar[float | None] = None  # None = what is usual for the row
    amount: float = field(init=False)

    def __post_init__(self, asked_amount: float | None) -> None:
        if self.name not in KINDS:
            raise ValueError(f"Fault '{self.name}' is not known; {known_faults()}.")
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

    def active_at(self, elapsed_s: float) -> bool:
        """Tell whether the fault is there at this simulated time in s."""
        if elapsed_s < self.onset_s:
            return False
        return self.length_s is None or elapsed_s < self.onset_s + self.length_s


def known_faults() -> str:
    """Return how a fault is written, with all names."""
    return f"write name@time, such as tc_open@120s, with one of the names {', '.join(KINDS)}"


def amounts_allowed(kind: FaultKind) -> str:
    """Return which amounts a row takes."""
    if not kind.amount_is:
        return "it takes none: leave '#' away"
    amounts = kind.amounts
    return f"give a whole number from {amounts[0]} to {amounts[-1]} ({kind.amount_is})"
