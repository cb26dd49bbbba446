"""What is its own on RP2040 and RP2350: memory beside the reset, pins by their numbers.

The watchdog's scratch registers outlive its reset and are lost with the power; MicroPython's own
reset uses those from 4 on, so number 0 is free (RP2040 datasheet 4.7.4; RP2350's at another base).
`machine.reset_cause` knows power-up and watchdog only, and a commanded reset reads as the latter.
"""

import machine

SCRATCH0 = {"rp2040": 0x4005800C, "rp2350": 0x400D800C}


class Chip:
    def __init__(self, board_name):
        self._scratch0 = SCRATCH0[board_name]

    def keep_number(self, number):
        machine.mem32[self._scratch0] = number

    def kept_number(self):
        return machine.mem32[self._scratch0]

    def caused_by_watchdog(self):
        return machine.reset_cause() == machine.WDT_RESET

    def select_pin(self, pin):
        return machine.Pin(pin, machine.Pin.OUT, value=1)

    def adc(self, pin):
        return machine.ADC(machine.Pin(pin))
