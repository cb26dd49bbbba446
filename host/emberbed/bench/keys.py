"""Single key presses from a terminal, without waiting; nothing where there is no terminal."""

import sys
from collections.abc import Callable
from contextlib import suppress


class Keys:
    """Use it in a `with`: the terminal is put back as it was on every way out.

    `wanted` False: keys are none of this run's business, and the terminal is left alone.
    """

    def __init__(self, wanted: bool = True) -> None:
        self._wanted = wanted
        self._poll: Callable[[], str] = lambda: ""
        self._restore: Callable[[], None] = lambda: None
        self.from_terminal = False

    def __enter__(self) -> "Keys":
        if self._wanted and sys.stdin is not None and sys.stdin.isatty():
            self.from_terminal = True
            self._poll, self._restore = _windows_keys() if sys.platform == "win32" else _tty_keys()
        return self

    def __exit__(self, *_error: object) -> None:
        self._restore()

    def pressed(self) -> str:
        """Return the keys pressed since the last call, '' for none; Enter is '\\n'."""
        return self._poll().replace("\r", "\n")


def _tty_keys() -> tuple[Callable[[], str], Callable[[], None]]:
    import os
    import select
    import termios
    import tty

    handle = sys.stdin.fileno()
    before = termios.tcgetattr(handle)
    tty.setcbreak(handle)  # keys at once; Ctrl-C still interrupts
    mode = termios.tcgetattr(handle)
    mode[0] &= ~termios.IXON  # Ctrl-S would hold up the loop that answers for the heat
    termios.tcsetattr(handle, termios.TCSADRAIN, mode)

    def poll() -> str:
        try:
            ready, _, _ = select.select([handle], [], [], 0)
            return os.read(handle, 64).decode(errors="ignore") if ready else ""
        except OSError:  # the terminal is gone; the run stays
            return ""

    def restore() -> None:
        with suppress(termios.error):
            termios.tcsetattr(handle, termios.TCSADRAIN, before)

    return poll, restore


def _windows_keys() -> tuple[Callable[[], str], Callable[[], None]]:
    import msvcrt

    def poll() -> str:
        keys = ""
        while msvcrt.kbhit():  # type: ignore[attr-defined]
            keys += msvcrt.getwch()  # type: ignore[attr-defined]
        return keys

    return poll, lambda: None
