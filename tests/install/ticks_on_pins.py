"""A controller board's own port on played pins, as fast as the interpreter goes.

Runs in any MicroPython. `play` puts `machine`, `time` and `select` in the place of a board's. Then
`start` does what main.py does, until it has seen enough; or, where the interpreter collects only
between calls, `import_firmware`, `make_port`, `build` and `run` go step by step. What the file WIRE
holds comes in at the start, as from a host that then goes home. A person presses the button as one
does who arms and starts what is loaded, or the device's own hold; both switches are healthy, and a
bead follows the heat. `main` does all that with the heap as it is: it prints the bytes in use
before the firmware came, and at each tick that is asked for the bytes in use and free, the largest
free block, and how warm the bead became.
"""

import gc
import struct
import sys

PERIOD = 1 << 30
TICK_MS = 100
PRESSES = ((20, 34), (80, 94))  # loads and arms; starts
WIRE = "wire"
VERSION = "a"
TOUCH_TICKS = 6000  # somebody touches the button now and then
COLD_WORD = 25 * 16 << 4  # of a MAX31855K: cold junction 25 degC, no fault


class Time:
    """`time`, on a clock that waiting moves."""

    now_ms = 0

    @staticmethod
    def ticks_ms():
        return Time.now_ms

    @staticmethod
    def ticks_us():
        return 7

    @staticmethod
    def ticks_add(ticks, delta):
        return (ticks + delta) % PERIOD

    @staticmethod
    def ticks_diff(one, other):
        return (one - other + PERIOD // 2) % PERIOD - PERIOD // 2

    @staticmethod
    def sleep_ms(ms):
        Time.now_ms += ms


class Gc:
    """`gc`, on a board whose heap is as good as full: the least memory of a long run."""

    collect = staticmethod(gc.collect)
    mem_alloc = staticmethod(gc.mem_alloc)

    @staticmethod
    def mem_free():
        return gc.mem_alloc() // 2


class Select:
    """`select`, with a host that says what WIRE holds."""

    POLLIN = 1
    POLLOUT = 4

    class poll:
        def register(self, stream, events):
            self._stream = stream

        def modify(self, stream, events):
            pass

        def ipoll(self, wait_ms):
            if Uart.left():
                return ((self._stream, Select.POLLIN),)
            Time.now_ms += wait_ms
            if wait_ms:
                Seen.turn()
            return ()


class Pin:
    IN, OUT, PULL_UP, IRQ_FALLING = 0, 1, 2, 4
    roles = {}  # pin -> contactor, contactor_sense, current_sense, button or zone
    levels = {}

    def __init__(self, number, mode=IN, pull=-1, value=None):
        self._number = number
        if value is not None:
            Pin.levels[number] = value

    def value(self, level=None):
        if level is not None:
            Pin.levels[self._number] = level
            return None
        return Bench.sensed(Pin.roles.get(self._number))

    def __call__(self, level):
        self.value(level)


class Bench:
    """A heater that follows: 0.02 degC a tick while on; senses as they would be."""

    bead_mk = 25000

    @staticmethod
    def level(role):
        for number, its in Pin.roles.items():
            if its == role:
                return Pin.levels.get(number, 0)

    @staticmethod
    def sensed(role):
        if role == "contactor_sense":  # a mirror contact: closed while the contactor is open
            return Bench.level("contactor")
        if role == "current_sense":
            return Bench.level("contactor") and Bench.level("zone")
        if role == "button":
            tick = Time.now_ms // TICK_MS - 2
            pressed = any([first <= tick < last for first, last in PRESSES])
            return 0 if pressed or tick % TOUCH_TICKS < 3 else 1
        return 0

    @staticmethod
    def step():
        heats = Bench.level("contactor") and Bench.level("zone")
        Bench.bead_mk += 25 if heats else -4 if Bench.bead_mk > 25000 else 0


class Spi:
    def __init__(self, number, **_options):
        self._readings = 0

    def init(self, **_options):
        pass

    def readinto(self, into):
        self._readings += 1
        high = Bench.bead_mk // 250 + self._readings // 20 % 2 << 2
        struct.pack_into(">HH", into, 0, high, COLD_WORD)


class Uart:
    """A line with a board's buffers; what goes out is gone."""

    wire = None  # the open file
    next = b""

    def __init__(self, number, rxbuf=0, txbuf=0, **_options):
        self._buffers = bytearray(rxbuf), bytearray(txbuf)

    @staticmethod
    def left():
        if Uart.wire is not None and not Uart.next:
            Uart.next = Uart.wire.read(1)
        return len(Uart.next)

    def readinto(self, into):
        into[0] = Uart.next[0]
        Uart.next = b""
        return 1

    def write(self, octets):
        return len(octets)


class Seen:
    """What `start` is to look at."""

    ticks = []

    @staticmethod
    def turn():
        """Step the bench, and tell of a tick that is wanted; the last one ends it all."""
        if not Seen.ticks:
            return
        Bench.step()
        if Time.now_ms >= Seen.ticks[0] * TICK_MS:
            del Seen.ticks[0]
            gc.collect()
            print(gc.mem_alloc(), gc.mem_free(), largest_free_block(), Bench.bead_mk)
            gc.collect()
            if not Seen.ticks:
                raise SystemExit


class Wdt:
    def __init__(self, timeout):
        pass

    def feed(self):
        pass


class Rtc:
    kept = b""

    def memory(self, octets=None):
        if octets is None:
            return Rtc.kept
        Rtc.kept = octets


class Machine:
    """`machine`, as far as the ports use it."""

    PWRON_RESET, WDT_RESET = 1, 3
    Pin, SPI, UART, WDT, RTC = Pin, Spi, Uart, Wdt, Rtc
    mem32 = {0x4005800C: 0}

    @staticmethod
    def unique_id():
        return b""  # the device's number for a host is that of its clock

    @staticmethod
    def reset_cause():
        return 1


def play(pins, full=True):
    """Stand in for a board's modules. pins: {role as in Pin.roles: number}; full: its heap."""
    Pin.roles = {number: role for role, number in pins.items()}
    played = (("machine", Machine), ("time", Time), ("select", Select), ("gc", Gc))
    for name, module in played if full else played[:3]:
        sys.modules[name] = module


def import_firmware(port_name, root):
    """Return the module of a board's port, and the one that starts it. root: for its files."""
    sys.path.insert(0, root + "/" + VERSION)
    __import__("emberbed_start")
    sys.modules["emberbed_start"].ROOT = root
    whole = "emberbed_fw.ports." + port_name
    __import__(whole)
    return sys.modules[whole], sys.modules["emberbed_start"]


def make_port(modules):
    port, start = modules
    return port.make_port(start.Installed(VERSION))


def build(port):
    """Return what main_loop.one_turn works on."""
    return _part_with("build").build(port) + (port,)


def _part_with(name):
    """Return the module that has main_loop's function in it."""
    for each in sys.modules.values():
        if hasattr(each, name) and each.__name__.startswith("emberbed_fw."):
            return each


def run(parts, ticks):
    one_turn = _part_with("one_turn").one_turn
    for _tick in range(ticks):
        one_turn(*parts)
        Bench.step()


def largest_free_block():
    """Return the largest piece that the heap still gives, in bytes."""
    low, high = 0, gc.mem_free()
    while high - low > 256:
        middle = (low + high) // 2
        try:
            bytearray(middle)
            low = middle
        except MemoryError:
            high = middle
    return low


def start(root, wire, ticks):
    """Start what is installed below `root`, and tell of it at these ticks."""
    Uart.wire = wire
    Seen.ticks = ticks
    gc.collect()
    print(gc.mem_alloc())
    __import__("emberbed_start")
    sys.modules["emberbed_start"].ROOT = root
    try:  # noqa: SIM105  (MicroPython has no contextlib)
        sys.modules["emberbed_start"].start()
    except SystemExit:
        pass


def main(folder, pins, ticks):
    sys.path.insert(0, folder)
    play(pins, False)
    with open(folder + "/" + WIRE, "rb") as wire:
        start(folder, wire, ticks)
