"""The wire to a host, USB or UART: a tick never waits for it, and what does not fit is dropped.

Takes two streams that `select.poll` knows (`sys.stdin.buffer` and `sys.stdout.buffer`, or a
`machine.UART` twice). `send` only copies into a buffer of SEND_BYTES and drops a batch whole that
does not fit. `wait` moves bytes both ways, one at a time and only where the poll says that there is
one or that there is room for one: a USB write of more could stand still for half a second when a
host has stopped reading. 60 us a byte (estimated) leave 10 ms for a tick's frames.
"""

import select
import time

RECEIVE_BYTES = 512
SEND_BYTES = 4096  # power of two


class Wire:
    def __init__(self, source, sink):
        self._source = source
        self._sink = sink
        self._poll = select.poll()
        self._poll.register(source, select.POLLIN)
        if sink is not source:
            self._poll.register(sink, 0)
        self.received = bytearray(RECEIVE_BYTES)
        self._one_in = bytearray(1)
        self._one_out = bytearray(1)
        self.count = 0
        self._out = bytearray(SEND_BYTES)
        self._first = 0  # to go out next
        self._waiting = 0  # bytes that have still to go out
        self.dropped = 0  # batches that did not fit
        self._wants_room = False

    def send(self, octets, count):
        """Queue a batch of whole frames, or drop it."""
        if count > SEND_BYTES - self._waiting:
            self.dropped = min(self.dropped + 1, 0xFFFF)
            return
        at = self._first + self._waiting
        for index in range(count):
            self._out[(at + index) & (SEND_BYTES - 1)] = octets[index]
        self._waiting += count

    def move_until(self, due_ms):
        """Move bytes until `due_ms` (time.ticks_ms) or until something has been received."""
        self.count = 0
        while self.count < RECEIVE_BYTES:
            left_ms = time.ticks_diff(due_ms, time.ticks_ms())
            if left_ms <= 0:
                return
            # something received: take what else lies there, wait for no more
            if not self._move(0 if self.count else left_ms) and self.count:
                return

    def _move(self, wait_ms):
        """Move at most one byte each way; tell whether any moved."""
        self._watch_room(self._waiting > 0)
        moved = False
        for stream, event in self._poll.ipoll(wait_ms):
            if event & select.POLLIN and stream is self._source:
                moved |= self._take_one()
            if event & select.POLLOUT and self._waiting:
                moved |= self._give_one()
        return moved

    def _take_one(self):
        if not self._source.readinto(self._one_in):
            return False
        self.received[self.count] = self._one_in[0]
        self.count += 1
        return True

    def _give_one(self):
        self._one_out[0] = self._out[self._first]
        if not self._sink.write(self._one_out):
            return False
        self._first = (self._first + 1) & (SEND_BYTES - 1)
        self._waiting -= 1
        return True

    def _watch_room(self, wanted):
        """Ask the poll for room to write only while there is something to be written."""
        if wanted == self._wants_room:
            return
        self._wants_room = wanted
        room = select.POLLOUT if wanted else 0
        if self._sink is self._source:
            self._poll.modify(self._source, select.POLLIN | room)
        else:
            self._poll.modify(self._sink, room)
