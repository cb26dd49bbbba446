"""What the catalogue's rows for the link do between the computer and the device.

`RequestFaults` works on the requests of the closed loop, where no frames are: a damaged frame is a
request that does not arrive and is sent again, renewals excepted. `WireFaults` works on the bytes
of the virtual device's wire. Both know the bench's time in s, and draw from a seed.
"""

from collections import deque
from collections.abc import Iterable, Sequence

from emberbed_fw import messages
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.faults import FaultEvent
from emberbed_sim.plant.draws import Draws
from emberbed_sim.plant.fault_kind import ON_LINK
from emberbed_sim.plant.happenings import Happening, Happenings

Request = tuple[int, bytes]
NOTHING_STORED: Request = (messages.RENEW, bytes(4))  # a renewal that names tick 0
DELIMITER = b"\0"  # of frames
LONGEST_HOLD_S = 0.3  # real time that a stopped clock waits for frames that may never come


class _LinkFaults:
    """The rows for the link, of one bench; times never go back."""

    def __init__(self, events: Iterable[FaultEvent], seed: int) -> None:
        self._happenings = Happenings(events, acts_on=ON_LINK)
        self._random = Draws(f"link {seed}")

    def add(self, events: Iterable[FaultEvent]) -> None:
        """Let these happen too."""
        self._happenings.add(events)

    def __bool__(self) -> bool:
        return bool(self._happenings)

    def is_silent(self, elapsed_s: float) -> bool:
        """Tell whether the computer sends nothing at all."""
        return "host_silent" in self._happenings.at(elapsed_s)

    def _damages(self, now: Happening) -> bool:
        """Tell whether one frame is damaged."""
        noises = now.get("link_noise", ())
        return any(self._random.random() < event.amount / 100 for event in noises)


def _delay_ticks(now: Happening) -> int:
    return round(sum(event.amount for event in now.get("frames_late", ())))


class RequestFaults(_LinkFaults):
    """Carries the requests of one tick to the machine; call once a tick."""

    def __init__(self, events: Iterable[FaultEvent], seed: int) -> None:
        super().__init__(events, seed)
        self._renewal: Request | None = None  # the newest that went through unharmed
        self._on_way: deque[tuple[int, Request]] = deque()
        self._again: list[Request] = []
        self._ticks = 0

    def carry(self, requests: Sequence[Request], elapsed_s: float) -> list[Request]:
        """Return what arrives in this tick of what is sent in it."""
        self._ticks += 1
        now = self._happenings.at(elapsed_s)
        sent = [*self._again, *requests]
        self._again = []
        if "frames_repeated" in now:
            return [self._renewal] if self._renewal else []
        if "host_stores_nothing" in now:
            sent = [self._old(request) for request in sent]
        elif renewals := [request for request in requests if request[0] == messages.RENEW]:
            self._renewal = renewals[-1]
        arrives = self._ticks + _delay_ticks(now)
        self._on_way.extend((arrives, request) for request in self._undamaged(sent, now))
        return self._arrived()

    def _old(self, request: Request) -> Request:
        """Return the request as a computer sends it that has stored nothing of late."""
        is_renewal = request[0] == messages.RENEW
        return (self._renewal or NOTHING_STORED) if is_renewal else request

    def _undamaged(self, sent: Sequence[Request], now: Happening) -> list[Request]:
        whole = []
        for request in sent:
            if not self._damages(now):
                whole.append(request)
            elif request[0] != messages.RENEW:
                self._again.append(request)
        return whole

    def _arrived(self) -> list[Request]:
        arrived = []
        while self._on_way and self._on_way[0][0] <= self._ticks:
            arrived.append(self._on_way.popleft()[1])
        return arrived


class WireFaults(_LinkFaults):
    """Carries bytes between the wire and the firmware; call for every piece, both ways."""

    def __init__(self, events: Iterable[FaultEvent], seed: int) -> None:
        super().__init__(events, seed)
        self._last = b""  # what came before frames were repeated
        self._on_way: deque[tuple[float, bytes]] = deque()
        self._served_s = -1.0  # the tick that has had its repeated or flooding bytes

    def incoming(self, octets: bytes, elapsed_s: float, clock_held: bool = False) -> bytes:
        """Return what the device hears of what the computer has sent. With the clock held, what is
        late comes at once, as no tick would bring it."""
        now = self._happenings.at(elapsed_s)
        if "host_silent" in now:
            return b""
        is_new_tick = elapsed_s != self._served_s
        self._served_s = elapsed_s
        if "frames_repeated" in now:
            return self._last if is_new_tick else b""
        self._last = octets or self._last
        if octets:
            late_s = _delay_ticks(now) / TICKS_PER_S
            self._on_way.append((elapsed_s + late_s, self._noisy(octets, now)))
        heard = b""
        while self._on_way and (clock_held or self._on_way[0][0] <= elapsed_s):
            heard += self._on_way.popleft()[1]
        flood = sum(round(event.amount) for event in now.get("link_flood", ()))
        return heard + (self._random.randbytes(flood) if flood and is_new_tick else b"")

    def is_plugged(self, elapsed_s: float) -> bool:
        """Tell whether the cable is in its place."""
        return "cable_out" not in self._happenings.at(elapsed_s)

    def outgoing(self, octets: bytes, elapsed_s: float) -> bytes:
        """Return what the computer hears of what the device has sent."""
        return self._noisy(octets, self._happenings.at(elapsed_s))

    def delay_ticks(self, elapsed_s: float) -> int:
        """Return how late frames are: so many more records the computer cannot have named yet."""
        return _delay_ticks(self._happenings.at(elapsed_s))

    def longest_hold_s(self, elapsed_s: float) -> float | None:
        """Return how long the device's clock may wait for the computer; None for ever."""
        now = self._happenings.at(elapsed_s)
        if not now:
            return None
        return 0.0 if now.keys() & {"host_silent", "frames_repeated"} else LONGEST_HOLD_S

    def _noisy(self, octets: bytes, now: Happening) -> bytes:
        if "link_noise" not in now:
            return octets
        pieces = octets.split(DELIMITER)
        return DELIMITER.join(
            self._damaged(piece) if piece and self._damages(now) else piece for piece in pieces
        )

    def _damaged(self, piece: bytes) -> bytes:
        """Return the piece with one bit flipped."""
        bit = self._random.randrange(8 * len(piece))
        at, flip = divmod(bit, 8)
        return piece[:at] + bytes([piece[at] ^ 1 << flip]) + piece[at + 1 :]
