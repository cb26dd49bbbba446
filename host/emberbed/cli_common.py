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
from emberbed.plain_text import printable

Json = Annotated[bool, typer.Option("--json", help="Answer as JSON on standard output.")]
StoreFile = Annotated[
    Path | None, typer.Option("--store", help="Run store file; if not given, in your data folder.")
]
Port = Annotated[
    str,
    typer.Option(
        "--device",
        help="'virtual', a serial port, a URL such as socket://host:port, or 'auto': the one device"
        " that is attached, of several the one used last.",
    ),
]
VIRTUAL = "virtual"
AUTO = "auto"
MOST_NOTE = 600  # characters of a note, which may name a long path or several ports
FAULT_HELP = (
    "let something break or happen, such as tc_open@120s; 'list' names all that can. Repeatable."
)


def list_faults(faults: list[str] | None) -> list[str] | None:
    """Name all faults and leave, where a command is asked for them."""
    from emberbed.cli_faults import list_if_asked  # seldom needed

    return list_if_asked(faults)


MOST_SEED = 2**31 - 1  # what any store and any interpreter takes

# the virtual device's own options, the same in every command that can run on it
Speed = Annotated[str, typer.Option(help="Virtual device: 0.1 to 1000, or max; 1 is real time.")]
Faults = Annotated[
    list[str] | None,
    typer.Option(help=f"Virtual device: {FAULT_HELP}", callback=list_faults, is_eager=True),
]
Sensors = Annotated[
    list[str] | None,
    typer.Option(
        help="Virtual device: NAME:PLACE of its sensors, in order; :CONVERTER may follow."
        " Repeatable."
    ),
]
Seed = Annotated[int, typer.Option(help="Virtual device: its noise.", min=0, max=MOST_SEED)]
Engine = Annotated[str, typer.Option(help="Virtual device: auto, micropython or cpython.")]
LUMPED = "lumped"
Plant = Annotated[
    str,
    typer.Option(
        "--plant",
        help="Simulated: the board as one piece (lumped), in two dimensions (grid), or that over a"
        " heater whose middle and rim are zones (two-zones).",
    ),
]
PlanAnew = Annotated[
    bool,
    typer.Option(
        "--plan-anew",
        help="With --heater: in a wait, plan the power after it from how warm the heater is by"
        " then. On our simulated heaters that is hardly better.",
    ),
]


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
            _log(sentence)
            typer.echo(sentence, err=True)
    raise typer.Exit(code)


def begin_log(path: Path | None, verbose: bool, command: str) -> None:
    """Log from here on; say where, if the person did not."""
    from emberbed import log_file  # only when it is needed

    try:
        place = log_file.begin(path, verbose, command)
    except OSError as error:
        where = path or log_file.usual_path()
        fail([f"{where} cannot be written ({error.strerror}): name another file with --log"])
    if path is None:
        out_note(f"the log is {place}")


@contextmanager
def watched() -> Iterator[None]:
    """Log how the command ends, where a log is asked for."""
    try:
        yield
    except SystemExit as left:
        _log(f"ends with {left.code or 0}")
        raise
    except Exception as error:
        if "emberbed.log_file" in sys.modules:
            from emberbed import log_file

            log_file.broke(error)
        raise


def _log(sentence: str) -> None:
    if "emberbed.log_file" in sys.modules:  # a log was asked for
        from emberbed.log_file import LOGGER

        LOGGER.info("%s", sentence)


@contextmanager
def told() -> Iterator[None]:
    """Turn every expected failure into its sentences and exit 2."""
    # what can fail stands on half of the program: `emberbed --help` must not load it
    from emberbed.bench.prepare import NotReady
    from emberbed.bench.virtual import VirtualDeviceError
    from emberbed.link.device import Refused
    from emberbed.link.transport import LinkError
    from emberbed.store.faults import StoreError

    try:
        yield
    except NotReady as not_ready:
        fail(not_ready.sentences)
    except (LinkError, Refused, StoreError, VirtualDeviceError) as error:
        fail([str(error)])


def port_of(device: str) -> str:
    """Return the port that is meant; for 'auto' the one device attached, and say why that one."""
    if device == VIRTUAL:
        return device
    from emberbed.link import last_port

    if device != AUTO:
        last_port.remember(device)
        return device
    from emberbed.bench.prepare import NotReady
    from emberbed.link import discovery

    try:
        port, why = discovery.choose(discovery.find(), last_port.recall())
    except discovery.NotOne as reason:
        raise NotReady([str(reason)]) from None
    last_port.remember(port)
    out_note(why)
    return port


def out_note(sentence: str) -> None:
    """Say something beside the answer, where a script does not read."""
    _log(sentence)
    typer.echo(f"note: {printable(sentence, MOST_NOTE)}", err=True)


@contextmanager
def working(what: str) -> Iterator[None]:
    """Show on a person's screen that something is being done; nothing is said in a pipe."""
    if sys.stderr is None or not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(f"{what} …"):
        yield


def survive_any_terminal() -> None:
    """Let no odd character end the program: a Windows pipe is often not UTF-8."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
