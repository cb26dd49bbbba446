"""A device at the end of a port: asks, waits for the answers, keeps every record meanwhile.

One thread, one loop: bytes are read, given to the session, and what the session wants sent is
sent. Records and all else that arrives while a request waits for its answer stay in order for the
next `poll`, or go to `sink` at once if there is one (it may call `renew`, and nothing else of the
device; a device that stops its clock until its records are stored answers only with a sink that
renews). A failing link is a `LinkError`, a "no" of the device is `Refused`: one sentence each.
"""

import logging
import secrets
import time
from collections.abc import Callable

from emberbed.link.blocks import block_crc, read_payloads, write_payloads
from emberbed.link.events import Event, Greeting, Reply, Silent, WrongVersion
from emberbed.link.no_answer import nobody, shown_out, wrong_version
from emberbed.link.rebuild import Rebuilder
from emberbed.link.refused import Refused, refused_by
from emberbed.link.replug import identity_of, port_now
from emberbed.link.session import ANSWER_S, MAX_NONCE, Session
from emberbed.link.transport import LinkError, Port, open_port
from emberbed_fw import messages
from emberbed_fw.settings import SETTINGS_BYTES
from emberbed_fw.units import NONE

CONNECT_S = 5.0
_LOG = logging.getLogger(__name__)

__all__ = ["CONNECT_S", "Clock", "Device", "Refused", "Sink"]

Sink = Callable[[list[Event]], None]
Clock = Callable[[], float]


