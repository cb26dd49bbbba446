"""A fault as a person writes it: name@onset, :length if it ends, #amount if its row takes one.

`tc_open@120s#1`, `host_silent@300s:30s`, `hot_air@9min:90s#350`, and with a channel or zone
beside its amount `bead_half_off@0s#30,1`. Times are in s or min. The rows and what they mean are in
`plant/fault_rows.py` and `plant/fault_rows_device.py`.
"""

import re

from emberbed_sim.plant.fault_catalogue import (
    CATALOGUE,
    KINDS,
    FaultEvent,
    FaultKind,
    amounts_allowed,
    known_faults,
    parts_allowed,
    refuse_others,
)

__all__ = ["CATALOGUE", "KINDS", "FaultEvent", "FaultKind", "parse_fault", "refuse_others"]

_FORM = re.compile(
    r"(?P<name>[^@:#]*)@(?P<onset>[^@:#]*)(:(?P<length>[^@:#]*))?"
    r"(#(?P<amount>[^,]*)(,(?P<part>.*))?)?"
)
_TIME = re.compile(r"(\d{1,6}(?:\.\d{1,6})?)(s|min)", re.ASCII)
_UNIT_S = {"s": 1.0, "min": 60.0}


def parse_fault(text: str) -> FaultEvent:
    """Return the fault a person wrote; ValueError holds one sentence for that person."""
    form = _FORM.fullmatch(text.strip())
    if "@" not in text and re.split("[:#]", text.strip())[0] in KINDS:
        raise ValueError(f"Fault '{text}' lacks the time when it begins; {known_faults()}.")
    if not form:
        raise ValueError(f"Fault '{text}' cannot be read; {known_faults()}.")
    kind = KINDS.get(form["name"])
    if kind is None:
        raise ValueError(f"Fault '{form['name']}' is not known; {known_faults(form['name'])}.")
    return FaultEvent(
        kind.name,
        _seconds(text, form["onset"]),
        None if form["length"] is None else _seconds(text, form["length"]),
        None if form["amount"] is None else _amount(text, kind, form["amount"]),
        0 if form["part"] is None else _part(text, kind, form["part"]),
    )


def _seconds(text: str, written: str) -> float:
    found = _TIME.fullmatch(written)
    if not found:
        raise ValueError(
            f"Fault '{text}' has the time '{written}', which is not a number with s or min; "
            f"{known_faults()}."
        )
    return float(found[1]) * _UNIT_S[found[2]]


def _amount(text: str, kind: FaultKind, written: str) -> float:
    if not kind.amount_is or not re.fullmatch(r"-?\d{1,4}", written, re.ASCII):
        raise ValueError(f"Fault '{text}' has '{written}' after '#'; {amounts_allowed(kind)}.")
    return float(written)


def _part(text: str, kind: FaultKind, written: str) -> int:
    if not kind.part or kind.amount_is_part or not re.fullmatch(r"\d{1,4}", written, re.ASCII):
        raise ValueError(f"Fault '{text}' has '{written}' after ','; {parts_allowed(kind)}.")
    return int(written)
