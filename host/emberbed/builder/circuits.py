"""What a household circuit gives a heater, by its amperes: watts for hours, and why.

The figures are for planning only. Wiring is work for competent people under the local code, which
decides; a circuit shared with other things gives less.
"""

from dataclasses import dataclass

MAINS_V = (90.0, 260.0)


@dataclass(frozen=True)
class Circuit:
    """`continuous` is the share of its amperes that may flow for hours."""

    amps: int
    volts: float
    continuous: float
    source: str

    def watts(self, volts: float) -> float:
        """Return the watts that may flow for hours."""
        return self.amps * volts * self.continuous


CIRCUITS = {
    10: Circuit(10, 230, 1.0, "outlets of 10 A, from memory"),
    13: Circuit(13, 230, 1.0, "13 A plug fuse, homeuse.co.uk fuse ratings"),
    15: Circuit(15, 120, 0.8, "80 % for loads of 3 h and more, NEC 210.20 as quoted"),
    16: Circuit(16, 230, 1.0, "16 A circuit, from memory; many of its outlets bear 10 A for long"),
}


class BadCircuit(Exception):
    """There is no such circuit; one sentence with the mend."""


def circuit_at(amps: int, mains_v: float | None) -> tuple[Circuit, float]:
    """Return a circuit and its voltage, the usual one for None. Raises BadCircuit."""
    if amps not in CIRCUITS:
        known = ", ".join(str(one) for one in CIRCUITS)
        raise BadCircuit(f"--circuit {amps} is none of {known} A; take the next lower one")
    if mains_v is not None and not MAINS_V[0] <= mains_v <= MAINS_V[1]:
        raise BadCircuit(
            f"--mains {mains_v:g} is outside {MAINS_V[0]:g} to {MAINS_V[1]:g} V; write what your"
            " outlet has"
        )
    return CIRCUITS[amps], mains_v or CIRCUITS[amps].volts


@dataclass(frozen=True)
class Supply:
    """A circuit with what hangs on it: hot-air tool and heater, in W."""

    circuit: Circuit
    volts: float
    tool_w: float
    heater_w: float

    @property
    def given_w(self) -> float:
        """Return what the circuit gives for hours."""
        return self.circuit.watts(self.volts)

    @property
    def left_w(self) -> float:
        """Return what is left for the heater, at most its own watts."""
        return min(self.heater_w, max(0.0, self.given_w - self.tool_w))

    def sentence(self) -> str:
        """Return it for a person."""
        said = (
            f"A circuit of {self.circuit.amps} A at {self.volts:g} V gives {self.given_w:.0f} W"
            f" for hours ({self.circuit.source})"
        )
        if self.tool_w:
            said += f", of which the hot-air tool takes {self.tool_w:g} W"
        if self.left_w < self.heater_w:
            return f"{said}: {self.left_w:.0f} W are left of the heater's {self.heater_w:g} W."
        return f"{said}: enough for the heater's {self.heater_w:g} W."
