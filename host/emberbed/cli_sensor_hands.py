"""Who puts the bead into a calibration's baths: a person who is asked, or the virtual bench."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from math import isfinite

import typer

from emberbed.bench.prepare import NotReady
from emberbed.bench.virtual import VirtualDevice
from emberbed.calibration.fixed_points import BOILING, ICE, Reference
from emberbed.plain_text import printable

LEAST_OFFSET_K, MOST_OFFSET_K = -50.0, 50.0
LEAST_GAIN, MOST_GAIN = 0.5, 1.5
GO_ON = "Press Enter when it is there. "


class BenchHands:
    """Asks at the keyboard; `press` goes on at once on a virtual bench, whose bead it moves."""

    def __init__(self, virtual: VirtualDevice | None, press: bool) -> None:
        self._virtual = virtual
        self._press = press
        if not press and (sys.stdin is None or not sys.stdin.isatty()):
            mend = "add --press" if virtual else "give the values with --from FILE"
            raise NotReady(
                [f"Nobody can say here that the bead is in its bath: {mend}, or use a terminal"]
            )

    def put(self, channel: int, reference: Reference, what: str) -> None:
        """Ask for a bead in a bath, and return when it is there."""
        typer.echo(f"\n{what}" if _is_screen() else what, err=True)  # below the newest reading
        if not self._press:
            try:
                input(GO_ON)
            except EOFError:
                raise NotReady(["The calibration was given up: nothing was written"]) from None
        if self._virtual is not None:
            self._virtual.dip(channel, _bath_words(reference))


def _bath_words(reference: Reference) -> str:
    """Return the bath as the virtual bench names it; its water boils by the pressure."""
    if reference.name == ICE:
        return "ice"
    if reference.name == BOILING:
        return f"boiling {reference.station_kpa}"
    return f"freezing {reference.true_c}"


def _is_screen() -> bool:
    return sys.stderr is not None and sys.stderr.isatty()


def parse_wrong(written: str) -> tuple[float, float]:
    """Return how a simulated couple misreads: offset in K, gain."""
    try:
        offset_k, gain = (float(part) for part in written.split(","))
    except ValueError:
        offset_k = gain = float("nan")
    fits = isfinite(offset_k) and LEAST_OFFSET_K <= offset_k <= MOST_OFFSET_K
    if not fits or not LEAST_GAIN <= gain <= MOST_GAIN:
        raise NotReady(
            [
                f"--wrong {printable(written)} cannot be read: write OFFSET_K,GAIN such as 2,1.01,"
                f" the offset within {MOST_OFFSET_K:g} °C, the gain {LEAST_GAIN:g} to {MOST_GAIN:g}"
            ]
        )
    return offset_k, gain


@contextmanager
def live() -> Iterator[Callable[[str], None]]:
    """Give what shows the newest reading on a person's screen; nothing is shown in a pipe."""
    if not _is_screen():
        yield lambda _line: None
        return
    from rich.console import Console
    from rich.text import Text

    console = Console(stderr=True)

    def show(line: str) -> None:
        width = console.width - 1
        console.print(Text(line[:width].ljust(width)), end="\r")

    yield show
    console.print()
