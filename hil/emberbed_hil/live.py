"""A device in its usual firmware with a lamp as load: watched while a person does things to it.

Takes an open device and the person. Records are renewed as they come, for nothing is stored here
but the report, and while the person reads and answers too: a lamp that waits for an answer would
lose its PC and go dark. A lamp says with light what a pin does.
"""

import threading
import time
from collections.abc import Callable
from contextlib import suppress

from emberbed.device_description import decode_settings
from emberbed.link.device import Device
from emberbed.link.events import Event, Record
from emberbed.link.rebuild import Rebuilder
from emberbed.link.transport import LinkError
from emberbed.records import TickRecord, commands_of, decode_record
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.record import OUT_CONTACTOR
from emberbed_fw.settings import Settings
from emberbed_fw.units import TICK_MS, TICKS_PER_S
from emberbed_hil.bench import Failed
from emberbed_hil.heater import hold_plan
from emberbed_hil.person import BACK_S, Person

POLL_S = 0.1
SILENT_S = 5.0
TRY_S = 1.0
PERSON_S = 60.0  # for a person to do a thing
HOLD_FOR_S = 1800.0


class Live:
    """`seen` is every record since the last `forget`. What a person does may show before they say
    so: an `until` after a `do` looks from where that began."""

    def __init__(self, device: Device, settings: bytes, person: Person) -> None:
        self.device = device
        self.settings = Settings(settings)
        self.names = decode_settings(settings).fitted_names()
        self.person = person
        self.seen: list[TickRecord] = []
        self.stop_heard = 0  # tick that took the last STOP
        self._looked: int | None = None  # records that the next `until` need not look at
        device.sink = self._take

    @property
    def newest(self) -> TickRecord:
        return self.seen[-1]

    @property
    def is_dark(self) -> bool:
        return not self.newest.driven_zones and not self.newest.outputs & OUT_CONTACTOR

    def do(self, what: str, channel: int, asked: str) -> None:
        """Have the person do something, see `Person.do`."""
        self._looked = len(self.seen)
        self._meanwhile(lambda: self.person.do(what, channel, asked))

    def confirm(self, asked: str) -> bool:
        """Ask the person a question that yes or no answers."""
        said: list[bool] = []
        self._meanwhile(lambda: said.append(self.person.confirm(asked)))
        return said[0]

    def forget(self) -> None:
        del self.seen[:-1]
        self._looked = None

    def watch(self, ticks: int) -> list[TickRecord]:
        """Follow so many ticks; return them."""
        first = len(self.seen)
        self._looked = None
        self.until(
            lambda _record: len(self.seen) >= first + ticks, ticks / TICKS_PER_S + SILENT_S, ""
        )
        return self.seen[first : first + ticks]

    def until(self, reached: Callable[[TickRecord], bool], seconds: float, what: str) -> int:
        """Follow until a record is so; return how many it took. Failed after so many seconds of
        the device."""
        first = len(self.seen) if self._looked is None else self._looked
        looked, begun = first, len(self.seen)
        heard_s = time.monotonic()
        while True:
            for at in range(looked, len(self.seen)):
                if reached(self.seen[at]):
                    self._looked = None if self._looked is None else at + 1
                    return at + 1 - first
            looked = len(self.seen)
            if (looked - begun) * TICK_MS > seconds * 1000:
                raise Failed(f"{what} did not come within {seconds:g} s")
            self._take(self.device.poll(POLL_S))
            if len(self.seen) > looked:
                heard_s = time.monotonic()
            elif time.monotonic() - heard_s > SILENT_S:
                raise LinkError(
                    f"The device at {self.device.url} sends nothing any more: check its cable and"
                    " power, then start the acceptance again"
                )

    def arm(self) -> None:
        """Load a low hold and arm: the lamp is dark until the press."""
        plan = hold_plan(self.settings, HOLD_FOR_S)
        self.device.send_plan(plan)
        self.device.follow_with(Rebuilder(self.settings.block, plan))
        self.device.arm(plan)

    def start(self) -> None:
        """Arm and have the button pressed; ends in the first stage."""
        self.arm()
        self.until(
            lambda told: told.waits_for == rs.WAITS_PRESS, PERSON_S, "the wait for the press"
        )
        self.forget()
        self.do("press", 0, "Hold the device's button for two seconds.")
        self.until(lambda told: told.state == rs.RUN, PERSON_S, "the first stage")

    def stop(self) -> None:
        """Take the heat away, if there is any, and wait until the device is at rest."""
        if self.newest.state in (*rs.HEATING_STATES, rs.COLD_PROOF):
            self.device.stop()
        self.watch(2)
        if self.newest.state == rs.COOL:
            self.person.tell("Waiting until the device says that the board is cool ...")
            self.until(lambda told: told.state != rs.COOL, 7300.0, "the end of cooling")
        if self.newest.state == rs.TRIPPED:
            self.do("press", 0, "Hold the device's button for two seconds, to clear the trip.")
            self.until(lambda told: told.state == rs.IDLE, PERSON_S, "the clearing")

    def come_back(self) -> None:
        """Reconnect after the cable was out, once somebody has put it back."""
        first = self.newest.tick + 1
        self.device.close()
        end_s = time.monotonic() + BACK_S
        while True:
            with suppress(LinkError):
                self.device.reconnect(first)
                return
            if time.monotonic() > end_s:
                raise Failed(f"nothing answers at {self.device.url} within {BACK_S:g} s")
            time.sleep(TRY_S)

    def leave(self, seconds: float) -> None:
        """Leave the wire, as a pulled cable does."""
        self.device.close()
        time.sleep(seconds)

    def _meanwhile(self, ask: Callable[[], None]) -> None:
        """Follow the device until the person has answered."""
        raised: list[Exception] = []

        def run() -> None:
            try:
                ask()
            except Exception as error:
                raised.append(error)

        asking = threading.Thread(target=run, daemon=True)
        asking.start()
        with suppress(LinkError):  # a cable may be pulled before its question is answered
            while asking.is_alive():
                self._take(self.device.poll(POLL_S))
        asking.join()
        if raised:
            raise raised[0]

    def _take(self, events: list[Event]) -> None:
        records = [event for event in events if isinstance(event, Record)]
        for event in records:
            self.seen.append(decode_record(event.raw))
            if any(kind == messages.STOP for kind, _payload in commands_of(event.raw)):
                self.stop_heard = event.tick
        if records:
            self.device.renew(records[-1].tick)  # once: a tick takes only so many requests
