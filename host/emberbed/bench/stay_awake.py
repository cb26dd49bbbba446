"""Keep the computer from going to sleep while a run is on, where the system offers that.

Linux: systemd-inhibit, macOS: caffeinate, each a child that holds as long as its input is open, so
that it ends with this process however that ends; Windows: SetThreadExecutionState. Where nothing is
offered, or it fails, nothing is said: the device switches heat off by itself when the PC sleeps.
"""

import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress

END_S = 2.0
_HOLD = ["cat"]  # ends when its input does
INHIBIT = [
    "systemd-inhibit", "--what=sleep:idle", "--who=emberbed", "--why=A board is being heated",
    "--mode=block", *_HOLD,
]  # fmt: skip
CAFFEINATE = ["caffeinate", "-i", "-s", *_HOLD]


@contextmanager
def staying_awake() -> Iterator[None]:
    """Hold the computer awake in the block."""
    if sys.platform == "win32":
        with _on_windows():
            yield
        return
    command = CAFFEINATE if sys.platform == "darwin" else INHIBIT
    holder = _start(command) if shutil.which(command[0]) else None
    try:
        yield
    finally:
        if holder is not None:
            _end(holder)


def _start(command: list[str]) -> "subprocess.Popen[bytes] | None":
    try:
        return subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,  # Ctrl-C in the terminal stops the heat, not this
        )
    except OSError:
        return None


def _end(holder: "subprocess.Popen[bytes]") -> None:
    assert holder.stdin
    with suppress(OSError):
        holder.stdin.close()
    try:
        holder.wait(END_S)
    except subprocess.TimeoutExpired:
        holder.kill()
        holder.wait()


if sys.platform == "win32":
    import ctypes

    # winbase.h, from memory: the state lasts until it is changed, the system stays on
    _ES_CONTINUOUS = 0x80000000
    _ES_SYSTEM_REQUIRED = 0x00000001

    @contextmanager
    def _on_windows() -> Iterator[None]:
        set_state = ctypes.windll.kernel32.SetThreadExecutionState
        set_state(_ES_CONTINUOUS | _ES_SYSTEM_REQUIRED)
        try:
            yield
        finally:
            set_state(_ES_CONTINUOUS)
