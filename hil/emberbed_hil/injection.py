"""The wire to a device in its injection entry: samples go out, told ticks come back.

Ticks are given (`give`), or the device's own (`leave_clock`). While a request waits for its answer,
the scene goes on tick by tick. The newest record is renewed as a host does that stores what it
gets, unless a step says otherwise.
"""

import time
from collections.abc import Callable

from emberbed.link.device import Device
from emberbed.link.events import Event, Record
from emberbed.link.transport import LinkError
from emberbed.records import TickRecord, commands_of, decode_record
from emberbed_fw.messages import RENEW
from emberbed_fw.units import TICK_MS
from emberbed_hil.channel import Outputs, Sample, SharedPort, sample_frame
from emberbed_hil.scene import Scene
from emberbed_hil.ticks import Tick

SILENT_S = 3.0
RESEND_S = 0.5
KEPT_TICKS = 4000


class Injection:
    """`scene` None: nothing is injected yet. `elapsed_ms`: how long a given tick has lasted."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.scene: Scene | None = None
        self.renews = True
        self.elapsed_ms = TICK_MS
        self.ticks: list[Tick] = []  # the newest KEPT_TICKS
        self.renewals: list[int] = []  # ticks that took one
        self.device: Device
        self._linked = False  # while it is greeted, nothing is renewed
        self._given = True
        self._to_give: int | None = None  # in this wait; None: as many as it lasts
        self._at_once = 1
        self._sequence = 0
        self._owed = 0  # ticks of the last sample that have not been told
        self._sent_s = 0.0
        self._resend = b""
        self._outputs: dict[int, Outputs] = {}  # by tick, until its record comes
        self._records: dict[int, TickRecord] = {}  # and the other way round
        self._port: SharedPort | None = None

    def give(self, count: int, at_once: int) -> None:
        """Let exactly `count` ticks pass, `at_once` of them with the same reading."""
        self._given = True
        self._to_give, self._at_once = 0, at_once
        self._settle(lambda: self._owed <= 0)  # what was on its way comes first
        wanted = len(self.ticks) + count
        self._to_give = count
        self._settle(lambda: len(self.ticks) >= wanted)
        self._to_give = None
        self._forget_old()

    def leave_clock(self) -> None:
        """Leave the ticks to the device's clock from now on."""
        assert self.scene is not None
        self._given = False
        self._send(self.scene.sample(0))

    def next_sample(self) -> int:
        """Return the number of the next reading: the first that shows what is changed now."""
        return (self._sequence + 1) & 0xFFFF

    @property
    def port(self) -> SharedPort:
        """Return the wire itself."""
        assert self._port is not None
        return self._port

    def _settle(self, done: Callable[[], bool]) -> None:
        """Take what comes until all is told; LinkError when nothing comes any more."""
        heard_s = time.monotonic()
        while not done():
            self._take(self.device.poll(0))
            if done():
                return
            self._idle()
            if self.port.wait(RESEND_S):
                heard_s = time.monotonic()
            elif time.monotonic() - heard_s > SILENT_S:
                raise LinkError(
                    f"The device at {self.url} tells no ticks any more: check its cable, then start"
                    " the acceptance again"
                )
            elif self._owed <= 0 and not self._to_give:
                self._to_give = 1  # a frame was lost: another tick for the one that it told of

    def _connect(self, within_s: float) -> None:
        self._linked = False
        self.device = Device.connect(self.url, within_s, sink=self._take, opener=self._open)
        self._linked = True

    def _leave(self) -> None:
        self._linked = False
        self.device.close()
        self._owed = 0
        self._outputs.clear()
        self._records.clear()

    def _open(self, url: str) -> SharedPort:
        self._port = SharedPort.open(url, self._told, self._idle)
        return self._port

    def _forget_old(self) -> None:
        del self.ticks[:-KEPT_TICKS]
        del self.renewals[:-KEPT_TICKS]

    def _send(self, sample: Sample) -> None:
        self._sequence = self.next_sample()
        self._owed = sample.lasts if sample.elapsed_ms else 1
        self._sent_s = time.monotonic()
        self._resend = sample_frame(sample, self._sequence)
        self.port.write(self._resend)

    def _idle(self) -> None:
        """The link waits: with the clock in our hands, give what is to be given."""
        if self.scene is None or not self._given:
            return
        if self._owed > 0:
            if time.monotonic() - self._sent_s > RESEND_S:
                self._sent_s = time.monotonic()
                self.port.write(self._resend)
            return
        count = 1 if self._to_give is None else min(self._at_once, self._to_give)
        if count == 0:
            return
        if self._to_give is not None:
            self._to_give -= count
        self._send(self.scene.sample(self.elapsed_ms)._replace(lasts=count))

    def _told(self, outputs: Outputs) -> None:
        if self.scene is None:
            return
        self._outputs[outputs.tick] = outputs
        self.scene.step(outputs.zones, outputs.bits)
        self._owed -= 1
        if not self._given:
            self._send(self.scene.sample(0))

    def _take(self, events: list[Event]) -> None:
        records = [event for event in events if isinstance(event, Record)]
        for event in records:
            self._records[event.tick] = decode_record(event.raw)
            if any(kind == RENEW for kind, _payload in commands_of(event.raw)):
                self.renewals.append(event.tick)
        if records and self.renews and self._linked:
            self.device.renew(records[-1].tick)  # once: a tick takes only so many requests
        for tick in sorted(self._records.keys() & self._outputs.keys()):
            self.ticks.append(Tick(self._records.pop(tick), self._outputs.pop(tick)))
