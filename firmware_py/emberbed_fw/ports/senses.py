"""What a controller board's pins tell beside the converters: PORT_* bits, once a tick.

Button, stop and the contactor's sense pull their pins down against a pull-up, so that a broken wire
reads as "not pressed" and "closed". The current sense is a level that its module holds from one
half-wave of the mains to the next. The fan's tach is counted by an interrupt that does nothing
else; no pulse in TURNS_TICKS is a fan that stands.
"""

import machine

from emberbed_fw import record
from emberbed_fw.ports.wiring import NO_PIN, SENSE_VOLTAGE

TURNS_TICKS = 3  # a fan of 300 turns a minute with two pulses a turn gives three


class Senses:
    def __init__(self, wiring):
        self._button = _pulled_up(wiring.pin("button"))
        self._contactor = _pulled_up(wiring.pin("contactor_sense"))
        self._closed_level = 0 if wiring.sense_kind == SENSE_VOLTAGE else 1
        self._stop = _pulled_up(wiring.pin("stop_sense"))
        current = wiring.pin("current_sense")
        self._current = None if current == NO_PIN else machine.Pin(current, machine.Pin.IN)
        self.pulses = 0
        self._tach = _pulled_up(wiring.pin("tach"))
        self._still_ticks = TURNS_TICKS
        if self._tach is not None:
            self._tach.irq(handler=self._count, trigger=machine.Pin.IRQ_FALLING)

    def flags(self):
        """Return this tick's bits."""
        bits = 0
        if self._button is not None and self._button.value() == 0:
            bits |= record.PORT_BUTTON
        if self._contactor is not None and self._contactor.value() == self._closed_level:
            bits |= record.PORT_CONTACTOR_CLOSED
        if self._current is not None and self._current.value() == 1:
            bits |= record.PORT_HEAT_CURRENT
        if self._stop is not None and self._stop.value() == 0:
            bits |= record.PORT_STOPPED
        if self._fan_turns():
            bits |= record.PORT_FAN_TURNS
        return bits

    def _count(self, _pin):
        self.pulses += 1

    def _fan_turns(self):
        if self._tach is None:
            return False
        pulses = self.pulses
        self.pulses = 0
        self._still_ticks = 0 if pulses else min(self._still_ticks + 1, TURNS_TICKS)
        return self._still_ticks < TURNS_TICKS


def _pulled_up(pin):
    if pin == NO_PIN:
        return None
    return machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_UP)
