"""A controller board's pins, played in this process for the real port in the real MicroPython.

`PinBoard` starts run_board.py with the stand-ins of board_modules and answers what it asks: levels,
SPI edges on register-level chips, time, the UART's bytes. `tick` and `wire_only` are those of
`emberbed_sim.engine.Engine`, so that a virtual device can stand on it; time goes on only in `tick`.
"""

import os
import struct
import subprocess
import sys
from pathlib import Path

from emberbed.firmware_sources import firmware_folder
from emberbed_fw import record
from emberbed_fw.ports import wiring as pins
from emberbed_fw.settings import CONVERTER_NAMES, Settings
from emberbed_sim.engine import Answer
from emberbed_sim.plant.chip_max6675 import Max6675Chip
from emberbed_sim.plant.chip_max31855 import Max31855Chip
from emberbed_sim.plant.chip_max31856 import Max31856Chip
from emberbed_sim.plant.converter import type_k_mv
from emberbed_sim.plant.spi_chip import Felt
from emberbed_sim.plant.spi_lines import SpiLines

MODULES = Path(__file__).with_name("board_modules")
CHIPS = {"MAX31855K": Max31855Chip, "MAX31856": Max31856Chip, "MAX6675": Max6675Chip}
HEAP = "768K"  # sources are compiled here, objects twice as wide as on a board
OUT = 1
PULSES_A_TICK = 4  # of a fan of 1200 turns a minute
POWER_UP, BY_WATCHDOG = 1, 3  # machine.reset_cause
# what follows an op's letter
BODIES = {
    b"M": "<BBBB", b"O": "<BB", b"I": "<B", b"B": "<BBB", b"S": "<BBI", b"X": "<H", b"U": "<H",
    b"A": "<B", b"W": "<H", b"F": "<", b"K": "<II", b"k": "<I", b"C": "<", b"R": "<", b"Q": "<H",
    b"T": "<BB", b"P": "<H", b"D": "<H",
}  # fmt: skip


class BoardEnded(Exception):
    """The firmware has ended or asked for a reset."""


