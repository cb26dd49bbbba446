"""The pins that a controller board drives: off before anything else, on only as the tick says.

Plain pins, high for on; each needs a resistor of 10 kohm to ground that holds it low while the chip
is in reset or starting, and a transistor behind it. No PWM and no programmed state machine ever
runs on them: a reset leaves none behind, and `all_off` needs no more than it does.
"""

import machine

from emberbed_fw import record
from emberbed_fw.ports.wiring import NO_PIN
from emberbed_fw.units import ZONES

BIT_ROLES = (
    (record.OUT_CONTACTOR, "contactor"), (record.OUT_FAN, "fan"), (record.OUT_LAMP, "lamp"),
    (record.OUT_BUZZER, "buzzer"),
)


class Outputs:
    def __init__(self, wiring):
        self._zones = [_off(wiring.zone_pins[zone]) for zone in range(ZONES)]
        self._bits = [(bit, _off(wiring.pin(role))) for bit, role in BIT_ROLES]

    def drive(self, zones, outputs):
        """Set every pin: bit n of `zones` for zone n, OUT_* bits."""
        for zone in range(ZONES):
            pin = self._zones[zone]
            if pin is not None:
                pin.value(zones >> zone & 1)
        for bit, pin in self._bits:
            if pin is not None:
                pin.value(1 if outputs & bit else 0)

    def all_off(self):
        self.drive(0, 0)


def _off(pin):
    if pin == NO_PIN:
        return None
    return machine.Pin(pin, machine.Pin.OUT, value=0)
