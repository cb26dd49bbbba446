"""The catalogue of faults: what can be made to break, when, for how long, how much.

CATALOGUE is data, one row a fault; `parse_fault` reads the form used on a command line,
`name@onset`, then `:length` if it ends again, then `#amount` if the row takes one:
`tc_open@120s#1`, `host_silent@300s:30s`. Times are in s or min. Who acts on a fault (the heater or
the link) is in its row; the other side ignores it.
"""

import re
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

from emberbed_sim.plant.parameters import CHANNELS


class FaultKind(NamedTuple):
    """One row: name, what acts on it, what it does, what its amount means ("" = takes none)."""

    name: str
    acts_on: str  # heater | link
    does: str
    amount_is: str
    amount_below: int  # amounts are whole numbers, 0 up to below this


CATALOGUE = (
    FaultKind("tc_open", "heater", "a thermocouple breaks and its converter says so",
              "channel, the first if not given", CHANNELS),
    FaultKind("ssr_stuck_on", "heater", "the SSR conducts whatever its drive says", "", 0),
    FaultKind("host_silent", "link", "the computer goes on running but sends nothing", "", 0),
)  # fmt: skip
KINDS = {kind.name: kind for kind in CATALOGUE}

_FORM = re.compile(r"(?P<name>[^@:#]*)@(?P<onset>[^@:#]*)(:(?P<length>[^@:#]*))?(#(?P<amount>.*))?")
_TIME = re.compile(r"(\d{1,6}(?:\.\d{1,6})?)(s|min)", re.ASCII)
_UNIT_S = {"s": 1.0, "min": 60.0}


@dataclass(frozen=True)
class FaultEvent:
    """One fault of the catalogue with its times in s; `length_s` None means for good."""

    name: str
    onset_s: float
    length_s: float | None = None
    amount: float = 0.0

    def __post_init__(self) -> None:
        if self.name not in KINDS:
            raise ValueError(f"Fault '{self.name}' is not known; {_known()}.")
        if not 0 <= self.onset_s < inf:
            raise ValueError(f"Fault {self.name} begins at {self.onset_s} s; give 0 s or later.")
        if self.length_s is not None and not 0 < self.length_s < inf:
            raise ValueError(f"Fault {self.name} lasts {self.length_s} s; give more than 0 s.")
        kind = KINDS[self.name]
        if self.amount not in range(max(1, kind.amount_below)):
            raise ValueError(f"Fault {self.name} has the amount {self.amount:g}; {_amounts(kind)}.")

    def active_at(self, elapsed_s: float) -> bool:
        """Tell whether the fault is there at this simulated time in s."""
        if elapsed_s < self.onset_s:
            return False
        return self.length_s is None or elapsed_s < self.onset_s + self.length_s


def parse_fault(text: str) -> FaultEvent:
    """Return the fault a person wrote; ValueError holds one sentence for that person."""
    form = _FORM.fullmatch(text.strip())
    if "@" not in text and re.split("[:#]", text.strip())[0] in KINDS:
        raise ValueError(f"Fault '{text}' lacks the time when it begins; {_known()}.")
    if not form:
        raise ValueError(f"Fault '{text}' cannot be read; {_known()}.")
    kind = KINDS.get(form["name"])
    if kind is None:
        raise ValueError(f"Fault '{form['name']}' is not known; {_known()}.")
    return FaultEvent(
        kind.name,
        _seconds(text, form["onset"]),
        None if form["length"] is None else _seconds(text, form["length"]),
        0.0 if form["amount"] is None else _amount(text, kind, form["amount"]),
    )


def _known() -> str:
    return f"write name@time, such as tc_open@120s, with one of the names {', '.join(KINDS)}"


def _amounts(kind: FaultKind) -> str:
    if not kind.amount_is:
        return "it takes none: leave '#' away"
    return f"give a whole number from 0 to {kind.amount_below - 1} ({kind.amount_is})"


def _seconds(text: str, written: str) -> float:
    found = _TIME.fullmatch(written)
    if not found:
        raise ValueError(
            f"Fault '{text}' has the time '{written}', which is not a number with s or min; "
            f"{_known()}."
        )
    return float(found[1]) * _UNIT_S[found[2]]


def _amount(text: str, kind: FaultKind, written: str) -> float:
    if not kind.amount_is or not re.fullmatch(r"\d{1,4}", written, re.ASCII):
        raise ValueError(f"Fault '{text}' has '{written}' after '#'; {_amounts(kind)}.")
    return float(written)