class PinBoard:
    name = "pins"
    digest = bytes(32)

    def __init__(self, chip, settings, wiring, folder, heater=None):
        """chip: as in wiring.BOARDS; settings, wiring: blocks; folder: where they are installed."""
        self.heater = heater
        self.wiring = pins.Wiring(wiring)
        self._settings = Settings(settings)
        self.lines = SpiLines(
            {
                self.wiring.channel_pins[channel]: CHIPS[CONVERTER_NAMES[kind]]()
                for channel, kind in enumerate(self._settings.converter)
                if CONVERTER_NAMES[kind] in CHIPS
            }
        )
        self._chip = chip
        self._root = Path(folder)
        self.folder = self._root / "by-hand"  # where start_up looks for what is installed
        self.folder.mkdir(parents=True, exist_ok=True)
        (self.folder / "device").write_bytes(settings)
        (self.folder / "wiring").write_bytes(wiring)
        self.kept_number = 0
        self.cause = POWER_UP
        self.ratio = 32768  # at every analogue input
        self.start()

    def start(self):
        """Power up, or start anew after a reset: pins float, the kept number stays."""
        self.levels = {}  # of driven pins
        self.modes = {}  # pin -> (mode, pull, level it was made with)
        self.history = []  # (op letter, numbers) of pins and watchdog
        self.inputs = {}  # levels of pins that are read; others are pulled up
        self.watchdog_ms = 0
        self.fed = 0
        self.booted = None  # (reset cause, kept code) as the port tells them
        self.shown = []  # texts on the display
        self.wire = b""
        self.owed = 0
        self.now_ms = 0
        self._mode = (0, 0)
        self.was_reset = False
        root = str(firmware_folder().parent)
        environment = {**os.environ, "MICROPYPATH": f"{MODULES}:{root}"}
        self._child = subprocess.Popen(
            [
                sys.executable, "-m", "micropython_unix", "-X", f"heapsize={HEAP}",
                str(MODULES / "run_board.py"), self._chip, str(self._root),
            ],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment,
        )  # fmt: skip
        try:
            self._wait_ms = self._serve()
        except BoardEnded:
            self.close()
            raise

    def close(self):
        if self._child.stdin:
            self._child.stdin.close()
        self._child.wait(timeout=5)
        if self._child.stdout:
            self._child.stdout.close()

    def start_anew(self, cause=POWER_UP):
        self.close()
        self.cause = cause
        self.start()

    # an engine

    def tick(self, _elapsed_ms, flags, _fresh, _words, wire):
        self._set_inputs(flags)
        self._feel()
        self.wire = b""
        if wire:
            self._go_on(0, 0, wire)
        self._go_on(self._wait_ms, PULSES_A_TICK if flags & record.PORT_FAN_TURNS else 0, b"")
        return self._answer()

    def wire_only(self, wire):
        self.wire = b""
        if wire:
            self._go_on(0, 0, wire)
        return self._answer()

    def _answer(self):
        return Answer(self.zones, self.outputs, self.owed, self.wire)

    @property
    def zones(self):
        """Return the zones whose pins are high, as bits."""
        return sum(
            self.levels.get(pin, 0) << zone for zone, pin in enumerate(self.wiring.zone_pins)
        )

    @property
    def outputs(self):
        """Return the OUT_* bits whose pins are high."""
        roles = {
            "contactor": record.OUT_CONTACTOR, "fan": record.OUT_FAN, "lamp": record.OUT_LAMP,
            "buzzer": record.OUT_BUZZER,
        }  # fmt: skip
        return sum(bit for role, bit in roles.items() if self.levels.get(self.wiring.pin(role), 0))

    def _set_inputs(self, flags):
        wiring = self.wiring
        closed = flags & record.PORT_CONTACTOR_CLOSED != 0
        self.inputs = {
            wiring.pin("button"): 0 if flags & record.PORT_BUTTON else 1,
            wiring.pin("contactor_sense"): 1 if closed else 0,
            wiring.pin("current_sense"): 1 if flags & record.PORT_HEAT_CURRENT else 0,
            wiring.pin("stop_sense"): 0 if flags & record.PORT_STOPPED else 1,
        }
        if wiring.sense_kind == pins.SENSE_VOLTAGE:
            self.inputs[wiring.pin("contactor_sense")] ^= 1

    def _feel(self):
        """Let every converter feel its bead."""
        if self.heater is None:
            return
        truth = self.heater.truth
        cold_mv = type_k_mv(truth.cold_junction_c)
        for channel, bead_c in enumerate(truth.beads_c):
            chip = self.lines.chips[self.wiring.channel_pins[channel]]
            # half a step of life: a converter whose last bit never moves is stuck
            alive_c = 0.25 * (self.now_ms // 700 % 2)
            chip.feel(Felt(type_k_mv(bead_c + alive_c) - cold_mv, truth.cold_junction_c))

    # the way to the firmware

    def _go_on(self, passed_ms, pulses, wire):
        """Let so much time pass for a firmware that waits, and serve it until it waits again."""
        self.now_ms += passed_ms
        self.lines.pass_ms(passed_ms)
        self._say(struct.pack("<IHH", self.now_ms, pulses, len(wire)) + wire)
        self._wait_ms = self._serve()

    def _serve(self):
        """Answer until the firmware waits for time; return for how long it would."""
        while True:
            op = self._exactly(1)
            if op not in BODIES:  # no request, but what an interpreter says that gives up
                raise BoardEnded((op + self._rest()).decode(errors="replace"))
            numbers = struct.unpack(BODIES[op], self._exactly(struct.calcsize(BODIES[op])))
            if op == b"P":
                if self.booted is not None:
                    return numbers[0]
                self.now_ms += numbers[0]
                self.lines.pass_ms(numbers[0])
                self._say(struct.pack("<IHH", self.now_ms, 0, 0))
            else:
                self._obey(op, numbers)

    def _obey(self, op, numbers):
        if op in b"MOWF":
            self.history.append((op.decode(), numbers))
        if op == b"M":
            pin, mode, pull, level = numbers
            self.modes[pin] = (mode, pull, level)
            if mode == OUT:
                self._drive(pin, level)
        elif op == b"O":
            self._drive(*numbers)
        elif op == b"I":
            self._say(bytes((self.inputs.get(numbers[0], 1),)))
        elif op == b"B":
            self.bus_pins = numbers
        elif op == b"S":
            self._mode = numbers[:2]
            self.lines.rest_at(numbers[0])
        elif op == b"X":
            self._say(self.lines.exchange(self._exactly(numbers[0]), *self._mode))
        elif op == b"A":
            self._say(struct.pack("<H", self.ratio))
        else:
            self._note(op, numbers)

    def _note(self, op, numbers):
        """What is only remembered, or told from memory."""
        if op == b"U":
            self.wire += self._exactly(numbers[0])
        elif op == b"D":
            self.shown.append(self._exactly(numbers[0]).decode())
        elif op == b"W":
            self.watchdog_ms = numbers[0]
        elif op == b"F":
            self.fed += 1
        elif op == b"K":
            self.kept_number = numbers[1]
        elif op == b"k":
            self._say(struct.pack("<I", self.kept_number))
        elif op == b"C":
            self._say(bytes((self.cause,)))
        elif op == b"Q":
            self.owed = numbers[0]
        elif op == b"T":
            self.booted = numbers
        elif op == b"R":
            self.was_reset = True

    def _drive(self, pin, level):
        assert self.modes[pin][0] == OUT, f"pin {pin} is driven without being an output"
        self.levels[pin] = level
        self.lines.select(pin, level)

    def _say(self, octets):
        assert self._child.stdin
        self._child.stdin.write(octets)
        self._child.stdin.flush()

    def _rest(self):
        assert self._child.stdin and self._child.stdout
        self._child.stdin.close()
        return self._child.stdout.read()

    def _exactly(self, count):
        assert self._child.stdout
        octets = self._child.stdout.read(count) if count else b""
        if len(octets) < count:
            raise BoardEnded
        return octets
