"""The virtual device's wire: one TCP client at a time on the loopback address; never blocks.

Whoever comes while another is there is shown out at once. What a host does not read is kept up to
MOST_UNSENT bytes and lost beyond, as on a real wire. It can be unplugged, and plugged in again.
"""

import select
import socket
import time

MOST_UNSENT = 1 << 20


class Wire:
    def __init__(self) -> None:
        self._listener: socket.socket | None = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._client: socket.socket | None = None
        self._unsent = b""

    def close(self) -> None:
        self._drop()
        if self._listener:
            self._listener.close()
        self._listener = None

    def plug(self, plugged: bool) -> None:
        """Let the cable be there, or not: without it nobody is connected and nobody can be."""
        if not plugged:
            self.close()
        elif self._listener is None:
            self._listener = socket.create_server(("127.0.0.1", self.port))

    def connected(self) -> bool:
        return self._client is not None

    def wait(self, seconds: float, also: tuple[int, ...] = ()) -> bytes:
        """Return what came in, waiting up to `seconds` for something to happen, here or at one of
        the handles `also` (on POSIX)."""
        client = self._client
        if self._listener is None:
            time.sleep(max(0.0, seconds))
            return b""
        watched = [self._listener, *also] + ([client] if client else [])
        wants_write = [client] if client and self._unsent else []
        ready, writable, _ = select.select(watched, wants_write, [], max(0.0, seconds))
        if writable:
            self._flush()
        octets = self._receive() if client in ready else b""
        if self._listener in ready:  # only now: who came may be the one who has just left
            self._accept(self._listener)
        return octets

    def send(self, octets: bytes) -> None:
        if self._client is not None and len(self._unsent) + len(octets) <= MOST_UNSENT:
            self._unsent += octets
            self._flush()

    def _accept(self, listener: socket.socket) -> None:
        comer, _address = listener.accept()
        if self._client is not None and not self._has_left(self._client):
            comer.close()
            return
        self._drop()
        comer.setblocking(False)
        comer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client = comer

    @staticmethod
    def _has_left(client: socket.socket) -> bool:
        """Tell whether a client has closed its end, with nothing more to be read from it."""
        try:
            return not client.recv(1, socket.MSG_PEEK)
        except BlockingIOError:
            return False
        except OSError:
            return True

    def _receive(self) -> bytes:
        if self._client is None:  # it broke off while it was written to
            return b""
        try:
            octets = self._client.recv(4096)
        except BlockingIOError:
            return b""
        except OSError:
            octets = b""
        if not octets:
            self._drop()
        return octets

    def _flush(self) -> None:
        assert self._client
        try:
            self._unsent = self._unsent[self._client.send(self._unsent) :]
        except BlockingIOError:
            return
        except OSError:
            self._drop()

    def _drop(self) -> None:
        if self._client:
            self._client.close()
        self._client = None
        self._unsent = b""
