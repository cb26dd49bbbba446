"""What every command that can run on the virtual device checks of its options."""

from emberbed.bench.prepare import MadeOnDevice, NotReady
from emberbed.bench.virtual import PLANTS, VirtualBench
from emberbed.plain_text import printable
from emberbed.profiles.reader import ProfileFile


def checked_bench(
    bench: VirtualBench, asked: ProfileFile | MadeOnDevice | None = None
) -> VirtualBench:
    """Return what to simulate, with the profile's board if one is asked for."""
    if bench.engine not in ("auto", "micropython", "cpython"):
        known = "use auto, micropython or cpython"
        raise NotReady([f"--engine {printable(bench.engine)} is not known: {known}"])
    if bench.plant not in PLANTS:
        known = f"use {', '.join(PLANTS[:-1])} or {PLANTS[-1]}"
        raise NotReady([f"--plant {printable(bench.plant)} is not known: {known}"])
    _check_speed(bench.speed)
    board = asked.model.board if isinstance(asked, ProfileFile) else None
    return bench if board is None else bench.with_board(**board.model_dump())


def refuse_on_real_device(device: str, options: list[str]) -> None:
    """Refuse options that only the simulation has."""
    if not options:
        return
    work, them = ("works", "it") if len(options) == 1 else ("work", "them")
    raise NotReady(
        [
            f"{' and '.join(options)} only {work} on the virtual device: the one at {device} has"
            f" its own button, time and faults; leave {them} out"
        ]
    )


def _check_speed(speed: str) -> None:
    if speed == "max":
        return
    try:
        factor = float(speed)
    except ValueError:
        raise NotReady([f"--speed {speed} is not a number: use 0.1 to 1000, or max"]) from None
    if not 0.1 <= factor <= 1000:
        raise NotReady([f"--speed {speed} is out of range: use 0.1 to 1000, or max"])
