"""A device, a screen and a hand for the run loop, without a port."""

from collections import deque

from emberbed.link.device import Refused
from emberbed.link.events import Record
from emberbed.link.transport import LinkError
from emberbed.records import commands_of, decode_record
from emberbed_fw import messages, run_states
from emberbed_fw.units import NONE


class FakeDevice:
    """Gives a tape of records, `batch` at a time; an exception on the tape is raised there.

    The record of an ARM that goes on comes only once the host has asked for it.
    """

    url = "socket://bench:1"

    def __init__(self, tape, batch=1):
        self._tape = deque(tape)
        self._batch = batch
        self._may_go_on = False
        self._goes_on = False  # the record before was such a one
        self.sink = None
        self.comes_back = []  # greetings, or exceptions
        self.reconnects = []  # the tick from which records were wanted
        self.renewed = []
        self.stops = []
        self.armed = 0
        self.acknowledged = []  # (prompt, source)
        self.touched = []  # (kind, amount, source)
        self.places = []  # (stage, ticks done) of each arming
        self.trip_counts = bytes(20)
        self.refuses = {}  # message type -> refusal

    def reconnect(self, next_tick, _timeout_s):
        """Come back as `self.comes_back` says, an exception is raised; without it, not at all."""
        self.reconnects.append(next_tick)
        if not self.comes_back:
            raise LinkError("Nothing listens at socket://bench:1: start the device there")
        came = self.comes_back.pop(0)
        if isinstance(came, BaseException):
            raise came
        self.greeting = came

    def poll(self, _timeout_s):
        events = []
        while self._tape and len(events) < self._batch:
            if isinstance(self._tape[0], BaseException):
                if events:
                    break
                raise self._tape.popleft()
            if goes_on(self._tape[0]) and not self._may_go_on and not self._goes_on:
                break
            self._goes_on = goes_on(self._tape[0])
            self._may_go_on = self._may_go_on and not self._goes_on
            raw = self._tape.popleft()
            events.append(raw if not isinstance(raw, bytes) else record_event(raw))
        return events

    def renew(self, tick):
        self.renewed.append(tick)

    def stop(self, reason):
        self.stops.append(reason)
        self._answer(messages.STOP)

    def arm(self, _plan, stage=NONE, done_ticks=0):
        self.armed += 1
        self._may_go_on = stage != NONE
        self.places.append((stage, done_ticks))
        self._answer(messages.ARM)
        return self.trip_counts

    def acknowledge(self, prompt, source):
        self.acknowledged.append((prompt, source))
        self._answer(messages.ACK_PROMPT)

    def touch(self, kind, amount, source):
        self.touched.append((kind, amount, source))
        self._answer(messages.STAGE_REQUEST, kind)

    def _answer(self, message_type, touch=0):
        if message_type in self.refuses:
            raise Refused(message_type, self.refuses[message_type], None, touch)


def goes_on(raw):
    """Tell whether a tape's record holds the ARM by which a run goes on with another."""
    if not isinstance(raw, bytes) or decode_record(raw).state != run_states.COLD_PROOF:
        return False
    return any(kind == messages.ARM and data[5] != NONE for kind, data in commands_of(raw))


def record_event(raw):
    return Record(raw, decode_record(raw).tick, False)


class FakeScreen:
    def __init__(self):
        self.shown = []
        self.told = []
        self.turned_over = []

    def show(self, record):
        self.shown.append(record.tick)

    def tell(self, tick, kind, sentence):
        self.told.append((tick, kind, sentence))

    def turn_over(self, run_id):
        self.turned_over.append(run_id)

    def sentences(self, kind):
        return [sentence for _tick, told, sentence in self.told if told == kind]


class FakeHand:
    """`wishes_at` maps a tick to what is wanted once from there on, `stop_from` one to how often
    stopping is asked for from there on."""

    source = messages.BY_TERMINAL

    def __init__(self, wishes_at=(), stop_from=()):
        self._wishes_at = dict(wishes_at)
        self._stop_from = dict(stop_from)
        self._tick = 0
        self._forgotten = 0

    def wishes(self, record, _progress):
        self._tick = record.tick
        due = [tick for tick in self._wishes_at if tick <= record.tick]
        return [self._wishes_at.pop(tick) for tick in due]

    def stops(self):
        asked = max([n for tick, n in self._stop_from.items() if self._tick >= tick], default=0)
        return asked - self._forgotten

    def forget_stops(self):
        self._forgotten += self.stops()
