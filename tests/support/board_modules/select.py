"""MicroPython's `select.poll` for the stand-in UART."""

import pins_link

POLLIN = 1
POLLOUT = 4


class Poll:
    def __init__(self):
        self._stream = None
        self._events = 0

    def register(self, stream, events):
        self._stream = stream
        self._events = events

    def modify(self, stream, events):
        self._events = events

    def ipoll(self, wait_ms):
        ready = self._ready()
        if not ready and wait_ms:
            pins_link.pass_time(wait_ms)
            ready = self._ready()
        return [(self._stream, ready)] if ready else []

    def _ready(self):
        found = POLLIN if pins_link.Now.received else 0
        return (found | POLLOUT) & self._events


def poll():
    return Poll()
