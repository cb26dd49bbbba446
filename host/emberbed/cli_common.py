"""What every command shares: output that survives any terminal, failures, options."""

import json
import shutil
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from io import TextIOWrapper
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer

from emberbed.bench.outcome import EXIT_REFUSED
from emberbed.bench.prepare import NotReady
from emberbed.bench.virtual import VirtualDeviceError
from emberbed.link.device import Refused
from emberbed.link.transport import LinkError
from emberbed.plain_text import printable
from emberbed.store.faults import StoreError

Json = Annotated[bool, typer.Option("--json", help="Answer as JSON on standard output.")]
StoreFile = Annotated[
    Path | None, typer.Option("--store", help="Run store file; if not given, in your data folder.")
]
Port = Annotated[
    str,
    typer.Option(
        "--device",
        help="'virtual', a serial port, a URL such as socket://host:port, or 'auto': the one device"
        " that is attached.",
    ),
]
VIRTUAL = "virtual"
AUTO = "auto"
# the names of the simulation's catalogue, which this side does not import; a test compares
FAULT_HELP = (
    "let something break or happen, such as tc_open@120s: tc_open, tc_to_supply,"
    " tc_grounded_unseen, tc_shorted, tc_reversed, tc_wrong_type, tc_drifts, ssr_stuck_on,"
    " ssr_stuck_off, ssr_half_wave, ssr_leaks, contactor_welded, contactor_stuck_open,"
    " mirror_dead, mirror_stuck, current_sense_dead, current_sense_stuck, hot_air,"
    " hot_air_wanders, cold_chip, board_changed, draught, hot_bench, bead_touched, finger,"
    " tape_creep, bead_lifted, bead_half_off, bead_grounded, cold_junction_wrong,"
    " reading_sticks, reading_stale, interference, bus_dead, channels_swapped, emitter_open,"
    " mains_off_nominal, mains_lost, fan_stuck_off, fan_stuck_on, tach_dead, late_ticks,"
    " clock_wrong, heap_low, button_stuck, device_resets, device_hangs, tick_raises,"
    " step_skipped, plan_bit_flips, settings_bit_flips, limit_bit_flips, memory_bit_flips,"
    " host_silent, host_stores_nothing, cable_out, frames_repeated, frames_late, link_noise or"
    " link_flood. Repeatable."
)
MOST_SEED = 2**31 - 1  # what any store and any interpreter takes

# the virtual device's own options, the same in every command that can run on it
Speed = Annotated[str, typer.Option(help="Virtual device: 0.1 to 1000, or max; 1 is real time.")]
Faults = Annotated[list[str] | None, typer.Option(help=f"Virtual device: {FAULT_HELP}")]
Sensors = Annotated[
    list[str] | None,
    typer.Option(help="Virtual device: NAME:PLACE of its sensors, in order. Repeatable."),
]
Seed = Annotated[int, typer.Option(help="Virtual device: its noise.", min=0, max=MOST_SEED)]
Engine = Annotated[str, typer.Option(help="Virtual device: auto, micropython or cpython.")]


def out(text: str) -> None:
    """Write a line to standard output."""
    with writing_out():
        typer.echo(text)


def in_terminal() -> bool:
    """Tell whether standard output is a person's screen."""
    return sys.stdout is not None and sys.stdout.isatty()


def out_sentence(text: str) -> None:
    """Write a long line to standard output, broken between words where a person reads it."""
    columns = shutil.get_terminal_size().columns
    out(textwrap.fill(text, columns, break_long_words=False) if in_terminal() else text)


def print_json(answer: Any) -> None:
    out(json.dumps(answer, indent=1, ensure_ascii=False))


@contextmanager
def writing_out() -> Iterator[None]:
    """Tell in one sentence when standard output takes nothing, and leave.

    A reader that has seen enough (a closed pipe) needs no sentence: typer ends the program then.
    """
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        forget_output()
        fail([f"Standard output cannot be written ({error.strerror}): send it somewhere else"])


def forget_output() -> None:
    """Write to standard output no more: Python would try once more at the end, and fail again."""
    sys.stdout = None


def fail(sentences: list[str], code: int = EXIT_REFUSED) -> NoReturn:
    """Write each sentence to standard error and leave; the code counts even if nobody can read."""
    with suppress(OSError):
        for sentence in sentences:
            typer.echo(sentence, err=True)
    raise typer.Exit(code)


@contextmanager
def told() -> Iterator[None]:
    """Turn every expected failure into its sentences and exit 2."""
    try:
        yield
    except NotReady as not_ready:
        fail(not_ready.sentences)
    except (LinkError, Refused, StoreError, VirtualDeviceError) as error:
        fail([str(error)])


def port_of(device: str) -> str:
    """Return the port that is meant; for 'auto' the one device attached, and say why that one."""
    if device != AUTO:
        return device
    from emberbed.link import discovery

    try:
        port, why = discovery.choose(discovery.find())
    except discovery.NotOne as reason:
        raise NotReady([str(reason)]) from None
    out_note(why)
    return port


def out_note(sentence: str) -> None:
    """Say something beside the answer, where a script does not read."""
    typer.echo(f"note: {printable(sentence)}", err=True)


def survive_any_terminal() -> None:
    """Let no odd character end the program: a Windows pipe is often not UTF-8."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
