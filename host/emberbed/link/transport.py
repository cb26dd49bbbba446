"""Opens the port to a device and moves bytes; understands none of them.

A port is anything pyserial opens: COM3, /dev/ttyACM0, socket://host:port, rfc2217://host:port.
Every failure, at opening or later, is a `LinkError`: one sentence that names the port and the mend.
"""

import errno
import os
import select
import socket
import sys
import time
from pathlib import Path
from typing import Any

import serial
from serial.tools import list_ports

BAUD = 115200
READ_BYTES = 4096
POLL_S = 0.02  # longest single wait where the system cannot wait for the port itself
WRITE_S = 1.0
_LINUX_GROUP = "dialout"
_BUSY = (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK)
_MISSING = (errno.ENOENT, errno.ENXIO, errno.ENODEV)
MAY_NOT_OPEN = "You may not open"  # how a port that needs a right is told
_DENIED = (errno.EACCES, errno.EPERM)


class LinkError(Exception):
    """The device cannot be reached (any more); the text is one sentence for a person, `what` the
    part of it that tells what happened, without the mend."""

    def __init__(self, text: str, what: str = "") -> None:
        super().__init__(text)
        self.what = what or text.split(": ")[0]


class Port:
    """An open port. `read` never waits longer than asked, `write` never longer than WRITE_S."""

    def __init__(self, url: str, opened: Any) -> None:
        self.url = url
        self._serial = opened
        self._handle = _selectable_handle(opened)
        # With the wait done by `select`, a read takes what is there in one call; pyserial's own
        # wait would go on until the full number of bytes has come.
        opened.timeout = POLL_S if self._handle is None else 0
        far = getattr(opened, "_socket", None)
        if far is not None:  # a frame waits for no acknowledgement of the one before
            far.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def read(self, wait_s: float) -> bytes:
        """Return what has arrived, waiting at most `wait_s` seconds for the first byte."""
        try:
            if self._handle is None:
                return self._read_polled(wait_s)
            ready, _, _ = select.select([self._handle], [], [], max(0.0, wait_s))
            return self._serial.read(READ_BYTES) if ready else b""
        except (OSError, serial.SerialException) as failure:
            raise self._broken(failure) from failure

    def write(self, outgoing: bytes) -> None:
        """Send all of `outgoing`."""
        try:
            self._serial.write(outgoing)
        except serial.SerialTimeoutException as failure:
            raise LinkError(
                f"{self.url} has taken no bytes for {WRITE_S:g} s: the device hangs, "
                "switch it off and on and connect again"
            ) from failure
        except (OSError, serial.SerialException) as failure:
            raise self._broken(failure) from failure

    def close(self) -> None:
        # pyserial leaves a socket open when the far end has closed it first.
        left_over = getattr(self._serial, "_socket", None)
        self._serial.close()
        if left_over is not None:
            left_over.close()

    def _read_polled(self, wait_s: float) -> bytes:
        end_s = time.monotonic() + wait_s
        while not self._serial.in_waiting:
            if time.monotonic() >= end_s:
                return b""
            first = self._serial.read(1)
            if first:
                return first + self._serial.read(self._serial.in_waiting)
        return self._serial.read(self._serial.in_waiting)

    def _broken(self, failure: Exception) -> LinkError:
        what = f"The link to {self.url} broke ({_plain(failure)})"
        return LinkError(
            f"{what}: check the cable and the device's power, then connect again", what
        )


def open_port(url_or_port: str) -> Port:
    """Open a port for this program alone (where the system can), 115200 baud 8N1."""
    settings: dict[str, Any] = {"baudrate": BAUD, "timeout": POLL_S, "exclusive": True}
    if not url_or_port.lower().startswith("rfc2217:"):  # pyserial has none there
        settings["write_timeout"] = WRITE_S
    try:
        return Port(url_or_port, serial.serial_for_url(url_or_port, **settings))
    except (OSError, ValueError, serial.SerialException) as failure:
        raise LinkError(_cannot_open(url_or_port, failure)) from failure


def _selectable_handle(opened: Any) -> int | None:
    """Return the handle that `select` can wait for: a socket or a POSIX port; None elsewhere."""
    try:
        handle = opened.fileno()
        select.select([handle], [], [], 0)
    except (AttributeError, OSError, ValueError):
        return None
    return handle


def _cannot_open(url: str, failure: Exception) -> str:
    cause = _root(failure)
    code = getattr(failure, "errno", None) or getattr(cause, "errno", None)
    if "://" in url:
        return _cannot_reach(url, failure, cause)
    if not url.strip() or isinstance(failure, ValueError):
        return f"{url!r} is no port: {_EXAMPLES}"
    # Windows gives no number, only the name of the exception inside the text.
    if code in _MISSING or "FileNotFoundError" in str(failure):
        return f"There is no port {url} here: {_found_ports()}"
    if code in _BUSY or "PermissionError" in str(failure):
        return f"Port {url} is in use: close the other program that has it open, then try again"
    if code in _DENIED:
        return f"{MAY_NOT_OPEN} {url}: {permission_mend(url)}"
    return f"{url} cannot be opened as a serial port ({_plain(failure)}): {_found_ports()}"


def _cannot_reach(url: str, failure: Exception, cause: BaseException) -> str:
    if isinstance(failure, ValueError) or isinstance(cause, (TypeError, ValueError)):
        return f"{url} is no address of a port: {_EXAMPLES}"
    if isinstance(cause, ConnectionRefusedError):
        return f"Nothing listens at {url}: start the device there or mend the address"
    if isinstance(cause, socket.gaierror):
        return f"The name of the computer in {url} is not known: mend the address"
    if isinstance(cause, TimeoutError):
        return f"Nothing answers at {url}: check the address and the network in between"
    return f"{url} cannot be opened ({_plain(cause)}): check the address and what listens there"


_EXAMPLES = (
    "give a name such as COM3 or /dev/ttyACM0, or an address such as socket://127.0.0.1:5331"
)


def _found_ports() -> str:
    found = sorted(port.device for port in list_ports.comports())
    if not found:
        return "no serial port was found at all, plug the device in"
    return f"the ports found are {', '.join(found)}"


def permission_mend(port: str) -> str:
    """Return what lets a person open a port that is there."""
    if not sys.platform.startswith("linux"):
        return "ask whoever looks after this computer for the right to use it"
    try:
        group = Path(port).group()
    except (OSError, KeyError, NotImplementedError):
        group = _LINUX_GROUP
    if group == "root":
        group = _LINUX_GROUP
    return f'run "sudo usermod -aG {group} $USER", log out and in again'


def _root(failure: BaseException) -> BaseException:
    """Return the exception in which it began: pyserial keeps it as the context of its own."""
    while failure.__context__ is not None:
        failure = failure.__context__
    return failure


def _plain(failure: BaseException) -> str:
    """Return the reason without pyserial's wrapping and error numbers."""
    code = getattr(failure, "errno", None) or getattr(_root(failure), "errno", None)
    if code:
        return os.strerror(code).lower()
    return str(failure).rstrip(".").lower() or type(failure).__name__
