"""What every command shares: output that survives any terminal, failures, options."""

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from io import TextIOWrapper
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer

from emberbed.bench.outcome import EXIT_REFUSED
from emberbed.bench.prepare import NotReady
from emberbed.bench.virtual import VirtualDeviceError
from emberbed.link.device import Refused
from emberbed.link.transport import LinkError
from emberbed.store.faults import StoreError

Json = Annotated[bool, typer.Option("--json", help="Answer as JSON on standard output.")]
StoreFile = Annotated[
    Path | None, typer.Option("--store", help="Run store file. [default: your data folder]")
]
Port = Annotated[
    str,
    typer.Option("--device", help="'virtual', a serial port, or a URL such as socket://host:port."),
]
VIRTUAL = "virtual"
MOST_SEED = 2**31 - 1  # what any store and any interpreter takes


def out(text: str) -> None:
    """Write a line to standard output."""
    typer.echo(text)


def print_json(answer: Any) -> None:
    out(json.dumps(answer, indent=1, ensure_ascii=False))


def fail(sentences: list[str], code: int = EXIT_REFUSED) -> NoReturn:
    """Write each sentence to standard error and leave."""
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


def survive_any_terminal() -> None:
    """Let no odd character end the program: a Windows pipe is often not UTF-8."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
