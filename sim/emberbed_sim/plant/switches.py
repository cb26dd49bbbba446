"""The switches between mains and emitters, their senses, and the fan.

Takes the wires of one tick (zone drive bits, output bits), gives the share of the tick in which
heat really flowed and the port flags a device would read. Heat flows only while the SSR conducts
AND the contactor is closed. The bits are the wiring, restated here because physics imports no
firmware; a test compares both.
"""

from emberbed_sim.plant.parameters import TICK_S

ZONE_BANK = 1  # the only zone wired so far
OUT_CONTACTOR = 1
OUT_FAN = 2
PORT_CONTACTOR_CLOSED = 2
PORT_HEAT_CURRENT = 4
PORT_FAN_TURNS = 8
CONTACTOR_DELAY_S = 0.03  # coil command to contact, both ways; from memory


class SwitchGear:
    """SSR, contactor and fan with the senses after them."""

    def __init__(self) -> None:
        self.ssr_conducts = False
        self.contactor_closed = False
        self.fan_turns = False
        self.heat_share = 0.0

    def step(self, driven_zones: int, outputs: int, ssr_stuck_on: bool = False) -> float:
        """Set the switches for one tick; return the share of it (0..1) in which heat flowed."""
        closed_share = self._move_contactor(bool(outputs & OUT_CONTACTOR))
        self.ssr_conducts = ssr_stuck_on or bool(driven_zones & ZONE_BANK)
        self.fan_turns = bool(outputs & OUT_FAN)
        self.heat_share = closed_share if self.ssr_conducts else 0.0
        return self.heat_share

    @property
    def port_flags(self) -> int:
        """Return the senses at the end of the tick."""
        return (
            (PORT_CONTACTOR_CLOSED if self.contactor_closed else 0)
            | (PORT_HEAT_CURRENT if self.heat_share > 0 else 0)
            | (PORT_FAN_TURNS if self.fan_turns else 0)
        )

    def _move_contactor(self, coil_on: bool) -> float:
        """Move the contact after its coil; return the share of the tick it was closed."""
        was_closed, self.contactor_closed = self.contactor_closed, coil_on
        late = CONTACTOR_DELAY_S / TICK_S
        return (late if was_closed else 0.0) + (1 - late if coil_on else 0.0)
