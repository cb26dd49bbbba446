"""A session with a device played on numbers."""

from emberbed.link.session import Session
from tests.host.link.fake_device import FakeDevice

NONCE = 0x1234567
ANSWER_S = 1.0


class Bench:
    """A session and a device joined by a perfect wire; what is lost, the device loses on demand."""

    def __init__(self, tick=0, **options):
        self.device = FakeDevice(tick)
        self.session = Session(NONCE, answer_s=ANSWER_S, **options)
        self.now_s = 0.0

    def connect(self):
        self.send(self.session.hello())
        return self

    def send(self, outgoing):
        """Carry bytes to the device and all that follows to and fro; return the events."""
        return self.deliver(self.device.feed(outgoing))

    def deliver(self, incoming):
        events = self.session.receive(incoming, self.now_s)
        outgoing = self.session.take_outgoing()
        while outgoing:
            events += self.session.receive(self.device.feed(outgoing), self.now_s)
            outgoing = self.session.take_outgoing()
        return events

    def wait(self, seconds=ANSWER_S):
        """Let time pass and whatever is due happen."""
        self.now_s += seconds
        return self.deliver(b"")
