"""The terminal's bell, for what a person must not miss; silent where there is no terminal."""

from contextlib import suppress

from rich.console import Console

BELL = "\a"
RINGING = ("prompt", "trip", "ahead", "lift", "self_check")  # kinds of events


def ring(console: Console, kind: str) -> None:
    """Ring when an event of this kind needs somebody at the bench."""
    if kind in RINGING and console.is_terminal and not console.quiet:
        with suppress(OSError):
            console.file.write(BELL)
            console.file.flush()
