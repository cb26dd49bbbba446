"""`emberbed runs fetch`: the run that a device made by itself, from its memory into the store."""

from typing import Annotated

import typer

from emberbed.cli_common import (
    AUTO,
    VIRTUAL,
    Port,
    StoreFile,
    fail,
    in_terminal,
    out,
    out_sentence,
    port_of,
    told,
)
from emberbed.store.run_store import RunStore


def add_commands(app: typer.Typer) -> None:
    app.command()(fetch)


def fetch(
    device: Port = AUTO,
    again: Annotated[
        bool, typer.Option("--again", help="Fetch it even if the store seems to have it.")
    ] = False,
    store: StoreFile = None,
) -> None:
    """Fetch the run that a device made without a PC; one still on is followed to its end."""
    from emberbed.bench.fetch import fetch_run
    from emberbed.bench.hands import StopSignal

    if device == VIRTUAL:
        fail(["A virtual device ends with its program, so it has nothing to fetch: name a port"])
    with told(), RunStore.open(store) as run_store, StopSignal() as stop:
        run_id = fetch_run(
            port_of(device),
            run_store,
            again=again,
            progress=_show_progress,
            stopped=lambda: stop.count > 0,
        )
        run = run_store.run(run_id)
    if in_terminal():
        typer.echo("", err=True)
    out(f"Run {run_id}: {run.profile_name}, {run.ticks} readings, {run.state}.")
    out_sentence(f"Look at it with: emberbed runs show {run_id}")


def _show_progress(came_s: int, all_s: int) -> None:
    if in_terminal():
        typer.echo(f"\r{came_s // 60} of {all_s // 60} min", nl=False, err=True)
