"""A device, a screen and a hand for the run loop, without a port."""

from collections import deque

from emberbed.link.device import Refused
from emberbed.link.events import Record
from emberbed.records import decode_record
from emberbed_fw import messages


class FakeDevice:
    """Gives a tape of records, `batch` at a time; an exception on the tape is raised there."""

    url = "socket://bench:1"

    def __init__(self, tape, batch=1):
        self._tape = deque(tape)
        self._batch = batch
        self.sink = None
        self.renewed = []
        self.stops = []
        self.armed = 0
        self.acknowledged = []
        self.refuses = {}  # message type -> refusal

    def poll(self, _timeout_s):
        events = []
        while self._tape and len(events) < self._batch:
            if isinstance(self._tape[0], BaseException):
                if events:
                    break
                raise self._tape.popleft()
            raw = self._tape.popleft()
            events.append(raw if not isinstance(raw, bytes) else record_event(raw))
        return events

    def renew(self, tick):
        self.renewed.append(tick)

    def stop(self, reason):
        self.stops.append(reason)
        self._answer(messages.STOP)

    def arm(self, _plan):
        self.armed += 1
        self._answer(messages.ARM)

    def acknowledge(self, prompt):
        self.acknowledged.append(prompt)
        self._answer(messages.ACK_PROMPT)

    def _answer(self, message_type):
        if message_type in self.refuses:
            raise Refused(message_type, self.refuses[message_type], None)


def record_event(raw):
    return Record(raw, decode_record(raw).tick, False)


class FakeScreen:
    def __init__(self):
        self.shown = []
        self.told = []

    def show(self, record):
        self.shown.append(record.tick)

    def tell(self, tick, kind, sentence):
        self.told.append((tick, kind, sentence))

    def sentences(self, kind):
        return [sentence for _tick, told, sentence in self.told if told == kind]


class FakeHand:
    """`stop_from` maps a tick to how often stopping is asked for from there on."""

    def __init__(self, answer=None, stop_from=()):
        self._answer = answer
        self._stop_from = dict(stop_from)
        self._tick = 0

    def answers(self, record):
        self._tick = record.tick
        return self._answer

    def stops(self):
        return max([n for tick, n in self._stop_from.items() if self._tick >= tick], default=0)