class Device:
    """A connected device; made by `connect`."""

    def __init__(
        self,
        port: Port,
        session: Session,
        *,
        sink: Sink | None = None,
        clock: Clock = time.monotonic,
        opener: Callable[[str], Port] = open_port,
    ) -> None:
        self.sink = sink
        self._opener = opener
        self._port = port
        self._identity = identity_of(port.url)
        self._session = session
        self._clock = clock
        self._events: list[Event] = []

    @classmethod
    def connect(
        cls,
        url: str,
        timeout_s: float = CONNECT_S,
        *,
        nonce: int | None = None,
        first_tick: int | None = None,
        rebuilder: Rebuilder | None = None,
        sink: Sink | None = None,
        answer_s: float = ANSWER_S,
        clock: Clock = time.monotonic,
        opener: Callable[[str], Port] = open_port,
    ) -> "Device":
        """Open `url` and a session. To go on with a broken-off one, give the `nonce` of the device
        object before and the `first_tick` that is not stored yet."""
        session = Session(
            secrets.randbelow(MAX_NONCE + 1) if nonce is None else nonce,
            first_sequence=secrets.randbelow(1 << 16),
            first_tick=first_tick,
            rebuilder=rebuilder,
            answer_s=answer_s,
        )
        device = cls(opener(url), session, sink=sink, clock=clock, opener=opener)
        try:
            device._greet(timeout_s)
        except BaseException:
            device.close()
            raise
        greeting = device.greeting
        _LOG.debug("%s: firmware %s, state %d", url, greeting.firmware, greeting.state)
        return device

    def reconnect(self, first_tick: int, timeout_s: float = CONNECT_S) -> None:
        """Open the port anew after it broke, and go on with the session from `first_tick` on;
        LinkError as long as the device cannot be reached."""
        self._port.close()
        self._port = self._opener(port_now(self._port.url, self._identity))
        self._session.come_back(first_tick)
        self._events.clear()
        self._greet(timeout_s)

    def follow_with(self, rebuilder: Rebuilder) -> None:
        """From now on have missed ticks again by replay, as `rebuild` says."""
        self._session.follow_with(rebuilder)

    def __enter__(self) -> "Device":
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    @property
    def url(self) -> str:
        return self._port.url

    @property
    def nonce(self) -> int:
        """The number by which the device knows this host again."""
        return self._session.nonce

    @property
    def greeting(self) -> Greeting:
        """What the device said of itself at HELLO."""
        greeting = self._session.greeting
        assert greeting is not None, "connect opens the session"
        return greeting

    def poll(self, timeout_s: float) -> list[Event]:
        """Return what has happened, in order, waiting at most `timeout_s` for the first of it."""
        end_s = self._clock() + timeout_s
        while not self._events:
            left_s = end_s - self._clock()
            self._pump(left_s)
            if left_s <= 0:
                break
        events, self._events = self._events, []
        return events

    def renew(self, tick: int) -> None:
        """Answer for the heat; only the loop that has just committed the record of `tick` may."""
        self._port.write(self._session.renew(tick))

    def read_settings(self) -> bytes:
        """Return the device's description of itself as it keeps it."""
        return self.read_block(messages.SETTINGS_READ, SETTINGS_BYTES)

    def send_plan(self, plan: bytes) -> None:
        """Write the plan, let the device check and store it, read it back and compare."""
        for payload in write_payloads(plan):
            self.ask(messages.PLAN_WRITE, payload)
        stored = self.read_block(messages.PLAN_READ, len(plan))
        if stored != plan:
            raise LinkError(
                f"What the device at {self.url} stored is not the profile that was sent: start the "
                "run again, and if that repeats itself, replace the device"
            )

    def arm(
        self,
        plan: bytes,
        attendance: int = messages.ATTEND_HOST,
        stage: int = NONE,
        done_ticks: int = 0,
    ) -> bytes:
        """Arm for this plan, which must be the one stored; heat still needs the button.

        With a `stage` (and ticks of it already done) it goes on after a trip that a person has
        mended. Returns how often each cause has tripped since the device was switched on.
        """
        crc = block_crc(plan)
        counts = self._await(
            messages.ARM, lambda: self._session.arm(crc, attendance, stage, done_ticks)
        ).data
        self._session.note_trip_counts(counts)
        return counts

    def stop(self, reason: int = messages.STOP_BY_PERSON) -> None:
        """Take the heat away; the cooling goes on being recorded."""
        self._await(messages.STOP, lambda: self._session.stop(reason))

    def acknowledge(self, prompt: int, source: int = messages.BY_TERMINAL) -> None:
        """Answer the prompt that the device shows; `source` is one of messages.BY_TERMINAL .."""
        self._await(messages.ACK_PROMPT, lambda: self._session.acknowledge(prompt, source))

    def touch(self, kind: int, amount: int, source: int) -> None:
        """Change the running plan: `kind` and `amount` as at messages.HOLD_HERE .."""
        try:
            self._await(messages.STAGE_REQUEST, lambda: self._session.touch(kind, amount, source))
        except Refused as refused:
            raise Refused(refused.request_type, refused.code, refused.detail, kind) from None

    def ask(self, message_type: int, payload: bytes = b"") -> Reply:
        """Send any request that has a reply and return that; `Refused` if it is a no."""
        return self._await(message_type, lambda: self._session.request(message_type, payload))

    def close(self) -> None:
        self._port.close()

    # inside

    def _greet(self, timeout_s: float) -> None:
        """Say HELLO until the device answers or the time is over."""
        end_s = self._clock() + timeout_s
        self._port.write(self._session.hello())
        while True:
            left_s = end_s - self._clock()
            try:
                first_new = self._pump(left_s)
            except LinkError as broke:
                raise shown_out(self.url, self._session, broke) from broke
            for event in self._events[first_new:]:
                if isinstance(event, WrongVersion):
                    raise wrong_version(self.url, f"version {event.version}")
                if isinstance(event, Reply):
                    self._events.remove(event)
                    self._check_greeting(event)
                    return
                if isinstance(event, Silent):
                    self._events.remove(event)
                    self._port.write(self._session.hello())
            if left_s <= 0:
                raise nobody(self.url, self._session, timeout_s)

    def _check_greeting(self, reply: Reply) -> None:
        if reply.refusal == messages.WRONG_VERSION:
            raise wrong_version(self.url, "another version")
        if reply.refusal != messages.DONE:
            raise refused_by(reply)
        if self._session.greeting is None:
            raise wrong_version(self.url, "another version")

    def read_block(self, message_type: int, length: int) -> bytes:
        """Return the first bytes of what PLAN_READ or SETTINGS_READ reads."""
        block = b""
        for payload, count in read_payloads(length):
            piece = self.ask(message_type, payload).data
            if len(piece) != count:
                raise LinkError(
                    f"The device at {self.url} gave {len(piece)} bytes when asked for {count}: "
                    "install the firmware that belongs to this program on the device"
                )
            block += piece
        return block

    def _await(self, message_type: int, build: Callable[[], bytes]) -> Reply:
        self._pump(0)  # the request then carries the newest tick, however long nobody has polled
        self._hand_over()
        request = build()
        try:
            self._port.write(request)
            answer = self._answer(message_type)
        except BaseException:
            self._session.abandon(message_type)
            raise
        if isinstance(answer, Silent):
            raise LinkError(
                f"The device at {self.url} does not answer any more: "
                "check the cable and the device's power, then connect again"
            )
        if answer.refusal != messages.DONE:
            raise refused_by(answer)
        return answer

    def _answer(self, message_type: int) -> Reply | Silent:
        """Pump until the answer is there and take it out of the events."""
        while True:
            first_new = self._pump(self._session.answer_s)
            for at in range(first_new, len(self._events)):
                event = self._events[at]
                if isinstance(event, (Reply, Silent)) and event.request_type == message_type:
                    del self._events[at]
                    self._hand_over()
                    return event
            self._hand_over()

    def _pump(self, wait_s: float) -> int:
        """Read once and send what is due; return where the new events begin."""
        first_new = len(self._events)
        received = self._port.read(min(max(0.0, wait_s), self._session.answer_s / 2))
        self._events += self._session.receive(received, self._clock())
        outgoing = self._session.take_outgoing()
        if outgoing:
            self._port.write(outgoing)
        return first_new

    def _hand_over(self) -> None:
        if self.sink is not None and self._events:
            events, self._events = self._events, []
            self.sink(events)
