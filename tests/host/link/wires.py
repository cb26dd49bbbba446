"""Real wires to a scripted device: a loopback TCP socket, and a pty where the system has them."""

import os
import select
import socket
import threading
from types import SimpleNamespace

import serial
import serial.rfc2217

TURN_S = 0.002


class Wire(threading.Thread):
    """Serves one host after the other; `turn` runs on each turn of the loop and adds bytes."""

    def __init__(self, device, turn=None, hears=True):
        super().__init__(daemon=True)
        self.device = device
        self.turn = turn or (lambda: b"")
        self.hears = hears
        self.failure = None
        self._end = threading.Event()

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, *_):
        self._end.set()
        self.join(5)
        self.shut()
        assert not self.is_alive()
        if self.failure:
            raise self.failure

    def run(self):
        try:
            self.serve()
        except (ConnectionError, BrokenPipeError):
            pass  # the host hung up
        except BaseException as failure:
            self.failure = failure

    def pump(self, receive, send, handle):
        while not self._end.is_set():
            readable, _, _ = select.select([handle], [], [], TURN_S)
            out = b""
            if readable:
                received = receive()
                if not received:
                    return
                out = self.device.feed(received) if self.hears else b""
            out += self.turn()
            if out:
                send(out)

    def serve(self):
        raise NotImplementedError

    def shut(self):
        raise NotImplementedError


class SocketWire(Wire):
    def __init__(self, device, turn=None, hears=True):
        super().__init__(device, turn, hears)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"
        self.hosts = []

    def serve(self):
        while not self._end.is_set():
            if not select.select([self._listener], [], [], TURN_S)[0]:
                continue
            host, _ = self._listener.accept()
            self.hosts.append(host)
            host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.pump(lambda host=host: host.recv(4096), host.sendall, host)

    def hang_up(self):
        for host in self.hosts:
            host.shutdown(socket.SHUT_RDWR)

    def shut(self):
        for opened in [*self.hosts, self._listener]:
            opened.close()


class Rfc2217Wire(SocketWire):
    """The device behind a serial port server (RFC 2217), played by pyserial's own server half."""

    def __init__(self, device, turn=None, hears=True):
        super().__init__(device, turn, hears)
        self.url = self.url.replace("socket", "rfc2217")

    def pump(self, receive, send, handle):
        connection = SimpleNamespace(write=send)
        with serial.serial_for_url("loop://") as behind:
            manager = serial.rfc2217.PortManager(behind, connection)

            def heard():
                # a turn that only negotiates must not look like the end of the connection
                received = receive()
                return b"".join(manager.filter(received)) or (b"\0" if received else b"")

            super().pump(heard, lambda out: send(b"".join(manager.escape(out))), handle)


class PtyWire(Wire):
    """The device on the master side, the host opens `url` by its name."""

    def __init__(self, device, turn=None, hears=True):
        super().__init__(device, turn, hears)
        import tty

        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)  # 0x03 and line ends are ordinary bytes
        self.url = os.ttyname(self._slave)

    def serve(self):
        self.pump(lambda: os.read(self._master, 4096), self._write, self._master)

    def _write(self, out):
        while out:
            out = out[os.write(self._master, out) :]

    def shut(self):
        os.close(self._master)
        os.close(self._slave)
