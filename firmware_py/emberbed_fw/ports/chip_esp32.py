"""What is its own on ESP32, ESP32-S3 and ESP32-C3: memory beside the reset, the analogue range.

Any pin can be any bus's. From memory: the RTC's memory outlives a reset and is lost with the power;
the task watchdog of this family ends in a panic, which `machine.reset_cause` tells as WDT_RESET or
not at all, depending on the version.
"""

import machine

NUMBER_BYTES = 4


class Chip:
    def __init__(self):
        self._rtc = machine.RTC()

    def keep_number(self, number):
        self._rtc.memory(number.to_bytes(NUMBER_BYTES, "little"))

    def kept_number(self):
        octets = self._rtc.memory()
        return int.from_bytes(octets, "little") if len(octets) == NUMBER_BYTES else 0

    def caused_by_watchdog(self):
        return machine.reset_cause() == machine.WDT_RESET

    def select_pin(self, pin):
        return machine.Pin(pin, machine.Pin.OUT, value=1)

    def adc(self, pin):
        return machine.ADC(machine.Pin(pin), atten=machine.ADC.ATTN_11DB)
